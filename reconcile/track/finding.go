package track

import (
	"cmp"
	"slices"
)

// Kind names what was found; its text is stable and may be shown or stored.
type Kind string

// The kinds, and what Detail is for each.
const (
	NullPosition      Kind = "null_position"      // fixes at (0, 0), dropped; Detail 0
	NoFix             Kind = "no_fix"             // fixes without a fix quality, dropped; Detail 0
	BadPosition       Kind = "bad_position"       // latitude or longitude outside the globe or no number, dropped; Detail 0
	OutOfOrder        Kind = "out_of_order"       // fixes older than one that came before; Detail: how late at most, s
	Duplicate         Kind = "duplicate"          // fixes with the time of another, dropped; Detail: largest distance to it, m
	Gap               Kind = "gap"                // time without fixes; Detail: m from its first to its last position
	Jump              Kind = "jump"               // a step faster than the limit; Detail: km/h
	Outlier           Kind = "outlier"            // a single fix away from a track that goes on without it, dropped; Detail: m from the fix before
	Stationary        Kind = "stationary"         // spreading while standing still; Detail: s
	SpreadingInferred Kind = "spreading_inferred" // the log does not say; Detail 0
	TightTurn         Kind = "tight_turn"         // spreading on a radius below half the bout width, or backing up; Detail: m driven
	Outside           Kind = "outside_fields"     // spreading outside every field (see OutsideFields); Detail: m driven
	NoBoutWidth       Kind = "no_bout_width"      // spreading without a known bout width; Detail: m driven
	NoSetRate         Kind = "no_set_rate"        // spreading without a known set rate; Detail: m driven
)

// Finding is one unbroken stretch of one kind.
type Finding struct {
	Kind               Kind
	FromMilli, ToMilli int64   // first and last moment touched
	Count              int     // fixes, or segments for the kinds about metres driven
	Detail             float64 // see the kinds
	NominalKg          float64 // what the set rate asked for there; of Outside only
}

// findings gathers neighbours of a kind into one finding.
type findings struct {
	list []Finding
	open map[Kind]stretch
}

// stretch is the finding of a kind that may still grow: its place in the list
// and the place of its last member in the sequence it was found in.
type stretch struct{ at, last int }

// add notes one member; sequence numbers that are equal or follow each other
// make one stretch. combine joins the details of its members.
func (f *findings) add(x Finding, sequence int, combine func(a, b float64) float64) {
	s, ok := f.open[x.Kind]
	if !ok || sequence > s.last+1 {
		f.list = append(f.list, x)
		f.open[x.Kind] = stretch{len(f.list) - 1, sequence}
		return
	}
	f.open[x.Kind] = stretch{s.at, sequence}
	grown := &f.list[s.at]
	grown.FromMilli, grown.ToMilli = min(grown.FromMilli, x.FromMilli), max(grown.ToMilli, x.ToMilli)
	grown.Count += x.Count
	grown.Detail = combine(grown.Detail, x.Detail)
	grown.NominalKg += x.NominalKg
}

// addOne notes a finding that stands alone.
func (f *findings) addOne(x Finding) { f.list = append(f.list, x) }

func (f *findings) sorted() []Finding {
	slices.SortStableFunc(f.list, func(a, b Finding) int {
		return cmp.Or(cmp.Compare(a.FromMilli, b.FromMilli), cmp.Compare(a.Kind, b.Kind))
	})
	return f.list
}

func larger(a, b float64) float64 { return max(a, b) }
func sum(a, b float64) float64    { return a + b }
