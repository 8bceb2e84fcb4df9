package render

import (
	"cmp"
	"math"
	"slices"
)

// rings gathers the pieces of the outlines of bands, each with its band on the left.
type rings struct {
	next  [len(bands)]map[vertex]knot
	order [len(bands)][]knot // where pieces begin, as they came
}

func (r *rings) add(band int, from, to knot) {
	if r.next[band] == nil {
		r.next[band] = map[vertex]knot{}
	}
	r.next[band][from.vertex] = to
	r.order[band] = append(r.order[band], from)
}

// loop is a closed ring; counter-clockwise it is an outer one.
type loop struct {
	knots []knot
	area  float64 // signed, in cells
}

// shape is an outer ring and its holes.
type shape struct {
	outer loop
	holes []loop
}

// loops joins a band's pieces. ok is false when they do not close: a fault of the
// tracing.
func (r *rings) loops(band int) (all []loop, ok bool) {
	next := r.next[band]
	for _, start := range r.order[band] {
		if _, open := next[start.vertex]; !open {
			continue
		}
		l := loop{}
		for at := start; ; {
			l.knots = append(l.knots, at)
			to, on := next[at.vertex]
			if !on {
				return nil, false
			}
			delete(next, at.vertex)
			l.area += (at.x*to.y - to.x*at.y) / 2
			if at = to; at.vertex == start.vertex {
				break
			}
		}
		all = append(all, l)
	}
	return all, true
}

// shapes gives each hole to the ring around it: from its westernmost knot the nearest
// ring to the west is the one around it, or a hole beside it that has its ring already. Edges are
// looked up by the row they cross. O(n + holes x edges of a row).
func shapes(all []loop) (out []shape, ok bool) {
	slices.SortFunc(all, func(a, b loop) int { return cmp.Compare(westernmost(a).x, westernmost(b).x) })
	owner := make([]int, len(all)) // shape of each loop
	edges := map[int][]edge{}      // by row
	for i, l := range all {
		for k, a := range l.knots {
			b := l.knots[(k+1)%len(l.knots)]
			for row := int(math.Floor(min(a.y, b.y))); float64(row) <= max(a.y, b.y); row++ {
				edges[row] = append(edges[row], edge{a.point, b.point, i})
			}
		}
		if l.area > 0 {
			owner[i] = len(out)
			out = append(out, shape{outer: l})
		}
	}
	for i, l := range all {
		if l.area > 0 {
			continue
		}
		p := westernmost(l)
		nearest, at := -1, math.Inf(-1)
		for _, e := range edges[int(math.Floor(p.y))] {
			if e.loop == i || (e.a.y <= p.y) == (e.b.y <= p.y) {
				continue
			}
			if x := e.a.x + (p.y-e.a.y)/(e.b.y-e.a.y)*(e.b.x-e.a.x); x < p.x && x > at {
				nearest, at = e.loop, x
			}
		}
		if nearest < 0 {
			return nil, false
		}
		owner[i] = owner[nearest]
		out[owner[i]].holes = append(out[owner[i]].holes, l)
	}
	return out, true
}

type edge struct {
	a, b point
	loop int
}

func westernmost(l loop) knot {
	return slices.MinFunc(l.knots, func(a, b knot) int { return cmp.Or(cmp.Compare(a.x, b.x), cmp.Compare(a.y, b.y)) })
}

// thinned leaves out knots on a straight line, but for one every so many cells: a
// line that is straight on the plane is not so in degrees. Which knots go depends on their place alone, so that bands
// keep the line between them in common.
func (m *mesh) thinned(l loop, every int) []knot {
	out := make([]knot, 0, len(l.knots))
	for i, b := range l.knots {
		a, c := l.knots[(i+len(l.knots)-1)%len(l.knots)], l.knots[(i+1)%len(l.knots)]
		straight := (b.x-a.x)*(c.y-b.y)-(b.y-a.y)*(c.x-b.x) == 0
		place := b.node() % m.cols
		if b.place() == east {
			place = b.node() / m.cols
		}
		if !straight || b.place() >= lower || place%every == 0 {
			out = append(out, b)
		}
	}
	return out
}
