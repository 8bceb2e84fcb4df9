package storetest

import (
	"context"
	"slices"
	"sort"
	"strings"
	"sync"
	"time"

	"hopperbook/ingest"
	"hopperbook/schemas"
)

// Kept is what a store keeps with a reservation. Kind is rejected,
// contradicting or clock.
type Kept struct {
	Kind     string
	Identity schemas.Identity
	Repaired bool
	Raw      string
}

// Fake is a store in memory: maps and loops, no cleverness. The zero value is
// empty. Safe for concurrent use. Every call costs O(everything).
type Fake struct {
	mu         sync.Mutex
	head       int64
	events     map[schemas.Identity]ingest.Received
	quarantine map[Kept]bool
	rejects    map[Kept]bool
}

// Commit takes a batch.
func (f *Fake) Commit(_ context.Context, b ingest.Batch) (ingest.Receipt, error) {
	f.mu.Lock()
	defer f.mu.Unlock()
	if f.events == nil {
		f.events, f.quarantine, f.rejects = map[schemas.Identity]ingest.Received{}, map[Kept]bool{}, map[Kept]bool{}
	}
	var r ingest.Receipt
	touched := map[schemas.Source]bool{}
	for _, e := range b.Events {
		touched[e.Source] = true
		old, have := f.events[e.Identity]
		other := Kept{Kind: "contradicting", Identity: e.Identity, Raw: string(e.Raw)}
		switch {
		case !have:
			f.events[e.Identity] = e
			r.Stored++
		case string(old.Raw) == string(e.Raw), f.quarantine[other]:
			r.Duplicate++
		default:
			f.quarantine[other] = true
			r.Quarantined++
		}
	}
	for _, reject := range b.Rejects {
		if reject.Identity.Source != "" {
			touched[reject.Identity.Source] = true
		}
		k := Kept{Kind: "rejected", Identity: reject.Identity, Raw: string(reject.Raw)}
		if f.rejects[k] {
			r.Duplicate++
			continue
		}
		f.rejects[k] = true
		r.Rejected++
	}
	if r.Stored+r.Quarantined+r.Rejected > 0 {
		f.head++
	}
	for _, m := range f.marks() {
		if touched[m.Source] {
			r.Marks = append(r.Marks, m)
		}
	}
	return r, nil
}

func (f *Fake) marks() []schemas.Mark {
	held := map[schemas.Source]map[int64]bool{}
	hold := func(id schemas.Identity) {
		if id.Source == "" {
			return
		}
		if held[id.Source] == nil {
			held[id.Source] = map[int64]bool{}
		}
		held[id.Source][id.Sequence] = true
	}
	for id := range f.events {
		hold(id)
	}
	for k := range f.rejects {
		hold(k.Identity)
	}
	var marks []schemas.Mark
	for source, set := range held {
		marks = append(marks, markOf(source, set))
	}
	slices.SortFunc(marks, func(a, b schemas.Mark) int { return strings.Compare(string(a.Source), string(b.Source)) })
	return marks
}

func markOf(source schemas.Source, set map[int64]bool) schemas.Mark {
	m := schemas.Mark{Source: source}
	for set[m.UpTo+1] {
		m.UpTo++
	}
	var rest []int64
	for seq := range set {
		if seq > m.UpTo {
			rest = append(rest, seq)
		}
	}
	slices.Sort(rest)
	for _, seq := range rest {
		if n := len(m.Above); n > 0 && m.Above[n-1][1] == seq-1 {
			m.Above[n-1][1] = seq
		} else {
			m.Above = append(m.Above, [2]int64{seq, seq})
		}
	}
	return m
}

// Marks says what is held of each source, ordered by source.
func (f *Fake) Marks(context.Context) ([]schemas.Mark, error) {
	f.mu.Lock()
	defer f.mu.Unlock()
	return f.marks(), nil
}

// Head counts the commits that changed something.
func (f *Fake) Head(context.Context) (int64, error) {
	f.mu.Lock()
	defer f.mu.Unlock()
	return f.head, nil
}

// Export hands out the stored events by time, source, sequence.
func (f *Fake) Export(_ context.Context, fn func(raw []byte) error) error {
	f.mu.Lock()
	all := make([]ingest.Received, 0, len(f.events))
	for _, e := range f.events {
		all = append(all, e)
	}
	f.mu.Unlock()
	sort.Slice(all, func(i, j int) bool {
		a, b := all[i], all[j]
		if !a.Time.Equal(b.Time) {
			return a.Time.Before(b.Time)
		}
		if a.Source != b.Source {
			return a.Source < b.Source
		}
		return a.Sequence < b.Sequence
	})
	for _, e := range all {
		if err := fn(e.Raw); err != nil {
			return err
		}
	}
	return nil
}

// Kept lists rejects, contradicting events and clock flags, in no order.
func (f *Fake) Kept(context.Context) ([]Kept, error) {
	f.mu.Lock()
	defer f.mu.Unlock()
	var all []Kept
	for k := range f.rejects {
		_, k.Repaired = f.events[k.Identity]
		all = append(all, k)
	}
	for k := range f.quarantine {
		all = append(all, k)
	}
	for id, e := range f.events {
		if e.Time.After(e.At.Add(24*time.Hour)) || e.Time.Before(e.At.AddDate(0, 0, -400)) {
			all = append(all, Kept{Kind: "clock", Identity: id, Raw: string(e.Raw)})
		}
	}
	return all, nil
}
