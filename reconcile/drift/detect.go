package drift

import (
	"fmt"
	"math"
	"slices"

	"hopperbook/schemas"
	"hopperbook/schemas/fault"
)

// Point is the flow ratio of one closed balance interval.
type Point struct {
	Refill  schemas.RefillID // where the interval starts
	Load    int              // number of its first load, as the caller counts
	Ratio   float64          // true flow / calibrated flow, as measured
	Sd      float64          // standard uncertainty of Ratio, without what all points share
	CovNext float64          // covariance of that error with the next point's: the residual between them
}

// Options are the choices of the contractor; the zero value means the defaults.
type Options struct {
	Tolerance float64 // practical tolerance of the ratio; 0: 0.05
	ARL0      float64 // in-control average run length, loads; 0: 400
	NaturalSd float64 // least natural standard deviation from load to load; 0: 0.015
	SharedSd  float64 // standard uncertainty all ratios share, as of the loader's scale; 0: 0.005
}

// WithDefaults fills in what is left out.
func (o Options) WithDefaults() Options {
	def := func(v *float64, d float64) {
		if *v == 0 {
			*v = d
		}
	}
	def(&o.Tolerance, 0.05)
	def(&o.ARL0, 400)
	def(&o.NaturalSd, 0.015)
	def(&o.SharedSd, 0.005)
	return o
}

// State is what the series says about the machine.
type State string

// The states, from good to bad; see the package comment.
const (
	Holding     State = "holding"
	Watch       State = "watch"
	Recalibrate State = "recalibrate"
)

// Verdict is the state of a series after its last point.
type Verdict struct {
	State         State
	Design        Pair      // in innovation standard deviations
	NaturalSd     float64   // used: stated or raised by the data
	Innovations   []float64 // standardized, one a point
	Evidence      []Sums    // after each point, as shares of the limit: above 1 is an alarm
	FirstAlarm    int       // index of the first alarm since the reset; -1: none
	SmoothedRatio []float64 // EWMA of the ratios, lambda 0.3, from 1; for display
	Mean, MeanSd  float64   // flow ratio over the whole series (generalized least squares) and its standard uncertainty; 0, 0 without points
	Change        *Change   // nil while holding
}

const (
	smoothing   = 0.3
	leastAfter  = 3       // loads after the change point before recalibrate is called
	z95OneSided = 1.64485 // one-sided 95 %
	z95         = 1.959963984540054
)

// Detect judges one machine's flow ratios since its last reset, in load order.
// An empty series is holding. fault.Input when a number is not finite or a
// standard uncertainty not above zero, when the covariances cannot be those of
// any measurement, or when the options allow no design. O(n^2) for n points
// while there is an alarm, O(n log n) otherwise.
func Detect(series []Point, o Options) (Verdict, error) {
	return judge(series, o.WithDefaults(), DesignPair)
}

// judge is Detect with the design to use, which simulations keep between calls.
func judge(series []Point, o Options, design func(shift, arl0 float64) (Pair, error)) (Verdict, error) {
	if err := check(series, o); err != nil {
		return Verdict{}, err
	}
	v := Verdict{State: Holding, NaturalSd: naturalSd(series, o.NaturalSd), FirstAlarm: -1}
	f, err := factor(series, v.NaturalSd)
	if err != nil {
		return Verdict{}, err
	}
	if v.Design, err = design(f.toleratedShift(o.Tolerance), o.ARL0); err != nil {
		return Verdict{}, fault.Wrap("detect drift", err)
	}
	deviations, ratios := make([]float64, len(series)), make([]float64, len(series))
	for i, p := range series {
		deviations[i], ratios[i] = p.Ratio-1, p.Ratio
	}
	v.SmoothedRatio = EWMA(ratios, smoothing, 1)
	v.Innovations = f.whiten(deviations, 0)
	v.Evidence, v.FirstAlarm = v.Design.Run(v.Innovations)
	if len(series) == 0 {
		return v, nil
	}
	mean, sd := f.level(v.Innovations)
	v.Mean, v.MeanSd = 1+mean, math.Hypot(sd, o.SharedSd)
	if !v.Evidence[len(v.Evidence)-1].alarm() {
		return v, nil
	}
	v.State = Watch
	v.Change = f.change(series, v.Innovations, o.SharedSd)
	for v.Change.Alarm = v.Change.Index; !v.Evidence[v.Change.Alarm].alarm(); v.Change.Alarm++ {
	}
	if v.Change.beyond(deviations, o.Tolerance) {
		v.State = Recalibrate
	}
	return v, nil
}

func check(series []Point, o Options) error {
	for _, x := range []float64{o.Tolerance, o.ARL0, o.NaturalSd, o.SharedSd} {
		if !(x > 0) || math.IsInf(x, 1) {
			return invalid(fmt.Sprintf("options %+v", o), "tolerance, run length and standard deviations must be above zero")
		}
	}
	for i, p := range series {
		if !(p.Sd > 0) || math.IsInf(p.Sd, 1) || math.IsNaN(p.Ratio-p.Ratio) || math.IsNaN(p.CovNext-p.CovNext) {
			return invalid(fmt.Sprintf("point %d, refill %s: ratio %v, standard uncertainty %v, covariance %v", i, p.Refill, p.Ratio, p.Sd, p.CovNext), "finite ratios and standard uncertainties above zero")
		}
	}
	return nil
}

func invalid(cause, hint string) error {
	return fault.Newf("detect drift", fault.Input, cause, hint)
}

// toleratedShift is what a change by the tolerance adds to an innovation,
// median over the loads; 0 for an empty series.
func (f factored) toleratedShift(tolerance float64) float64 {
	if len(f.sd) == 0 {
		return 0
	}
	return median(f.whiten(slices.Repeat([]float64{tolerance}, len(f.sd)), 0))
}

// naturalSd is the stated natural standard deviation, raised when the median of
// absolute differences of neighbours contradicts it (one step in the series
// hardly moves a median): when the variance it shows is above what statement
// and measurement explain by more than two of its standard errors, 2.6 / sqrt n
// relative (by simulation, for this much correlation of neighbours). The data
// then count as one value each against 20 of the statement.
func naturalSd(series []Point, stated float64) float64 {
	n := float64(len(series) - 1)
	if n < 1 {
		return stated
	}
	steps := make([]float64, len(series)-1)
	var measured float64
	for i := range steps {
		a, b := series[i], series[i+1]
		steps[i] = math.Abs(b.Ratio - a.Ratio)
		measured += (a.Sd*a.Sd + b.Sd*b.Sd - 2*a.CovNext) / n
	}
	sd := median(steps) / 0.6744897501960817 // upper quartile of a standard normal
	if sd*sd <= (measured+2*stated*stated)*(1+3*2.6/math.Sqrt(n)) {
		return stated
	}
	const weight = 20
	return math.Sqrt((weight*stated*stated + (sd*sd-measured)*n/2) / (weight + n))
}

// median of a list that is not empty.
func median(xs []float64) float64 {
	s := slices.Clone(xs)
	slices.Sort(s)
	n := len(s)
	return (s[(n-1)/2] + s[n/2]) / 2
}
