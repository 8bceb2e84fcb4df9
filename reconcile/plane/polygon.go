package plane

import "math"

// Point is a position on a plane.
type Point struct{ XM, YM float64 }

// Ring is a closed line; its last point is joined to its first, whether or not
// they are the same.
type Ring []Point

// Part is one piece of ground: an outer ring and the holes cut out of it.
type Part struct {
	Outer Ring
	Holes []Ring
}

// Polygon is a set of parts on one plane. The zero value is empty: no area,
// contains nothing.
type Polygon struct{ Parts []Part }

// Bounds is an axis-parallel box. It is empty when MinXM > MaxXM.
type Bounds struct{ MinXM, MinYM, MaxXM, MaxYM float64 }

// AreaM2 is the signed area of the ring (shoelace), counter-clockwise positive.
// Fewer than three points give 0; a ring that crosses itself gives the
// difference of its loops. O(n).
func (r Ring) AreaM2() float64 {
	if len(r) < 3 {
		return 0
	}
	// Taken about the first point, so that a far origin costs no digits.
	o, sum := r[0], 0.0
	for i := 1; i+1 < len(r); i++ {
		a, b := r[i], r[i+1]
		sum += (a.XM-o.XM)*(b.YM-o.YM) - (b.XM-o.XM)*(a.YM-o.YM)
	}
	return sum / 2
}

// AreaM2 is the area of the parts less their holes, whatever way the rings
// turn. It is that of Contains for rings that neither cross nor overlap. O(n).
func (p Polygon) AreaM2() float64 { return p.area(Ring.AreaM2) }

// area adds up the parts less their holes, each ring by the given measure.
func (p Polygon) area(of func(Ring) float64) float64 {
	sum := 0.0
	for _, part := range p.Parts {
		sum += math.Abs(of(part.Outer))
		for _, h := range part.Holes {
			sum -= math.Abs(of(h))
		}
	}
	return sum
}

// Contains reports whether a point lies inside by the even-odd rule over all rings.
// A point exactly on an edge belongs to one of the two sides, always the same. O(n).
func (p Polygon) Contains(xM, yM float64) bool {
	inside := false
	p.EachEdge(func(a, b Point) {
		if crosses(a, b, xM, yM) {
			inside = !inside
		}
	})
	return inside
}

// crosses reports whether a side crosses the line eastwards from a point.
func crosses(a, b Point, xM, yM float64) bool {
	return (a.YM <= yM) != (b.YM <= yM) && xM < a.XM+(yM-a.YM)/(b.YM-a.YM)*(b.XM-a.XM)
}

// EachEdge calls do for every edge of every ring, closing edges included.
func (p Polygon) EachEdge(do func(a, b Point)) {
	for _, part := range p.Parts {
		part.Outer.eachEdge(do)
		for _, h := range part.Holes {
			h.eachEdge(do)
		}
	}
}

func (r Ring) eachEdge(do func(a, b Point)) {
	for i := range r {
		do(r[i], r[(i+1)%len(r)])
	}
}

// Bounds is the box around all points; empty for an empty polygon. O(n).
func (p Polygon) Bounds() Bounds {
	b := Bounds{math.Inf(1), math.Inf(1), math.Inf(-1), math.Inf(-1)}
	p.EachEdge(func(a, _ Point) {
		b.MinXM, b.MaxXM = math.Min(b.MinXM, a.XM), math.Max(b.MaxXM, a.XM)
		b.MinYM, b.MaxYM = math.Min(b.MinYM, a.YM), math.Max(b.MaxYM, a.YM)
	})
	return b
}
