package clearance

import (
	"cmp"
	"math"
	"slices"

	"hopperbook/reconcile/coverage"
	"hopperbook/reconcile/plane"
)

const (
	shortM     = 1e-9 // shorter segments have no direction
	maxTurnCos = -0.5 // of the sharpest turn whose outer side is swept, as in coverage
)

// vec is a point or a way on the plane, in metres.
type vec struct{ x, y float64 }

func (a vec) minus(b vec) vec              { return vec{a.x - b.x, a.y - b.y} }
func (a vec) towards(b vec, t float64) vec { return vec{a.x + t*(b.x-a.x), a.y + t*(b.y-a.y)} }
func (a vec) dot(b vec) float64            { return a.x*b.x + a.y*b.y }
func (a vec) cross(b vec) float64          { return a.x*b.y - a.y*b.x }
func (a vec) length() float64              { return math.Hypot(a.x, a.y) }

// side is one side of the area, with its box.
type side struct {
	a, b   vec
	box    plane.Bounds
	nearM2 float64 // square of the distance of its box from all swaths' box
}

// DistanceM is the shortest distance between the swaths of segments and an
// area, 0 where they meet. False: there is no swath, or the area has no side.
// Method, error and cost: see the package comment.
func DistanceM(segments []coverage.Segment, area plane.Polygon) (meters float64, ok bool) {
	segments = slices.SortedFunc(slices.Values(segments), drive)
	swaths, all := boxOf(segments)
	sides := sidesOf(area, all)
	if swaths == 0 || len(sides) == 0 {
		return 0, false
	}
	m := measure{area: area, box: area.Bounds(), sides: sides, best: math.Inf(1)}
	for i := range segments {
		s := &segments[i]
		from, to := vec{s.FromXM, s.FromYM}, vec{s.ToXM, s.ToYM}
		if to.minus(from).length() < shortM || !(s.WidthM > 0) {
			continue
		}
		m.rectangle(from, to, s.WidthM/2)
		if i > 0 {
			m.turn(&segments[i-1], s)
		}
		if m.best == 0 {
			break
		}
	}
	return m.best, true
}

// drive orders segments as they were driven.
func drive(s, t coverage.Segment) int {
	return cmp.Or(cmp.Compare(s.Line, t.Line), cmp.Compare(s.StartM, t.StartM), cmp.Compare(s.FromXM, t.FromXM), cmp.Compare(s.FromYM, t.FromYM),
		cmp.Compare(s.ToXM, t.ToXM), cmp.Compare(s.ToYM, t.ToYM), cmp.Compare(s.WidthM, t.WidthM))
}

func boxOf(segments []coverage.Segment) (swaths int, box plane.Bounds) {
	box = plane.Bounds{MinXM: math.Inf(1), MinYM: math.Inf(1), MaxXM: math.Inf(-1), MaxYM: math.Inf(-1)}
	for i := range segments {
		s := &segments[i]
		if math.Hypot(s.ToXM-s.FromXM, s.ToYM-s.FromYM) < shortM || !(s.WidthM > 0) {
			continue
		}
		swaths++
		r := s.WidthM / 2
		box.MinXM, box.MaxXM = min(box.MinXM, s.FromXM-r, s.ToXM-r), max(box.MaxXM, s.FromXM+r, s.ToXM+r)
		box.MinYM, box.MaxYM = min(box.MinYM, s.FromYM-r, s.ToYM-r), max(box.MaxYM, s.FromYM+r, s.ToYM+r)
	}
	return swaths, box
}

// sidesOf sorts the sides by how near to a swath they can be.
func sidesOf(area plane.Polygon, swaths plane.Bounds) (out []side) {
	area.EachEdge(func(a, b plane.Point) {
		s := side{a: vec{a.XM, a.YM}, b: vec{b.XM, b.YM}}
		s.box = plane.Bounds{MinXM: min(a.XM, b.XM), MinYM: min(a.YM, b.YM), MaxXM: max(a.XM, b.XM), MaxYM: max(a.YM, b.YM)}
		dx, dy := apart(s.box.MinXM, s.box.MaxXM, swaths.MinXM, swaths.MaxXM), apart(s.box.MinYM, s.box.MaxYM, swaths.MinYM, swaths.MaxYM)
		s.nearM2 = dx*dx + dy*dy
		out = append(out, s)
	})
	slices.SortFunc(out, func(s, t side) int { return cmp.Compare(s.nearM2, t.nearM2) })
	return out
}

// apart is how far two stretches of a line lie apart.
func apart(min1, max1, min2, max2 float64) float64 { return max(0, min2-max1, min1-max2) }

// measure is the nearest yet.
type measure struct {
	area  plane.Polygon
	box   plane.Bounds
	sides []side
	best  float64
}

// each calls for the sides that may be nearer than the nearest yet to something
// within reach of a point.
func (m *measure) each(at vec, reachM float64, distance func(*side) float64) {
	for i := range m.sides {
		s := &m.sides[i]
		if s.nearM2 > m.best*m.best {
			return
		}
		if within := m.best + reachM; offM2(at, &s.box) < within*within {
			m.best = min(m.best, distance(s))
		}
	}
}

// offM2 is the square of how far a point lies from a box.
func offM2(p vec, b *plane.Bounds) float64 {
	dx, dy := max(0, b.MinXM-p.x, p.x-b.MaxXM), max(0, b.MinYM-p.y, p.y-b.MaxYM)
	return dx*dx + dy*dy
}

// rectangle measures from the rectangle about a segment, r to each side.
func (m *measure) rectangle(from, to vec, r float64) {
	half := to.minus(from).length() / 2
	mid := from.towards(to, 0.5)
	reachM := math.Hypot(half, r)
	away := offM2(mid, &m.box)
	if away >= (m.best+reachM)*(m.best+reachM) {
		return
	}
	if away == 0 && m.area.Contains(mid.x, mid.y) {
		m.best = 0
		return
	}
	along := vec{(to.x - from.x) / (2 * half), (to.y - from.y) / (2 * half)}
	local := func(p vec) vec { d := p.minus(mid); return vec{d.dot(along), along.cross(d)} }
	m.each(mid, reachM, func(s *side) float64 {
		return boxDistance(local(s.a), local(s.b), half, r)
	})
}

// boxDistance is the distance of the line from a to b from the box of half the
// sides w and h about the origin; 0 where they meet.
func boxDistance(a, b vec, w, h float64) float64 {
	d := b.minus(a)
	lo, hi := 0.0, 1.0
	for _, c := range [4][2]float64{{d.x, w - a.x}, {-d.x, w + a.x}, {d.y, h - a.y}, {-d.y, h + a.y}} { // t*c[0] <= c[1]
		lo, hi = cut(lo, hi, c[0], c[1])
	}
	if lo <= hi {
		return 0
	}
	best := math.Inf(1)
	for _, p := range [2]vec{a, b} {
		best = min(best, math.Hypot(max(0, math.Abs(p.x)-w), max(0, math.Abs(p.y)-h)))
	}
	for _, corner := range [4]vec{{w, h}, {w, -h}, {-w, h}, {-w, -h}} {
		best = min(best, lineDistance(corner, a, b))
	}
	return best
}

// cut keeps of [lo, hi] the t with t*slope <= room; nothing is left where the
// result has lo > hi.
func cut(lo, hi, slope, room float64) (float64, float64) {
	switch {
	case slope > 0:
		return lo, min(hi, room/slope)
	case slope < 0:
		return max(lo, room/slope), hi
	case room < 0:
		return 1, 0
	}
	return lo, hi
}

// lineDistance is the distance of p from the line from a to b.
func lineDistance(p, a, b vec) float64 {
	d := b.minus(a)
	t := 0.0
	if l := d.dot(d); l > 0 {
		t = max(0, min(1, p.minus(a).dot(d)/l))
	}
	return p.minus(a.towards(b, t)).length()
}

// turn measures from the sector that the outer half of the bar sweeps where a
// segment goes on from the one before.
func (m *measure) turn(before, s *coverage.Segment) {
	in := vec{before.ToXM - before.FromXM, before.ToYM - before.FromYM}
	out := vec{s.ToXM - s.FromXM, s.ToYM - s.FromYM}
	goesOn := before.Line == s.Line && before.ToXM == s.FromXM && before.ToYM == s.FromYM && before.WidthM > 0 && math.Abs(s.StartM-before.StartM-in.length()) < 1
	turn := in.cross(out)
	if l := in.length() * out.length(); !goesOn || l < shortM*shortM || turn == 0 || in.dot(out) < maxTurnCos*l {
		return
	}
	at, r := vec{s.FromXM, s.FromYM}, min(before.WidthM, s.WidthM)/2
	// the outer side is the right one in a turn to the left; first to second turns the short way, to the left
	first, second := vec{in.y, -in.x}, vec{out.y, -out.x}
	if turn < 0 {
		first, second = vec{-out.y, out.x}, vec{-in.y, in.x}
	}
	m.each(at, r, func(side *side) float64 {
		a, b := side.a.minus(at), side.b.minus(at)
		lo, hi := cut(0, 1, -first.cross(b.minus(a)), first.cross(a))    // left of the first bar
		lo, hi = cut(lo, hi, second.cross(b.minus(a)), -second.cross(a)) // right of the second
		if lo > hi {
			return math.Inf(1) // the bars' rectangles are nearer
		}
		return max(0, lineDistance(vec{}, a.towards(b, lo), a.towards(b, hi))-r)
	})
}
