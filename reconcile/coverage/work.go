package coverage

import (
	"math"
	"slices"
)

// worker works tiles out; it keeps its buffers from one tile to the next.
type worker struct {
	c          *Cover
	u0, u1, v0 float64 // of the tile
	runs       []run
	sides      []int32 // of the fence, near the tile
	cutsTile   bool    // a side of the fence reaches into the tile
	uniform    zones   // where none does
	zones      zones
	ends       []end
	active     []uint64 // bit i: hit i covers the stretch at hand; hits are in the order of the drive
	hits       [linesInTile][]hit
	rough      uint32       // bit k: strip k holds ends of pieces or sides along the lines
	hard       [][2]float64 // v from and to of what makes strips rough
	near       []run        // quadrilaterals of one strip
	refined    int
	one        []hit
	layers     []float64
	left       int
	tolM2      float64
	sum        lengths
	varianceM4 float64
}

// work adds up a tile: one line through the middle of each of its strips, more in rough strips.
func (c *Cover) work(t *tile) areas {
	w := &c.worker
	w.c, w.runs = c, c.runsOf(t)
	w.u0, w.u1 = float64(t.key.col)/c.perTileU, float64(t.key.col+1)/c.perTileU
	w.v0 = float64(t.key.row) / c.perTileV
	w.refined = 0
	w.sum, w.varianceM4, w.rough, w.hard = lengths{}, 0, 0, w.hard[:0]
	w.tolM2 = c.tolM2
	w.lookAtFence(t)
	for k := range w.hits {
		w.hits[k] = w.hits[k][:0]
	}
	for _, r := range w.runs {
		w.lay(r)
	}
	h := c.stripM
	var last, before lengths
	smooth := 0
	for k := range w.hits {
		if w.rough>>k&1 != 0 {
			w.refineStrip(w.v0+float64(k)*h, w.v0+float64(k+1)*h)
			smooth = 0
			continue
		}
		l := w.line(w.hits[k], w.v0+(float64(k)+0.5)*h)
		w.sum = w.sum.add(l, h)
		if smooth++; smooth >= 3 {
			off := h * last.add(before.add(l, 1), -0.5).largest()
			w.varianceM4 += off * off * curvatureShare
		}
		before, last = last, l
	}
	unit := func(v float64) int64 { return int64(math.Round(v / areaUnitM2)) }
	return areas{unit(w.sum.once), unit(w.sum.twice), unit(w.sum.more), unit(w.sum.outside), unit(w.sum.excluded), unit(w.varianceM4)}
}

// curvatureShare is how much of the square of a second difference of neighbouring lines counts as
// variance of their area: noise that is independent from line to line gives a
// second difference 1.5 times its variance.
const curvatureShare = 1 / 1.5

func (w *worker) lookAtFence(t *tile) {
	f := &w.c.fence
	v1 := w.v0 + linesInTile*w.c.stripM
	w.sides, w.cutsTile = f.near(t.key.row, w.v0, v1, w.u0, w.u1)
	if !w.cutsTile {
		f.cutLine(&w.uniform, w.sides, (w.v0+v1)/2, w.u0, w.u1)
		return
	}
	for _, i := range w.sides {
		s := &f.sides[i]
		if min(s.u0, s.u1) > w.u1 || max(s.u0, s.u1) < w.u0 || s.v0 > v1 || s.v1 < w.v0 {
			continue
		}
		if lies(s.u1-s.u0, s.v1-s.v0) {
			w.roughen(s.v0, s.v1)
		} else {
			w.roughen(s.v0, s.v0)
			w.roughen(s.v1, s.v1)
		}
	}
}

// lies reports whether a side lies so much along the lines that the length on
// neighbouring lines may jump.
func lies(du, dv float64) bool { return math.Abs(du) > 2*math.Abs(dv) }

// roughen marks the strips between two heights.
func (w *worker) roughen(a, b float64) {
	a, b = min(a, b), max(a, b)
	k0, k1 := int(math.Floor((a-w.v0)/w.c.stripM)), int(math.Floor((b-w.v0)/w.c.stripM))
	if k1 < 0 || k0 >= linesInTile {
		return
	}
	w.hard = append(w.hard, [2]float64{a, b})
	for k := max(0, k0); k <= min(linesInTile-1, k1); k++ {
		w.rough |= 1 << k
	}
}

// lay cuts the quadrilaterals of a run with the lines of the tile and looks for
// what makes strips rough.
func (w *worker) lay(r run) {
	p, run := &w.c.pieces[r.piece], w.c.runOf(r.piece)
	bars := w.c.bars
	perStrip, leastJump := 1/w.c.stripM, w.tolM2/w.c.stripM
	fan := bars[p.from].s == bars[p.to-1].s
	if r.from == p.from {
		w.cap(&bars[r.from])
	}
	if r.to == p.to-1 {
		w.cap(&bars[r.to])
	}
	for i := r.from; i < r.to; i++ {
		a, b := &bars[i], &bars[i+1]
		lo, hi := a.lv, a.lv
		if a.rv < lo {
			lo = a.rv
		} else {
			hi = a.rv
		}
		lo, hi = min(lo, b.lv, b.rv), max(hi, b.lv, b.rv)
		if b.s > a.s || fan {
			if du := b.lu - a.lu; math.Abs(du) > leastJump && lies(du, b.lv-a.lv) && w.reaches(a.lu, b.lu) {
				w.roughen(a.lv, b.lv)
			}
			if du := b.ru - a.ru; math.Abs(du) > leastJump && lies(du, b.rv-a.rv) && w.reaches(a.ru, b.ru) {
				w.roughen(a.rv, b.rv)
			}
		}
		k0, k1 := (lo-w.v0)*perStrip-0.5, (hi-w.v0)*perStrip-0.5
		if k1 < 0 || k0 > linesInTile-1 {
			continue
		}
		for k := int(math.Ceil(max(0, k0))); k < linesInTile && float64(k) <= k1; k++ {
			w.hits[k] = w.appendHit(w.hits[k], run, p.againM, i, w.v0+(float64(k)+0.5)*w.c.stripM)
		}
	}
}

func (w *worker) reaches(ua, ub float64) bool { return max(ua, ub) >= w.u0 && min(ua, ub) <= w.u1 }

func (w *worker) cap(b *bar) {
	if w.reaches(b.lu, b.ru) {
		w.roughen(b.lv, b.rv)
	}
}

// appendHit adds what of the line v lies in the quadrilateral of bar i and in the tile.
func (w *worker) appendHit(hits []hit, run int32, againM float64, i int32, v float64) []hit {
	a, b := &w.c.bars[i], &w.c.bars[i+1]
	x0, x1 := cut(a, b, v)
	if x0 < w.u0 {
		x0 = w.u0
	}
	if x1 > w.u1 {
		x1 = w.u1
	}
	if x0 >= x1 {
		return hits
	}
	h := hit{x0: x0, x1: x1, firstM: a.s, lastM: b.s, againM: againM, first: i, at0: i, at1: i, run: run}
	if n := len(hits); n > 0 && w.absorb(&hits[n-1], &h) {
		return hits
	}
	return append(hits, h)
}

// line is the lengths on one line of the tile.
func (w *worker) line(hits []hit, v float64) lengths {
	if len(hits) == 0 {
		return lengths{}
	}
	z := &w.uniform
	if w.cutsTile {
		z = &w.zones
		w.c.fence.cutLine(z, w.sides, v, w.u0, w.u1)
	}
	z.begin()
	return w.sweep(hits, v, z)
}

// refineStrip adds up a rough strip. Where it holds few ends it is cut at
// these, for between them the lengths are nearly linear; else at some of them.
func (w *worker) refineStrip(v0, v1 float64) {
	w.near = w.near[:0]
	for _, r := range w.runs {
		for i := r.from; i < r.to; i++ {
			a, b := &w.c.bars[i], &w.c.bars[i+1]
			if min(a.lv, a.rv, b.lv, b.rv) > v1 || max(a.lv, a.rv, b.lv, b.rv) < v0 {
				continue
			}
			if n := len(w.near); n > 0 && w.near[n-1].to == i && w.near[n-1].piece == r.piece {
				w.near[n-1].to = i + 1
			} else {
				w.near = append(w.near, run{from: i, to: i + 1, piece: r.piece})
			}
		}
	}
	w.layers = w.layers[:0]
	for _, h := range w.hard {
		if h[0] < v1 && h[1] >= v0 {
			w.layers = append(w.layers, max(v0, h[0]), min(v1, h[1]))
		}
	}
	slices.Sort(w.layers)
	w.layers = slices.CompactFunc(w.layers, func(a, b float64) bool { return math.Abs(a-b) < leastLayerM })
	if n := len(w.layers); n > mostLayers {
		for k := range mostLayers {
			w.layers[k] = w.layers[k*(n-1)/(mostLayers-1)]
		}
		w.layers = w.layers[:mostLayers]
	}
	n := len(w.layers)
	w.plain(v0, w.layers[0])
	w.left = mostLines
	for i := 1; i < n; i++ {
		w.refine(w.layers[i-1], w.layers[i], w.at((w.layers[i-1]+w.layers[i])/2))
	}
	w.plain(w.layers[n-1], v1)
}

// plain adds up a layer without ends in it by its middle line.
func (w *worker) plain(v0, v1 float64) {
	if v1 > v0 {
		w.sum = w.sum.add(w.at((v0+v1)/2), v1-v0)
	}
}

const (
	mostLayers  = 4
	leastLayerM = 1e-7
	mostLines   = 400 // bounds the work for one strip, whatever it holds
)

// refine adds up v0..v1 by its middle line mid and those of its outer thirds; where
// the three contradict the one, by thirds again.
func (w *worker) refine(v0, v1 float64, mid lengths) {
	h := (v1 - v0) / 3
	low, high := w.at(v0+h/2), w.at(v1-h/2)
	w.left -= 2
	off := h * low.add(high, 1).add(mid, -2).largest()
	if off <= w.tolM2 || w.left <= 0 {
		w.sum = w.sum.add(low.add(mid, 1).add(high, 1), h)
		w.varianceM4 += off * off / 9
		return
	}
	w.refine(v0, v0+h, low)
	w.refine(v0+h, v1-h, mid)
	w.refine(v1-h, v1, high)
}

// at is the lengths on a line of the strip at hand.
func (w *worker) at(v float64) lengths {
	w.refined++
	w.one = w.one[:0]
	for _, r := range w.near {
		run, againM := w.c.runOf(r.piece), w.c.pieces[r.piece].againM
		for i := r.from; i < r.to; i++ {
			a, b := &w.c.bars[i], &w.c.bars[i+1]
			if n := btoi(a.lv <= v) + btoi(a.rv <= v) + btoi(b.lv <= v) + btoi(b.rv <= v); n == 0 || n == 4 {
				continue
			}
			w.one = w.appendHit(w.one, run, againM, i, v)
		}
	}
	return w.line(w.one, v)
}

func btoi(b bool) int {
	if b {
		return 1
	}
	return 0
}
