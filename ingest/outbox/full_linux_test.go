package outbox

import (
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"os/signal"
	"path/filepath"
	"syscall"
	"testing"
	"time"

	"hopperbook/ingest"
	"hopperbook/schemas"
	"hopperbook/schemas/fault"
)

// fillPasses appends pass logs until one is refused; it returns what was
// confirmed.
func fillPasses(t testing.TB, o *Outbox) (made []ingest.Outgoing, err error) {
	rng := rand.New(rand.NewPCG(1, 2))
	data := pass(t, rng, start, 3000)
	for range 2000 {
		out, err := o.Append(start, schemas.TypePassLogged, data, nil)
		if err != nil {
			return made, err
		}
		made = append(made, out)
	}
	return made, nil
}

// fullAndBack is what must hold when the disk refuses and then has room again:
// the refusal says what to do, what was confirmed is there, the book's mark
// can still be taken, and it goes on.
func fullAndBack(t testing.TB, o *Outbox, room func() error) error {
	made, err := fillPasses(t, o)
	if len(made) < 5 || fault.CodeOf(err) != fault.Full || fault.HintOf(err) == "" {
		return fmt.Errorf("after %d pass logs: %w, want a full disk and a hint", len(made), err)
	}
	if s, err := o.Status(); err != nil || s.State != StateFull || s.Waiting != len(made) {
		return fmt.Errorf("status %+v (%v) with %d confirmed", s, err, len(made))
	}
	if kept, err := o.Since(0); err != nil || !sameEvents(kept, made) {
		return fmt.Errorf("%d events kept (%v), %d were confirmed", len(kept), err, len(made))
	}
	half := int64(len(made) / 2)
	if err := o.Trim(schemas.Mark{Source: o.Source(), UpTo: half}); err != nil {
		return fmt.Errorf("the book's mark on a full disk: %w", err)
	}
	if out, err := o.Append(start, schemas.TypeLoadWeighed, load(1), []byte("state")); err != nil || out.Sequence != int64(len(made))+1 {
		return fmt.Errorf("a load in the room that trimming gave: %d, %w", out.Sequence, err)
	}
	if err := room(); err != nil {
		return err
	}
	more, err := o.Append(start, schemas.TypePassLogged, pass(t, rand.New(rand.NewPCG(3, 4)), start, 3000), nil)
	if err != nil || more.Sequence != int64(len(made))+2 {
		return fmt.Errorf("after making room: %d, %w", more.Sequence, err)
	}
	s, err := o.Status()
	if err != nil || s.State == StateFull {
		return fmt.Errorf("after making room the status is %+v (%w)", s, err)
	}
	kept, err := o.Since(half)
	if err != nil || len(kept) != len(made)-int(half)+2 || !sameEvents(kept[:len(kept)-2], made[half:]) {
		return fmt.Errorf("%d events kept (%v) of %d", len(kept), err, len(made))
	}
	return nil
}

// A file that may not grow further, for real: EFBIG from the kernel.
func fileLimitChild(path string) error {
	signal.Ignore(syscall.SIGXFSZ)
	o, err := Open(Config{Path: path, Device: "spreader-1"})
	if err != nil {
		return err
	}
	var old syscall.Rlimit
	if err := syscall.Getrlimit(syscall.RLIMIT_FSIZE, &old); err != nil {
		return err
	}
	if err := syscall.Setrlimit(syscall.RLIMIT_FSIZE, &syscall.Rlimit{Cur: 3 << 20, Max: old.Max}); err != nil {
		return err
	}
	return fullAndBack(&testing.B{}, o, func() error { return syscall.Setrlimit(syscall.RLIMIT_FSIZE, &old) })
}

func TestFileThatMayNotGrow(t *testing.T) {
	cmd := exec.Command(os.Args[0])
	cmd.Env = append(os.Environ(), "OUTBOX_TEST_FILL="+filepath.Join(t.TempDir(), "outbox.db"))
	if out, err := cmd.CombinedOutput(); err != nil {
		t.Errorf("%v\n%s", err, out)
	}
}

// A disk that is full, for real: a file system of 4 MB that something else
// fills too.
func TestFullDisk(t *testing.T) {
	dir := t.TempDir()
	if err := syscall.Mount("tmpfs", dir, "tmpfs", 0, "size=4m"); err != nil {
		t.Skipf("a small file system cannot be mounted here (it needs root): %v", err)
	}
	defer func() {
		if err := syscall.Unmount(dir, syscall.MNT_DETACH); err != nil {
			t.Error(err)
		}
	}()
	other := filepath.Join(dir, "photos")
	if err := os.WriteFile(other, make([]byte, 1<<20), 0o600); err != nil {
		t.Fatal(err)
	}
	o := open(t, Config{Path: filepath.Join(dir, "outbox.db"), Device: "spreader-1"})
	if err := fullAndBack(t, o, func() error { return os.Remove(other) }); err != nil {
		t.Error(err)
	}
	if err := o.Close(); err != nil {
		t.Error(err)
	}
}

// The limit stops pass logs first: what the operator enters still finds room.
func TestLimit(t *testing.T) {
	cfg := config(t)
	cfg.LimitBytes = 2 << 20
	now := start
	cfg.Now = func() time.Time { return now }
	o := open(t, cfg)
	warned := false
	rng := rand.New(rand.NewPCG(1, 2))
	data := pass(t, rng, start, 3000)
	passes := 0
	for ; ; passes++ {
		now = now.Add(10 * time.Minute)
		if _, err := o.Append(start, schemas.TypePassLogged, data, nil); err != nil {
			if fault.CodeOf(err) != fault.Full || fault.HintOf(err) == "" {
				t.Fatalf("after %d pass logs: %v", passes, err)
			}
			break
		}
		s, err := o.Status()
		if err != nil {
			t.Fatal(err)
		}
		if share := float64(s.UsedBytes) / float64(s.LimitBytes); (s.State == StateOK) != (share < fillingShare) {
			t.Errorf("at %.2f of the limit the state is %s", share, s.State)
		}
		warned = warned || s.State == StateFilling
	}
	if err := o.Draft("pass", make([]byte, 200_000)); fault.CodeOf(err) != fault.Full {
		t.Errorf("a draft beyond the limit: %v", err)
	}
	if !warned || passes < 10 {
		t.Errorf("%d pass logs, warned: %v", passes, warned)
	}
	weigh(t, o, 1)
	if err := o.Trim(schemas.Mark{Source: o.Source(), UpTo: int64(passes)}); err != nil {
		t.Fatal(err)
	}
	s, err := o.Status()
	if err != nil || s.State != StateOK || s.Waiting != 1 || s.UsedBytes > s.LimitBytes/10 {
		t.Errorf("trimmed, the status is %+v (%v)", s, err)
	}
	size := s.Bytes
	for range passes / 2 {
		if _, err := o.Append(start, schemas.TypePassLogged, data, nil); err != nil {
			t.Fatal(err)
		}
	}
	if s, err = o.Status(); err != nil || s.Bytes != size {
		t.Errorf("the file grew from %d to %d bytes (%v) though it had free pages", size, s.Bytes, err)
	}
}
