package coverage

import "math"

// foresight is what a line says of the lengths above and below it, as long as the same sides
// cut the lines there in the same order.
type foresight struct {
	v, v0, v1       float64 // the line, in the middle of v0..v1
	unsure          bool    // two ends meet on the line: it says nothing of what lies between them elsewhere
	low, high, area lengths // by how much the lengths on v0 and v1 differ from its own; what the area has more than the line's length times v1 - v0
}

// foresee works a foresight out from the hits of its line.
func (w *worker) foresee(f *foresight, hits []hit) {
	z := w.zonesAt(f.v)
	w.endsOf(hits)
	w.timesBefore(hits, f.v)
	var last moved
	for k, e := range w.ends {
		left, right := w.before[k], w.before[k+1]
		for ; z.reached < len(z.cuts) && z.cuts[z.reached].x < e.x; z.reached++ {
			c := &z.cuts[z.reached]
			to := f.straight(c.slope)
			f.put(z, left, to, 1)
			z.pass(c)
			f.put(z, left, to, -1)
		}
		h := &hits[e.hit]
		i, arc := h.at0, h.arc0
		if e.x == h.x1 {
			i, arc = h.at1, h.arc1
		}
		to := w.moves(f, i, arc, e.x)
		if k > 0 && e.x-w.ends[k-1].x < leastLayerM && to.apart(last) > leastLayerM {
			f.unsure = true
			return
		}
		f.put(z, left, to, 1)
		f.put(z, right, to, -1)
		last = to
	}
}

// timesBefore is how often the stretch before each end is covered, and the one after the last.
func (w *worker) timesBefore(hits []hit, v float64) {
	w.before = w.before[:0]
	w.quiet(len(hits))
	x, covering := 0.0, 0
	for _, e := range w.ends {
		times := min(covering, 1)
		if covering > 1 {
			times = w.times(hits, (x+e.x)/2, v)
		}
		w.before = append(w.before, times)
		x = e.x
		covering += w.toggle(e.hit)
	}
	w.before = append(w.before, 0)
}

// moved is how far a place on a line has gone on v0 and on v1, and the area between its way and the line square to them.
type moved struct{ low, high, area float64 }

// apart is how far two places that were one have gone from each other.
func (m moved) apart(n moved) float64 { return max(math.Abs(m.low-n.low), math.Abs(m.high-n.high)) }

// straight is the way of a side, by its slope.
func (f *foresight) straight(slope float64) moved {
	return moved{slope * (f.v0 - f.v), slope * (f.v1 - f.v), 0}
}

// put adds k times the way of the end of a stretch that is covered so many times.
func (f *foresight) put(z *zones, times int, to moved, k float64) {
	if times == 0 {
		return
	}
	z.put(&f.low, times, k*to.low)
	z.put(&f.high, times, k*to.high)
	z.put(&f.area, times, k*to.area)
}

// moves is the way of x on the outline of the quadrilateral of bar i, or of the sector there.
func (w *worker) moves(f *foresight, i int32, isArc bool, x float64) moved {
	if x == w.u0 || x == w.u1 {
		return moved{}
	}
	a, b := &w.c.bars[i], &w.c.bars[i+1]
	if isArc {
		return arcOf(a, b).moves(f, x)
	}
	slope, off := 0.0, math.Inf(1)
	look := func(u0, v0, u1, v1 float64) {
		if (v0 <= f.v) == (v1 <= f.v) {
			return
		}
		k := (u1 - u0) / (v1 - v0)
		if d := math.Abs(u0 + (f.v-v0)*k - x); d < off {
			slope, off = k, d
		}
	}
	look(a.lu, a.lv, b.lu, b.lv)
	look(a.ru, a.rv, b.ru, b.rv)
	look(a.lu, a.lv, a.ru, a.rv)
	look(b.lu, b.lv, b.ru, b.rv)
	return f.straight(slope)
}

// moves is the way of x on the outline of the sector.
func (a arc) moves(f *foresight, x float64) moved {
	r2 := a.pu*a.pu + a.pv*a.pv
	side := func(v float64) float64 { return math.Sqrt(max(0, r2-(v-a.v)*(v-a.v))) }
	x -= a.u
	mid := side(f.v)
	slope, off := 0.0, math.Abs(math.Abs(x)-mid)
	round := true
	for _, radius := range [2][2]float64{{a.pu, a.pv}, {a.qu, a.qv}} {
		if k := radius[0] / radius[1]; math.Abs(k*(f.v-a.v)-x) < off {
			slope, off, round = k, math.Abs(k*(f.v-a.v)-x), false
		}
	}
	if !round {
		return f.straight(slope)
	}
	r := math.Sqrt(r2)
	under := func(v float64) float64 {
		t := max(-r, min(r, v-a.v))
		return (t*math.Sqrt(max(0, r2-t*t)) + r2*math.Asin(t/r)) / 2
	}
	k := math.Copysign(1, x)
	return moved{k * (side(f.v0) - mid), k * (side(f.v1) - mid), k * (under(f.v1) - under(f.v0) - (f.v1-f.v0)*mid)}
}

// surprise is by how much the lengths on v0 and v1 differ from what was foreseen, at the class where that is most.
func (f *foresight) surprise(low, mid, high *lengths) float64 {
	l, h := *low, *high
	l.add(mid, -1)
	l.add(&f.low, -1)
	h.add(mid, -1)
	h.add(&f.high, -1)
	return max(l.most(), h.most())
}
