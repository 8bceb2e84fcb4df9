package book

import (
	"context"
	"encoding/json"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"reflect"
	"strconv"
	"strings"
	"testing"
	"time"

	"hopperbook/ingest"
	"hopperbook/ingest/storetest"
	"hopperbook/schemas"
	"hopperbook/schemas/fault"
)

func TestMain(m *testing.M) {
	if dir := os.Getenv("BOOK_TEST_HOLD"); dir != "" {
		os.Exit(holdBook(dir))
	}
	if dir := os.Getenv("BOOK_TEST_FILL"); dir != "" {
		os.Exit(fillUntilFull(dir))
	}
	os.Exit(m.Run())
}

// child runs this test binary again, as another process that does one thing.
func child(t *testing.T, name, dir string) *exec.Cmd {
	t.Helper()
	self, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	cmd := exec.Command(self)
	cmd.Env = append(os.Environ(), name+"="+dir)
	cmd.Stderr = os.Stderr
	return cmd
}

// holdBook holds the book until its standard input ends.
func holdBook(dir string) int {
	b, err := Open(context.Background(), dir, Options{})
	if err != nil {
		fmt.Fprintln(os.Stderr, err)
		return 1
	}
	defer b.Close()
	fmt.Println("held")
	io.Copy(io.Discard, os.Stdin)
	return 0
}

func mustCommit(t testing.TB, b *Book, events ...ingest.Received) ingest.Receipt {
	t.Helper()
	r, err := b.Commit(context.Background(), ingest.Batch{Events: events})
	if err != nil {
		t.Fatalf("Commit: %v", err)
	}
	return r
}

func exported(t testing.TB, b *Book) []string {
	t.Helper()
	var all []string
	if err := b.Export(context.Background(), func(raw []byte) error { all = append(all, string(raw)); return nil }); err != nil {
		t.Fatalf("Export: %v", err)
	}
	return all
}

// wantFault checks code, that the words name the file, and that there is a hint.
func wantFault(t *testing.T, err error, code fault.Code, words ...string) {
	t.Helper()
	if fault.CodeOf(err) != code || err == nil {
		t.Fatalf("code %v (%v), want %v", fault.CodeOf(err), err, code)
	}
	if fault.HintOf(err) == "" {
		t.Errorf("no hint: %v", err)
	}
	for _, w := range words {
		if !strings.Contains(fault.Message(err), w) {
			t.Errorf("%q does not say %q", fault.Message(err), w)
		}
	}
}

func TestReopen(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "new", "folder's")
	b := openBook(t, dir)
	e1, e2 := storetest.Event(storetest.A, 1, "x"), storetest.Event(storetest.A, 3, "x")
	mustCommit(t, b, e1, e2)
	if err := b.Close(); err != nil {
		t.Fatal(err)
	}
	if files, _ := filepath.Glob(filepath.Join(dir, "*.wal")); len(files) > 0 {
		t.Errorf("Close left %v", files)
	}
	b = openBook(t, dir)
	if r := mustCommit(t, b, e1, e2, storetest.Event(storetest.A, 2, "x")); r.Stored != 1 || r.Duplicate != 2 || r.Marks[0].UpTo != 3 {
		t.Errorf("after reopening: %+v", r)
	}
	if head, _ := b.Head(context.Background()); head != 2 {
		t.Errorf("head %d, want 2", head)
	}
	if got := len(exported(t, b)); got != 3 {
		t.Errorf("%d events, want 3", got)
	}
}

// What a killed process leaves behind (file and write-ahead log, here copied
// while the book is open) holds every batch that was committed.
func TestReopenAfterKill(t *testing.T) {
	dir, left := t.TempDir(), t.TempDir()
	b := openBook(t, dir)
	for seq := range int64(20) {
		mustCommit(t, b, storetest.Event(storetest.A, seq+1, "x"))
	}
	files, err := filepath.Glob(filepath.Join(dir, "hopperbook.*"))
	if err != nil || len(files) < 3 {
		t.Fatalf("want book, lock and log, have %v (%v)", files, err)
	}
	for _, f := range files {
		data, err := os.ReadFile(f)
		if err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(filepath.Join(left, filepath.Base(f)), data, 0o644); err != nil {
			t.Fatal(err)
		}
	}
	again := openBook(t, left)
	if got, want := exported(t, again), exported(t, b); !reflect.DeepEqual(got, want) || len(got) != 20 {
		t.Errorf("%d events, want %d", len(got), len(want))
	}
	if r := mustCommit(t, again, storetest.Event(storetest.A, 20, "x"), storetest.Event(storetest.A, 21, "x")); r.Stored != 1 || r.Marks[0].UpTo != 21 {
		t.Errorf("receipt %+v", r)
	}
}

func TestHeldByAnotherProcess(t *testing.T) {
	dir := t.TempDir()
	cmd := child(t, "BOOK_TEST_HOLD", dir)
	stdin, err := cmd.StdinPipe()
	if err != nil {
		t.Fatal(err)
	}
	stdout, err := cmd.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	if _, err := io.ReadFull(stdout, make([]byte, len("held\n"))); err != nil {
		t.Fatal(err)
	}
	_, err = Open(context.Background(), dir, Options{})
	wantFault(t, err, fault.Held, bookFile, "process "+strconv.Itoa(cmd.Process.Pid), "stop the hub, or run this command while the hub answers")
	stdin.Close()
	if err := cmd.Wait(); err != nil {
		t.Fatal(err)
	}
	openBook(t, dir)
}

func TestNewerVersion(t *testing.T) {
	dir := t.TempDir()
	b := openBook(t, dir)
	if _, err := b.db.Exec("INSERT INTO migration VALUES (99, 'later')"); err != nil {
		t.Fatal(err)
	}
	if err := b.Close(); err != nil {
		t.Fatal(err)
	}
	_, err := Open(context.Background(), dir, Options{})
	wantFault(t, err, fault.TooNew, "version 99", "update hopperbook")
}

func TestDamagedFiles(t *testing.T) {
	whole := t.TempDir()
	b := openBook(t, whole)
	mustCommit(t, b, storetest.Event(storetest.A, 1, "x"))
	if err := b.Close(); err != nil {
		t.Fatal(err)
	}
	good, err := os.ReadFile(filepath.Join(whole, bookFile))
	if err != nil {
		t.Fatal(err)
	}
	broken := append([]byte{}, good...)
	for i := 12 << 10; i < len(broken); i++ { // past the headers
		broken[i] ^= 0x55
	}
	for name, data := range map[string][]byte{
		"text":     []byte("this is no database"),
		"zeros":    make([]byte, 50_000),
		"cut off":  good[:100<<10],
		"rotten":   broken,
		"a header": good[:5000],
	} {
		t.Run(name, func(t *testing.T) {
			dir := t.TempDir()
			if err := os.WriteFile(filepath.Join(dir, bookFile), data, 0o644); err != nil {
				t.Fatal(err)
			}
			_, err := Open(context.Background(), dir, Options{})
			wantFault(t, err, fault.Input, bookFile)
			if now, _ := os.ReadFile(filepath.Join(dir, bookFile)); string(now) != string(data) {
				t.Error("opening changed the damaged file")
			}
		})
	}
}

func TestBadFolders(t *testing.T) {
	file := filepath.Join(t.TempDir(), "file")
	if err := os.WriteFile(file, nil, 0o644); err != nil {
		t.Fatal(err)
	}
	for _, dir := range []string{file, filepath.Join(file, "below"), "a?b", "50%"} {
		if b, err := Open(context.Background(), dir, Options{}); err == nil {
			b.Close()
			t.Errorf("%s: opened", dir)
		}
	}
	if os.Geteuid() == 0 {
		t.Log("permission not tried: root may do everything")
		return
	}
	locked := t.TempDir()
	if err := os.Chmod(locked, 0o500); err != nil {
		t.Fatal(err)
	}
	_, err := Open(context.Background(), locked, Options{})
	wantFault(t, err, fault.Input, "right to read and write")
}

// Two books on one folder in one process share the file and stay right.
func TestTwiceInOneProcess(t *testing.T) {
	dir := t.TempDir()
	a, b := openBook(t, dir), openBook(t, dir)
	e := func(seq int64) ingest.Received { return storetest.Event(storetest.A, seq, "x") }
	mustCommit(t, a, e(1))
	if r := mustCommit(t, b, e(1), e(2)); r.Stored != 1 || r.Duplicate != 1 {
		t.Errorf("receipt %+v", r)
	}
	if r := mustCommit(t, a, e(2), e(3)); r.Stored != 1 || r.Duplicate != 1 || r.Marks[0].UpTo != 3 {
		t.Errorf("receipt %+v", r)
	}
}

func TestClosed(t *testing.T) {
	b := openBook(t, t.TempDir())
	if err := b.Close(); err != nil {
		t.Fatal(err)
	}
	if err := b.Close(); err != nil {
		t.Errorf("closing twice: %v", err)
	}
	if _, err := b.Commit(context.Background(), ingest.Batch{}); err == nil {
		t.Error("a closed book took a batch")
	}
	if _, err := b.Marks(context.Background()); err == nil {
		t.Error("a closed book was read")
	}
}

// A book of version 1 with rows in it is brought up to date: its rows have
// nothing in the new columns until they are rebuilt from the events.
func TestABookOfVersionOne(t *testing.T) {
	dir := t.TempDir()
	b := openBook(t, dir)
	const sag = `{"item":"belt_sag","value":60,"unit":"mm","pass":false,"position":"left"}`
	at := time.Date(2026, 3, 2, 8, 0, 0, 0, time.UTC)
	raw, err := schemas.Write(schemas.Identity{Source: storetest.A, Sequence: 1}, "01J00000000000000000000000", schemas.TypeCheckMachine, at, json.RawMessage(sag))
	if err != nil {
		t.Fatal(err)
	}
	event, bad := schemas.Read(raw)
	if bad != nil {
		t.Fatal(bad)
	}
	mustCommit(t, b, ingest.Received{Event: event, At: at})
	if _, err := b.db.Exec("DELETE FROM migration WHERE version > 1"); err != nil {
		t.Fatal(err)
	}
	steps, err := migrations()
	if err != nil {
		t.Fatal(err)
	}
	for _, step := range steps[1:] {
		for line := range strings.Lines(step.sql) {
			if table, ok := strings.CutPrefix(line, "CREATE TABLE "); ok {
				if _, err := b.db.Exec("DROP TABLE " + strings.Fields(table)[0]); err != nil {
					t.Fatal(err)
				}
			}
			if column, ok := strings.CutPrefix(line, "ALTER TABLE "); ok {
				words := strings.Fields(column) // TABLE ADD COLUMN name TYPE;
				if _, err := b.db.Exec("ALTER TABLE " + words[0] + " DROP COLUMN " + words[3]); err != nil {
					t.Fatal(err)
				}
			}
		}
	}
	if err := b.Close(); err != nil {
		t.Fatal(err)
	}
	b = openBook(t, dir)
	position := func() any { return tableRows(t, b, "SELECT position FROM check_machine ORDER BY ALL")[0][0] }
	if got := position(); got != nil {
		t.Errorf("position %v before the rebuild", got)
	}
	if err := b.Rebuild(context.Background()); err != nil {
		t.Fatal(err)
	}
	if got := position(); got != "left" {
		t.Errorf("position %v after the rebuild", got)
	}
}
