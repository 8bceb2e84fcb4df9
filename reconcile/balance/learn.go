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
	fewReadings = 4
	// The defaults weigh like a reading that they are right within a factor.
	naturalFactor = 3
	walkFactor    = 4
)

func (o Options) noise() noise {
	return noise{white: o.NaturalSdShare * o.NaturalSdShare * naturalLoadKg, walk: o.WalkSdShare * o.WalkSdShare / walkKg}
}

// learn fills in how the flow wanders, where it is not stated: the variances'
// means over their likelihood between the bounds, the defaults counted as one
// reading each so that few loads move them little. Not the most likely pair
// itself: with tens of loads that is often a bound, and intervals from it hold
// the truth too rarely. The mean also moves smoothly with the data.
// O(ops).
func (o Options) learn(ops []op, scales int) Options {
	if o.NaturalSdShare > 0 {
		return o
	}
	o.NaturalSdShare, o.WalkSdShare = defaultNatural, defaultWalk
	if _, readings := likelihood(ops, start(scales, o.ScaleBiasShare), o.noise()); readings < fewReadings {
		return o
	}
	minus2Log := func(natural, walk float64) float64 {
		try := o
		try.NaturalSdShare, try.WalkSdShare = math.Exp(natural), math.Exp(walk)
		cost, _ := likelihood(ops, start(scales, o.ScaleBiasShare), try.noise())
		a := (natural - math.Log(defaultNatural)) / math.Log(naturalFactor)
		b := (walk - math.Log(defaultWalk)) / math.Log(walkFactor)
		return cost + a*a + b*b
	}
	natural, walk := span{math.Log(leastNatural), math.Log(mostNatural)}, span{math.Log(leastWalk), math.Log(mostWalk)}
	a, b := natural, walk
	for range 3 { // each time over what the time before left likely
		var weights grid
		for i := range weights {
			for j := range weights[i] {
				weights[i][j] = minus2Log(a.at(i), b.at(j))
			}
		}
		weights.likelihoods()
		var first, second [gridSize]float64
		for i := range weights {
			for j, w := range weights[i] {
				first[i] += w
				second[j] += w
			}
		}
		o.NaturalSdShare, o.WalkSdShare = a.rms(first), b.rms(second)
		a, b = a.likely(first, natural), b.likely(second, walk)
	}
	return o
}

const gridSize = 5

// grid holds -2 log likelihoods, then shares of the likelihood.
type grid [gridSize][gridSize]float64

func (g *grid) likelihoods() {
	least, total := math.Inf(1), 0.0
	for i := range g {
		for _, x := range g[i] {
			least = min(least, x)
		}
	}
	for i := range g {
		for j, x := range g[i] {
			g[i][j] = math.Exp((least - x) / 2)
			total += g[i][j]
		}
	}
	for i := range g {
		for j := range g[i] {
			g[i][j] /= total
		}
	}
}

// span is a range of a logarithm.
type span struct{ low, high float64 }

func (s span) at(i int) float64 { return s.low + (s.high-s.low)*float64(i)/(gridSize-1) }

// rms is the root of the mean variance.
func (s span) rms(weights [gridSize]float64) float64 {
	var v float64
	for i, w := range weights {
		v += w * math.Exp(2*s.at(i))
	}
	return math.Sqrt(v)
}

// likely is the span within all that holds nearly all of the likelihood, at
// least one step to each side of its mean.
func (s span) likely(weights [gridSize]float64, all span) span {
	var mean, square float64
	for i, w := range weights {
		mean += w * s.at(i)
		square += w * s.at(i) * s.at(i)
	}
	half := max(2.5*math.Sqrt(max(0, square-mean*mean)), (s.high-s.low)/(gridSize-1))
	return span{max(all.low, mean-half), min(all.high, mean+half)}
}
