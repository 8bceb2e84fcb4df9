package drift

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/mat"
)

// TestRunLengthBySimulation: the integral equation against plain drawing.
func TestRunLengthBySimulation(t *testing.T) {
	t.Parallel()
	const runs = 4000
	rng := rand.New(rand.NewPCG(1, 1))
	for _, c := range []struct {
		CUSUM
		shift float64
	}{{CUSUM{K: 0.5, H: 3}, 0}, {CUSUM{K: 0.25, H: 4, HeadStart: 2}, 0.5}, {CUSUM{K: 1, H: 2}, 1}, {CUSUM{K: 1.4, H: 1.2}, -0.6}} {
		var sum, squares float64
		for range runs {
			s, n := c.Start(), 0.0
			for !c.Alarm(s) {
				s, n = c.Step(s, c.shift+rng.NormFloat64()), n+1
			}
			sum += n
			squares += n * n
		}
		mean := sum / runs
		se := math.Sqrt((squares/runs - mean*mean) / runs)
		near(t, "run length", mean, arl(t, c.CUSUM, c.shift), 4*se)
	}
}

// TestPairKeepsItsRunLength: the design against plain drawing, within and at
// the ends of what can be asked for.
func TestPairKeepsItsRunLength(t *testing.T) {
	if raceEnabled {
		t.Skip("a pure simulation, ten times slower here; ./test runs it without -race")
	}
	rng := rand.New(rand.NewPCG(6, 6))
	for _, c := range []struct{ shift, arl0 float64 }{{leastShift, 400}, {1, 400}, {1.5, 100}, {1.5, 400}, {1.5, 1000}, {2, 400}, {mostShift, 400}, {mostShift, 1000}} {
		p, err := DesignPair(c.shift, c.arl0)
		if err != nil {
			t.Fatal(err)
		}
		const runs = 6000
		var loads float64
		for range runs {
			small, large := p.Small.Start(), p.Large.Start()
			for !p.Small.Alarm(small) && !p.Large.Alarm(large) {
				x := rng.NormFloat64()
				small, large = p.Small.Step(small, x), p.Large.Step(large, x)
				loads++
			}
		}
		// Run lengths are nearly geometric: one standard error is 1.3 %.
		near(t, fmt.Sprintf("run length of %+v", c), loads/runs/c.arl0, 1, 0.02+3*0.013)
	}
}

// TestDetectKeepsItsRunLength: without a change the first alarm comes after
// 400 loads on average, within 10 %, whatever the noise, whether the natural
// standard deviation is as stated or must be found in the loads.
func TestDetectKeepsItsRunLength(t *testing.T) {
	if raceEnabled {
		t.Skip("a pure simulation, ten times slower here; ./test runs it without -race")
	}
	const runs, n = 900, 1200
	for i, c := range []struct {
		noise
		natural, stated float64
	}{
		{noises()[0], 0.015, 0}, {noises()[1], 0.015, 0}, {noises()[2], 0.015, 0}, {noises()[3], 0.015, 0},
		{noises()[1], 0.03, 0.03}, {noises()[3], 0.03, 0.03},
		{noises()[1], 0.03, 0}, {noises()[3], 0.04, 0}, // found
	} {
		rng := rand.New(rand.NewPCG(2, uint64(i)))
		o := Options{NaturalSd: c.stated}.WithDefaults()
		design := kept()
		var loads, alarms float64
		for range runs {
			series := c.loads(rng, n, 0)
			for k := range series {
				series[k].Ratio += math.Sqrt(c.natural*c.natural-naturalOfDraws*naturalOfDraws) * rng.NormFloat64()
			}
			v, err := judge(series, o, design)
			if err != nil {
				t.Fatal(err)
			}
			if v.FirstAlarm < 0 {
				loads += n
				continue
			}
			loads += float64(v.FirstAlarm + 1)
			alarms++
		}
		// Loads seen per alarm: unbiased although the series end.
		near(t, fmt.Sprintf("run length with %s, natural %v, stated %v", c.name, c.natural, o.NaturalSd), loads/alarms, 400, 40)
		t.Logf("%s, natural %v, stated %v: %.0f loads over %.0f alarms", c.name, c.natural, o.NaturalSd, loads/alarms, alarms)
	}
}

// gaussian is the log density of a normal with a dense covariance, but for constants.
func gaussian(x []float64, cov *mat.SymDense) float64 {
	var chol mat.Cholesky
	if !chol.Factorize(cov) {
		panic("not a covariance")
	}
	v := mat.NewVecDense(len(x), x)
	var s mat.VecDense
	if err := chol.SolveVecTo(&s, v); err != nil {
		panic(err)
	}
	return -mat.Dot(v, &s)/2 - chol.LogDet()/2
}

// TestChangeByBruteForce: change point, size, its uncertainty, the mean and the
// step against a dense covariance, trying every start and a fine grid of sizes
// around the generalized least squares solution.
func TestChangeByBruteForce(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 3))
	for range 40 {
		n := 6 + rng.IntN(14)
		series, _ := crew(rng, n, rng.IntN(n), 0.3*(rng.Float64()-0.5))
		for i := range series { // uneven loads
			series[i].Sd *= 1 + rng.Float64()
		}
		v := detect(t, series)
		f, err := factor(series, v.NaturalSd)
		if err != nil {
			t.Fatal(err)
		}
		cov := mat.NewSymDense(n, nil)
		x := make([]float64, n)
		for i, p := range series {
			x[i] = p.Ratio - 1
			cov.SetSym(i, i, p.Sd*p.Sd+v.NaturalSd*v.NaturalSd)
			if i+1 < n {
				cov.SetSym(i, i+1, p.CovNext)
			}
		}
		got := f.change(series, v.Innovations, 1e-12)
		none := gaussian(x, cov)
		best, bestAt := math.Inf(-1), -1
		likelihoods := make([]float64, n)
		for at := range n {
			d, _ := gls(cov, x, unit(n, at))
			likelihoods[at] = gaussian(minus(x, at, d), cov) - none
			if likelihoods[at] > best {
				best, bestAt = likelihoods[at], at
			}
		}
		for at, l := range likelihoods {
			if l > best-likelyCut+1e-6 && (at < got.IndexLow || at > got.IndexHigh) {
				t.Fatalf("a change at %d is likely, the interval is %d to %d", at, got.IndexLow, got.IndexHigh)
			}
			if l < best-likelyCut-1e-6 && (at == got.IndexLow || at == got.IndexHigh) {
				t.Fatalf("a change at %d is unlikely, the interval is %d to %d", at, got.IndexLow, got.IndexHigh)
			}
		}
		d, sd := gls(cov, x, unit(n, bestAt))
		for _, off := range []float64{-1e-3, 1e-3} {
			if gaussian(minus(x, bestAt, d+off), cov)-none > best {
				t.Fatal("the oracle is not at its maximum")
			}
		}
		if got.Index != bestAt {
			t.Fatalf("change at %d, brute force %d", got.Index, bestAt)
		}
		near(t, "log-likelihood", got.LogRatio, best, 1e-8)
		near(t, "size", got.Size, d, 1e-10)
		near(t, "sd", got.SizeSd, sd, 1e-10)
		mean, meanSd := f.level(v.Innovations)
		wantMean, wantSd := gls(cov, x, unit(n, 0))
		near(t, "mean", mean, wantMean, 1e-10)
		near(t, "mean sd", meanSd, wantSd, 1e-10)
		if bestAt > 0 {
			wantStep, wantStepSd := gls(cov, x, unit(n, bestAt), unit(n, 0))
			near(t, "step", got.Step, wantStep, 1e-10)
			near(t, "step sd", got.StepSd, wantStepSd, 1e-10)
		}
	}
}

// gls is the first coefficient of x on the columns and its standard
// uncertainty, by inverting the covariance.
func gls(cov *mat.SymDense, x []float64, columns ...[]float64) (coefficient, sd float64) {
	n := len(x)
	a := mat.NewDense(n, len(columns), nil)
	for j, c := range columns {
		a.SetCol(j, c)
	}
	var inverse, at, normal, normalInverse, rhs, b mat.Dense
	if err := inverse.Inverse(cov); err != nil {
		panic(err)
	}
	at.Mul(a.T(), &inverse)
	normal.Mul(&at, a)
	if err := normalInverse.Inverse(&normal); err != nil {
		panic(err)
	}
	rhs.Mul(&at, mat.NewDense(n, 1, x))
	b.Mul(&normalInverse, &rhs)
	return b.At(0, 0), math.Sqrt(normalInverse.At(0, 0))
}

// unit is a unit step at `at`.
func unit(n, at int) []float64 {
	u := make([]float64, n)
	for i := at; i < n; i++ {
		u[i] = 1
	}
	return u
}

func minus(x []float64, at int, d float64) []float64 {
	out := append([]float64(nil), x...)
	for i := at; i < len(out); i++ {
		out[i] -= d
	}
	return out
}
