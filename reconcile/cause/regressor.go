package cause

import (
	"math"
	"slices"
)

// What a regressor must span within a series to be told from a plain change.
const (
	leastSpeedRange   = 0.05 // of the mean speed
	leastContentRange = 0.08 // of the hopper
	leastAreaShare    = 0.03 // below it the ground shows nothing
)

func ones(n int) []float64 { return slices.Repeat([]float64{1}, n) }

// from is x with zeros before index k.
func from(x []float64, k int) []float64 {
	out := make([]float64, len(x))
	copy(out[k:], x[k:])
	return out
}

func alone(n, k int) []float64 {
	out := make([]float64, n)
	out[k] = 1
	return out
}

// ramp rises from 0 at the start of interval k to 1 at the end of the series,
// by mass spread; an interval counts with its middle.
func ramp(s *Series, k int) []float64 {
	x := make([]float64, len(s.Intervals))
	var kg float64
	for i := k; i < len(x); i++ {
		x[i] = kg + s.Intervals[i].MassKg/2
		kg += s.Intervals[i].MassKg
	}
	if kg > 0 {
		for i := range x {
			x[i] /= kg
		}
	}
	return x
}

// filled puts the mean of the known values where one is not known. ok: more
// than half are known. O(n).
func filled(s *Series, value func(*Interval) (float64, bool)) (x []float64, mean, span float64, ok bool) {
	x = make([]float64, len(s.Intervals))
	var sum, n float64
	low, high := math.Inf(1), math.Inf(-1)
	for i := range x {
		if v, known := value(&s.Intervals[i]); known {
			x[i], sum, n = v, sum+v, n+1
			low, high = min(low, v), max(high, v)
		}
	}
	if 2*n <= float64(len(x)) {
		return nil, 0, 0, false
	}
	mean = sum / n
	for i := range x {
		if _, known := value(&s.Intervals[i]); !known {
			x[i] = mean
		}
	}
	return x, mean, high - low, true
}

func speedOf(iv *Interval) (float64, bool) { return iv.SpeedMS, iv.SpeedMS > 0 }

// speeds gives speed / mean speed - 1.
func speeds(s *Series) ([]float64, bool) {
	x, mean, span, ok := filled(s, speedOf)
	if !ok || span < leastSpeedRange*mean {
		return nil, false
	}
	for i := range x {
		x[i] = x[i]/mean - 1
	}
	return x, true
}

// Part says how the flow depends on the content of the hopper.
type Part string

// The parts.
const (
	Bottom Part = "bottom" // it differs in the last quarter of a hopper
	Top    Part = "top"    // in the first quarter
	Head   Part = "head"   // evenly from full to empty
)

const quarter = 0.25

// content is one way the flow can depend on the content of the hopper.
type content struct {
	part     Part
	x        []float64
	mean, sd float64 // prior of the effect
}

// contents lists those in which the intervals differ.
func contents(s *Series) []content {
	var out []content
	for _, c := range []struct {
		content
		of func(high, low float64) float64
	}{
		{content{part: Bottom, mean: -0.35, sd: 0.25}, func(high, low float64) float64 { return (min(high, quarter) - min(low, quarter)) / (high - low) }},
		{content{part: Top, mean: 0, sd: 0.3}, func(high, low float64) float64 {
			return (max(high, 1-quarter) - max(low, 1-quarter)) / (high - low)
		}},
		{content{part: Head, mean: 0.2, sd: 0.15}, func(high, low float64) float64 { return (high+low)/2 - 0.5 }},
	} {
		x, _, span, ok := filled(s, func(iv *Interval) (float64, bool) {
			high, low := min(max(iv.StartLevel, 0), 1), min(max(iv.EndLevel, 0), 1)
			if !iv.LevelKnown || high-low < 0.01 {
				return 0, false
			}
			return c.of(high, low), true
		})
		if ok && span >= leastContentRange {
			c.x = x
			out = append(out, c.content)
		}
	}
	return out
}

// widths gives driven distance of lines / bout width - 1. An unknown one is as
// the last known one, the first as the first known.
func widths(s *Series) (x []float64, ok bool) {
	x = make([]float64, len(s.Intervals))
	first := slices.IndexFunc(s.Intervals, func(iv Interval) bool { return iv.WidthKnown })
	if first < 0 {
		return nil, false
	}
	last, known := s.Intervals[first].WidthShare, 0
	for i := range x {
		if iv := &s.Intervals[i]; iv.WidthKnown {
			last = iv.WidthShare
			known++
		}
		x[i] = last
	}
	x = smooth(x)
	return x, 2*known > len(x) && largest(x) >= leastAreaShare
}

// switches gives distance truly spread / logged - 1, load by load: turns and
// ways differ from load to load, and so does what they are wrongly logged as.
func switches(s *Series) ([]float64, bool) {
	x := make([]float64, len(s.Intervals))
	for i := range x {
		x[i] = s.Intervals[i].SwitchShare
	}
	return x, largest(x) >= leastAreaShare
}

// smooth is the running median of seven, of fewer at the ends: the distance of
// lines is rough and changes in steps, which a median keeps.
func smooth(x []float64) []float64 {
	out := make([]float64, len(x))
	for i := range x {
		near := slices.Clone(x[max(0, i-3):min(len(x), i+4)])
		slices.Sort(near)
		out[i] = near[len(near)/2]
	}
	return out
}

func span(x []float64) float64 { return slices.Max(x) - slices.Min(x) }

func largest(x []float64) (most float64) {
	for _, v := range x {
		most = max(most, math.Abs(v))
	}
	return most
}

// group is one batch or setting: its own intervals, or all from its first on.
type group[K ~string] struct {
	key   K
	first int
	alone bool
	x     []float64
	prior float64
}

// groups lists every batch or setting of a series as a change. What would be
// all intervals, or the same intervals twice, is left out; so is everything
// where there is only one.
func groups[K ~string](s *Series, of func(*Interval) K) []group[K] {
	n := len(s.Intervals)
	var out []group[K]
	seen := map[K]bool{}
	for k := range n {
		key := of(&s.Intervals[k])
		if key == "" || seen[key] {
			continue
		}
		seen[key] = true
		its := make([]float64, n)
		count := 0
		for i := range n {
			if of(&s.Intervals[i]) == key {
				its[i] = 1
				count++
			}
		}
		if count == n {
			return nil
		}
		after := from(ones(n), k)
		last := slices.Equal(after, its) // nothing comes after it
		out = append(out, group[K]{key: key, first: k, alone: !last, x: its})
		if k > 0 && !last {
			out = append(out, group[K]{key: key, first: k, x: after})
		}
	}
	for i := range out {
		out[i].prior = 1 / float64(len(out))
	}
	return out
}
