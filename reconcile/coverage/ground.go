package coverage

import (
	"cmp"
	"slices"
)

// groundM2 is the area inside the boundary by the even-odd rule, and what of it the
// exclusion areas take. Between the heights of all corners the sides are straight: a layer
// whose sides do not cross is exact by its middle line, others are cut in thirds.
// O(n log n + n m) for n sides of which m stand side by side; work is bounded.
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
		g.layer(v0, v1, g.at((v0+v1)/2))
	}
	return g.sum[0], g.sum[1]
}

// mostGroundWork is how many cuts of sides are spent on refining.
const mostGroundWork = 1 << 24

type groundSum struct {
	across []side
	cuts   []zoneCut
	sum    [2]float64
	left   int
}

// at is the lengths inside the boundary and of exclusion areas in it on a line.
func (g *groundSum) at(v float64) (l [2]float64) {
	g.cuts = g.cuts[:0]
	for i := range g.across {
		g.cuts = append(g.cuts, zoneCut{g.across[i].at(v), g.across[i].exclusion})
	}
	g.left -= len(g.across)
	slices.SortFunc(g.cuts, func(a, b zoneCut) int { return cmp.Compare(a.x, b.x) })
	in, off := false, false
	for i, c := range g.cuts {
		if i > 0 && in {
			l[0] += c.x - g.cuts[i-1].x
			if off {
				l[1] += c.x - g.cuts[i-1].x
			}
		}
		if c.exclusion {
			off = !off
		} else {
			in = !in
		}
	}
	return l
}

// groundTolM2 is what a layer may be off before it is cut again.
const groundTolM2 = 1e-5

func (g *groundSum) layer(v0, v1 float64, mid [2]float64) {
	h := (v1 - v0) / 3
	low, high := g.at(v0+h/2), g.at(v1-h/2)
	off := max(abs(low[0]+high[0]-2*mid[0]), abs(low[1]+high[1]-2*mid[1])) * h
	if off <= groundTolM2 || g.left <= 0 {
		g.sum[0] += h * (low[0] + mid[0] + high[0])
		g.sum[1] += h * (low[1] + mid[1] + high[1])
		return
	}
	g.layer(v0, v0+h, low)
	g.layer(v0+h, v1-h, mid)
	g.layer(v1-h, v1, high)
}

func abs(v float64) float64 { return max(v, -v) }
