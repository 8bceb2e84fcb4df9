package coverage

import (
	"cmp"
	"math"
	"slices"
)

// worker works tiles out; it keeps its buffers from one tile to the next.
type worker struct {
	c              *Cover
	u0, u1, v0, v1 float64 // of the tile
	runs           []run
	sides          []int32 // of the fence, near the tile
	cutsTile       bool    // a side of the fence reaches into the tile
	uniform        zones   // where none does
	zones          zones
	ends           []end
	active         []uint64 // bit i: hit i covers the stretch at hand; hits are in the order of the drive
	before         []int    // how often the stretch before each end is covered
	breaks         []lineBreak
	sections, next []section
	heights        []float64 // of the lines at hand, ascending
	hits           [][]hit   // of each of them
	met            []lengths // on all lines of the tile
	thinM          float64   // height of sections that need no middle line
	left           int       // lines the tile may still cost
	sum            lengths
	varianceM4     float64
}

// section is a part of the tile's height. low, mid and high are the places in met of the lengths at its ends and in
// its middle.
type section struct {
	v0, v1         float64
	low, mid, high int32
	jump0, jump1   bool // the lengths jump at its ends
	bent           bool // breaks in it were left out
	sure           bool // that three lines agree is no chance
}

// lineBreak is a height at which the lengths bend or jump.
type lineBreak struct {
	v    float64
	jump bool
}

// sortBreaks sorts by v; few breaks are what it meets.
func sortBreaks(b []lineBreak) {
	if len(b) > 48 {
		slices.SortFunc(b, func(x, y lineBreak) int { return cmp.Compare(x.v, y.v) })
		return
	}
	for i := 1; i < len(b); i++ {
		x, k := b[i], i
		for ; k > 0 && b[k-1].v > x.v; k-- {
			b[k] = b[k-1]
		}
		b[k] = x
	}
}

// work adds up a tile. It is cut into sections where something ends or begins to lie along the lines;
// a section is added up by the lines at its ends and in its middle, and by its halves where these three do not
// lie on one line.
func (c *Cover) work(t *tile) areas {
	w := &c.worker
	w.c, w.runs = c, c.runsOf(t)
	w.u0, w.u1 = float64(t.key.col)/c.perTileU, float64(t.key.col+1)/c.perTileU
	w.v0, w.v1 = float64(t.key.row)/c.perTileV, float64(t.key.row+1)/c.perTileV
	w.sum, w.varianceM4, w.left, w.breaks = lengths{}, 0, mostLines, w.breaks[:0]
	w.thinM = thinOf * c.tolM2 / (w.u1 - w.u0)
	w.lookAtFence(t)
	for _, r := range w.runs {
		w.lookAt(r)
	}
	w.cutUp()
	w.first()
	for len(w.next) > 0 {
		w.sections, w.next = w.next, w.sections[:0]
		w.refine()
	}
	unit := func(v float64) int64 { return int64(math.Round(v / areaUnitM2)) }
	return areas{unit(w.sum.once), unit(w.sum.twice), unit(w.sum.more), unit(w.sum.outside), unit(w.sum.excluded),
		unit(w.sum.outsideTimes), unit(w.sum.excludedTimes), unit(w.varianceM4)}
}

const (
	mostBreaks  = 64
	leastLayerM = 1e-7
	mostLines   = 1000 // about, for one tile: bounds the work, whatever it holds
	thinOf      = 24   // a section is thin where it is at most so many times the tolerance
	sureOf      = 1    // three lines may agree by chance where the area changes by more than so many tolerances
)

// cutUp makes sections of the tile. Of breaks in a thin layer the first and the last stay.
func (w *worker) cutUp() {
	sortBreaks(w.breaks)
	if n := len(w.breaks); n > mostBreaks {
		for k := range mostBreaks {
			w.breaks[k] = w.breaks[k*(n-1)/(mostBreaks-1)]
		}
		w.breaks = w.breaks[:mostBreaks]
	}
	w.sections, w.next = w.sections[:0], w.next[:0]
	s := section{v0: w.v0, jump0: true}
	for i, b := range w.breaks {
		next := w.v1
		if i+1 < len(w.breaks) {
			next = w.breaks[i+1].v
		}
		switch {
		case b.v-s.v0 < leastLayerM:
			s.jump0 = s.jump0 || b.jump
			if n := len(w.sections); n > 0 {
				w.sections[n-1].jump1 = s.jump0
			}
		case b.v-s.v0 < w.thinM && next-b.v < w.thinM:
			s.bent = true
		default:
			s.v1, s.jump1 = b.v, b.jump
			w.sections = append(w.sections, s)
			s = section{v0: b.v, jump0: b.jump}
		}
	}
	s.v1, s.jump1 = w.v1, true
	w.sections = append(w.sections, s)
}

// first adds up the sections, and keeps for refine those that it cannot.
func (w *worker) first() {
	w.heights, w.met = w.heights[:0], w.met[:0]
	line := func(v float64) int32 {
		w.heights = append(w.heights, v)
		return int32(len(w.heights)) - 1
	}
	for i := range w.sections {
		s := &w.sections[i]
		if s.jump0 {
			s.low = line(s.v0 + leastLayerM/2)
		} else {
			s.low = w.sections[i-1].high
		}
		if s.bent || s.v1-s.v0 >= w.thinM {
			s.mid = line((s.v0 + s.v1) / 2)
		}
		if s.jump1 {
			s.high = line(s.v1 - leastLayerM/2)
		} else {
			s.high = line(s.v1)
		}
	}
	w.cross()
	for i := range w.sections {
		if s := &w.sections[i]; !s.bent && s.v1-s.v0 < w.thinM {
			w.sum.add(&w.met[s.low], (s.v1-s.v0)/2)
			w.sum.add(&w.met[s.high], (s.v1-s.v0)/2)
		} else {
			w.take(s, int(s.mid))
		}
	}
}

// refine adds up the halves of sections.
func (w *worker) refine() {
	w.heights = w.heights[:0]
	for i := range w.sections {
		s := &w.sections[i]
		s.mid = int32(len(w.met) + i)
		w.heights = append(w.heights, (s.v0+s.v1)/2)
	}
	w.cross()
	for i := range w.sections {
		w.take(&w.sections[i], i)
	}
}

// take adds up a section by its three lines, the one in the middle being line j at hand, or leaves its halves for refine.
func (w *worker) take(s *section, j int) {
	low, mid, high := &w.met[s.low], &w.met[s.mid], &w.met[s.high]
	h := (s.v1 - s.v0) / 2
	off := h * bend(low, mid, high)
	done := off <= w.c.tolM2 && (s.sure || h*rise(low, high) <= sureOf*w.c.tolM2)
	if !done {
		f := foresight{v: s.v0 + h, v0: s.v0, v1: s.v1}
		w.foresee(&f, w.hits[j])
		if missed := h * f.surprise(low, mid, high); missed <= w.c.tolM2 && !f.unsure {
			w.sum.add(&f.area, 1)
			w.sum.add(&f.low, -h/2)
			w.sum.add(&f.high, -h/2)
			off, done = missed, true
		}
	}
	if done || w.left <= 0 {
		w.sum.add(low, h/2)
		w.sum.add(mid, h)
		w.sum.add(high, h/2)
		w.varianceM4 += off * off / 2
		return
	}
	w.left -= 2
	w.next = append(w.next, section{v0: s.v0, v1: s.v0 + h, low: s.low, high: s.mid, sure: off <= w.c.tolM2},
		section{v0: s.v0 + h, v1: s.v1, low: s.mid, high: s.high, sure: off <= w.c.tolM2})
}

// cross finds the lengths on the lines at hand.
func (w *worker) cross() {
	n := len(w.heights)
	for len(w.hits) < n {
		w.hits = append(w.hits, nil)
	}
	for i := range w.hits[:n] {
		w.hits[i] = w.hits[i][:0]
	}
	for _, r := range w.runs {
		of := w.owner(r.piece)
		if w.c.pieces[r.piece].arc {
			a := arcOf(&w.c.bars[r.from], &w.c.bars[r.to])
			_, lo, _, hi := a.bounds()
			for j, v := range w.heights {
				if v >= lo && v <= hi {
					w.meetArc(&w.hits[j], of, r.from, v, a)
				}
			}
			continue
		}
		k := 0
		for i := r.from; i < r.to; i++ {
			lo, hi := span(&w.c.bars[i], &w.c.bars[i+1])
			for k > 0 && w.heights[k-1] >= lo {
				k--
			}
			for k < n && w.heights[k] < lo {
				k++
			}
			for j := k; j < n && w.heights[j] <= hi; j++ {
				w.meet(&w.hits[j], of, i, w.heights[j])
			}
		}
	}
	for j, v := range w.heights {
		if k := len(w.hits[j]); k > 0 && w.hits[j][k-1].open >= 0 {
			w.shut(&w.hits[j][k-1], v)
		}
		w.met = append(w.met, w.line(w.hits[j], v))
	}
}

// span is the lowest and the highest v of a quadrilateral.
func span(a, b *bar) (lo, hi float64) {
	lo, hi = a.lv, a.rv
	if lo > hi {
		lo, hi = hi, lo
	}
	return min(min(lo, b.lv), b.rv), max(max(hi, b.lv), b.rv)
}

func (w *worker) lookAtFence(t *tile) {
	f := &w.c.fence
	w.sides, w.cutsTile = f.near(t.key.row, w.v0, w.v1, w.u0, w.u1)
	if !w.cutsTile {
		f.cutLine(&w.uniform, w.c.bounded, w.sides, (w.v0+w.v1)/2, w.u0, w.u1)
		return
	}
	for _, i := range w.sides {
		s := &f.sides[i]
		if min(s.u0, s.u1) > w.u1 || max(s.u0, s.u1) < w.u0 || s.v0 > w.v1 || s.v1 < w.v0 {
			continue
		}
		w.breakAt(s.u0, s.v0, s.u1, s.v1)
	}
}

// lies reports whether a side lies so much along the lines that the length on
// neighbouring lines may jump.
func lies(du, dv float64) bool { return math.Abs(du) > 2*math.Abs(dv) }

// breakAt ends sections where an edge begins and ends in the tile.
func (w *worker) breakAt(ua, va, ub, vb float64) {
	back := ua > ub
	if back {
		ua, va, ub, vb = ub, vb, ua, va
	}
	if ub < w.u0 || ua > w.u1 {
		return
	}
	slope := (vb - va) / (ub - ua)
	if ua < w.u0 {
		va += (w.u0 - ua) * slope
	}
	if ub > w.u1 {
		vb -= (ub - w.u1) * slope
	}
	if back {
		va, vb = vb, va
	}
	jump := math.Abs(va-vb) < leastLayerM
	w.breakIn(va, jump)
	w.breakIn(vb, jump)
}

// breakIn ends a section at v, where the tile holds it. Sides that follow each other share one end.
func (w *worker) breakIn(v float64, jump bool) {
	n := len(w.breaks)
	switch {
	case !(v > w.v0 && v < w.v1):
	case n > 0 && w.breaks[n-1].v == v:
		w.breaks[n-1].jump = w.breaks[n-1].jump || jump
	default:
		w.breaks = append(w.breaks, lineBreak{v, jump})
	}
}

// lookAt finds where the lengths of a run bend or begin to change fast.
func (w *worker) lookAt(r run) {
	p, bars := &w.c.pieces[r.piece], w.c.bars
	if r.from == p.from {
		w.cap(&bars[r.from])
	}
	if r.to == p.to-1 {
		w.cap(&bars[r.to])
	}
	if p.arc {
		top, bottom := arcOf(&bars[r.from], &bars[r.to]).turns()
		w.breakIn(top, false)
		w.breakIn(bottom, false)
		return
	}
	leastJump := w.c.tolM2 / w.c.stripM
	for i := r.from; i < r.to; i++ {
		a, b := &bars[i], &bars[i+1]
		if du := math.Abs(b.lu - a.lu); du > leastJump && lies(du, b.lv-a.lv) {
			w.breakAt(a.lu, a.lv, b.lu, b.lv)
		}
	}
	for i := r.from; i < r.to; i++ {
		a, b := &bars[i], &bars[i+1]
		if du := math.Abs(b.ru - a.ru); du > leastJump && lies(du, b.rv-a.rv) {
			w.breakAt(a.ru, a.rv, b.ru, b.rv)
		}
	}
}

func (w *worker) cap(b *bar) {
	w.breakAt(b.lu, b.lv, b.ru, b.rv)
}

// line is the lengths on one line of the tile.
func (w *worker) line(hits []hit, v float64) lengths {
	if len(hits) == 0 {
		return lengths{}
	}
	return w.sweep(hits, v, w.zonesAt(v))
}

// zonesAt is where the fences cut a line of the tile.
func (w *worker) zonesAt(v float64) *zones {
	z := &w.uniform
	if w.cutsTile {
		z = &w.zones
		w.c.fence.cutLine(z, w.c.bounded, w.sides, v, w.u0, w.u1)
	}
	z.begin()
	return z
}
