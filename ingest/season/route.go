package season

import (
	"cmp"
	"math"
	"slices"
)

// span is a stretch of a line inside an area. Slopes are dx/dy of the edges it
// ends at.
type span struct {
	from, to           float64
	slopeFrom, slopeTo float64
}

// spansAt cuts a line of constant y out of rings by the even-odd rule.
func spansAt(y float64, rings ...ring) []span {
	type hit struct{ x, slope float64 }
	var hits []hit
	for _, r := range rings {
		for i := range r {
			a, b := r.edge(i)
			if (a.y > y) != (b.y > y) {
				slope := (b.x - a.x) / (b.y - a.y)
				hits = append(hits, hit{a.x + (y-a.y)*slope, slope})
			}
		}
	}
	slices.SortFunc(hits, func(a, b hit) int { return cmp.Compare(a.x, b.x) })
	var out []span
	for i := 0; i+1 < len(hits); i += 2 {
		out = append(out, span{hits[i].x, hits[i+1].x, hits[i].slope, hits[i+1].slope})
	}
	return out
}

// route is the driving lines of a field: headland laps first, then parallel
// swaths, each in the order it will be driven.
func route(f area, boutM float64, gate pt) ([][]pt, bool) {
	laps := 1
	if boutM < 16 {
		laps = 2
	}
	var lines [][]pt
	for i := range laps {
		r, ok := f.outer.inset((float64(i) + 0.5) * boutM)
		if !ok {
			return nil, false
		}
		lines = append(lines, lap(r))
	}
	// Swaths run a tenth of a bout into the headland.
	inner, ok := f.outer.inset((float64(laps) - 0.1) * boutM)
	if !ok {
		return nil, false
	}
	var hole ring
	if f.hole != nil {
		around, ok1 := f.hole.inset(-0.5 * boutM)
		grown, ok2 := f.hole.inset(-0.9 * boutM)
		if !ok1 || !ok2 {
			return nil, false
		}
		lines, hole = append(lines, lap(around)), grown
	}
	return append(lines, swaths(inner, hole, boutM, gate)...), true
}

// lap is once around a ring with corners a machine can drive.
func lap(r ring) []pt {
	a, b := r.edge(0)
	mid := a.mix(b, 0.5)
	path := append([]pt{mid}, r[1:]...)
	return rounded(append(path, r[0], mid), 9)
}

// swaths fills inner with parallel lines along its longest edge, chained so
// that neighbours follow each other where one can turn from one to the next.
func swaths(inner, hole ring, boutM float64, gate pt) [][]pt {
	along := longestEdge(inner)
	sin, cos := -along.y, along.x
	flat := func(r ring) ring {
		out := make(ring, len(r))
		for i, p := range r {
			out[i] = p.rotated(sin, cos)
		}
		return out
	}
	in, out := flat(inner), flat(hole)
	low, high := area{outer: in}.bounds(0)
	var chains [][]line
	for k := range int(math.Ceil((high.y - low.y) / boutM)) {
		y := min(low.y+(float64(k)+0.5)*boutM, high.y-boutM/4)
		chains = chain(chains, k, y, spansAt(y, in, out), boutM)
	}
	lines := ordered(chains, gate.rotated(sin, cos))
	for _, l := range lines {
		for i, p := range l {
			l[i] = p.rotated(-sin, cos)
		}
	}
	return lines
}

func longestEdge(r ring) pt {
	var best pt
	for i := range r {
		a, b := r.edge(i)
		if v := b.minus(a); v.length() > best.length() {
			best = v
		}
	}
	return best.unit()
}

// line is one swath on the flat: its number across the field and its ends.
type line struct {
	k        int
	y        float64
	from, to float64
}

// chain adds the spans of line k to the chains that end beside them on line k-1.
func chain(chains [][]line, k int, y float64, spans []span, boutM float64) [][]line {
	for _, s := range spans {
		if s.to-s.from < boutM/2 {
			continue
		}
		// At a slanting end the swath's far corner would fall short.
		reach := func(slope float64) float64 { return min(math.Abs(slope), 1.5) * boutM / 4 }
		l := line{k, y, s.from - reach(s.slopeFrom), s.to + reach(s.slopeTo)}
		found := false
		for i, c := range chains {
			last := c[len(c)-1]
			if last.k == k-1 && last.from < l.to && last.to > l.from {
				chains[i], found = append(c, l), true
				break
			}
		}
		if !found {
			chains = append(chains, []line{l})
		}
	}
	return chains
}

// start is where a chain can be begun.
type start struct {
	chain               int
	upwards, rightwards bool
	at                  pt
}

func starts(chains [][]line) []start {
	var out []start
	for i, c := range chains {
		first, last := c[0], c[len(c)-1]
		out = append(out,
			start{i, true, true, pt{first.from, first.y}}, start{i, true, false, pt{first.to, first.y}},
			start{i, false, true, pt{last.from, last.y}}, start{i, false, false, pt{last.to, last.y}})
	}
	return out
}

// ordered drives the nearest chain next, to and fro.
func ordered(chains [][]line, at pt) [][]pt {
	var out [][]pt
	for len(chains) > 0 {
		best := slices.MinFunc(starts(chains), func(a, b start) int {
			return cmp.Compare(a.at.minus(at).length(), b.at.minus(at).length())
		})
		c := chains[best.chain]
		chains = slices.Delete(chains, best.chain, best.chain+1)
		if !best.upwards {
			slices.Reverse(c)
		}
		rightwards := best.rightwards
		for _, l := range c {
			a, b := pt{l.from, l.y}, pt{l.to, l.y}
			if !rightwards {
				a, b = b, a
			}
			out = append(out, []pt{a, b})
			at, rightwards = b, !rightwards
		}
	}
	return out
}
