package outbox

import (
	"bytes"
	"errors"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	bolt "go.etcd.io/bbolt"

	"hopperbook/ingest"
	"hopperbook/schemas"
	"hopperbook/schemas/fault"
)

func TestOpenRefuses(t *testing.T) {
	dir := t.TempDir()
	ours := Config{Path: filepath.Join(dir, "outbox.db"), Device: "spreader-1"}
	held := open(t, ours)
	text := filepath.Join(dir, "notes.txt")
	if err := os.WriteFile(text, bytes.Repeat([]byte("no outbox\n"), 2000), 0o600); err != nil {
		t.Fatal(err)
	}
	other := filepath.Join(dir, "other.db")
	db, err := bolt.Open(other, 0o600, nil)
	if err != nil {
		t.Fatal(err)
	}
	if err := db.Close(); err != nil {
		t.Fatal(err)
	}
	for name, c := range map[string]struct {
		cfg  Config
		code fault.Code
	}{
		"held by another": {ours, fault.Held},
		"no token":        {Config{Path: ours.Path, Device: "No Token"}, fault.Usage},
		"no folder":       {Config{Path: filepath.Join(dir, "none", "outbox.db"), Device: "spreader-1"}, fault.Usage},
		"no bbolt file":   {Config{Path: text, Device: "spreader-1"}, fault.Input},
		"no outbox":       {Config{Path: other, Device: "spreader-1"}, fault.Input},
	} {
		if _, err := Open(c.cfg); fault.CodeOf(err) != c.code || fault.HintOf(err) == "" {
			t.Errorf("%s: %v with code %v, want %v and a hint", name, err, fault.CodeOf(err), c.code)
		}
	}
	weigh(t, held, 1)
	if err := held.Close(); err != nil {
		t.Fatal(err)
	}
	_, err = Open(Config{Path: ours.Path, Device: "spreader-2"})
	if fault.CodeOf(err) != fault.Conflict || !strings.Contains(fault.HintOf(err), "spreader-1") {
		t.Errorf("another device's outbox: %v", err)
	}
	newer := open(t, ours)
	if err := newer.db.Update(func(tx *bolt.Tx) error { return tx.Bucket(bucketMeta).Put(keyFormat, bytesOf(2)) }); err != nil {
		t.Fatal(err)
	}
	if err := newer.Close(); err != nil {
		t.Fatal(err)
	}
	if _, err := Open(ours); fault.CodeOf(err) != fault.TooNew {
		t.Errorf("a newer program's outbox: %v", err)
	}
}

// What a first start left that was cut off is no outbox and does no harm.
func TestHalfMadeFileIsMadeAnew(t *testing.T) {
	cfg := config(t)
	if err := os.WriteFile(cfg.Path+".new", []byte("half"), 0o600); err != nil {
		t.Fatal(err)
	}
	o := open(t, cfg)
	if out := weigh(t, o, 1); out.Sequence != 1 {
		t.Errorf("the first event has sequence %d", out.Sequence)
	}
	if _, err := os.Stat(cfg.Path + ".new"); !errors.Is(err, os.ErrNotExist) {
		t.Errorf("the half-made file is still there: %v", err)
	}
}

// Two installs of one device have two sources: sequences never clash.
func TestEveryInstallHasItsOwnSource(t *testing.T) {
	a, b := open(t, config(t)), open(t, config(t))
	if a.Source() == b.Source() {
		t.Errorf("both are %s", a.Source())
	}
	if device, ok := a.Source().Device(); !ok || device != "spreader-1" {
		t.Errorf("the device of %s is %s", a.Source(), device)
	}
}

func TestClosedOutboxRefuses(t *testing.T) {
	o := open(t, config(t))
	if err := o.Close(); err != nil {
		t.Fatal(err)
	}
	if _, err := o.Append(start, schemas.TypeLoadWeighed, load(1), nil); fault.CodeOf(err) != fault.Canceled {
		t.Errorf("append: %v", err)
	}
	if _, err := o.After(0, 0, 0); fault.CodeOf(err) != fault.Canceled {
		t.Errorf("after: %v", err)
	}
	if err := o.Close(); err != nil {
		t.Errorf("closed again: %v", err)
	}
}

func TestMarksThatCannotBeOurs(t *testing.T) {
	o := open(t, config(t))
	weigh(t, o, 1)
	for name, c := range map[string]struct {
		mark schemas.Mark
		code fault.Code
	}{
		"of another source":      {schemas.Mark{Source: "/devices/spreader-1/other", UpTo: 1}, fault.Usage},
		"beyond what was made":   {schemas.Mark{Source: o.Source(), UpTo: 2}, fault.Conflict},
		"ranges in no order":     {schemas.Mark{Source: o.Source(), Above: [][2]int64{{1, 0}}}, fault.Input},
		"a range below its mark": {schemas.Mark{Source: o.Source(), UpTo: 1, Above: [][2]int64{{1, 1}}}, fault.Input},
		"a range beyond that":    {schemas.Mark{Source: o.Source(), Above: [][2]int64{{5, 6}}}, fault.Conflict},
	} {
		if err := o.Trim(c.mark); fault.CodeOf(err) != c.code {
			t.Errorf("a mark %s: %v", name, err)
		}
	}
	if err := o.Trim(schemas.Mark{Source: o.Source(), UpTo: -1}); err != nil {
		t.Errorf("a mark older than ours: %v", err)
	}
	if left, err := o.After(0, 0, 0); err != nil || len(left) != 1 {
		t.Errorf("%d events left (%v), want 1", len(left), err)
	}
}

// A draft that is an event is none any more, and one that is kept without end
// is taken away by nil.
func TestDraftLeaves(t *testing.T) {
	o := open(t, config(t))
	if err := o.Draft("", []byte("x")); fault.CodeOf(err) != fault.Usage {
		t.Errorf("a draft without a key: %v", err)
	}
	for _, data := range [][]byte{[]byte("1"), []byte("2"), nil} {
		if err := o.Draft("pass", data); err != nil {
			t.Fatal(err)
		}
		if all, err := o.Drafts(); err != nil || (len(all) == 1) != (data != nil) {
			t.Errorf("after %q there are %v (%v)", data, all, err)
		}
	}
	if err := o.Keep([]byte("state")); err != nil {
		t.Fatal(err)
	}
	if err := o.Keep(nil); err != nil {
		t.Fatal(err)
	}
	if state, err := o.State(); err != nil || state != nil {
		t.Errorf("the snapshot is %q (%v), want none", state, err)
	}
}

// What the agent's snapshot function says goes for the whole transaction.
func TestStateOfTheSameTransaction(t *testing.T) {
	o := open(t, config(t))
	entries := []Entry{{At: start, Type: schemas.TypeLoadWeighed, Data: load(1)}, {At: start, Type: schemas.TypeLoadWeighed, Data: load(2)}}
	stop := errors.New("stop")
	if _, err := o.AppendAll(entries, func([]ingest.Outgoing) ([]byte, error) { return nil, stop }); !errors.Is(err, stop) {
		t.Errorf("a snapshot that fails: %v", err)
	}
	if left, err := o.Since(0); err != nil || len(left) != 0 {
		t.Errorf("%d events are there (%v) though the snapshot failed", len(left), err)
	}
	made, err := o.AppendAll(entries, func(made []ingest.Outgoing) ([]byte, error) { return []byte(made[1].Identity.String()), nil })
	if err != nil || made[0].Sequence != 1 || made[1].Sequence != 2 {
		t.Fatalf("made %v (%v), want sequences 1 and 2", made, err)
	}
	if state, err := o.State(); err != nil || string(state) != made[1].Identity.String() {
		t.Errorf("the snapshot is %q (%v)", state, err)
	}
}

// A commit that failed counts when, and only when, it is in the file.
func TestMend(t *testing.T) {
	o := open(t, config(t))
	failed := errors.New("the disk said no")
	weigh(t, o, 1)
	for _, landed := range []bool{true, false} {
		o.writing.Lock()
		err := o.mend(failed, func(tx *bolt.Tx) bool { return (tx.Bucket(bucketEvents).Sequence() == 1) == landed })
		o.writing.Unlock()
		if errors.Is(err, failed) == landed {
			t.Errorf("landed %v: %v", landed, err)
		}
	}
	if out := weigh(t, o, 2); out.Sequence != 2 {
		t.Errorf("mended, the next sequence is %d", out.Sequence)
	}
}

// Many at once: every sequence once, every one on the disk.
func TestManyAtOnce(t *testing.T) {
	o := open(t, config(t))
	const each = 25
	var all sync.WaitGroup
	for worker := range 4 {
		all.Go(func() {
			rng := rand.New(rand.NewPCG(uint64(worker), 4))
			for range each {
				weigh(t, o, worker)
				waiting, err := o.After(0, 10, 0)
				if err != nil {
					t.Error(err)
				}
				if len(waiting) > 0 && rng.IntN(4) == 0 {
					if err := o.Trim(schemas.Mark{Source: o.Source(), UpTo: waiting[0].Sequence}); err != nil {
						t.Error(err)
					}
				}
				if _, err := o.Status(); err != nil {
					t.Error(err)
				}
			}
		})
	}
	all.Wait()
	s, err := o.Status()
	left, err2 := o.Since(0)
	if err != nil || err2 != nil || s.Waiting != len(left) || s.Confirmed+int64(len(left)) != 4*each || s.DaysLeft == nil {
		t.Errorf("status %+v (%v, %v) with %d events left", s, err, err2, len(left))
	}
}

// A week without a hint of a change wakes nobody; a change does.
func TestChanged(t *testing.T) {
	o := open(t, config(t))
	before := o.Changed()
	select {
	case <-before:
		t.Error("changed before anything was done")
	default:
	}
	weigh(t, o, 1)
	<-before
	before = o.Changed()
	if err := o.Trim(schemas.Mark{Source: o.Source(), UpTo: 1}); err != nil {
		t.Fatal(err)
	}
	<-before
	s, err := o.Status()
	if err != nil || s.Waiting != 0 || !s.Oldest.IsZero() {
		t.Errorf("status %+v (%v), want nothing waiting", s, err)
	}
	weigh(t, o, 3)
	if s, err = o.Status(); err != nil || !s.Oldest.Equal(start.Add(3*time.Minute)) {
		t.Errorf("the oldest is of %v (%v)", s.Oldest, err)
	}
}

// Entries stay for the page when the book has them; pass logs are none.
func TestRecentKeepsTwoHundred(t *testing.T) {
	o := open(t, config(t))
	entries := make([]Entry, keepEntries+20)
	for i := range entries {
		entries[i] = Entry{At: start, Type: schemas.TypeLoadWeighed, Data: load(i)}
	}
	if _, err := o.AppendAll(entries, nil); err != nil {
		t.Fatal(err)
	}
	if err := o.Trim(schemas.Mark{Source: o.Source(), UpTo: 100}); err != nil {
		t.Fatal(err)
	}
	all, err := o.Recent(10 * keepEntries)
	if err != nil || len(all) != keepEntries || all[0].Sequence != keepEntries+20 || all[0].Sent || !all[keepEntries-1].Sent {
		t.Errorf("%d entries (%v), first %+v, last %+v", len(all), err, all[0], all[len(all)-1])
	}
}
