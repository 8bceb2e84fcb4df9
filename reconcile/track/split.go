package track

import (
	"slices"

	"hopperbook/reconcile/plane"
	"hopperbook/schemas"
)

func (f *Field) meets(s Segment) bool {
	return f.Boundary.MayMeet(s.FromLatDeg, s.FromLonDeg, s.ToLatDeg, s.ToLonDeg)
}

// appendCuts adds the fractions of s at which it crosses the boundary.
func (f *Field) appendCuts(cuts []float64, s Segment) []float64 {
	px, py := f.Boundary.Plane.Forward(s.FromLatDeg, s.FromLonDeg)
	qx, qy := f.Boundary.Plane.Forward(s.ToLatDeg, s.ToLonDeg)
	dx, dy := qx-px, qy-py
	f.Boundary.Polygon.EachEdge(func(a, b plane.Point) {
		// Signed distances of the side's ends from the line, half-open like Contains.
		da := dx*(a.YM-py) - dy*(a.XM-px)
		db := dx*(b.YM-py) - dy*(b.XM-px)
		if (da <= 0) == (db <= 0) {
			return
		}
		t := da / (da - db)
		x, y := a.XM+t*(b.XM-a.XM), a.YM+t*(b.YM-a.YM)
		if u := ((x-px)*dx + (y-py)*dy) / (dx*dx + dy*dy); u > 0 && u < 1 {
			cuts = append(cuts, u)
		}
	})
	return cuts
}

// appendPieces cuts s and joins neighbours that lie in the same field again.
func appendPieces(out []Segment, s Segment, near []*Field, cuts []float64) []Segment {
	slices.Sort(cuts)
	begin, here := 0.0, schemas.FieldID("")
	for i := 0; i <= len(cuts); i++ {
		from, to := 0.0, 1.0
		if i > 0 {
			from = cuts[i-1]
		}
		if i < len(cuts) {
			to = cuts[i]
		}
		if to <= from {
			continue // two sides crossed in one point
		}
		field := fieldAt(s.Part(from, (from+to)/2), near)
		if from > 0 && field != here {
			p := s.Part(begin, from)
			p.Field = here
			out = append(out, p)
			begin = from
		}
		here = field
	}
	p := s.Part(begin, 1)
	p.Field = here
	return append(out, p)
}

// fieldAt is the field the end of s lies in.
func fieldAt(s Segment, near []*Field) schemas.FieldID {
	for _, f := range near {
		if !f.Boundary.MayMeet(s.ToLatDeg, s.ToLonDeg, s.ToLatDeg, s.ToLonDeg) {
			continue
		}
		if x, y := f.Boundary.Plane.Forward(s.ToLatDeg, s.ToLonDeg); f.Boundary.Polygon.Contains(x, y) {
			return f.ID
		}
	}
	return ""
}
