package book

import (
	"context"
	"errors"
	"fmt"
	"math/rand/v2"
	"reflect"
	"slices"
	"sync"
	"testing"
	"time"

	"hopperbook/ingest"
	"hopperbook/ingest/storetest"
	"hopperbook/schemas"
	"hopperbook/schemas/fault"
)

// A commit that fails leaves everything as it was: rows, marks, head.
func TestFailedCommitChangesNothing(t *testing.T) {
	b := openBook(t, t.TempDir())
	mustCommit(t, b, storetest.Event(storetest.A, 1, "x"))
	good := storetest.Event(storetest.A, 2, "x")
	noTable := storetest.Event(storetest.A, 3, "x")
	noTable.Type = "no.such"
	noTime := storetest.Event(storetest.A, 3, "x")
	noTime.At = time.Time{} // no nanosecond timestamp holds the year 1
	brokenPass := storetest.Event(storetest.A, 3, "x")
	brokenPass.Type, brokenPass.Data = schemas.TypePassLogged, `{"start":"soon"}`
	canceled, cancel := context.WithCancel(context.Background())
	cancel()
	for name, c := range map[string]struct {
		ctx context.Context
		bad ingest.Received
	}{
		"a type without a table":   {context.Background(), noTable},
		"an append that fails":     {context.Background(), noTime},
		"a pass log without fixes": {context.Background(), brokenPass},
		"canceled":                 {canceled, storetest.Event(storetest.A, 3, "x")},
	} {
		_, err := b.Commit(c.ctx, ingest.Batch{Events: []ingest.Received{good, c.bad}, Rejects: []ingest.Reject{storetest.Reject(storetest.A, 9, "{")}})
		if f := (*fault.Error)(nil); !errors.As(err, &f) {
			t.Errorf("%s: error %v, want a fault", name, err)
		}
		want := []schemas.Mark{{Source: storetest.A, UpTo: 1}}
		if got := mustMarks(t, b); !reflect.DeepEqual(got, want) {
			t.Errorf("%s: marks %v, want %v", name, got, want)
		}
		if head, _ := b.Head(context.Background()); head != 1 {
			t.Errorf("%s: head %d, want 1", name, head)
		}
	}
	if r := mustCommit(t, b, good, storetest.Event(storetest.A, 3, "x")); r.Stored != 2 || r.Marks[0].UpTo != 3 || len(r.Marks[0].Above) != 0 {
		t.Errorf("afterwards: %+v", r)
	}
	if n := len(exported(t, b)); n != 3 {
		t.Errorf("%d events, want 3", n)
	}
}

// The check before COMMIT notices rows that did not arrive.
func TestCountBeforeCommit(t *testing.T) {
	ctx := context.Background()
	b := openBook(t, t.TempDir())
	mustCommit(t, b, storetest.Event(storetest.A, 1, "x"))
	// A stray row under the next head stands for a count that is not right.
	if _, err := b.db.Exec("INSERT INTO event SELECT source_no, 77, id, type, version, time, received_at, 2, digest, raw FROM event"); err != nil {
		t.Fatal(err)
	}
	if _, err := b.Commit(ctx, ingest.Batch{Events: []ingest.Received{storetest.Event(storetest.A, 2, "x")}}); err == nil {
		t.Error("a wrong count was committed")
	}
}

// Writers and readers at once: nothing twice, and every reader sees whole
// batches.
func TestReadersBesideWriters(t *testing.T) {
	ctx := context.Background()
	b := openBook(t, t.TempDir())
	const batches, size = 12, 20
	var wait sync.WaitGroup
	for w := range 2 {
		wait.Go(func() {
			r := rand.New(rand.NewPCG(uint64(w), 3))
			for _, n := range r.Perm(batches) {
				var batch ingest.Batch
				for i := range size {
					batch.Events = append(batch.Events, storetest.Event(storetest.A, int64(n*size+i+1), "x"))
				}
				if _, err := b.Commit(ctx, batch); err != nil {
					t.Error(err)
				}
			}
		})
	}
	wait.Go(func() {
		for range batches {
			n := 0
			if err := b.Export(ctx, func([]byte) error { n++; return nil }); err != nil || n%size != 0 {
				t.Errorf("a reader saw %d events (%v), want whole batches of %d", n, err, size)
			}
		}
	})
	wait.Wait()
	if got := mustMarks(t, b); len(got) != 1 || got[0].UpTo != batches*size || len(exported(t, b)) != batches*size {
		t.Errorf("marks %v", got)
	}
}

func TestGaps(t *testing.T) {
	for _, c := range []struct {
		marks []schemas.Mark
		want  []Gap
	}{
		{nil, nil},
		{[]schemas.Mark{{Source: "a", UpTo: 9}}, nil},
		{[]schemas.Mark{{Source: "a", Above: [][2]int64{{3, 3}}}}, []Gap{{"a", 1, 2}}},
		{[]schemas.Mark{{Source: "a", UpTo: 4, Above: [][2]int64{{6, 8}, {12, 12}}}, {Source: "b", UpTo: 1, Above: [][2]int64{{3, 4}}}},
			[]Gap{{"a", 5, 5}, {"a", 9, 11}, {"b", 2, 2}}},
	} {
		if got := GapsOf(c.marks); !reflect.DeepEqual(got, c.want) {
			t.Errorf("gaps of %v: %v, want %v", c.marks, got, c.want)
		}
	}
	b := openBook(t, t.TempDir())
	mustCommit(t, b, storetest.Event(storetest.A, 2, "x"), storetest.Event(storetest.A, 5, "x"))
	if got, err := b.Gaps(context.Background()); err != nil || !reflect.DeepEqual(got, []Gap{{storetest.A, 1, 1}, {storetest.A, 3, 4}}) {
		t.Errorf("gaps %v (%v)", got, err)
	}
}

// The marks keep the shape the rest relies on, whatever order numbers come in.
func TestSourceMark(t *testing.T) {
	r := rand.New(rand.NewPCG(4, 4))
	for range 200 {
		n := 1 + r.IntN(40)
		var m sourceMark
		held := map[int64]bool{}
		for _, i := range r.Perm(n) {
			seq := int64(i + 1)
			if r.IntN(4) == 0 {
				continue
			}
			m.add(seq)
			held[seq] = true
			last := m.upTo
			for _, g := range m.above {
				if g[0] <= last+1 || g[1] < g[0] {
					t.Fatalf("%+v is out of shape", m)
				}
				last = g[1]
			}
			for s := int64(1); s <= int64(n)+1; s++ {
				if m.holds(s) != held[s] || m.public("a").Holds(s) != held[s] {
					t.Fatalf("%+v: holds(%d) is %v, want %v", m, s, m.holds(s), held[s])
				}
			}
		}
	}
}

func TestEventsAndCount(t *testing.T) {
	ctx := context.Background()
	b := openBook(t, t.TempDir())
	batch := everyType(t, rand.New(rand.NewPCG(5, 5)))
	mustCommit(t, b, batch.Events...)
	want := slices.Clone(batch.Events)
	slices.SortStableFunc(want, func(x, y ingest.Received) int {
		if c := x.Time.Compare(y.Time); c != 0 {
			return c
		}
		return int(x.Sequence - y.Sequence)
	})
	for _, types := range [][]schemas.EventType{nil, {schemas.TypeLoadWeighed}, {schemas.TypeJobStarted, schemas.TypeTestTray}, {"none"}} {
		var got []schemas.Event
		if err := b.Events(ctx, types, func(e *schemas.Event) error { got = append(got, *e); return nil }); err != nil {
			t.Fatal(err)
		}
		var filtered []schemas.Event
		for _, e := range want {
			if types == nil || slices.Contains(types, e.Type) {
				filtered = append(filtered, e.Event)
			}
		}
		if !reflect.DeepEqual(got, filtered) {
			t.Errorf("events of %v:\n got %v\nwant %v", types, got, filtered)
		}
	}
	counts, err := b.Count(ctx)
	if err != nil || len(counts) != len(schemas.Types()) || counts[schemas.TypePassLogged] != 4 {
		t.Errorf("counts %v (%v)", counts, err)
	}
	stop := errors.New("stop")
	if err := b.Events(ctx, nil, func(*schemas.Event) error { return stop }); !errors.Is(err, stop) {
		t.Errorf("the function's error came back as %v", err)
	}
}

func TestPasses(t *testing.T) {
	b := openBook(t, t.TempDir())
	r := rand.New(rand.NewPCG(6, 6))
	var batch ingest.Batch
	for seq := range int64(30) {
		batch.Events = append(batch.Events, passEvent(t, r, storetest.A, seq+1))
	}
	mustCommit(t, b, batch.Events...)
	slices.SortFunc(batch.Events, func(x, y ingest.Received) int { return x.Time.Compare(y.Time) })
	i := 0
	err := b.Passes(context.Background(), func(p PassRow) error {
		e := batch.Events[i]
		fixes, _, err := schemas.PassFixes(e.Data, nil)
		if err != nil {
			return err
		}
		if p.Identity != e.Identity || p.ID != e.ID || !p.Time.Equal(e.Time) || p.Machine != "spreader-a" || p.Job != "job-1" || p.Field != "field-1" || !sameFixes(p.Fixes, fixes) {
			return fmt.Errorf("pass %d: %v\nwant %v", i, p, e)
		}
		i++
		return nil
	})
	if err != nil || i != 30 {
		t.Errorf("%d passes: %v", i, err)
	}
	row := tableRows(t, b, "SELECT fixes, first_fix_at <= last_fix_at, lat_min_deg <= lat_max_deg, lon_min_deg <= lon_max_deg FROM pass_log ORDER BY sequence")[0]
	if !reflect.DeepEqual(row, []any{int64(benchFixes), true, true, true}) {
		t.Errorf("columns %v", row)
	}
}

func TestResult(t *testing.T) {
	ctx := context.Background()
	b := openBook(t, t.TempDir())
	if _, _, ok, err := b.Result(ctx, "fields"); ok || err != nil {
		t.Errorf("there is a result before one was saved (%v)", err)
	}
	for head, doc := range [][]byte{[]byte("one"), {0, 255}, {}} {
		if err := b.SaveResult(ctx, "fields", int64(head), doc); err != nil {
			t.Fatal(err)
		}
		if got, at, ok, err := b.Result(ctx, "fields"); !ok || err != nil || at != int64(head) || string(got) != string(doc) {
			t.Errorf("result %q at %d, %v, %v", got, at, ok, err)
		}
	}
	if head, err := b.Head(ctx); head != 0 || err != nil {
		t.Errorf("saving a result moved the head to %d (%v)", head, err)
	}
}

func TestTroubleWords(t *testing.T) {
	b := openBook(t, t.TempDir())
	at := storetest.Epoch()
	batch := ingest.Batch{
		Events:  []ingest.Received{storetest.EventAt(storetest.A, 1, "x", at.AddDate(-10, 0, 0), at), storetest.EventAt(storetest.A, 1, "y", at, at.Add(time.Second))},
		Rejects: []ingest.Reject{storetest.Reject(storetest.A, 2, "{"), storetest.Reject("", 0, "{")},
	}
	if _, err := b.Commit(context.Background(), batch); err != nil {
		t.Fatal(err)
	}
	troubles, err := b.Troubles(context.Background(), true)
	if err != nil || len(troubles) != 4 {
		t.Fatalf("%v (%v)", troubles, err)
	}
	kinds := []TroubleKind{TroubleClock, TroubleRejected, TroubleRejected, TroubleContradicting}
	for i, trouble := range troubles {
		if trouble.Kind != kinds[i] || trouble.Detail == "" || trouble.Hint == "" || trouble.Rule == "" {
			t.Errorf("trouble %d: %+v", i, trouble)
		}
	}
	if want := "says it happened 3652 days before it was received"; troubles[0].Detail != want {
		t.Errorf("clock: %q, want %q", troubles[0].Detail, want)
	}
}

// spans cut a walk without losing or repeating an hour.
func TestWalkOverManySpans(t *testing.T) {
	b := openBook(t, t.TempDir())
	var batch ingest.Batch
	n := int64(spanRows + 500)
	for seq := range n {
		e := storetest.Event(storetest.A, 1, "x")
		e.Sequence, e.Time = seq+1, storetest.Epoch().Add(time.Duration(seq)*time.Second)
		batch.Events = append(batch.Events, e)
	}
	mustCommit(t, b, batch.Events...)
	next := int64(1)
	err := b.Events(context.Background(), nil, func(e *schemas.Event) error {
		if e.Sequence != next {
			return fmt.Errorf("event %d came, want %d", e.Sequence, next)
		}
		next++
		return nil
	})
	if err != nil || next != n+1 {
		t.Errorf("up to %d of %d: %v", next-1, n, err)
	}
}
