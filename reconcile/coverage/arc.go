package coverage

import "math"

// arc is the sector of a circle around u, v, less than half of it: from p to q, seen from the middle, to the left.
type arc struct{ u, v, pu, pv, qu, qv float64 }

// arcOf is the sector between two bars that share one tip.
func arcOf(a, b *bar) arc {
	if a.lu == b.lu && a.lv == b.lv {
		return arc{a.lu, a.lv, a.ru - a.lu, a.rv - a.lv, b.ru - b.lu, b.rv - b.lv}
	}
	return arc{a.ru, a.rv, b.lu - b.ru, b.lv - b.rv, a.lu - a.ru, a.lv - a.rv}
}

// bounds holds the sector: the box of its middle, its ends and where the tangents at these cross.
func (a arc) bounds() (u0, v0, u1, v1 float64) {
	k := 1 / (1 + (a.pu*a.qu+a.pv*a.qv)/(a.pu*a.pu+a.pv*a.pv))
	tu, tv := (a.pu+a.qu)*k, (a.pv+a.qv)*k
	return a.u + min(0, a.pu, a.qu, tu), a.v + min(0, a.pv, a.qv, tv), a.u + max(0, a.pu, a.qu, tu), a.v + max(0, a.pv, a.qv, tv)
}

// cut is the part of the line v in the sector; none where x0 >= x1.
func (a arc) cut(v float64) (x0, x1 float64) {
	v -= a.v
	h := a.pu*a.pu + a.pv*a.pv - v*v
	if h <= 0 {
		return 0, 0
	}
	h = math.Sqrt(h)
	x0, x1 = -h, h
	switch { // left of the way to p
	case a.pv > 0:
		x1 = min(x1, a.pu*v/a.pv)
	case a.pv < 0:
		x0 = max(x0, a.pu*v/a.pv)
	case a.pu*v < 0:
		return 0, 0
	}
	switch { // right of the way to q
	case a.qv > 0:
		x0 = max(x0, a.qu*v/a.qv)
	case a.qv < 0:
		x1 = min(x1, a.qu*v/a.qv)
	case a.qu*v > 0:
		return 0, 0
	}
	return a.u + x0, a.u + x1
}

// turns is the heights at which the circle turns back within the sector; NaN where it does not.
func (a arc) turns() (top, bottom float64) {
	top, bottom = math.NaN(), math.NaN()
	r := math.Sqrt(a.pu*a.pu + a.pv*a.pv)
	if a.pu >= 0 && a.qu <= 0 {
		top = a.v + r
	}
	if a.pu <= 0 && a.qu >= 0 {
		bottom = a.v - r
	}
	return top, bottom
}
