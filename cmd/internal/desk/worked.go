package desk

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"time"

	"hopperbook/ingest/book"
	"hopperbook/reconcile"
	"hopperbook/schemas"
)

// worked is what bills need of the field work, and the digest of every event it
// may come from.
type worked struct {
	events  string // how many there are of each type: facts are only added
	in      reconcile.Input
	divided reconcile.Divided
	lines   map[schemas.EventID][]evidenceLine
}

type evidenceLine struct {
	kind     schemas.EventType
	identity schemas.Identity
	at       time.Time
	text     string // identity and SHA-256
}

// ledgerAt is the ledger as the book was when it held no more than those marks.
func (d *Desk) ledgerAt(ctx context.Context, l *ledger, only asOf) (*ledger, error) {
	past := &ledger{}
	err := d.book.Read(ctx, func(v *book.View) (err error) {
		past.worked = l.worked
		if !l.within(only) {
			if past.worked, err = readWork(ctx, v, "", only); err != nil {
				return err
			}
		}
		return past.read(ctx, v, only)
	})
	return past, err
}

// within reports whether the work comes from no other events.
func (w *worked) within(only asOf) bool {
	for _, lines := range w.lines {
		for _, line := range lines {
			if !only.holds(line.identity) {
				return false
			}
		}
	}
	return true
}

func readWork(ctx context.Context, v *book.View, events string, only asOf) (*worked, error) {
	w := &worked{events: events, lines: map[schemas.EventID][]evidenceLine{}}
	var err error
	if w.in, err = inputOf(ctx, v, only); err != nil {
		return nil, err
	}
	err = v.Events(ctx, evidenceTypes(), func(e *schemas.Event) error {
		if !only.holds(e.Identity) {
			return nil
		}
		sum := sha256.Sum256(e.Raw)
		w.lines[e.ID] = append(w.lines[e.ID], evidenceLine{e.Type, e.Identity, e.Time, e.Identity.String() + " " + hex.EncodeToString(sum[:]) + "\n"})
		return nil
	})
	if err != nil {
		return nil, err
	}
	w.divided, err = reconcile.Divide(w.in)
	return w, err
}
