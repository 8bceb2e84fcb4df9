package coverage

import (
	"cmp"
	"math"
	"slices"
)

// stripsInTile is how many strips a tile is high.
const stripsInTile = 81

// tileKey is the row and column of a tile.
type tileKey struct{ row, col int32 }

// tile is a rectangle of the frame and what was driven through it.
type tile struct {
	key   tileKey
	runs  int32 // head of a list in Cover.runs
	stale bool
	area  areas
}

// run is quadrilaterals that follow each other through a tile: those between the
// bars from and to.
type run struct{ from, to, piece, next int32 }

// areas is what a tile adds to the result, in whole units of areaUnitM2: sums of
// integers do not depend on their order, so any order of batches gives the same bits.
type areas struct{ once, twice, more, outside, excluded, outsideTimes, excludedTimes, variance int64 }

const areaUnitM2 = 1e-8

func (a *areas) add(b areas, sign int64) {
	a.once += sign * b.once
	a.twice += sign * b.twice
	a.more += sign * b.more
	a.outside += sign * b.outside
	a.excluded += sign * b.excluded
	a.outsideTimes += sign * b.outsideTimes
	a.excludedTimes += sign * b.excludedTimes
	a.variance += sign * b.variance
}

// box is a rectangle of tiles, ends included.
type box struct{ row0, row1, col0, col1 int32 }

// open begins a piece.
func (c *Cover) open(line int, run int32, againM float64) {
	n := int32(len(c.bars))
	c.pieces = append(c.pieces, piece{line: line, run: run, againM: againM, from: n, to: n})
	c.under, c.underFrom, c.low = box{row0: 1}, n, rect{}
}

// runOf is the first piece of the unbroken spreading that a piece belongs to.
func (c *Cover) runOf(p int32) int32 {
	for c.pieces[p].run != p {
		p = c.pieces[p].run
	}
	return p
}

// close ends the piece under way.
func (c *Cover) close() {
	c.pieces[len(c.pieces)-1].to = int32(len(c.bars))
	c.flush(int32(len(c.bars)) - 1)
}

// push adds a bar to the piece under way.
func (c *Cover) push(b bar) {
	n := int32(len(c.bars))
	if n > c.pieces[len(c.pieces)-1].from {
		a := c.bars[n-1]
		if d := math.Abs(a.lu+a.ru-b.lu-b.ru) + math.Abs(a.lv+a.rv-b.lv-b.rv); d > 2*longestM {
			parts := math.Ceil(d / (2 * longestM))
			for k := 1.0; k < parts; k++ {
				f := k / parts
				c.pushNear(bar{a.lu + f*(b.lu-a.lu), a.lv + f*(b.lv-a.lv), a.ru + f*(b.ru-a.ru), a.rv + f*(b.rv-a.rv), a.s + f*(b.s-a.s)})
			}
		}
	}
	c.pushNear(b)
}

func (c *Cover) pushNear(b bar) {
	n := int32(len(c.bars))
	c.bars = append(c.bars, b)
	if n == c.pieces[len(c.pieces)-1].from || c.low.holds(min(b.lu, b.ru), min(b.lv, b.rv)) && c.high.holds(max(b.lu, b.ru), max(b.lv, b.rv)) {
		return // the quadrilateral goes to the same tiles as the one before
	}
	a := &c.bars[n-1]
	in := box{
		row0: c.rowOf(min(a.lv, a.rv, b.lv, b.rv)), row1: c.rowOf(max(a.lv, a.rv, b.lv, b.rv)),
		col0: c.colOf(min(a.lu, a.ru, b.lu, b.ru)), col1: c.colOf(max(a.lu, a.ru, b.lu, b.ru)),
	}
	if in != c.under {
		c.flush(n - 1)
		c.under, c.underFrom = in, n-1
		c.low, c.high = c.rectOf(in.row0, in.col0), c.rectOf(in.row1, in.col1)
	}
}

// rect is a rectangle of the frame.
type rect struct{ u0, v0, u1, v1 float64 }

func (r *rect) holds(u, v float64) bool { return u >= r.u0 && u < r.u1 && v >= r.v0 && v < r.v1 }

// rectOf is a tile's.
func (c *Cover) rectOf(row, col int32) rect {
	return rect{float64(col) / c.perTileU, float64(row) / c.perTileV, float64(col+1) / c.perTileU, float64(row+1) / c.perTileV}
}

// layArc is a piece of the sector between two bars.
func (c *Cover) layArc(line int, run int32, againM float64, a, b bar) {
	c.open(line, run, againM)
	c.pieces[len(c.pieces)-1].arc = true
	c.bars = append(c.bars, a, b)
	sector := arcOf(&a, &b)
	c.arcs += int64(math.Round((sector.pu*sector.pu + sector.pv*sector.pv) / areaUnitM2))
	u0, v0, u1, v1 := sector.bounds()
	c.under = box{row0: c.rowOf(v0), row1: c.rowOf(v1), col0: c.colOf(u0), col1: c.colOf(u1)}
	c.close()
}

func (c *Cover) rowOf(v float64) int32 { return int32(math.Floor(v * c.perTileV)) }
func (c *Cover) colOf(u float64) int32 { return int32(math.Floor(u * c.perTileU)) }

// flush files the quadrilaterals from underFrom up to the bar to with the tiles they reach into.
func (c *Cover) flush(to int32) {
	if c.under.row0 > c.under.row1 || to <= c.underFrom {
		return
	}
	for row := c.under.row0; row <= c.under.row1; row++ {
		for col := c.under.col0; col <= c.under.col1; col++ {
			i, ok := c.tileAt[tileKey{row, col}]
			if !ok {
				i = int32(len(c.tiles))
				c.tileAt[tileKey{row, col}] = i
				c.tiles = append(c.tiles, tile{key: tileKey{row, col}, runs: -1})
			}
			t := &c.tiles[i]
			c.spoil(i)
			last := int32(len(c.pieces)) - 1
			if t.runs >= 0 && c.runs[t.runs].piece == last && c.runs[t.runs].to == c.underFrom {
				c.runs[t.runs].to = to
				continue
			}
			c.runs = append(c.runs, run{c.underFrom, to, last, t.runs})
			t.runs = int32(len(c.runs)) - 1
		}
	}
}

// spoil marks a tile to be worked out again.
func (c *Cover) spoil(i int32) {
	if t := &c.tiles[i]; !t.stale {
		t.stale = true
		c.stale = append(c.stale, i)
	}
}

// runsOf is what was driven through a tile, in the order of the drive.
func (c *Cover) runsOf(t *tile) []run {
	c.sorted = c.sorted[:0]
	for i := t.runs; i >= 0; i = c.runs[i].next {
		c.sorted = append(c.sorted, c.runs[i])
	}
	slices.Reverse(c.sorted)
	before := func(a, b run) int {
		if d := cmp.Compare(c.pieces[a.piece].line, c.pieces[b.piece].line); d != 0 {
			return d
		}
		x, y := &c.bars[a.from], &c.bars[b.from]
		return cmp.Or(cmp.Compare(x.s, y.s), cmp.Compare(c.bars[a.to].s, c.bars[b.to].s), cmp.Compare(x.lu, y.lu), cmp.Compare(x.lv, y.lv))
	}
	if !slices.IsSortedFunc(c.sorted, before) {
		slices.SortFunc(c.sorted, before)
	}
	return c.sorted
}
