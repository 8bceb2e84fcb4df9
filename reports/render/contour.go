package render

import (
	"math"

	"hopperbook/reconcile/applied"
	"hopperbook/reports"
)

// band is what lies between two contours.
type band struct {
	name string
	from applied.Class
}

// bands are all of them, rising; a band reaches to where the next begins.
var bands = [...]band{
	{"not_hit", applied.NotHit}, {"far_below", applied.FarLow}, {"below", applied.Low},
	{"within", applied.BitLow}, {"above", applied.High}, {"far_above", applied.FarHigh},
}

// bandOf is the band of a rate; without a reference nothing can be said to be hit.
func bandOf(kgHa float32, referenceKgHa float64) uint8 {
	if !(referenceKgHa > 0) {
		return 0
	}
	b, c := len(bands)-1, applied.ClassOf(kgHa, referenceKgHa)
	for bands[b].from > c {
		b--
	}
	return uint8(b)
}

// Crossings of a side lie on a lattice of its 512th parts, contours on the odd ones and
// the field's outline on the even ones: no two points of a side fall together, and none on its ends, so
// that rings keep their order whatever is rounded later.
const parts = 512

// topShare is where a rate stops to count for the place of a contour, so that those of one
// side stand apart.
const topShare = 2.4

// mesh holds the middles of a map's cells as nodes, with a rim of nodes around
// them that lie outside the field. A side joins two nodes, eastwards,
// northwards or, in squares across the outline, along the diagonal north-east.
type mesh struct {
	cols, rows int
	inside     []bool
	band       []uint8
	share      []float64 // of the reference rate
	cut        map[vertex]float64
	ring       rings
}

// vertex names a point of a contour or the outline by where it lies: on a
// side (of its southern or western node) or within a triangle of a square.
type vertex uint64

const (
	east, north, diagonal, lower, upper = 0, 1, 2, 3, 4 // place
	outline                             = 0             // or the number of the band above a contour
)

func at(node, place, what int) vertex { return vertex(node<<6 | place<<3 | what) }

func (v vertex) node() int  { return int(v >> 6) }
func (v vertex) place() int { return int(v>>3) & 7 }
func (v vertex) what() int  { return int(v) & 7 }

// point is a position in cells; node (0, 0) is the origin.
type point struct{ x, y float64 }

func newMesh(a reports.MapAnswer, rates []float32) *mesh {
	g := a.Grid
	m := &mesh{cols: g.Cols + 2, rows: g.Rows + 2, cut: map[vertex]float64{}}
	n := m.cols * m.rows
	m.inside, m.band, m.share = make([]bool, n), make([]uint8, n), make([]float64, n)
	for i, v := range rates {
		if v == v {
			node := (i/g.Cols+1)*m.cols + i%g.Cols + 1
			m.inside[node] = true
			m.set(node, v, a.ReferenceKgHa())
		}
	}
	m.beyond(a, rates)
	for _, part := range append(g.Boundary[:len(g.Boundary):len(g.Boundary)], g.Exclusion...) {
		for _, ring := range part {
			for i := range ring {
				m.cutBy(m.place(a, ring[i]), m.place(a, ring[(i+1)%len(ring)]))
			}
		}
	}
	return m
}

// place is where a point of the plane lies between the nodes.
func (m *mesh) place(a reports.MapAnswer, p [2]float64) point {
	return point{(p[0]-a.Grid.XM)/a.CellM + 0.5, (p[1]-a.Grid.YM)/a.CellM + 0.5}
}

func (m *mesh) set(node int, kgHa float32, referenceKgHa float64) {
	m.band[node] = bandOf(kgHa, referenceKgHa)
	if referenceKgHa > 0 {
		m.share[node] = min(topShare, max(0, float64(kgHa)/referenceKgHa))
	}
}

// beyond carries the rates on to the nodes around the field: each has the mean of the field's
// cells beside it, or where there are none of those across its corners.
func (m *mesh) beyond(a reports.MapAnswer, rates []float32) {
	beside := [2][4][2]int{{{1, 0}, {0, 1}, {-1, 0}, {0, -1}}, {{1, 1}, {-1, 1}, {-1, -1}, {1, -1}}}
	for node, in := range m.inside {
		if in {
			continue
		}
		col, row := node%m.cols, node/m.cols
		for _, neighbours := range beside {
			sum, n := 0.0, 0.0
			for _, d := range neighbours {
				c, r := col+d[0], row+d[1]
				if c > 0 && r > 0 && c < m.cols-1 && r < m.rows-1 && m.inside[r*m.cols+c] {
					sum += float64(rates[(r-1)*(m.cols-2)+c-1])
					n++
				}
			}
			if n > 0 {
				m.set(node, float32(sum/n), a.ReferenceKgHa())
				break
			}
		}
	}
}

// cutBy notes where an edge of the outline crosses sides that lead out of the field.
func (m *mesh) cutBy(a, b point) {
	// Each family of sides lies on lines where across is whole.
	m.cutFamily(east, a.y, b.y, a.x, b.x)
	m.cutFamily(north, a.x, b.x, a.y, b.y)
	m.cutFamily(diagonal, a.x-a.y, b.x-b.y, a.x, b.x)
}

func (m *mesh) cutFamily(place int, across0, across1, along0, along1 float64) {
	low, high := min(across0, across1), max(across0, across1)
	for line := math.Ceil(max(low, -float64(m.rows))); line <= min(high, float64(max(m.cols, m.rows))); line++ {
		if (across0 <= line) == (across1 <= line) {
			continue
		}
		s := along0 + (line-across0)/(across1-across0)*(along1-along0)
		col, row := math.Floor(s), line
		switch place {
		case north:
			col, row = line, math.Floor(s)
		case diagonal:
			row = col - line
		}
		if !(col >= 0 && row >= 0 && col < float64(m.cols-1) && row < float64(m.rows-1)) {
			continue
		}
		node := int(row)*m.cols + int(col)
		other, v := m.other(node, place), at(node, place, outline)
		if m.inside[node] == m.inside[other] {
			continue
		}
		t := s - math.Floor(s)
		// Of several crossings the one next to the field's node counts.
		if old, ok := m.cut[v]; !ok || (t < old) == m.inside[node] {
			m.cut[v] = t
		}
	}
}

// other is the node at the far end of a side.
func (m *mesh) other(node, place int) int {
	return node + [...]int{1, m.cols, m.cols + 1}[place]
}

// side is the vertex on the side between two nodes, and whether the side begins at u.
func (m *mesh) side(u, v, what int) (vertex, bool) {
	first := min(u, v)
	place := diagonal
	switch u + v - 2*first {
	case 1:
		place = east
	case m.cols:
		place = north
	}
	return at(first, place, what), first == u
}

// fraction is where a vertex on a side lies, from the side's first node.
func (m *mesh) fraction(v vertex) float64 {
	if v.what() == outline {
		t, ok := m.cut[v]
		if !ok { // a node within the rounding of the outline
			t = 0.5
		}
		return 2 * math.Round(min(parts/2-1, max(1, t*parts/2))) / parts
	}
	a, b := m.share[v.node()], m.share[m.other(v.node(), v.place())]
	t := (bands[v.what()].from.From() - a) / (b - a)
	if !(t >= 0) { // a rate that is that of the contour but for its rounding, or none
		t = 0
	}
	return (2*math.Floor(min(parts/2-1, t*parts/2)) + 1) / parts
}

// from is the fraction from u of the vertex on the side between u and v.
func (m *mesh) from(u, v, what int) float64 {
	vertex, forward := m.side(u, v, what)
	if forward {
		return m.fraction(vertex)
	}
	return 1 - m.fraction(vertex)
}

// point is where a vertex on a side lies.
func (m *mesh) point(v vertex) point {
	p := point{float64(v.node() % m.cols), float64(v.node() / m.cols)}
	t := m.fraction(v)
	if v.place() != north {
		p.x += t
	}
	if v.place() != east {
		p.y += t
	}
	return p
}

// trace draws all outlines of bands: O(nodes).
func (m *mesh) trace() {
	for row := range m.rows - 1 {
		for col := range m.cols - 1 {
			a := row*m.cols + col
			b, c, d := a+1, a+1+m.cols, a+m.cols
			switch in := m.inside; {
			case in[a] && in[b] && in[c] && in[d]:
				m.square(a, b, c, d)
			case in[a] || in[b] || in[c] || in[d]:
				m.triangle([3]int{a, b, c}, at(a, lower, 0))
				m.triangle([3]int{a, c, d}, at(a, upper, 0))
			}
		}
	}
}

// square draws the contours of a square within the field, nodes counter-clockwise.
func (m *mesh) square(nodes ...int) {
	low, high := m.band[nodes[0]], m.band[nodes[0]]
	mean := 0.0
	for _, n := range nodes {
		low, high = min(low, m.band[n]), max(high, m.band[n])
		mean += m.share[n] / 4
	}
	for k := int(low) + 1; k <= int(high); k++ {
		var down, up []vertex // where the contour is crossed, going around
		for i, u := range nodes {
			w := nodes[(i+1)%4]
			above, next := int(m.band[u]) >= k, int(m.band[w]) >= k
			v, _ := m.side(u, w, k)
			switch {
			case above && !next:
				down = append(down, v)
			case !above && next:
				up = append(up, v)
			}
		}
		// Each way down joins the way up that follows it when the corner between them is cut off, the one before
		// it when the middle is below.
		first := int(m.band[nodes[0]]) >= k // then the first crossing is a way down
		cutLow := len(down) == 1 || mean >= bands[k].from.From()
		for i, v := range down {
			j := i
			switch {
			case first && !cutLow:
				j = i + len(up) - 1
			case !first && cutLow:
				j = i + 1
			}
			m.contour(k, m.vertexPoint(v), m.vertexPoint(up[j%len(up)]))
		}
	}
}

// knot is a vertex with its place.
type knot struct {
	vertex
	point
}

func (m *mesh) vertexPoint(v vertex) knot { return knot{v, m.point(v)} }

// contour draws a piece with the band k on its left.
func (m *mesh) contour(k int, from, to knot) {
	m.ring.add(k, from, to)
	m.ring.add(k-1, to, from)
}

// triangle draws contours and outline of a triangle that may lie across the outline.
func (m *mesh) triangle(nodes [3]int, name vertex) {
	var leave, enter knot // of the field, going around
	var leaveBand, enterBand int
	crossed := false
	for i, u := range nodes {
		w := nodes[(i+1)%3]
		if m.inside[u] == m.inside[w] {
			continue
		}
		crossed = true
		v, _ := m.side(u, w, outline)
		if m.inside[u] {
			leave, leaveBand = m.vertexPoint(v), m.bandAtCut(u, w)
		} else {
			enter, enterBand = m.vertexPoint(v), m.bandAtCut(w, u)
		}
	}
	if !crossed && !m.inside[nodes[0]] {
		return
	}
	meet := [len(bands)]knot{}
	for k := 1; k < len(bands); k++ {
		var down, up knot
		var downIn, upIn bool
		for i, u := range nodes {
			w := nodes[(i+1)%3]
			v, _ := m.side(u, w, k)
			switch above, next := int(m.band[u]) >= k, int(m.band[w]) >= k; {
			case above && !next:
				down, downIn = m.vertexPoint(v), m.within(u, w, k)
			case !above && next:
				up, upIn = m.vertexPoint(v), m.within(u, w, k)
			}
		}
		if downIn != upIn {
			meet[k] = knot{name | vertex(k), intersection(down.point, up.point, leave.point, enter.point)}
			if downIn {
				up = meet[k]
			} else {
				down = meet[k]
			}
		}
		if downIn || upIn {
			m.contour(k, down, up)
		}
	}
	if crossed {
		m.border(leave, enter, leaveBand, enterBand, meet)
	}
}

// border draws the piece of the outline in a triangle, cut where contours meet it.
func (m *mesh) border(leave, enter knot, band, last int, meet [len(bands)]knot) {
	for band != last {
		k, next := band, band-1
		if band < last {
			k, next = band+1, band+1
		}
		m.ring.add(band, leave, meet[k])
		leave, band = meet[k], next
	}
	m.ring.add(band, leave, enter)
}

// bandAtCut is the band where the side from the field's node u to w leaves the field.
func (m *mesh) bandAtCut(u, w int) int {
	b, cut := int(m.band[u]), m.from(u, w, outline)
	for b < int(m.band[w]) && m.from(u, w, b+1) < cut {
		b++
	}
	for b > int(m.band[w]) && m.from(u, w, b) < cut {
		b--
	}
	return b
}

// within reports whether contour k crosses the side between u and w inside the field.
func (m *mesh) within(u, w, k int) bool {
	switch {
	case m.inside[u] && m.inside[w]:
		return true
	case m.inside[u]:
		return m.from(u, w, k) < m.from(u, w, outline)
	case m.inside[w]:
		return m.from(w, u, k) < m.from(w, u, outline)
	}
	return false
}

// intersection is where two lines cross that are known to.
func intersection(a, b, c, d point) point {
	ux, uy, vx, vy := b.x-a.x, b.y-a.y, d.x-c.x, d.y-c.y
	t := ((c.x-a.x)*vy - (c.y-a.y)*vx) / (ux*vy - uy*vx)
	return point{a.x + t*ux, a.y + t*uy}
}
