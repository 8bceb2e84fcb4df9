package drift

import (
	"fmt"
	"math"

	"hopperbook/schemas/fault"
)

// Pair is two two-sided CUSUMs over the same values, one quick to see a small
// shift, one a large one; either alarms for both. Source: D. Han, F. Tsung, X. Hu
// and K. Wang, "CUSUM and EWMA multi-charts for detecting a range of mean
// shifts", Statistica Sinica 17 (2007) 1139-1164.
type Pair struct {
	Small, Large CUSUM
}

// The shifts a pair is tuned for, as shares of the one asked for, and the
// shifts that can be asked for [standard deviations]. With the default
// tolerance of 5 % the pair is tuned for 3 % and 8 %. The CUSUM for large shifts
// gets fewer of the false alarms: it then costs the other less than it gains.
const (
	smallShare = 0.6
	largeShare = 1.6
	largeRarer = 1.4
	leastShift = 2.0 / 3
	mostShift  = 2.5
)

// DesignPair is the pair for a shift [standard deviations, bounded to
// [2/3, 2.5]] whose in-control average run length is arl0 [loads], to 2 %: each
// CUSUM has half the shift it is tuned for as reference value. fault.Input unless
// 100 <= arl0 <= 10 000. Six to twelve solutions of ARL.
func DesignPair(shift, arl0 float64) (Pair, error) {
	if !(arl0 >= 100 && arl0 <= 1e4) || math.IsNaN(shift) {
		return Pair{}, fault.Newf("design of the drift test", fault.Input, fmt.Sprintf("shift %v, average run length %v", shift, arl0), "run length between 100 and 10 000 loads")
	}
	shift = min(mostShift, max(leastShift, shift))
	var p Pair
	each := arl0 * longer(shift, arl0)
	for _, c := range []struct {
		cusum   *CUSUM
		k, arl0 float64
	}{{&p.Small, smallShare * shift / 2, each}, {&p.Large, largeShare * shift / 2, largeRarer * each}} {
		h, err := DesignH(c.k, c.arl0)
		if err != nil {
			return Pair{}, err
		}
		*c.cusum = CUSUM{K: c.k, H: h}
	}
	return p, nil
}

// longer is how much longer the run length of the first CUSUM must be than that
// of the pair: 1 were the second the same test, 1.7 were the two independent.
// Least squares over simulations of 4e7 loads each at 7 shifts and 6 run lengths
// within the bounds of DesignPair; largest misfit 1.5 %.
func longer(shift, arl0 float64) float64 {
	x, y := math.Log(shift/1.5), math.Log(arl0/400)
	return 1.4556 + 0.1257*x + 0.0676*y - 0.0363*x*x - 0.0052*y*y - 0.0133*x*y
}

// Run is the evidence after each value, and the index of the first alarm or
// -1. Evidence is the larger of the two CUSUMs' sums, each as a share of its
// decision value: above 1 is an alarm.
func (p Pair) Run(xs []float64) (evidence []Sums, first int) {
	small, _ := p.Small.Run(xs)
	large, _ := p.Large.Run(xs)
	evidence, first = make([]Sums, len(xs)), -1
	for i := range xs {
		evidence[i] = Sums{
			High: max(small[i].High/p.Small.H, large[i].High/p.Large.H),
			Low:  max(small[i].Low/p.Small.H, large[i].Low/p.Large.H),
		}
		if first < 0 && evidence[i].alarm() {
			first = i
		}
	}
	return evidence, first
}

// alarm reads sums that are shares of a limit.
func (s Sums) alarm() bool { return max(s.High, s.Low) > 1 }
