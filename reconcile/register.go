package reconcile

import (
	"cmp"
	"slices"
	"strings"
	"time"

	"hopperbook/reconcile/plane"
	"hopperbook/reconcile/track"
	"hopperbook/schemas"
)

// compareAt orders events by time, then identity: the order of the book.
func compareAt(aTime, bTime time.Time, a, b schemas.Identity) int {
	return cmp.Or(aTime.Compare(bTime), strings.Compare(string(a.Source), string(b.Source)), cmp.Compare(a.Sequence, b.Sequence))
}

func sorted[T any](events []At[T]) []At[T] {
	out := slices.Clone(events)
	slices.SortFunc(out, func(a, b At[T]) int { return compareAt(a.Time, b.Time, a.Identity, b.Identity) })
	return out
}

// latest keeps, per key, the last event: a register entry is replaced by a
// later one of the same name.
func latest[K ~string, T any](events []At[T], key func(T) K) map[K]At[T] {
	out := make(map[K]At[T], len(events))
	for _, e := range sorted(events) {
		out[key(e.Data)] = e
	}
	return out
}

// first keeps, per key, the first event and gives the later ones: a fact with
// a name of its own is stated once.
func first[K ~string, T any](events []At[T], key func(T) K) (kept []At[T], again []At[T]) {
	seen := make(map[K]bool, len(events))
	for _, e := range sorted(events) {
		if k := key(e.Data); seen[k] {
			again = append(again, e)
		} else {
			seen[k] = true
			kept = append(kept, e)
		}
	}
	return kept, again
}

// of keeps one machine's events.
func of[T any](events []At[T], machine schemas.MachineID) (out []At[T]) {
	for _, e := range events {
		if e.Machine == machine {
			out = append(out, e)
		}
	}
	return out
}

// registers is what the office and the crews have named.
type registers struct {
	fields   map[schemas.FieldID]At[schemas.RegisterField]
	machines map[schemas.MachineID]At[schemas.RegisterMachine]
	products map[schemas.ProductID]At[schemas.RegisterProduct]
	jobs     map[schemas.JobID]At[schemas.RegisterJob]
	loads    map[schemas.LoadID]At[schemas.LoadWeighed]
	grounds  []track.Field // sorted by ID
	index    *track.Ground // over grounds
	// Areas not to be spread, on their field's own plane; only fields that have some.
	exclusions map[schemas.FieldID]plane.Polygon
	hoppers    map[schemas.LoadID]hopper
	// parts divides what a machine does in a field by more than the product; nil: it does not.
	parts func(schemas.MachineID) func(track.Segment, schemas.ProductID) string
}

// hopper is where a load went first: a load is in one hopper, whatever two
// refills say.
type hopper struct {
	machine schemas.MachineID
	refill  schemas.RefillID
}

func readRegisters(in Input, found *findings) registers {
	r := registers{
		fields:   latest(in.Fields, func(d schemas.RegisterField) schemas.FieldID { return d.Field }),
		machines: latest(in.Machines, func(d schemas.RegisterMachine) schemas.MachineID { return d.Machine }),
		products: latest(in.Products, func(d schemas.RegisterProduct) schemas.ProductID { return d.Product }),
		jobs:     latest(in.Jobs, func(d schemas.RegisterJob) schemas.JobID { return d.Job }),
		loads:    map[schemas.LoadID]At[schemas.LoadWeighed]{},
	}
	r.exclusions = map[schemas.FieldID]plane.Polygon{}
	loads, again := first(in.Loads, func(d schemas.LoadWeighed) schemas.LoadID { return d.Load })
	for _, l := range loads {
		r.loads[l.Data.Load] = l
	}
	for _, l := range again {
		found.add(Finding{Kind: "load_twice", Machine: l.Machine, Event: l.ID, At: l.Time, Amount: l.Data.NetKg, Unit: "kg",
			Text: "load " + string(l.Data.Load) + " was weighed twice under the same name; the first counts"})
	}
	for _, id := range sortedKeys(r.fields) {
		r.addGround(r.fields[id], found)
	}
	r.index = track.NewGround(r.grounds)
	r.hoppers = map[schemas.LoadID]hopper{}
	for _, refill := range sorted(in.Refills) {
		for _, load := range refill.Data.Loads {
			if _, taken := r.hoppers[load]; !taken {
				r.hoppers[load] = hopper{refill.Machine, refill.Data.Refill}
			}
		}
	}
	return r
}

// addGround lays a field's boundary and exclusion areas on a plane. What cannot be laid is a
// finding: a field without a boundary is no ground, exclusion areas that cannot be used exclude nothing.
func (r *registers) addGround(f At[schemas.RegisterField], found *findings) {
	id := f.Data.Field
	note := func(kind, text string) {
		found.add(Finding{Kind: kind, Field: id, Event: f.ID, At: f.Time, Text: text})
	}
	boundary, err := plane.NewBoundary(rings(f.Data.Boundary))
	if err != nil {
		note("bad_boundary", "the boundary cannot be used: "+err.Error())
		return
	}
	if fault := shapeFault(boundary.Polygon); fault != "" {
		note("odd_boundary", "draw the boundary anew, its area is doubtful: "+fault)
	}
	r.grounds = append(r.grounds, track.Field{ID: id, Boundary: boundary})
	if f.Data.Exclusion == nil {
		return
	}
	exclusion, err := boundary.Plane.Lay(rings(*f.Data.Exclusion))
	if err != nil {
		note("bad_exclusion", "the exclusion areas cannot be used, nothing is taken as excluded: "+err.Error())
		return
	}
	if fault := shapeFault(exclusion); fault != "" {
		note("odd_exclusion", "draw the exclusion areas anew, what they exclude is doubtful: "+fault)
	}
	if odd := exclusionKinds(f.Data); odd != "" {
		note("exclusion_kinds", odd)
	}
	r.exclusions[id] = exclusion
}

func rings(b schemas.Boundary) [][][][2]float64 {
	out := make([][][][2]float64, len(b))
	for i, polygon := range b {
		for _, ring := range polygon {
			positions := make([][2]float64, len(ring))
			for k, p := range ring {
				positions[k] = p
			}
			out[i] = append(out[i], positions)
		}
	}
	return out
}

func sortedKeys[K ~string, V any](m map[K]V) []K {
	keys := make([]K, 0, len(m))
	for k := range m {
		keys = append(keys, k)
	}
	slices.Sort(keys)
	return keys
}
