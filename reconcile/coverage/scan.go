package coverage

import (
	"cmp"
	"math"
	"slices"

	"hopperbook/reconcile/plane"
)

// lengths is what one line across the field meets, in m; integrated over the
// lines it is areas in m2.
type lengths struct{ once, twice, more, outside, field float64 }

// add is l + k m.
func (l lengths) add(m lengths, k float64) lengths {
	return lengths{l.once + k*m.once, l.twice + k*m.twice, l.more + k*m.more, l.outside + k*m.outside, l.field + k*m.field}
}

// largest is the largest absolute value.
func (l lengths) largest() float64 {
	return max(math.Abs(l.once), math.Abs(l.twice), math.Abs(l.more), math.Abs(l.outside), math.Abs(l.field))
}

// edge is a side of the boundary in the frame of the scan, its lower end first.
type edge struct{ xM, yM, toXM, toYM float64 }

// hit is the part of a scan line inside one shape, or inside several that follow
// each other without much of a turn.
type hit struct {
	x0, x1      float64
	s0, s1      float64 // driven at x0 and at x1
	againAfter  float64
	ux, uy      float64 // direction of the first shape
	run         int32
	order, last int32 // first and last shape
}

// maxBend is the cosine of how far the direction may turn inside one hit: little
// enough that a machine cannot have come back to where it was.
const maxBend = 0.9

// absorb takes up the hit of a following shape; false where that is another stretch.
// What was driven is interpolated between the ends, off by the sagitta of the bend at most.
func (h *hit) absorb(g *hit) bool {
	if h.run != g.run || g.order > h.last+2 || g.x0 > h.x1 || g.x1 < h.x0 || h.ux*g.ux+h.uy*g.uy < maxBend {
		return false
	}
	if g.x0 < h.x0 {
		h.x0, h.s0 = g.x0, g.s0
	}
	if g.x1 > h.x1 {
		h.x1, h.s1 = g.x1, g.s1
	}
	h.againAfter, h.last = max(h.againAfter, g.againAfter), g.last
	return true
}

// drivenAt is what was driven at x.
func (h *hit) drivenAt(x float64) float64 { return h.s0 + (x-h.x0)/(h.x1-h.x0)*(h.s1-h.s0) }

// scan holds what is cut and the buffers of the cutting.
type scan struct {
	shapes  []shape
	edges   []edge
	bounded bool
	minYM   float64
	maxYM   float64
	stripM  float64
	shapeIn buckets // shapes by strip
	edgeIn  buckets // edges by strip

	hits   []hit
	active []int32 // places in hits, in the order of the drive
	inside []float64
}

func newScan(segments []Segment, boundary *plane.Polygon) *scan {
	cos, sin := mainDirection(segments)
	sc := &scan{shapes: makeShapes(segments, cos, sin), bounded: boundary != nil}
	if boundary != nil {
		boundary.EachEdge(func(a, b plane.Point) {
			e := edge{a.XM*sin - a.YM*cos, a.XM*cos + a.YM*sin, b.XM*sin - b.YM*cos, b.XM*cos + b.YM*sin}
			if e.yM > e.toYM {
				e = edge{e.toXM, e.toYM, e.xM, e.yM}
			}
			sc.edges = append(sc.edges, e)
		})
	}
	sc.layStrips()
	return sc
}

// mainDirection is the direction most of the driving has, as a cosine and a
// sine; to and fro are the same direction, hence the doubled angle.
func mainDirection(segments []Segment) (cos, sin float64) {
	c2, s2 := 0.0, 0.0
	for _, s := range segments {
		if l := s.lengthM(); l > 0 {
			dx, dy := (s.ToXM-s.FromXM)/l, (s.ToYM-s.FromYM)/l
			c2, s2 = c2+l*(dx*dx-dy*dy), s2+l*2*dx*dy
		}
	}
	sin, cos = math.Sincos(math.Atan2(s2, c2) / 2)
	return cos, sin
}

// at cuts everything in a strip with the line y.
func (sc *scan) at(strip int, y float64) lengths {
	sc.cutShapes(strip, y)
	sc.cutBoundary(strip, y)
	l := sc.sweep()
	for i := 0; i+1 < len(sc.inside); i += 2 {
		l.field += sc.inside[i+1] - sc.inside[i]
	}
	return l
}

// cutShapes fills hits with what of the line lies in shapes, from left to right.
func (sc *scan) cutShapes(strip int, y float64) {
	sc.hits = sc.hits[:0]
	for _, i := range sc.shapeIn.of(strip) {
		s := &sc.shapes[i]
		if y < s.minYM || y > s.maxYM {
			continue
		}
		x0, x1 := s.cut(y)
		if x0 >= x1 {
			continue
		}
		h := hit{x0: x0, x1: x1, s0: s.startM, s1: s.startM, againAfter: s.againAfter, ux: s.dirX, uy: s.dirY, run: s.run, order: i, last: i}
		if s.lengthM > 0 {
			h.s0 += (y-s.yM)*s.uy + (x0-s.xM)*s.ux
			h.s1 += (y-s.yM)*s.uy + (x1-s.xM)*s.ux
		}
		if n := len(sc.hits); n == 0 || !sc.hits[n-1].absorb(&h) {
			sc.hits = append(sc.hits, h)
		}
	}
	slices.SortFunc(sc.hits, func(a, b hit) int {
		if a.x0 != b.x0 {
			return cmp.Compare(a.x0, b.x0)
		}
		return cmp.Compare(a.order, b.order)
	})
}

// cutBoundary fills inside with the ends of the stretches inside the boundary, even-odd.
func (sc *scan) cutBoundary(strip int, y float64) {
	sc.inside = sc.inside[:0]
	for _, i := range sc.edgeIn.of(strip) {
		if e := sc.edges[i]; e.yM <= y && y < e.toYM {
			sc.inside = append(sc.inside, e.xM+(y-e.yM)/(e.toYM-e.yM)*(e.toXM-e.xM))
		}
	}
	slices.Sort(sc.inside)
}

// sweep goes along the sorted hits from one end to the next; between two ends
// the same shapes cover.
func (sc *scan) sweep() lengths {
	var l lengths
	sc.active = sc.active[:0]
	x, next, window := 0.0, 0, 0
	for next < len(sc.hits) || len(sc.active) > 0 {
		if len(sc.active) == 0 {
			x = sc.hits[next].x0
		}
		for next < len(sc.hits) && sc.hits[next].x0 <= x {
			sc.enter(int32(next))
			next++
		}
		end := math.Inf(1)
		if next < len(sc.hits) {
			end = sc.hits[next].x0
		}
		for _, i := range sc.active {
			end = min(end, sc.hits[i].x1)
		}
		times := sc.times((x + end) / 2)
		in := end - x
		if sc.bounded {
			in, window = sc.insideOf(x, end, window)
			l.outside += end - x - in
		}
		switch times {
		case 1:
			l.once += in
		case 2:
			l.twice += in
		default:
			l.more += in
		}
		x = end
		sc.active = slices.DeleteFunc(sc.active, func(i int32) bool { return sc.hits[i].x1 <= x })
	}
	return l
}

// enter puts a hit among the active ones, in the order of the drive.
func (sc *scan) enter(h int32) {
	i := len(sc.active)
	for i > 0 && sc.hits[sc.active[i-1]].order > sc.hits[h].order {
		i--
	}
	sc.active = slices.Insert(sc.active, i, h)
}

// times is how often x is covered, up to three times: once for every stretch of driving of every run, where a
// new stretch begins when enough was driven since the place was last covered.
func (sc *scan) times(x float64) int {
	if len(sc.active) == 1 {
		return 1
	}
	n, run, last, wide := 0, int32(0), 0.0, 0.0
	for _, i := range sc.active {
		h := &sc.hits[i]
		driven := h.drivenAt(x)
		if n == 0 || h.run != run || driven-last > max(wide, h.againAfter) {
			if n++; n == 3 {
				return n
			}
		}
		run, last, wide = h.run, driven, h.againAfter
	}
	return n
}

// insideOf is how much of x0..x1 lies inside the boundary. window is where the
// last call left off; calls go from left to right.
func (sc *scan) insideOf(x0, x1 float64, window int) (float64, int) {
	for window+1 < len(sc.inside) && sc.inside[window+1] <= x0 {
		window += 2
	}
	in := 0.0
	for i := window; i+1 < len(sc.inside) && sc.inside[i] < x1; i += 2 {
		in += max(0, min(x1, sc.inside[i+1])-max(x0, sc.inside[i]))
	}
	return in, window
}
