package coverage

import (
	"cmp"
	"slices"
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
	x         float64
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
		if c.exclusion {
			z.offNow = !z.offNow
		} else {
			z.inNow = !z.inNow
		}
		z.reached++
	}
	z.put(l, times, x1-x0)
}

func (z *zones) put(l *lengths, times int, lengthM float64) {
	switch {
	case !z.inNow:
		l.outside += lengthM
	case z.offNow:
		l.excluded += lengthM
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
	bounded bool
	sides   []side
	rows    map[int32][]int32 // sides by row >> shift
	shift   uint
}

// mostEntries bounds how many entries a fence's rows have: taller rows where
// sides are longer than tiles are high.
const mostEntries = 1 << 20

func (c *Cover) fileSides() {
	f := &c.fence
	for ; ; f.shift++ {
		n := 0
		for i := range f.sides {
			n += 1 + int(c.rowOf(f.sides[i].v1)>>f.shift) - int(c.rowOf(f.sides[i].v0)>>f.shift)
		}
		if n <= mostEntries+len(f.sides) {
			break
		}
	}
	f.rows = map[int32][]int32{}
	for i := range f.sides {
		for r := c.rowOf(f.sides[i].v0) >> f.shift; r <= c.rowOf(f.sides[i].v1)>>f.shift; r++ {
			f.rows[r] = append(f.rows[r], int32(i))
		}
	}
}

// near is the sides that reach into the row of a tile, and whether one of them reaches into the tile.
func (f *fence) near(row int32, v0, v1, u0, u1 float64) (sides []int32, cutsTile bool) {
	sides = f.rows[row>>f.shift]
	for _, i := range sides {
		s := &f.sides[i]
		if s.v0 <= v1 && s.v1 >= v0 && min(s.u0, s.u1) <= u1 && max(s.u0, s.u1) >= u0 {
			return sides, true
		}
	}
	return sides, false
}

// cutLine fills z with the cuts of the line v between u0 and u1.
func (f *fence) cutLine(z *zones, sides []int32, v, u0, u1 float64) {
	z.in, z.off, z.cuts = !f.bounded, false, z.cuts[:0]
	for _, i := range sides {
		s := &f.sides[i]
		if (s.v0 <= v) == (s.v1 <= v) {
			continue
		}
		x := s.at(v)
		switch {
		case x >= u1:
		case x > u0:
			z.cuts = append(z.cuts, zoneCut{x, s.exclusion})
		case s.exclusion:
			z.off = !z.off
		default:
			z.in = !z.in
		}
	}
	slices.SortFunc(z.cuts, func(a, b zoneCut) int { return cmp.Compare(a.x, b.x) })
}
