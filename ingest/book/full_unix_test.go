//go:build unix

package book

import (
	"context"
	"fmt"
	"math/rand/v2"
	"os"
	"os/signal"
	"syscall"
	"testing"

	"hopperbook/ingest"
	"hopperbook/ingest/storetest"
	"hopperbook/schemas/fault"
)

const fullBatch = 200

// fullBatches is batch n of the child: full pass logs, to fill a small disk soon.
func fullBatches(n int64) ingest.Batch {
	r := rand.New(rand.NewPCG(uint64(n), 0))
	var b ingest.Batch
	e := storetest.Event(storetest.A, 1, "")
	filler := make([]byte, 4000)
	for i := range int64(fullBatch) {
		for j := range filler {
			filler[j] = byte('a' + r.IntN(26)) // does not compress
		}
		e.Sequence = n*fullBatch + i + 1
		e.Raw = fmt.Appendf(nil, `{"data":%s,"filler":"%s"}`, e.Data, filler)
		b.Events = append(b.Events, e)
	}
	return b
}

// fillUntilFull commits until a file may not grow further, then gives room
// and commits the same batch again. It says on standard output how many
// batches the book holds and whether DuckDB had given up.
func fillUntilFull(dir string) int {
	fail := func(args ...any) int { fmt.Fprintln(os.Stderr, args...); return 1 }
	signal.Ignore(syscall.SIGXFSZ)
	ctx := context.Background()
	b, err := Open(ctx, dir, Options{})
	if err != nil {
		return fail(err)
	}
	if threshold := os.Getenv("BOOK_TEST_CHECKPOINT"); threshold != "" {
		if _, err := b.db.Exec("SET checkpoint_threshold = '" + threshold + "'"); err != nil {
			return fail(err)
		}
	}
	var old syscall.Rlimit
	if err := syscall.Getrlimit(syscall.RLIMIT_FSIZE, &old); err != nil {
		return fail(err)
	}
	limit := syscall.Rlimit{Cur: 5 << 20, Max: old.Max}
	if err := syscall.Setrlimit(syscall.RLIMIT_FSIZE, &limit); err != nil {
		return fail(err)
	}
	n := int64(0)
	for ; n < 100; n++ {
		if _, err = b.Commit(ctx, fullBatches(n)); err != nil {
			break
		}
	}
	gaveUp := b.broken
	for range 2 { // again while still full: the same fault, unless opening anew freed room
		if err == nil && gaveUp {
			break
		}
		if fault.CodeOf(err) != fault.Full || fault.HintOf(err) == "" {
			return fail("after", n, "batches want a full disk, have", fault.CodeOf(err), err)
		}
		_, err = b.Commit(ctx, fullBatches(n))
	}
	if err := syscall.Setrlimit(syscall.RLIMIT_FSIZE, &old); err != nil {
		return fail(err)
	}
	r, err := b.Commit(ctx, fullBatches(n))
	if err != nil || r.Stored+r.Duplicate != fullBatch {
		return fail("after making room:", r, err)
	}
	if err := b.Close(); err != nil {
		return fail(err)
	}
	fmt.Println(n+1, gaveUp)
	return 0
}

// A full disk is a fault that waiting mends, also where DuckDB gives its
// instance up over it; afterwards the book holds whole batches, each once.
func TestFullDisk(t *testing.T) {
	for _, c := range []struct {
		name, checkpoint string
		gaveUp           bool
	}{
		{"the log cannot grow", "", false},
		{"a checkpoint cannot be written", "1MiB", true},
	} {
		t.Run(c.name, func(t *testing.T) {
			dir := t.TempDir()
			cmd := child(t, "BOOK_TEST_FILL", dir)
			cmd.Env = append(cmd.Env, "BOOK_TEST_CHECKPOINT="+c.checkpoint)
			out, err := cmd.Output()
			if err != nil {
				t.Fatalf("child: %v", err)
			}
			var batches int64
			var gaveUp bool
			if _, err := fmt.Sscan(string(out), &batches, &gaveUp); err != nil || batches < 3 || gaveUp != c.gaveUp {
				t.Errorf("child says %q (%v); want several batches and %v", out, err, c.gaveUp)
			}
			holdsWholeBatches(t, dir, batches)
		})
	}
}

func holdsWholeBatches(t *testing.T, dir string, batches int64) {
	t.Helper()
	b := openBook(t, dir)
	marks := mustMarks(t, b)
	if len(marks) != 1 || marks[0].UpTo != batches*fullBatch || len(marks[0].Above) != 0 {
		t.Errorf("marks %v, want up to %d", marks, batches*fullBatch)
	}
	if n := len(exported(t, b)); int64(n) != batches*fullBatch {
		t.Errorf("%d events, want %d", n, batches*fullBatch)
	}
	if n := len(tableRows(t, b, "SELECT sequence FROM job_started")); int64(n) != batches*fullBatch {
		t.Errorf("%d typed rows, want %d", n, batches*fullBatch)
	}
}
