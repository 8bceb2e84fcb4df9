package coverage

import (
	"cmp"
	"math"
	"slices"

	"hopperbook/reconcile/plane"
)

// zones is one line cut by the boundary and the exclusion areas.
type zones struct {
	cuts    []zoneCut
	in, off bool // at the left end of the tile: inside the boundary, inside an exclusion area
	reached int  // cuts left of the stretch last asked for
	inNow   bool
	offNow  bool
}

// zoneCut is where a line crosses a side of the boundary or of an exclusion area.
type zoneCut struct {
	x, slope  float64 // of the side: du/dv
	exclusion bool
}

// begin is called before a line is swept.
func (z *zones) begin() { z.reached, z.inNow, z.offNow = 0, z.in, z.off }

// book adds the stretch x0..x1, covered so many times, to where it belongs.
// Calls go from left to right.
func (z *zones) book(l *lengths, times int, x0, x1 float64) {
	for z.reached < len(z.cuts) && z.cuts[z.reached].x < x1 {
		c := z.cuts[z.reached]
		if c.x > x0 {
			z.put(l, times, c.x-x0)
			x0 = c.x
		}
		z.pass(&c)
		z.reached++
	}
	z.put(l, times, x1-x0)
}

// pass goes over a cut.
func (z *zones) pass(c *zoneCut) {
	if c.exclusion {
		z.offNow = !z.offNow
	} else {
		z.inNow = !z.inNow
	}
}

func (z *zones) put(l *lengths, times int, lengthM float64) {
	switch {
	case !z.inNow:
		l.outside += lengthM
		l.outsideTimes += float64(times) * lengthM
	case z.offNow:
		l.excluded += lengthM
		l.excludedTimes += float64(times) * lengthM
	case times == 1:
		l.once += lengthM
	case times == 2:
		l.twice += lengthM
	default:
		l.more += lengthM
	}
}

// side is a side of the boundary or of an exclusion area in the frame of the lines, its lower end first.
type side struct {
	u0, v0, u1, v1 float64
	exclusion      bool
}

func (s side) upward() side {
	if s.v0 > s.v1 {
		s.u0, s.v0, s.u1, s.v1 = s.u1, s.v1, s.u0, s.v0
	}
	return s
}

func (s *side) at(v float64) float64 { return s.u0 + (v-s.v0)/(s.v1-s.v0)*(s.u1-s.u0) }

// fence is the boundary and the exclusion areas, found by the row of tiles.
type fence struct {
	onPlane []side
	sides   []side  // in the frame
	rows    []int32 // where the sides of a row begin in filed, for (row - row0) >> shift
	filed   []int32 // sides by row
	row0    int32
	shift   uint
	heights []float64
	sum     groundSum
}

// add keeps the sides of a polygon; nil has none.
func (f *fence) add(p *plane.Polygon, exclusion bool) {
	if p == nil {
		return
	}
	p.EachEdge(func(a, b plane.Point) {
		f.onPlane = append(f.onPlane, side{a.XM, a.YM, b.XM, b.YM, exclusion}.upward())
	})
}

// turn lays the sides into a frame.
func (f *fence) turn(to frame) {
	f.sides, f.rows, f.filed, f.shift, f.row0 = append(f.sides[:0], f.onPlane...), f.rows[:0], f.filed[:0], 0, 0
	for i := range f.sides {
		s := &f.sides[i]
		s.u0, s.v0 = to.to(s.u0, s.v0)
		s.u1, s.v1 = to.to(s.u1, s.v1)
		*s = s.upward()
	}
}

// mostEntries bounds how many entries a fence's rows have: taller rows where
// sides are longer than tiles are high.
const mostEntries = 1 << 20

// fileSides sorts the sides into rows, packed into one array.
func (c *Cover) fileSides() {
	f := &c.fence
	if len(f.sides) == 0 {
		return
	}
	row0, row1 := int32(math.MaxInt32), int32(math.MinInt32)
	for i := range f.sides {
		row0, row1 = min(row0, c.rowOf(f.sides[i].v0)), max(row1, c.rowOf(f.sides[i].v1))
	}
	f.row0 = row0
	reach := func(s *side) (from, to int32) {
		return (c.rowOf(s.v0) - row0) >> f.shift, (c.rowOf(s.v1) - row0) >> f.shift
	}
	for ; ; f.shift++ {
		n := int(row1-row0) >> f.shift
		for i := range f.sides {
			from, to := reach(&f.sides[i])
			n += 1 + int(to-from)
		}
		if n <= mostEntries+len(f.sides) {
			break
		}
	}
	count := int((row1-row0)>>f.shift) + 1
	for range count + 2 {
		f.rows = append(f.rows, 0)
	}
	for i := range f.sides {
		from, to := reach(&f.sides[i])
		for r := from; r <= to; r++ {
			f.rows[r+2]++
		}
	}
	for k := 2; k < len(f.rows); k++ {
		f.rows[k] += f.rows[k-1]
	}
	f.filed = slices.Grow(f.filed, int(f.rows[count+1]))[:f.rows[count+1]]
	for i := range f.sides {
		from, to := reach(&f.sides[i])
		for r := from; r <= to; r++ {
			f.filed[f.rows[r+1]] = int32(i)
			f.rows[r+1]++
		}
	}
}

// near is the sides that reach into the row of a tile, and whether one of them reaches into the tile.
func (f *fence) near(row int32, v0, v1, u0, u1 float64) (sides []int32, cutsTile bool) {
	if r := int(row-f.row0) >> f.shift; r >= 0 && r < len(f.rows)-2 {
		sides = f.filed[f.rows[r]:f.rows[r+1]]
	}
	for _, i := range sides {
		s := &f.sides[i]
		if s.v0 <= v1 && s.v1 >= v0 && min(s.u0, s.u1) <= u1 && max(s.u0, s.u1) >= u0 {
			return sides, true
		}
	}
	return sides, false
}

// cutLine fills z with the cuts of the line v between u0 and u1.
func (f *fence) cutLine(z *zones, bounded bool, sides []int32, v, u0, u1 float64) {
	z.in, z.off, z.cuts = !bounded, false, z.cuts[:0]
	for _, i := range sides {
		s := &f.sides[i]
		if (s.v0 <= v) == (s.v1 <= v) {
			continue
		}
		x := s.at(v)
		switch {
		case x >= u1:
		case x > u0:
			z.cuts = append(z.cuts, zoneCut{x, (s.u1 - s.u0) / (s.v1 - s.v0), s.exclusion})
		case s.exclusion:
			z.off = !z.off
		default:
			z.in = !z.in
		}
	}
	slices.SortFunc(z.cuts, func(a, b zoneCut) int { return cmp.Compare(a.x, b.x) })
}
