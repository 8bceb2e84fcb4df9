package calibration

import (
	"math"

	"gonum.org/v1/gonum/stat"
	"gonum.org/v1/gonum/stat/distuv"
)

// repeats is the statistics of repeated readings; all but n and mean are NaN
// for a single one.
type repeats struct {
	n                 int
	mean, sd, se, u95 float64
}

func newRepeats(values []float64) repeats {
	r := repeats{n: len(values), mean: stat.Mean(values, nil), sd: math.NaN(), se: math.NaN(), u95: math.NaN()}
	if r.n > 1 {
		r.sd = stat.StdDev(values, nil)
		r.se = r.sd / math.Sqrt(float64(r.n))
		r.u95 = studentT95(r.n-1) * r.se
	}
	return r
}

// studentT95 is the two-sided 95 % point of Student's t.
func studentT95(degrees int) float64 {
	return distuv.StudentsT{Mu: 0, Sigma: 1, Nu: float64(degrees)}.Quantile(0.975)
}

// scatterPct is the standard deviation of repeats above which a flow is not
// called steady (common practice, no source).
const scatterPct = 5

// judge tells what the number and the spread of the repeats call for.
func (r repeats) judge(f *findings, what string) {
	switch {
	case r.n == 1:
		f.add(FewRepeats, "one %s alone: its standard error is not known; make three or more", what)
	case r.n == 2:
		f.add(FewRepeats, "two %ss: the 95 %% half-width is 12.7 standard errors; make three or more", what)
	}
	if spread := 100 * r.sd / r.mean; spread > scatterPct {
		f.add(RepeatsScatter, "the repeats scatter by %.1f %% (standard deviation): look for bridging, lumps, a slipping belt or a misread scale, and repeat", spread)
	}
}
