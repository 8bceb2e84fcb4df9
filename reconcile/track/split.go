package track

import (
	"cmp"
	"slices"

	"hopperbook/reconcile/plane"
	"hopperbook/schemas"
)

func (f *Field) meets(s Segment) bool {
	return f.Boundary.MayMeet(s.FromLatDeg, s.FromLonDeg, s.ToLatDeg, s.ToLonDeg)
}

// cut is where a segment crosses a boundary: the fraction of the segment and
// the place of the field among those nearby.
type cut struct {
	at    float64
	field int
}

// appendCuts adds where s crosses the boundary of field number k.
func (f *Field) appendCuts(cuts []cut, k int, s Segment) []cut {
	px, py := f.Boundary.Plane.Forward(s.FromLatDeg, s.FromLonDeg)
	qx, qy := f.Boundary.Plane.Forward(s.ToLatDeg, s.ToLonDeg)
	dx, dy := qx-px, qy-py
	near := plane.Bounds{MinXM: min(px, qx), MaxXM: max(px, qx), MinYM: min(py, qy), MaxYM: max(py, qy)}
	f.Boundary.EachSideNear(near, func(a, b plane.Point) {
		// Signed distances of the side's ends from the line, half-open like Contains.
		da := dx*(a.YM-py) - dy*(a.XM-px)
		db := dx*(b.YM-py) - dy*(b.XM-px)
		if (da <= 0) == (db <= 0) {
			return
		}
		t := da / (da - db)
		x, y := a.XM+t*(b.XM-a.XM), a.YM+t*(b.YM-a.YM)
		if u := ((x-px)*dx + (y-py)*dy) / (dx*dx + dy*dy); u > 0 && u < 1 {
			cuts = append(cuts, cut{u, k})
		}
	})
	return cuts
}

// appendPieces cuts s where the field that has the ground changes.
func (s *splitter) appendPieces(out []Segment, segment Segment) []Segment {
	slices.SortFunc(s.cuts, func(a, b cut) int { return cmp.Compare(a.at, b.at) })
	s.enter(segment)
	begin, here := 0.0, s.field()
	for i := 0; i < len(s.cuts); {
		at := s.cuts[i].at
		for ; i < len(s.cuts) && s.cuts[i].at == at; i++ {
			s.in[s.cuts[i].field] = !s.in[s.cuts[i].field]
		}
		if field := s.field(); field != here {
			p := segment.Part(begin, at)
			p.Field = here
			out = append(out, p)
			begin, here = at, field
		}
	}
	p := segment.Part(begin, 1)
	p.Field = here
	return append(out, p)
}

// enter sets in which fields the segment begins. It looks at the middle of the longest
// piece, where rounding matters least, and goes back from there over the cuts.
func (s *splitter) enter(segment Segment) {
	before, from, to, last := 0, 0.0, -1.0, 0.0
	for i := 0; i <= len(s.cuts); i++ {
		next := 1.0
		if i < len(s.cuts) {
			next = s.cuts[i].at
		}
		if next-last > to-from {
			before, from, to = i, last, next
		}
		last = next
	}
	middle := segment.Part(from, (from+to)/2)
	s.in = s.in[:0]
	for _, f := range s.near {
		s.in = append(s.in, f.holdsEnd(middle))
	}
	for _, c := range s.cuts[:before] {
		s.in[c.field] = !s.in[c.field]
	}
}

// field is the first of the fields that the splitter is in.
func (s *splitter) field() schemas.FieldID {
	for k, in := range s.in {
		if in {
			return s.near[k].ID
		}
	}
	return ""
}

// holdsEnd reports whether the end of s lies in the field.
func (f *Field) holdsEnd(s Segment) bool {
	if !f.Boundary.MayMeet(s.ToLatDeg, s.ToLonDeg, s.ToLatDeg, s.ToLonDeg) {
		return false
	}
	x, y := f.Boundary.Plane.Forward(s.ToLatDeg, s.ToLonDeg)
	return f.Boundary.Contains(x, y)
}
