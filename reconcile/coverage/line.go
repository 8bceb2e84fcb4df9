package coverage

import (
	"cmp"
	"math"
	"math/bits"
	"slices"
)

// lengths is what one line meets in a tile, in m; integrated over the
// lines it is areas in m2.
// outsideTimes and excludedTimes count what was covered twice twice, and more often three times.
type lengths struct{ once, twice, more, outside, excluded, outsideTimes, excludedTimes float64 }

// add adds k m.
func (l *lengths) add(m *lengths, k float64) {
	l.once += k * m.once
	l.twice += k * m.twice
	l.more += k * m.more
	l.outside += k * m.outside
	l.excluded += k * m.excluded
	l.outsideTimes += k * m.outsideTimes
	l.excludedTimes += k * m.excludedTimes
}

// most is the largest of the classes.
func (l *lengths) most() float64 {
	return max(math.Abs(l.once), math.Abs(l.twice), math.Abs(l.more), math.Abs(l.outside), math.Abs(l.excluded))
}

// bend is by how much b lies off the middle of a and c.
func bend(a, b, c *lengths) float64 {
	d := *a
	d.add(b, -2)
	d.add(c, 1)
	return d.most() / 2
}

// rise is by how much a and b differ.
func rise(a, b *lengths) float64 {
	d := *a
	d.add(b, -1)
	return d.most()
}

// hit is the part of a line inside one quadrilateral, or inside several that follow
// each other without much of a turn. Quadrilaterals are named by their first bar.
type hit struct {
	x0, x1   float64
	firstM   float64 // driven where the first of them begins
	lastM    float64 // and where the last of them ends
	way      int32   // of the first
	at0, at1 int32   // those that reach to x0 and x1
	arc0     bool    // that is a sector
	arc1     bool
	run      int32 // unbroken spreading
	piece    int32
	open     int32 // the bar up to which it reaches, where that is not in x0 and x1 yet: see shut
}

// meet adds what of the line v lies in the quadrilateral of bar i and in the tile. It is taken up by the hit
// before where it goes on from that, and not so much further along that a place may be covered again.
//
// Where quadrilaterals lie along the line, it goes from bar to bar through them: then only
// the crossings of the first bar and the last are worked out.
func (w *worker) meet(hits *[]hit, of owner, i int32, v float64) {
	a, b := &w.c.bars[i], &w.c.bars[i+1]
	through := (a.lv <= v) != (a.rv <= v) && (a.lv <= v) == (b.lv <= v) && (a.rv <= v) == (b.rv <= v)
	if n := len(*hits); n > 0 {
		h := &(*hits)[n-1]
		if h.open == i && through && h.way != 0 && h.way == way(a, b) {
			h.open, h.lastM = i+1, b.s
			return
		}
		if h.open >= 0 {
			w.shut(h, v)
		}
	}
	x0, x1 := cut(a, b, v)
	open := int32(-1)
	if through && x0 >= w.u0 && x1 <= w.u1 {
		open = i + 1
	}
	w.enter(hits, of, i, x0, x1, open, false)
}

// meetArc is meet for the sector between the bars i and i+1.
func (w *worker) meetArc(hits *[]hit, of owner, i int32, v float64, a arc) {
	if n := len(*hits); n > 0 && (*hits)[n-1].open >= 0 {
		w.shut(&(*hits)[n-1], v)
	}
	x0, x1 := a.cut(v)
	w.enter(hits, of, i, x0, x1, -1, true)
}

// enter adds the part x0..x1 of a line.
func (w *worker) enter(hits *[]hit, of owner, i int32, x0, x1 float64, open int32, isArc bool) {
	x0, x1 = max(x0, w.u0), min(x1, w.u1)
	if x0 >= x1 {
		return
	}
	a, b := &w.c.bars[i], &w.c.bars[i+1]
	if n := len(*hits); n > 0 {
		h := &(*hits)[n-1]
		if h.run == of.run && a.s-h.lastM <= 1 && x0 <= h.x1 && x1 >= h.x0 && (b.s-h.firstM <= of.againM || h.way != 0 && h.way == way(a, b)) {
			if x0 < h.x0 {
				h.x0, h.at0, h.arc0 = x0, i, isArc
			}
			if x1 > h.x1 {
				h.x1, h.at1, h.arc1 = x1, i, isArc
			}
			h.lastM, h.open = b.s, open
			return
		}
	}
	*hits = append(*hits, hit{x0, x1, a.s, b.s, way(a, b), i, i, isArc, isArc, of.run, of.piece, open})
}

// shut takes the bar up to which a hit is open into it.
func (w *worker) shut(h *hit, v float64) {
	b := &w.c.bars[h.open]
	x := b.lu + (v-b.lv)*(b.ru-b.lu)/(b.rv-b.lv)
	if x < h.x0 {
		h.x0, h.at0, h.arc0 = max(x, w.u0), h.open-1, false
	}
	if x > h.x1 {
		h.x1, h.at1, h.arc1 = min(x, w.u1), h.open-1, false
	}
	h.open = -1
}

// owner is whose quadrilaterals are met.
type owner struct {
	againM     float64
	run, piece int32
}

func (w *worker) owner(p int32) owner {
	return owner{w.c.pieces[p].againM, w.c.runOf(p), p}
}

// way is 1 where the machine drives to the right between two bars, -1 to the left, and 0 mostly across the lines.
func way(a, b *bar) int32 {
	du, dv := b.lu+b.ru-a.lu-a.ru, math.Abs(b.lv+b.rv-a.lv-a.rv)
	switch {
	case du > dv:
		return 1
	case -du > dv:
		return -1
	}
	return 0
}

// drivenAt is what was driven at x of the line v.
func (w *worker) drivenAt(h *hit, x, v float64) float64 {
	d0, d1 := w.drivenIn(h.at0, h.x0, v), w.drivenIn(h.at1, h.x1, v)
	return d0 + (x-h.x0)/(h.x1-h.x0)*(d1-d0)
}

// drivenIn is what was driven at a place in a quadrilateral, along the way of its middle.
func (w *worker) drivenIn(i int32, u, v float64) float64 {
	a, b := &w.c.bars[i], &w.c.bars[i+1]
	du, dv := (b.lu+b.ru-a.lu-a.ru)/2, (b.lv+b.rv-a.lv-a.rv)/2
	d2 := du*du + dv*dv
	if d2 == 0 {
		return a.s
	}
	f := ((u-(a.lu+a.ru)/2)*du + (v-(a.lv+a.rv)/2)*dv) / d2
	return a.s + min(1, max(0, f))*(b.s-a.s)
}

// cut is the part of the line v inside the quadrilateral between two bars; none
// where x0 >= x1. Ends count half-open, so that a line through a vertex meets two sides.
func cut(a, b *bar, v float64) (x0, x1 float64) {
	al, ar, bl, br := a.lv <= v, a.rv <= v, b.lv <= v, b.rv <= v
	if al == ar && bl == br {
		if al == bl {
			return 0, 0
		}
		x0 = a.lu + (v-a.lv)*(b.lu-a.lu)/(b.lv-a.lv)
		x1 = a.ru + (v-a.rv)*(b.ru-a.ru)/(b.rv-a.rv)
		if x0 > x1 {
			x0, x1 = x1, x0
		}
		return x0, x1
	}
	x0, x1 = math.Inf(1), math.Inf(-1)
	if al != ar {
		x := a.lu + (v-a.lv)*(a.ru-a.lu)/(a.rv-a.lv)
		x0, x1 = x, x
	}
	if bl != br {
		x := b.lu + (v-b.lv)*(b.ru-b.lu)/(b.rv-b.lv)
		x0, x1 = min(x0, x), max(x1, x)
	}
	if al != bl {
		x := a.lu + (v-a.lv)*(b.lu-a.lu)/(b.lv-a.lv)
		x0, x1 = min(x0, x), max(x1, x)
	}
	if ar != br {
		x := a.ru + (v-a.rv)*(b.ru-a.ru)/(b.rv-a.rv)
		x0, x1 = min(x0, x), max(x1, x)
	}
	return x0, x1
}

// end is where a hit begins or ends.
type end struct {
	x   float64
	hit int32
}

// sweep adds up the hits of the line v. It goes along their ends from left to right; between two of them the same hits cover.
func (w *worker) sweep(hits []hit, v float64, z *zones) (l lengths) {
	if len(hits) == 1 {
		z.book(&l, 1, hits[0].x0, hits[0].x1)
		return l
	}
	w.endsOf(hits)
	w.quiet(len(hits))
	x, covering := 0.0, 0
	for _, e := range w.ends {
		if covering > 0 && e.x > x {
			times := 1
			if covering > 1 {
				times = w.times(hits, (x+e.x)/2, v)
			}
			z.book(&l, times, x, e.x)
		}
		x = e.x
		covering += w.toggle(e.hit)
	}
	return l
}

// endsOf sorts the ends of hits into w.ends.
func (w *worker) endsOf(hits []hit) {
	w.ends = w.ends[:0]
	for i := range hits {
		w.ends = append(w.ends, end{hits[i].x0, int32(i)}, end{hits[i].x1, int32(i)})
	}
	sortEnds(w.ends)
}

// quiet makes none of n hits active.
func (w *worker) quiet(n int) {
	w.active = w.active[:0]
	for range (n + 63) / 64 {
		w.active = append(w.active, 0)
	}
}

// toggle begins or ends a hit, and is by how many more are active.
func (w *worker) toggle(hit int32) int {
	word, bit := hit/64, uint64(1)<<(hit%64)
	w.active[word] ^= bit
	if w.active[word]&bit != 0 {
		return 1
	}
	return -1
}

// sortEnds sorts by x; few ends, mostly in order, are what it meets.
func sortEnds(ends []end) {
	if len(ends) > 48 {
		slices.SortFunc(ends, func(a, b end) int { return cmp.Or(cmp.Compare(a.x, b.x), cmp.Compare(a.hit, b.hit)) })
		return
	}
	for i := 1; i < len(ends); i++ {
		e, k := ends[i], i
		for ; k > 0 && (ends[k-1].x > e.x || ends[k-1].x == e.x && ends[k-1].hit > e.hit); k-- {
			ends[k] = ends[k-1]
		}
		ends[k] = e
	}
}

// times is how often x is covered, up to three times: once for every visit, where a
// new visit begins when enough was driven since the place was last covered.
func (w *worker) times(hits []hit, x, v float64) int {
	n := 0
	var last *hit
	for word, mask := range w.active {
		for ; mask != 0; mask &= mask - 1 {
			h := &hits[word*64+bits.TrailingZeros64(mask)]
			if last == nil || h.run != last.run || w.again(last, h, x, v) {
				if n++; n == 3 {
					return n
				}
			}
			last = h
		}
	}
	return n
}

// again reports whether enough was driven at x from hit a to hit b.
func (w *worker) again(a, b *hit, x, v float64) bool {
	wide := max(w.c.pieces[a.piece].againM, w.c.pieces[b.piece].againM)
	switch {
	case b.firstM-a.lastM > wide:
		return true
	case b.lastM-a.firstM <= wide:
		return false
	}
	return w.drivenAt(b, x, v)-w.drivenAt(a, x, v) > wide
}
