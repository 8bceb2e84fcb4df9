package track

import (
	"cmp"
	"slices"

	"hopperbook/reconcile/plane"
	"hopperbook/schemas"
)

// Field is a piece of ground a segment can lie in.
type Field struct {
	ID       schemas.FieldID
	Boundary plane.Boundary
}

// blockSize is how many neighbouring segments share one look for fields nearby:
// large enough that the look costs little, small enough that few fields remain.
const blockSize = 64

// SplitByField says for every segment in which field it lies, by its boundary;
// segments across a boundary are cut there, so distance, swath and nominal mass are
// shared exactly. Where fields overlap the one with the smallest ID has the
// ground. What lies in no field has Field "". Order and Line are kept.
// O(n/64 x fields + n x sides of the fields nearby).
func SplitByField(segments []Segment, fields []Field) []Segment {
	fields = slices.Clone(fields)
	slices.SortStableFunc(fields, func(a, b Field) int { return cmp.Compare(a.ID, b.ID) })
	out := make([]Segment, 0, len(segments))
	var cuts []float64
	for block := range slices.Chunk(segments, blockSize) {
		near := fieldsNear(block, fields)
		for _, s := range block {
			cuts = cuts[:0]
			for _, f := range near {
				if f.meets(s) {
					cuts = f.appendCuts(cuts, s)
				}
			}
			out = appendPieces(out, s, near, cuts)
		}
	}
	return out
}

func fieldsNear(block []Segment, fields []Field) []Field {
	lon0 := block[0].FromLonDeg
	minLat, maxLat, minLon, maxLon := block[0].FromLatDeg, block[0].FromLatDeg, 0.0, 0.0
	for _, s := range block {
		for _, p := range [2][2]float64{{s.FromLatDeg, s.FromLonDeg}, {s.ToLatDeg, s.ToLonDeg}} {
			d := plane.WrapDeg(p[1] - lon0)
			minLat, maxLat = min(minLat, p[0]), max(maxLat, p[0])
			minLon, maxLon = min(minLon, d), max(maxLon, d)
		}
	}
	var near []Field
	for _, f := range fields {
		// Half-way round the globe the corners no longer tell which side is meant.
		if maxLon-minLon >= 90 || f.Boundary.MayMeet(minLat, lon0+minLon, maxLat, lon0+maxLon) {
			near = append(near, f)
		}
	}
	return near
}

func (f Field) meets(s Segment) bool {
	return f.Boundary.MayMeet(s.FromLatDeg, s.FromLonDeg, s.ToLatDeg, s.ToLonDeg)
}

// appendCuts adds the fractions of s at which it crosses the boundary.
func (f Field) appendCuts(cuts []float64, s Segment) []float64 {
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
func appendPieces(out []Segment, s Segment, near []Field, cuts []float64) []Segment {
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
func fieldAt(s Segment, near []Field) schemas.FieldID {
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
