package coverage

import (
	"cmp"
	"math/bits"
	"slices"
)

// lengths is what one line meets in a tile, in m; integrated over the
// lines it is areas in m2.
type lengths struct{ once, twice, more, outside, excluded float64 }

// add is l + k m.
func (l lengths) add(m lengths, k float64) lengths {
	return lengths{l.once + k*m.once, l.twice + k*m.twice, l.more + k*m.more, l.outside + k*m.outside, l.excluded + k*m.excluded}
}

// largest is the largest absolute value.
func (l lengths) largest() float64 {
	return max(l.once, l.twice, l.more, l.outside, l.excluded, -l.once, -l.twice, -l.more, -l.outside, -l.excluded)
}

// hit is the part of a line inside one quadrilateral, or inside several that follow
// each other without much of a turn.
type hit struct {
	x0, x1      float64
	d0, d1      float64 // driven at x0 and at x1
	first, last float64 // driven where the first begins and the last ends
	againM      float64
	run         int32 // unbroken spreading
	way         int8  // driving to the right 1, to the left -1, mostly across the line 0
}

// absorb takes up the hit of a following quadrilateral; false where that is another
// stretch: elsewhere, or so much further along that the place may be covered again.
func (h *hit) absorb(g *hit) bool {
	if h.run != g.run || g.first-h.last > 1 || g.x0 > h.x1 || g.x1 < h.x0 {
		return false
	}
	if g.last-h.first > g.againM && (h.way == 0 || h.way != g.way) {
		return false
	}
	if g.x0 < h.x0 {
		h.x0, h.d0 = g.x0, g.d0
	}
	if g.x1 > h.x1 {
		h.x1, h.d1 = g.x1, g.d1
	}
	if g.way != h.way {
		h.way = 0
	}
	h.againM, h.last = max(h.againM, g.againM), g.last
	return true
}

// drivenAt is what was driven at x.
func (h *hit) drivenAt(x float64) float64 { return h.d0 + (x-h.x0)/(h.x1-h.x0)*(h.d1-h.d0) }

// cut is the part of the line v inside the quadrilateral between two bars; none
// where x0 >= x1. Ends count half-open, so that a line through a vertex meets two sides.
func cut(a, b *bar, v float64) (x0, x1 float64) {
	n := 0
	var x [4]float64
	if (a.lv <= v) != (a.rv <= v) {
		x[0] = a.lu + (v-a.lv)*(a.ru-a.lu)/(a.rv-a.lv)
		n = 1
	}
	if (b.lv <= v) != (b.rv <= v) {
		x[n] = b.lu + (v-b.lv)*(b.ru-b.lu)/(b.rv-b.lv)
		n++
	}
	if (a.lv <= v) != (b.lv <= v) {
		x[n] = a.lu + (v-a.lv)*(b.lu-a.lu)/(b.lv-a.lv)
		n++
	}
	if (a.rv <= v) != (b.rv <= v) {
		x[n] = a.ru + (v-a.rv)*(b.ru-a.ru)/(b.rv-a.rv)
		n++
	}
	if n < 2 {
		return 0, 0
	}
	x0, x1 = x[0], x[1]
	if x0 > x1 {
		x0, x1 = x1, x0
	}
	for _, more := range x[2:n] {
		x0, x1 = min(x0, more), max(x1, more)
	}
	return x0, x1
}

// end is where a hit begins or ends.
type end struct {
	x   float64
	hit int32
}

// sweeper adds up the hits of one line.
type sweeper struct {
	ends   []end
	active []uint64 // bit i: hit i covers the stretch at hand; hits are in the order of the drive
}

// sweep goes along the ends from left to right; between two of them the same hits cover.
func (w *sweeper) sweep(hits []hit, z *zones) (l lengths) {
	if len(hits) == 1 {
		z.book(&l, 1, hits[0].x0, hits[0].x1)
		return l
	}
	w.ends = w.ends[:0]
	for i := range hits {
		w.ends = append(w.ends, end{hits[i].x0, int32(i)}, end{hits[i].x1, int32(i)})
	}
	sortEnds(w.ends)
	w.active = append(w.active[:0], make([]uint64, (len(hits)+63)/64)...)
	x, covering := 0.0, 0
	for _, e := range w.ends {
		if covering > 0 && e.x > x {
			times := 1
			if covering > 1 {
				times = w.times(hits, (x+e.x)/2)
			}
			z.book(&l, times, x, e.x)
		}
		x = e.x
		word, bit := e.hit/64, uint64(1)<<(e.hit%64)
		if w.active[word] ^= bit; w.active[word]&bit != 0 {
			covering++
		} else {
			covering--
		}
	}
	return l
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
func (w *sweeper) times(hits []hit, x float64) int {
	n, run, last, wide := 0, int32(0), 0.0, 0.0
	for word, mask := range w.active {
		for ; mask != 0; mask &= mask - 1 {
			h := &hits[word*64+bits.TrailingZeros64(mask)]
			driven := h.drivenAt(x)
			if n == 0 || h.run != run || driven-last > max(wide, h.againM) {
				if n++; n == 3 {
					return n
				}
			}
			run, last, wide = h.run, driven, h.againM
		}
	}
	return n
}
