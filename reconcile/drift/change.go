package drift

import (
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/floats"

	"hopperbook/schemas"
)

// Change is the most likely step of a series and its size.
type Change struct {
	Index  int              // of the first point after the change
	Refill schemas.RefillID // of that point
	Load   int              // of that point

	IndexLow, IndexHigh int // the first point after the change lies here, in at least 90 of 100 cases
	LoadLow, LoadHigh   int // of those points

	Alarm int // index of the first point from Index on whose evidence calls

	Size     float64 // flow ratio after the change - 1
	SizeSd   float64 // standard uncertainty, what all ratios share included
	Low      float64 // 95 % interval of Size (normal), as if the change point were known
	High     float64
	LogRatio float64 // log-likelihood of the step less that of no change

	StepKnown bool    // there are points before the change
	Step      float64 // ratio after - ratio before; what all ratios share drops out
	StepSd    float64 // standard uncertainty
}

// factored is the covariance of a series, tridiagonal, as L D L': innovation i
// is deviation i - gain[i] x innovation i-1, with standard deviation sd[i].
type factored struct {
	gain, sd []float64
}

// factor adds the natural variance to the measurement's. fault.Input when the
// covariances are larger than the uncertainties allow.
func factor(series []Point, natural float64) (factored, error) {
	f := factored{make([]float64, len(series)), make([]float64, len(series))}
	for i, p := range series {
		v := p.Sd*p.Sd + natural*natural
		if i > 0 {
			before := f.sd[i-1] * f.sd[i-1]
			f.gain[i] = series[i-1].CovNext / before
			v -= f.gain[i] * f.gain[i] * before
		}
		if !(v > 0) {
			return f, invalid(fmt.Sprintf("refill %s: covariance %v with the point before", p.Refill, series[i-1].CovNext), "the covariance of neighbours is at most the variance of the residual they share")
		}
		f.sd[i] = math.Sqrt(v)
	}
	return f, nil
}

// whiten gives the standardized innovations of xs from index first, taking the
// values before it as zero.
func (f factored) whiten(xs []float64, first int) []float64 {
	out := make([]float64, len(xs))
	var before float64
	for i := first; i < len(xs); i++ {
		before = xs[i] - f.gain[i]*before
		out[i] = before / f.sd[i]
	}
	return out
}

// level is the mean of the innovations' series by generalized least squares
// and its standard uncertainty.
func (f factored) level(innovations []float64) (mean, sd float64) {
	score, information := f.score(innovations, 0)
	return score / information, 1 / math.Sqrt(information)
}

// score is the product of the innovations with those of a unit step at first,
// and the square of the latter (Fisher information of the step's size).
func (f factored) score(innovations []float64, first int) (score, information float64) {
	var one float64
	for i := first; i < len(innovations); i++ {
		one = 1 - f.gain[i]*one
		u := one / f.sd[i]
		information += u * u
		score += u * innovations[i]
	}
	return score, information
}

// likelyCut is how much less log-likelihood than the best a start may have and
// still be in the interval of the change point. Calibrated by simulation of
// series in alarm (TestChangePointInterval), because the usual theory does not
// hold for a point that jumps from load to load.
const likelyCut = 3

// change finds the start of the step with the largest likelihood, the ratio
// before it being 1, and the starts that are nearly as likely. The earlier one of
// equals. O(n^2).
func (f factored) change(series []Point, innovations []float64, shared float64) *Change {
	best := Change{LogRatio: math.Inf(-1)}
	gains := make([]float64, len(series))
	for first := range series {
		score, information := f.score(innovations, first)
		gains[first] = score * score / information / 2
		if gains[first] > best.LogRatio {
			best.Index, best.LogRatio = first, gains[first]
			best.Size, best.SizeSd = score/information, math.Hypot(1/math.Sqrt(information), shared)
		}
	}
	likely := func(gain float64) bool { return gain >= best.LogRatio-likelyCut }
	best.IndexLow, best.IndexHigh = slices.IndexFunc(gains, likely), len(gains)-1
	for !likely(gains[best.IndexHigh]) {
		best.IndexHigh--
	}
	best.Refill, best.Load = series[best.Index].Refill, series[best.Index].Load
	best.LoadLow, best.LoadHigh = series[best.IndexLow].Load, series[best.IndexHigh].Load
	best.Low, best.High = best.Size-z95*best.SizeSd, best.Size+z95*best.SizeSd
	if best.StepKnown = best.Index > 0; best.StepKnown {
		best.Step, best.StepSd = f.step(innovations, best.Index)
	}
	return &best
}

// step fits one level before and one from index at on (0 < at < n), by
// generalized least squares, and gives their difference: the coefficient of the
// unit step beside a constant.
func (f factored) step(innovations []float64, at int) (size, sd float64) {
	constant := f.whiten(slices.Repeat([]float64{1}, len(innovations)), 0)
	unit := f.whiten(slices.Repeat([]float64{1}, len(innovations)), at)
	cc, cu, uu := floats.Dot(constant, constant), floats.Dot(constant, unit), floats.Dot(unit, unit)
	cz, uz := floats.Dot(constant, innovations), floats.Dot(unit, innovations)
	det := cc*uu - cu*cu
	return (cc*uz - cu*cz) / det, math.Sqrt(cc / det)
}

// beyond reports whether the change is larger than the tolerance, surely enough
// to stop a machine; see the package comment.
func (c *Change) beyond(deviations []float64, tolerance float64) bool {
	after := deviations[c.Index:]
	side := math.Copysign(1, c.Size)
	return len(after) >= leastAfter &&
		side*median(after) > tolerance &&
		math.Abs(c.Size)-z95OneSided*c.SizeSd > tolerance
}
