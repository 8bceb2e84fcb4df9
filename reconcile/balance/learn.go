package balance

import (
	"math"
)

// What the flow does by itself, as shares; stated defaults, and the bounds of
// what is learned. Common practice, no source.
const (
	defaultNatural = 0.015 // from one load of 5 000 kg to the next
	leastNatural   = 0.002
	mostNatural    = 0.06
	defaultWalk    = 0.001 // over the first tonne, growing by its root
	leastWalk      = 0.0001
	mostWalk       = 0.02

	naturalLoadKg = 5000.0
	walkKg        = 1000.0

	// fewReadings is below how many informative readings nothing is learned.
	fewReadings = 8
	// The defaults weigh like a reading that they are right within a factor.
	naturalFactor = 2
	walkFactor    = 3
)

func (o Options) noise() noise {
	return noise{white: o.NaturalSdShare * o.NaturalSdShare * naturalLoadKg, walk: o.WalkSdShare * o.WalkSdShare / walkKg}
}

// learn fills in how the flow wanders, where it is not stated: the most likely
// two numbers between the bounds, the defaults counted as one reading each so
// that few loads move them little. O(ops).
func (o Options) learn(ops []op, scales int) Options {
	if o.NaturalSdShare > 0 {
		return o
	}
	o.NaturalSdShare, o.WalkSdShare = defaultNatural, defaultWalk
	cost := func(natural, walk float64) float64 {
		try := o
		try.NaturalSdShare, try.WalkSdShare = natural, walk
		cost, readings := likelihood(ops, start(scales, o.ScaleBiasShare), try.noise())
		if readings < fewReadings {
			return 0
		}
		a, b := math.Log(natural/defaultNatural)/math.Log(naturalFactor), math.Log(walk/defaultWalk)/math.Log(walkFactor)
		return cost + a*a + b*b
	}
	best := cost(o.NaturalSdShare, o.WalkSdShare)
	for step := 2.0; step > 1.05; { // a pattern search in logarithms
		moved := false
		for _, m := range [4][2]float64{{step, 1}, {1 / step, 1}, {1, step}, {1, 1 / step}} {
			natural := min(mostNatural, max(leastNatural, o.NaturalSdShare*m[0]))
			walk := min(mostWalk, max(leastWalk, o.WalkSdShare*m[1]))
			if c := cost(natural, walk); c < best {
				o.NaturalSdShare, o.WalkSdShare, best, moved = natural, walk, c, true
				break
			}
		}
		if !moved {
			step = math.Sqrt(step)
		}
	}
	return o
}
