package coverage

import (
	"math"
	"math/bits"
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
	hits       [stripsInTile][]hit
	met        [stripsInTile]lengths
	laid       uint32       // bit k: hits and met of the middle line of strip k are there
	rough      uint32       // bit k: strip k holds ends of pieces or sides along the lines
	kinked     uint32       // bit k: the lengths have a kink in strip k, which has a line of its own
	hard       [][2]float64 // v from and to of what makes strips rough
	near       []run        // quadrilaterals of one strip
	one        []hit
	layers     []float64
	left       int
	sum        lengths
	varianceM4 float64
}

// work adds up a tile. Where nothing ends or lies along the lines one line in nine strips
// may be enough, or one in three: as long as neighbouring lines bend by little.
func (c *Cover) work(t *tile) areas {
	w := &c.worker
	w.c, w.runs = c, c.runsOf(t)
	w.u0, w.u1 = float64(t.key.col)/c.perTileU, float64(t.key.col+1)/c.perTileU
	w.v0 = float64(t.key.row) / c.perTileV
	w.sum, w.varianceM4, w.rough, w.kinked, w.laid, w.hard = lengths{}, 0, 0, 0, 0, w.hard[:0]
	w.lookAtFence(t)
	for _, r := range w.runs {
		w.lookAt(r)
	}
	strips := 9
	if w.rough|w.kinked != 0 {
		strips = 3
	}
	var bentM4 float64
	for ; ; strips /= 3 {
		w.lay(strips)
		if bentM4 = w.bends(strips); strips == 1 || bentM4 <= c.tolTileM2*c.tolTileM2 {
			break
		}
	}
	w.varianceM4 = bentM4
	for k := strips / 2; k < stripsInTile; k += strips {
		if mask := groupOf(k, strips); (w.rough|w.kinked)&mask == 0 {
			w.sum.add(&w.met[k], float64(strips)*c.stripM)
			continue
		}
		for i := k - strips/2; i <= k+strips/2; i++ {
			if w.rough>>i&1 != 0 {
				w.refineStrip(w.v0+float64(i)*c.stripM, w.v0+float64(i+1)*c.stripM)
			} else {
				w.sum.add(&w.met[i], c.stripM)
			}
		}
	}
	unit := func(v float64) int64 { return int64(math.Round(v / areaUnitM2)) }
	return areas{unit(w.sum.once), unit(w.sum.twice), unit(w.sum.more), unit(w.sum.outside), unit(w.sum.excluded),
		unit(w.sum.outsideTimes), unit(w.sum.excludedTimes), unit(w.varianceM4)}
}

// groupOf is the strips that a line in the middle of strip k stands for.
func groupOf(k, strips int) uint32 { return (1<<strips - 1) << (k - strips/2) }

// bends is how much the lines bend where nothing is rough, as a variance of the area: noise
// that is independent from line to line bends three of them by 1.5 times its variance.
func (w *worker) bends(strips int) (m4 float64) {
	smooth, h := 0, float64(strips)*w.c.stripM
	for k := strips / 2; k < stripsInTile; k += strips {
		if (w.rough|w.kinked)&groupOf(k, strips) != 0 {
			smooth = 0
			continue
		}
		if smooth++; smooth >= 3 {
			off := h * bend(&w.met[k-2*strips], &w.met[k-strips], &w.met[k])
			m4 += off * off / 1.5
		}
	}
	return m4
}

// lay cuts the quadrilaterals of the tile with the middle line of every so many strips, and of
// every strip where one of these is rough.
func (w *worker) lay(strips int) {
	want := uint32(0)
	for k := strips / 2; k < stripsInTile; k += strips {
		if mask := groupOf(k, strips); (w.rough|w.kinked)&mask != 0 {
			want |= mask &^ w.rough
		} else {
			want |= 1 << k
		}
	}
	want &^= w.laid
	w.laid |= want
	for m := want; m != 0; m &= m - 1 {
		k := bits.TrailingZeros32(m)
		w.hits[k] = w.hits[k][:0]
	}
	perStrip := 1 / w.c.stripM
	for _, r := range w.runs {
		of := w.owner(r.piece)
		for i := r.from; i < r.to; i++ {
			lo, hi := span(&w.c.bars[i], &w.c.bars[i+1])
			k0, k1 := int((lo-w.v0)*perStrip+0.5), int((hi-w.v0)*perStrip+0.5) // past it where below 0
			if k0 < 0 {
				k0 = 0
			}
			if k1 <= k0 {
				continue
			}
			if k1 > stripsInTile {
				k1 = stripsInTile
			}
			for m := want & (1<<k1 - 1) &^ (1<<k0 - 1); m != 0; m &= m - 1 {
				k := bits.TrailingZeros32(m)
				w.hits[k] = w.meet(w.hits[k], of, i, w.v0+(float64(k)+0.5)*w.c.stripM)
			}
		}
	}
	for m := want; m != 0; m &= m - 1 {
		k := bits.TrailingZeros32(m)
		w.met[k] = w.line(w.hits[k], w.v0+(float64(k)+0.5)*w.c.stripM)
	}
}

// span is the lowest and the highest v of a quadrilateral.
func span(a, b *bar) (lo, hi float64) {
	lo, hi = a.lv, a.rv
	if lo > hi {
		lo, hi = hi, lo
	}
	return lesser(lesser(lo, b.lv), b.rv), greater(greater(hi, b.lv), b.rv)
}

func (w *worker) lookAtFence(t *tile) {
	f := &w.c.fence
	v1 := w.v0 + stripsInTile*w.c.stripM
	w.sides, w.cutsTile = f.near(t.key.row, w.v0, v1, w.u0, w.u1)
	if !w.cutsTile {
		f.cutLine(&w.uniform, w.c.bounded, w.sides, (w.v0+v1)/2, w.u0, w.u1)
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
			w.kink(s.v0)
			w.kink(s.v1)
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
	if k1 < 0 || k0 >= stripsInTile {
		return
	}
	w.hard = append(w.hard, [2]float64{a, b})
	for k := max(0, k0); k <= min(stripsInTile-1, k1); k++ {
		w.rough |= 1 << k
	}
}

// kink marks the strip of a height where the lengths bend.
func (w *worker) kink(v float64) {
	if k := math.Floor((v - w.v0) / w.c.stripM); k >= 0 && k < stripsInTile {
		w.kinked |= 1 << int(k)
	}
}

// lookAt finds what of a run makes strips rough.
func (w *worker) lookAt(r run) {
	p, bars := &w.c.pieces[r.piece], w.c.bars
	if r.from == p.from {
		w.cap(&bars[r.from])
	}
	if r.to == p.to-1 {
		w.cap(&bars[r.to])
	}
	leastJump := w.c.tolM2 / w.c.stripM
	fan := bars[p.from].s == bars[p.to-1].s
	for i := r.from; i < r.to; i++ {
		a, b := &bars[i], &bars[i+1]
		if b.s <= a.s && !fan {
			continue
		}
		if du := math.Abs(b.lu - a.lu); du > leastJump && lies(du, b.lv-a.lv) && w.reaches(a.lu, b.lu) {
			w.roughen(a.lv, b.lv)
		}
		if du := math.Abs(b.ru - a.ru); du > leastJump && lies(du, b.rv-a.rv) && w.reaches(a.ru, b.ru) {
			w.roughen(a.rv, b.rv)
		}
	}
}

func (w *worker) reaches(ua, ub float64) bool { return max(ua, ub) >= w.u0 && min(ua, ub) <= w.u1 }

func (w *worker) cap(b *bar) {
	switch {
	case !w.reaches(b.lu, b.ru):
	case lies(b.ru-b.lu, b.rv-b.lv):
		w.roughen(b.lv, b.rv)
	default:
		w.kink(b.lv)
		w.kink(b.rv)
	}
}

// line is the lengths on one line of the tile.
func (w *worker) line(hits []hit, v float64) lengths {
	if len(hits) == 0 {
		return lengths{}
	}
	z := &w.uniform
	if w.cutsTile {
		z = &w.zones
		w.c.fence.cutLine(z, w.c.bounded, w.sides, v, w.u0, w.u1)
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
			if lo, hi := span(&w.c.bars[i], &w.c.bars[i+1]); lo > v1 || hi < v0 {
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
	if n == 0 { // they lie on its edge, within rounding
		w.plain(v0, v1)
		return
	}
	w.plain(v0, w.layers[0])
	thinM := 8 * w.c.tolM2 / (w.u1 - w.u0)
	w.left = mostLines
	for i := 1; i < n; i++ {
		if a, b := w.layers[i-1], w.layers[i]; b-a < thinM {
			w.plain(a, b)
		} else {
			w.refine(a, b, w.at((a+b)/2))
		}
	}
	w.plain(w.layers[n-1], v1)
}

// plain adds up a layer by its middle line: without ends in it, or so thin that they do not matter.
func (w *worker) plain(v0, v1 float64) {
	if v1 > v0 {
		l := w.at((v0 + v1) / 2)
		w.sum.add(&l, v1-v0)
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
	off := 2 * h * bend(&low, &mid, &high)
	if off <= w.c.tolM2 || w.left <= 0 {
		w.sum.add(&low, h)
		w.sum.add(&mid, h)
		w.sum.add(&high, h)
		w.varianceM4 += off * off / 9
		return
	}
	w.refine(v0, v0+h, low)
	w.refine(v0+h, v1-h, mid)
	w.refine(v1-h, v1, high)
}

// at is the lengths on a line of the strip at hand.
func (w *worker) at(v float64) lengths {
	w.one = w.one[:0]
	for _, r := range w.near {
		of := w.owner(r.piece)
		for i := r.from; i < r.to; i++ {
			w.one = w.meet(w.one, of, i, v)
		}
	}
	return w.line(w.one, v)
}
