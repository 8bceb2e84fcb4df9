package coverage

import (
	"cmp"
	"fmt"
	"math"

	"hopperbook/reconcile/plane"
	"hopperbook/reconcile/track"
	"hopperbook/schemas/fault"
)

// Segment is a straight piece of driving while spreading, on the plane of the
// field. Line and StartM say where it belongs in the machine's drive: segments of
// one Line are one machine's unbroken drive and StartM is what it had driven by then.
type Segment struct {
	Line                       int
	StartM                     float64
	FromXM, FromYM, ToXM, ToYM float64
	WidthM                     float64 // bout width, 0 < WidthM <= track.MaxBoutWidthM
}

func (s *Segment) lengthM() float64 {
	dx, dy := s.ToXM-s.FromXM, s.ToYM-s.FromYM
	return math.Sqrt(dx*dx + dy*dy)
}

// Result is areas in m2. With a boundary everything but SwathM2 and OutsideM2
// counts only what lies inside it and outside the exclusion areas; without one
// BoundaryM2, ExclusionM2, MissedM2 and OutsideM2 are 0.
type Result struct {
	SwathM2    float64 // distance times bout width, overlaps as often as driven
	CoveredM2  float64 // at least once
	Overlap2M2 float64 // exactly twice
	Overlap3M2 float64 // three times or more
	MissedM2   float64 // BoundaryM2 - ExclusionM2 - CoveredM2
	OutsideM2  float64 // union of the swaths outside the boundary
	ExcludedM2 float64 // union of the swaths in exclusion areas inside the boundary
	// What landed where, for sharing mass: covered as often as it was visited (folds of turns once), at most three times.
	TargetTimesM2, OutsideTimesM2, ExcludedTimesM2 float64

	BoundaryM2  float64 // area of the boundary by the even-odd rule
	ExclusionM2 float64 // what the exclusion areas take of it
	ErrorM2     float64 // estimate of the largest error of the areas covered, overlapped, missed, outside and excluded
}

// FromTrack appends the spreading pieces of one machine to segments, laid on p.
// Pieces without a bout width are left out (a finding of the track). Lines are renumbered
// to follow those already there, so that every call adds a machine of its own. O(n).
func FromTrack(segments []Segment, p plane.Plane, pieces []track.Segment) []Segment {
	first := 0
	for _, s := range segments {
		first = max(first, s.Line+1)
	}
	for _, s := range pieces {
		if !s.Spreading || s.BoutWidthM <= 0 {
			continue
		}
		c := Segment{Line: first + s.Line, StartM: s.StartM, WidthM: s.BoutWidthM}
		c.FromXM, c.FromYM = p.Forward(s.FromLatDeg, s.FromLonDeg)
		c.ToXM, c.ToYM = p.Forward(s.ToLatDeg, s.ToLonDeg)
		segments = append(segments, c)
	}
	return segments
}

// Measure is the areas of the union of the swaths. boundary nil: no boundary; exclusion nil: none.
// The order of segments and repeats of the same segment change nothing; segments is not
// changed. It refuses coordinates that are no numbers or lie beyond plane.ReachM, and bout
// widths out of range. Method, cost and error: see the package comment.
func Measure(segments []Segment, boundary, exclusion *plane.Polygon) (Result, error) {
	c, err := New(boundary, exclusion, Options{})
	if err != nil {
		return Result{}, err
	}
	if err := c.Add(segments); err != nil {
		return Result{}, err
	}
	return c.Result(), nil
}

func compareSegments(a, b Segment) int {
	if a.Line != b.Line {
		return cmp.Compare(a.Line, b.Line)
	}
	if a.StartM != b.StartM {
		return cmp.Compare(a.StartM, b.StartM)
	}
	return cmp.Or(cmp.Compare(a.FromXM, b.FromXM), cmp.Compare(a.FromYM, b.FromYM),
		cmp.Compare(a.ToXM, b.ToXM), cmp.Compare(a.ToYM, b.ToYM), cmp.Compare(a.WidthM, b.WidthM))
}

const op = "measure coverage"

// longestSegmentM bounds what one segment may cost; track joins no fixes further apart than 100 m.
const longestSegmentM = 10e3

func off(v float64) bool { return !(math.Abs(v) <= plane.ReachM) }

// check tells whether segments are in the order of the drive, each once, and refuses those out of range.
func check(segments []Segment) (ordered bool, err error) {
	ordered = true
	for i := range segments {
		s := &segments[i]
		dx, dy := s.ToXM-s.FromXM, s.ToYM-s.FromYM
		if off(s.FromXM) || off(s.FromYM) || off(s.ToXM) || off(s.ToYM) || // no comparison holds for NaN
			!(s.WidthM > 0 && s.WidthM <= track.MaxBoutWidthM && dx*dx+dy*dy <= longestSegmentM*longestSegmentM && math.Abs(s.StartM) <= math.MaxFloat64) {
			return false, refuse(i, s)
		}
		if i == 0 {
			continue
		}
		if a := &segments[i-1]; !(a.Line == s.Line && a.StartM < s.StartM) && compareSegments(*a, *s) >= 0 {
			ordered = false
		}
	}
	return ordered, nil
}

func refuse(i int, s *Segment) error {
	switch {
	case off(s.FromXM) || off(s.FromYM) || off(s.ToXM) || off(s.ToYM):
		return fault.Newf(op, fault.Input, fmt.Sprintf("segment %d lies further than %.0f km from the field", i, plane.ReachM/1000),
			"Measure fields far apart one by one.")
	case !(s.WidthM > 0 && s.WidthM <= track.MaxBoutWidthM):
		return fault.Newf(op, fault.Input, fmt.Sprintf("segment %d has a bout width of %v m", i, s.WidthM),
			fmt.Sprintf("A bout width lies above 0 and at most at %d m.", track.MaxBoutWidthM))
	case math.IsNaN(s.StartM) || math.IsInf(s.StartM, 0):
		return fault.Newf(op, fault.Input, fmt.Sprintf("segment %d starts at %v m", i, s.StartM), "Give the distance driven since the line began.")
	}
	return fault.Newf(op, fault.Input, fmt.Sprintf("segment %d is %.0f km long: no machine spreads that far between two fixes", i, s.lengthM()/1000),
		"Drop the fixes that jump, or give them lines of their own.")
}

func checkGround(what string, p *plane.Polygon) error {
	if p == nil || len(p.Parts) == 0 {
		return nil
	}
	if b := p.Bounds(); off(b.MinXM) || off(b.MinYM) || off(b.MaxXM) || off(b.MaxYM) {
		return fault.Newf(op, fault.Input, "the "+what+" reaches too far or holds no number", "Check the field's "+what+".")
	}
	return nil
}
