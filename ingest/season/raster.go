package season

import (
	"math"
	"math/bits"
)

// cellM is the side of a raster cell.
const cellM = 0.5

// raster counts which cells of a field true swaths cover. A cell counts by its
// centre.
type raster struct {
	low          pt
	words, rows  int // 64 cells a word
	inside, done []uint64
}

func newRaster(f area, marginM float64) *raster {
	low, high := f.bounds(marginM)
	r := &raster{
		low:   low,
		words: int((high.x-low.x)/cellM)/64 + 1,
		rows:  int((high.y-low.y)/cellM) + 1,
	}
	r.inside = make([]uint64, r.words*r.rows)
	r.done = make([]uint64, r.words*r.rows)
	for row := range r.rows {
		y := r.rowY(row)
		for _, s := range spansAt(y, f.outer, f.hole) {
			r.each(row, s.from, s.to, func(word int, mask uint64) { r.inside[word] |= mask })
		}
	}
	return r
}

func (r *raster) rowY(row int) float64 { return r.low.y + (float64(row)+0.5)*cellM }

// each visits the cells of a row whose centres lie in [from, to).
func (r *raster) each(row int, from, to float64, visit func(word int, mask uint64)) {
	a := max(0, int(math.Ceil((from-r.low.x)/cellM-0.5)))
	b := min(r.words*64, int(math.Ceil((to-r.low.x)/cellM-0.5)))
	for a < b {
		n := min(b-a, 64-a%64)
		mask := ^uint64(0) >> (64 - n) << (a % 64)
		visit(row*r.words+a/64, mask)
		a += n
	}
}

// cover marks a convex quad and tells how many of its cells are inside the
// field, and how many it has.
func (r *raster) cover(quad ring) (inside, all int) {
	low, high := quad[0].y, quad[0].y
	for _, p := range quad {
		low, high = min(low, p.y), max(high, p.y)
	}
	first := max(0, int(math.Ceil((low-r.low.y)/cellM-0.5)))
	for row := first; row < r.rows && r.rowY(row) < high; row++ {
		from, to := quad.rowRange(r.rowY(row))
		r.each(row, from, to, func(word int, mask uint64) {
			all += bits.OnesCount64(mask)
			mask &= r.inside[word]
			inside += bits.OnesCount64(mask)
			r.done[word] |= mask
		})
	}
	return inside, all
}

// rowRange is where a convex ring meets a line of constant y.
func (r ring) rowRange(y float64) (from, to float64) {
	from, to = math.Inf(1), math.Inf(-1)
	for i := range r {
		a, b := r.edge(i)
		if (a.y > y) == (b.y > y) {
			continue
		}
		x := a.x + (y-a.y)/(b.y-a.y)*(b.x-a.x)
		from, to = min(from, x), max(to, x)
	}
	return from, to
}

// coveredM2 is the covered area and its standard uncertainty: cells with an
// uncovered neighbour are off by a uniform share of a cell, independently.
func (r *raster) coveredM2() (areaM2, sdM2 float64) {
	cells, edges := 0, 0
	for i, w := range r.done {
		cells += bits.OnesCount64(w)
		kept := w & (w<<1 | carry(r.done, i-1, 63)) & (w>>1 | carry(r.done, i+1, 0)<<63)
		kept &= at(r.done, i-r.words) & at(r.done, i+r.words)
		edges += bits.OnesCount64(w &^ kept)
	}
	const cell = cellM * cellM
	return float64(cells) * cell, cell * math.Sqrt(float64(edges)/12)
}

func at(words []uint64, i int) uint64 {
	if i < 0 || i >= len(words) {
		return 0
	}
	return words[i]
}

func carry(words []uint64, i, bit int) uint64 { return at(words, i) >> bit & 1 }
