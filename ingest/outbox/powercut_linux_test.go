package outbox

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"maps"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	bolt "go.etcd.io/bbolt"

	"hopperbook/schemas"
)

// A power cut keeps of the writes since the last sync whatever it likes. Every
// write and sync of an outbox in a process of its own is recorded from outside
// (strace), the file is rebuilt as every cut could have left it, and opened.

const cutSteps = 40

// standing is all that an outbox holds, as it can be compared.
type standing struct {
	Events []string // digests, from UpTo+1 on
	UpTo   int64
	State  string
	Drafts map[string]string
	Recent int
}

func standingOf(o *Outbox) (standing, error) {
	s := standing{Drafts: map[string]string{}}
	status, err := o.Status()
	if err != nil {
		return s, err
	}
	s.UpTo = status.Confirmed
	events, err := o.Since(0)
	if err != nil {
		return s, err
	}
	for i, e := range events {
		if e.Sequence != s.UpTo+int64(i)+1 {
			return s, fmt.Errorf("event %d has sequence %d above %d", i, e.Sequence, s.UpTo)
		}
		if _, bad := schemas.Read(e.Raw); bad != nil {
			return s, bad
		}
		s.Events = append(s.Events, digest(e.Raw))
	}
	recent, err := o.Recent(keepEntries)
	if err != nil {
		return s, err
	}
	s.Recent = len(recent)
	state, err := o.State()
	if err != nil {
		return s, err
	}
	drafts, err := o.Drafts()
	for _, d := range drafts {
		s.Drafts[d.Key] = digest(d.Data)
	}
	s.State = digest(state)
	return s, err
}

func digest(b []byte) string {
	sum := sha256.Sum256(b)
	return hex.EncodeToString(sum[:8])
}

func (s standing) equal(other standing) bool {
	return slices.Equal(s.Events, other.Events) && s.UpTo == other.UpTo && s.State == other.State && s.Recent == other.Recent &&
		maps.Equal(s.Drafts, other.Drafts)
}

// cutChild works on an outbox and says on standard output, after each step
// that was confirmed to it, what the outbox must hold from then on.
func cutChild(path string) error {
	o, err := Open(Config{Path: path, Device: "spreader-1"})
	if err != nil {
		return err
	}
	rng := rand.New(rand.NewPCG(7, 7))
	t := &testing.B{} // only for the helpers' sake; they do not fail here
	for step := range cutSteps {
		if err := cutStep(t, o, rng, step); err != nil {
			return err
		}
		s, err := standingOf(o)
		if err != nil {
			return err
		}
		line, err := json.Marshal(s)
		if err != nil {
			return err
		}
		if _, err := os.Stdout.Write(append(line, '\n')); err != nil {
			return err
		}
	}
	return nil // without Close, as a cut leaves it
}

func cutStep(t testing.TB, o *Outbox, rng *rand.Rand, step int) error {
	at := start.Add(time.Duration(step) * time.Minute)
	switch rng.IntN(6) {
	case 0, 1:
		drafts, err := o.Drafts()
		if err != nil || len(drafts) == 0 {
			return err
		}
		_, err = o.AppendAll([]Entry{{At: at, Type: schemas.TypePassLogged, Data: pass(t, rng, at, 300), Draft: "pass"},
			{At: at, Type: schemas.TypeLoadWeighed, Data: load(step)}}, nil)
		return err
	case 2:
		status, err := o.Status()
		if err != nil {
			return err
		}
		return o.Trim(schemas.Mark{Source: o.Source(), UpTo: status.Confirmed + rng.Int64N(int64(status.Waiting)+1)})
	case 3:
		return o.Draft("pass", bytes.Repeat(fmt.Append(nil, step), 1+rng.IntN(4000)))
	}
	_, err := o.Append(at, schemas.TypeLoadWeighed, load(step), bytes.Repeat(fmt.Append(nil, "state ", step), 1+rng.IntN(1000)))
	return err
}

// cutAction is one thing the process did to its outbox, as strace saw it.
type cutAction struct {
	kind string // write, size, sync, confirm, rename
	at   int64
	data []byte
}

// recordActions runs the child under strace.
func recordActions(t *testing.T, path string) []cutAction {
	t.Helper()
	strace, err := exec.LookPath("strace")
	if os.Getenv("HOPPERBOOK_RACE") != "" {
		t.Skip("HOPPERBOOK_RACE: the power is cut in a step of its own, without the race detector (./test)")
	}
	if err != nil {
		t.Skip("strace is not installed")
	}
	log := path + ".strace"
	cmd := exec.Command(strace, "-f", "-y", "-qq", "-xx", "-s", "1000000", "-e", "signal=none", "-e", "trace=pwrite64,write,fdatasync,fsync,ftruncate,rename,renameat,renameat2", "-o", log, os.Args[0])
	cmd.Env = append(os.Environ(), "OUTBOX_TEST_CUT="+path)
	if out, err := cmd.CombinedOutput(); err != nil {
		if bytes.Contains(out, []byte("ptrace")) {
			t.Skipf("strace may not trace here: %s", out)
		}
		t.Fatalf("%v\n%s", err, out)
	}
	raw, err := os.ReadFile(log)
	if err != nil {
		t.Fatal(err)
	}
	actions, err := parseActions(string(raw), path)
	if err != nil {
		t.Fatal(err)
	}
	return actions
}

// parseActions reads the log: "PID call(FD<path>, args) = result", where a
// call that another thread interrupts has a second line with its result, from
// which on it counts.
func parseActions(log, path string) ([]cutAction, error) {
	var all []cutAction
	half := map[string]string{} // by thread
	for line := range strings.Lines(log) {
		pid, call, _ := strings.Cut(strings.TrimSpace(line), " ")
		call = strings.TrimSpace(call)
		if started, ok := strings.CutSuffix(call, "<unfinished ...>"); ok {
			half[pid] = strings.TrimRight(started, " ")
			continue
		}
		if strings.HasPrefix(call, "<...") {
			_, rest, _ := strings.Cut(call, "resumed>")
			call = half[pid] + rest
		}
		action, err := parseAction(call, path)
		if err != nil {
			return nil, fmt.Errorf("%w in %.200q", err, line)
		}
		if action.kind != "" {
			all = append(all, action)
		}
	}
	return all, nil
}

func parseAction(call, path string) (a cutAction, err error) {
	name, args, _ := strings.Cut(call, "(")
	// -xx writes paths in hex too, between the file's number and the rest.
	fd, args, _ := strings.Cut(args, "<")
	file, args, _ := strings.Cut(args, ">")
	file = unhex(file)
	ours := file == path || file == path+".new"
	if strings.HasPrefix(name, "rename") {
		return cutAction{kind: "rename"}, nil
	}
	if name == "write" && fd == "1" {
		a.kind = "confirm"
		_, err := fmt.Sscanf(args, ", %q", new(string))
		_, text, _ := strings.Cut(args, `"`)
		text, _, _ = strings.Cut(text, `"`)
		a.data = []byte(unhex(text))
		return a, err
	}
	if !ours {
		return a, nil
	}
	switch name {
	case "pwrite64":
		_, text, _ := strings.Cut(args, `"`)
		text, rest, _ := strings.Cut(text, `"`)
		var n int
		_, err = fmt.Sscanf(rest, ", %d, %d)", &n, &a.at)
		a.kind, a.data = "write", []byte(unhex(text))
		if err == nil && len(a.data) != n {
			err = fmt.Errorf("%d bytes of %d", len(a.data), n)
		}
	case "ftruncate":
		a.kind = "size"
		_, err = fmt.Sscanf(args, ", %d)", &a.at)
	case "fdatasync", "fsync":
		a.kind = "sync"
	}
	return a, err
}

func unhex(s string) string {
	raw, err := hex.DecodeString(strings.ReplaceAll(s, `\x`, ""))
	if err != nil {
		return s
	}
	return string(raw)
}

// disk is what a file may hold after a cut.
type disk struct {
	synced  []byte
	pending []cutAction
}

func (a *cutAction) apply(file []byte) []byte {
	end := a.at
	if a.kind == "write" {
		end += int64(len(a.data))
	}
	if grown := end - int64(len(file)); grown > 0 {
		file = append(file, make([]byte, grown)...)
	}
	if a.kind == "size" {
		return file[:a.at]
	}
	copy(file[a.at:], a.data)
	return file
}

// left is one way a cut can leave the file: each sector of each write since
// the last sync is there or not.
func (d *disk) left(keep func(action, sector int) bool) []byte {
	const sector = 512
	file := bytes.Clone(d.synced)
	for i := range d.pending {
		a := &d.pending[i]
		if a.kind == "size" {
			if keep(i, 0) {
				file = a.apply(file)
			}
			continue
		}
		for at := 0; at < len(a.data); at += sector {
			if keep(i, at/sector) {
				part := cutAction{kind: "write", at: a.at + int64(at), data: a.data[at:min(at+sector, len(a.data))]}
				file = part.apply(file)
			}
		}
	}
	return file
}

func TestPowerCut(t *testing.T) {
	dir := t.TempDir()
	actions := recordActions(t, filepath.Join(dir, "outbox.db"))
	rng := rand.New(rand.NewPCG(20261125, 512))
	confirmed := []standing{{State: digest(nil)}}
	var lines []standing
	for _, a := range actions {
		if a.kind == "confirm" {
			var s standing
			if err := json.Unmarshal(a.data, &s); err != nil {
				t.Fatal(err)
			}
			lines = append(lines, s)
		}
	}
	if len(lines) != cutSteps {
		t.Fatalf("%d steps were recorded, want %d", len(lines), cutSteps)
	}
	confirmed = append(confirmed, lines...)
	var d disk
	whole, step, cuts, syncs := false, 0, 0, 0
	check := func(keep func(action, sector int) bool) {
		cuts++
		path := filepath.Join(dir, "cut.db")
		if err := os.WriteFile(path, d.left(keep), 0o600); err != nil {
			t.Fatal(err)
		}
		checkCut(t, path, confirmed[step:min(step+2, len(confirmed))])
	}
	for _, a := range actions {
		switch a.kind {
		case "rename":
			whole = true
			if len(d.pending) > 0 {
				t.Fatal("the file got its name before it was on the disk")
			}
		case "confirm":
			step++
		case "sync":
			syncs++
			for i := range d.pending {
				d.synced = d.pending[i].apply(d.synced)
			}
			d.pending = nil
		default:
			d.pending = append(d.pending, a)
		}
		if !whole {
			continue // there is no outbox yet
		}
		check(func(int, int) bool { return true })
		if len(d.pending) == 0 {
			continue
		}
		check(func(int, int) bool { return false })
		for range 5 {
			check(func(int, int) bool { return rng.IntN(2) == 0 })
		}
		check(func(action, _ int) bool { return action == len(d.pending)-1 }) // the last one overtook the others
		if t.Failed() {
			return
		}
	}
	t.Logf("%d steps, %d syncs, %d ways of a cut", step, syncs, cuts)
	if cuts < 1000 {
		t.Errorf("only %d ways of a cut were tried", cuts)
	}
}

// checkCut opens what a cut left: it holds what was confirmed, or that and the
// step in hand, whole.
func checkCut(t *testing.T, path string, want []standing) {
	t.Helper()
	o, err := Open(Config{Path: path, Device: "spreader-1"})
	if err != nil {
		t.Error(err)
		return
	}
	defer o.Close()
	got, err := standingOf(o)
	if err != nil || !slices.ContainsFunc(want, got.equal) {
		t.Errorf("the outbox holds %+v (%v)\nwant one of %+v", got, err, want)
	}
	err = o.view("check", func(tx *bolt.Tx) error {
		for err := range tx.Check() {
			t.Error(err)
		}
		return nil
	})
	if err != nil {
		t.Error(err)
	}
}

// A call that another thread interrupts is read like one that nobody did.
func TestALogWithAnInterruptedCallIsRead(t *testing.T) {
	const file = `\x6f`
	whole := `7 pwrite64(3<` + file + `>, "\x61\x62", 2, 4096) = 2` + "\n"
	halves := `7 pwrite64(3<` + file + `>, "\x61\x62", 2, 4096 <unfinished ...>` + "\n" + `8 fsync(3<` + file + `>) = 0` + "\n" + `7 <... pwrite64 resumed>)           = 2` + "\n"
	for log, actions := range map[string]int{whole: 1, halves: 2} {
		got, err := parseActions(log, "o")
		if err != nil || len(got) != actions || got[actions-1].kind != "write" || got[actions-1].at != 4096 || string(got[actions-1].data) != "ab" {
			t.Errorf("%+v, %v of\n%s", got, err, log)
		}
	}
}
