package coverage

import (
	"cmp"
	"slices"
)

// groundM2 is the area inside the boundary by the even-odd rule, and what of it the
// exclusion areas take. Between the heights of all ends the sides are straight; a layer in which two of them cross
// is cut there, so that the middle line of each is exact. O(n log n + n m) for n sides of which m stand
// side by side, and O(m log m) for each crossing, of which so many are looked at as keep the work bounded.
func (f *fence) groundM2() (insideM2, excludedM2 float64) {
	if len(f.onPlane) == 0 {
		return 0, 0
	}
	slices.SortFunc(f.onPlane, func(a, b side) int { return cmp.Compare(a.v0, b.v0) })
	f.heights = f.heights[:0]
	for i := range f.onPlane {
		f.heights = append(f.heights, f.onPlane[i].v0, f.onPlane[i].v1)
	}
	slices.Sort(f.heights)
	f.heights = slices.Compact(f.heights)
	g := &f.sum
	*g = groundSum{across: g.across[:0], cuts: g.cuts, left: mostGroundWork}
	next := 0
	for i := 1; i < len(f.heights); i++ {
		v0, v1 := f.heights[i-1], f.heights[i]
		for ; next < len(f.onPlane) && f.onPlane[next].v0 <= v0; next++ {
			g.across = append(g.across, f.onPlane[next])
		}
		g.across = slices.DeleteFunc(g.across, func(s side) bool { return s.v1 <= v0 })
		g.layer(v0, v1)
	}
	return g.sum[0], g.sum[1]
}

// mostGroundWork bounds the sides looked at because others cross.
const mostGroundWork = 1 << 20

type groundSum struct {
	across []side // through the layer at hand
	cuts   []zoneCut
	sum    [2]float64
	left   int
}

// layer adds up v0..v1.
func (g *groundSum) layer(v0, v1 float64) {
	if g.left > 0 {
		if v, ok := g.crossing(v0, v1); ok {
			g.layer(v0, v)
			g.layer(v, v1)
			return
		}
	}
	inside, excluded := g.at((v0 + v1) / 2)
	g.sum[0] += inside * (v1 - v0)
	g.sum[1] += excluded * (v1 - v0)
}

// crossing is a height between v0 and v1 at which two neighbouring sides cross. It looks from a little inside the
// ends: sides that meet there stand in either order, within rounding.
func (g *groundSum) crossing(v0, v1 float64) (v float64, ok bool) {
	g.left -= len(g.across)
	v0, v1 = v0+1e-9*(v1-v0), v1-1e-9*(v1-v0)
	slices.SortFunc(g.across, func(a, b side) int {
		return cmp.Or(cmp.Compare(a.at(v0), b.at(v0)), cmp.Compare(a.at(v1), b.at(v1)))
	})
	for i := 1; i < len(g.across); i++ {
		a, b := &g.across[i-1], &g.across[i]
		low, high := b.at(v0)-a.at(v0), b.at(v1)-a.at(v1)
		if v := v0 + (v1-v0)*low/(low-high); high < 0 && low > 0 && v > v0 && v < v1 {
			return v, true
		}
	}
	return 0, false
}

// at is the lengths inside the boundary and of exclusion areas in it on a line.
func (g *groundSum) at(v float64) (inside, excluded float64) {
	g.cuts = g.cuts[:0]
	for i := range g.across {
		g.cuts = append(g.cuts, zoneCut{x: g.across[i].at(v), exclusion: g.across[i].exclusion})
	}
	slices.SortFunc(g.cuts, func(a, b zoneCut) int { return cmp.Compare(a.x, b.x) })
	in, off := false, false
	for i, c := range g.cuts {
		if i > 0 && in {
			inside += c.x - g.cuts[i-1].x
			if off {
				excluded += c.x - g.cuts[i-1].x
			}
		}
		if c.exclusion {
			off = !off
		} else {
			in = !in
		}
	}
	return inside, excluded
}
