package book

import (
	"context"
	"testing"
	"time"

	"hopperbook/ingest"
	"hopperbook/ingest/storetest"
	"hopperbook/schemas"
)

type storedAt struct {
	ingest.Received
	head int64
}

// Since when a gap is known, and what came after a head: against a walk over
// everything that was stored.
func TestFirstAfterAndLater(t *testing.T) {
	ctx, b := context.Background(), openBook(t, t.TempDir())
	var all []storedAt
	heads := []int64{0}
	at := time.Date(2026, 3, 2, 8, 0, 0, 0, time.UTC)
	for i, batch := range [][]ingest.Received{ // late, out of order, two sources, one received before an earlier number
		{storetest.Event(storetest.A, 2, "x"), storetest.Event(storetest.B, 1, "x")},
		{storetest.Event(storetest.A, 9, "x")},
		{storetest.Event(storetest.A, 5, "x"), storetest.Event(storetest.A, 1, "x"), storetest.Event(storetest.B, 2, "x")},
	} {
		for j := range batch {
			batch[j].At = at.Add(time.Duration(10*i-j) * time.Minute)
		}
		mustCommit(t, b, batch...)
		head, err := b.Head(ctx)
		if err != nil {
			t.Fatal(err)
		}
		heads = append(heads, head)
		for _, e := range batch {
			all = append(all, storedAt{e, head})
		}
	}
	err := b.Read(ctx, func(v *View) error {
		for _, source := range []schemas.Source{storetest.A, storetest.B, "/devices/nobody/a"} {
			for seq := range int64(11) {
				var want time.Time
				for _, e := range all {
					if e.Source == source && e.Sequence > seq && (want.IsZero() || e.At.Before(want)) {
						want = e.At
					}
				}
				if got, err := v.FirstAfter(ctx, source, seq); err != nil || !got.Equal(want) || got.Location() != time.UTC {
					t.Errorf("after %s %d: %v (%v), want %v", source, seq, got, err, want)
				}
			}
		}
		laterThan(t, v, all, heads)
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
}

// laterThan holds what came after each head, counted and walked, against all.
func laterThan(t *testing.T, v *View, all []storedAt, heads []int64) {
	t.Helper()
	kind := all[0].Type
	for i, head := range heads {
		for _, types := range [][]schemas.EventType{nil, {kind}, {"none"}, {"none", kind}} {
			want := int64(0)
			for _, e := range all {
				for _, typ := range types {
					if e.Type == typ && e.head > head {
						want++
					}
				}
			}
			if got, err := v.Later(context.Background(), head, types); err != nil || got != want {
				t.Errorf("after head %d, of %v: %d (%v), want %d", i, types, got, err, want)
			}
			walked := int64(0)
			err := v.EventsAfter(context.Background(), head, types, func(e *schemas.Event) error { walked++; return nil })
			if types == nil { // no types are all types here
				want = 0
				for _, e := range all {
					if e.head > head {
						want++
					}
				}
			}
			if err != nil || walked != want {
				t.Errorf("walked after head %d, of %v: %d (%v), want %d", i, types, walked, err, want)
			}
		}
	}
}
