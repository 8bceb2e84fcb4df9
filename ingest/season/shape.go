package season

import "math"

// pt is a point or a vector on the season's plane: metres east and north.
type pt struct{ x, y float64 }

func (a pt) plus(b pt, f float64) pt     { return pt{a.x + f*b.x, a.y + f*b.y} }
func (a pt) minus(b pt) pt               { return pt{a.x - b.x, a.y - b.y} }
func (a pt) dot(b pt) float64            { return a.x*b.x + a.y*b.y }
func (a pt) cross(b pt) float64          { return a.x*b.y - a.y*b.x }
func (a pt) length() float64             { return math.Sqrt(a.x*a.x + a.y*a.y) }
func (a pt) left() pt                    { return pt{-a.y, a.x} }
func (a pt) rotated(sin, cos float64) pt { return pt{a.x*cos - a.y*sin, a.x*sin + a.y*cos} }

// unit is a's direction; north for a vector of no length.
func (a pt) unit() pt {
	l := a.length()
	if l == 0 {
		return pt{0, 1}
	}
	return pt{a.x / l, a.y / l}
}

// ring is a polygon without its closing point, counter-clockwise.
type ring []pt

func (r ring) edge(i int) (a, b pt) { return r[i], r[(i+1)%len(r)] }

func (r ring) areaM2() float64 {
	var s float64
	for i := range r {
		a, b := r.edge(i)
		s += a.cross(b)
	}
	return s / 2
}

// contains is the even-odd rule.
func (r ring) contains(p pt) bool {
	in := false
	for i := range r {
		a, b := r.edge(i)
		if (a.y > p.y) != (b.y > p.y) && p.x < a.x+(p.y-a.y)/(b.y-a.y)*(b.x-a.x) {
			in = !in
		}
	}
	return in
}

// simple reports whether no two edges cross or touch but at shared corners. O(n2).
func (r ring) simple() bool {
	n := len(r)
	for i := range r {
		a, b := r.edge(i)
		for j := i + 2; j < n; j++ {
			if (j+1)%n == i {
				continue
			}
			c, d := r.edge(j)
			if crossing(a, b, c, d) {
				return false
			}
		}
	}
	return n >= 3
}

func crossing(a, b, c, d pt) bool {
	side := func(p, q, s pt) bool { return q.minus(p).cross(s.minus(p)) >= 0 }
	return side(a, b, c) != side(a, b, d) && side(c, d, a) != side(c, d, b)
}

// inset moves every edge inwards by d (outwards below zero), corners mitred.
// It fails where an edge would vanish or the ring would cross itself.
func (r ring) inset(d float64) (ring, bool) {
	n := len(r)
	out := make(ring, n)
	for i := range r {
		a, b := r.edge((i + n - 1) % n)
		_, c := r.edge(i)
		u, v := b.minus(a).unit(), c.minus(b).unit()
		turn := u.cross(v)
		if math.Abs(turn) < 1e-6 {
			out[i] = b.plus(u.left(), d)
			continue
		}
		// The corner moves along both edges so that it keeps d from each.
		out[i] = b.plus(v.minus(u), d/turn)
	}
	for i := range out {
		a, b := r.edge(i)
		p, q := out.edge(i)
		if b.minus(a).dot(q.minus(p)) <= 0 {
			return nil, false
		}
	}
	return out, out.simple()
}

// area is a field's outline with its hole; hole is nil for most. Both counter-clockwise.
type area struct{ outer, hole ring }

func (f area) contains(p pt) bool { return f.outer.contains(p) && !f.hole.contains(p) }
func (f area) sizeM2() float64    { return f.outer.areaM2() - f.hole.areaM2() }

// bounds is the smallest box around the outline, grown by a margin.
func (f area) bounds(marginM float64) (low, high pt) {
	low, high = pt{math.Inf(1), math.Inf(1)}, pt{math.Inf(-1), math.Inf(-1)}
	for _, p := range f.outer {
		low = pt{min(low.x, p.x-marginM), min(low.y, p.y-marginM)}
		high = pt{max(high.x, p.x+marginM), max(high.y, p.y+marginM)}
	}
	return low, high
}

// rounded cuts the corners of an open polyline with curves that begin at most
// reachM before a corner.
func rounded(path []pt, reachM float64) []pt {
	if len(path) < 3 {
		return path
	}
	const parts = 8
	out := []pt{path[0]}
	for i := 1; i+1 < len(path); i++ {
		in, away := path[i-1].minus(path[i]), path[i+1].minus(path[i])
		reach := min(reachM, in.length()/2, away.length()/2)
		a, c := path[i].plus(in.unit(), reach), path[i].plus(away.unit(), reach)
		for k := range parts + 1 {
			t := float64(k) / parts
			out = append(out, a.mix(path[i], t).mix(path[i].mix(c, t), t))
		}
	}
	return append(out, path[len(path)-1])
}

func (a pt) mix(b pt, t float64) pt { return pt{a.x + (b.x-a.x)*t, a.y + (b.y-a.y)*t} }

// curve drives from a heading u to b heading v, smooth at both ends.
func curve(a, u, b, v pt) []pt {
	gap := b.minus(a).length()
	reach := min(max(0.8*gap, 8), 45)
	p, q := a.plus(u, reach), b.plus(v, -reach)
	const parts = 24
	out := make([]pt, 0, parts+1)
	for k := range parts + 1 {
		t := float64(k) / parts
		ab, bc, cd := a.mix(p, t), p.mix(q, t), q.mix(b, t)
		out = append(out, ab.mix(bc, t).mix(bc.mix(cd, t), t))
	}
	return out
}
