package cause

import (
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/mat"
)

func near(t *testing.T, what string, got, want, tolerance float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tolerance) {
		t.Errorf("%s: %.12g, want %.12g", what, got, want)
	}
}

// TestFactorsByHand: Bayes factors of a normal mean with known variance, worked
// out by hand from
//
//	log BF = (v s2 / (1 + v i) - log(1 + v i)) / 2
//
// (a normal prior with variance v, score s, information i): the integral of
// exp(s d - i d2 / 2) over the prior. There is no published table to hold it
// against; the dense oracle below shares no algebra with it.
func TestFactorsByHand(t *testing.T) {
	t.Parallel()
	for _, c := range []struct{ score, information, sd, log, mean, posteriorSd float64 }{
		{0, 0, 1, 0, 0, 1},                                                 // nothing seen: nothing learnt
		{0, 3, 1, -math.Log(2), 0, 0.5},                                    // three observations of 0: half as likely
		{4, 3, 1, 2 - math.Log(2), 1, 0.5},                                 // 4^2 / 4 / 2
		{-4, 3, 1, 2 - math.Log(2), -1, 0.5},                               // the sign does not matter
		{10, 24, 0.5, 25./14 - math.Log(7)/2, 2.5 / 7, 0.5 / math.Sqrt(7)}, // v = 1/4: 1 + v i = 7
	} {
		log, mean, sd := logBayes(c.score, c.information, c.sd)
		near(t, "log Bayes factor", log, c.log, 1e-12)
		near(t, "mean", mean, c.mean, 1e-12)
		near(t, "standard uncertainty", sd, c.posteriorSd, 1e-12)
	}
}

// dense is the log density of a normal with a dense covariance, without the
// constant that all hypotheses share.
func dense(x []float64, cov *mat.SymDense) float64 {
	var chol mat.Cholesky
	if !chol.Factorize(cov) {
		panic("not a covariance")
	}
	v := mat.NewVecDense(len(x), x)
	var solved mat.VecDense
	if err := chol.SolveVecTo(&solved, v); err != nil {
		panic(err)
	}
	return -(mat.Dot(v, &solved) + chol.LogDet()) / 2
}

// covariance of a series, with what a constant and terms add.
func covariance(s *Series, natural, levelSd float64, terms ...term) *mat.SymDense {
	n := len(s.Intervals)
	c := mat.NewSymDense(n, nil)
	for i := range n {
		for j := i; j < n; j++ {
			v := levelSd * levelSd
			for _, t := range terms {
				v += t.sd * t.sd * t.x[i] * t.x[j]
			}
			switch j {
			case i:
				v += s.Intervals[i].Sd*s.Intervals[i].Sd + natural*natural
			case i + 1:
				v += s.Intervals[i].CovNext
			}
			c.SetSym(i, j, v)
		}
	}
	return c
}

func rest(s *Series, terms ...term) []float64 {
	out := make([]float64, len(s.Intervals))
	for i := range out {
		out[i] = s.Intervals[i].Ratio - 1
		for _, t := range terms {
			out[i] -= t.mean * t.x[i]
		}
	}
	return out
}

// TestAgainstDenseCovariance: the likelihood of a hypothesis is the density of
// the ratios under the covariance written out in full.
func TestAgainstDenseCovariance(t *testing.T) {
	t.Parallel()
	rng := rand.New(rand.NewPCG(31, 32))
	for range 60 {
		s := measure(rng, scene(rng), noFault)[0]
		s.LevelSd = 0.005 + 0.03*rng.Float64()
		natural := 0.01 + 0.03*rng.Float64()
		m, err := newModel(&s, natural)
		if err != nil {
			t.Fatal(err)
		}
		var terms []term
		for range rng.IntN(mostTerms) {
			tm := term{x: make([]float64, len(s.Intervals)), mean: rng.NormFloat64() * 0.3, sd: 0.01 + rng.Float64()*0.4}
			for i := rng.IntN(len(tm.x)); i < len(tm.x); i++ {
				tm.x[i] = rng.NormFloat64()
			}
			terms = append(terms, tm)
		}
		f := m.likelihood(s.LevelSd, terms...)
		near(t, "log density", f.log, dense(rest(&s, terms...), covariance(&s, natural, s.LevelSd, terms...)), 1e-7)
		if len(terms) > 0 {
			mean, sd := lastCoefficient(&s, natural, s.LevelSd, terms)
			near(t, "effect", f.mean, mean, 1e-8)
			near(t, "its standard uncertainty", f.sd, sd, 1e-8)
		}
	}
}

// lastCoefficient is the posterior of the last term by conditioning a joint
// normal on the ratios.
func lastCoefficient(s *Series, natural, levelSd float64, terms []term) (mean, sd float64) {
	last := terms[len(terms)-1]
	cov := covariance(s, natural, levelSd, terms...)
	var inverse mat.Dense
	if err := inverse.Inverse(cov); err != nil {
		panic(err)
	}
	n := len(s.Intervals)
	with := mat.NewVecDense(n, nil)
	with.AddScaledVec(with, last.sd*last.sd, mat.NewVecDense(n, last.x))
	var gain mat.VecDense
	gain.MulVec(&inverse, with)
	return last.mean + mat.Dot(&gain, mat.NewVecDense(n, rest(s, terms...))), math.Sqrt(last.sd*last.sd - mat.Dot(&gain, with))
}

// TestCommonEffectAgainstDense: what series say of a common effect adds up to
// the density of all of them stacked.
func TestCommonEffectAgainstDense(t *testing.T) {
	t.Parallel()
	const natural, sd = 0.015, 0.1
	rng := rand.New(rand.NewPCG(33, 34))
	for range 10 {
		all := measure(rng, scene(rng), noFault)[:2]
		n := len(all[0].Intervals) + len(all[1].Intervals)
		stacked, x, off := mat.NewSymDense(n, nil), make([]float64, 0, n), make([]float64, 0, n)
		var sum share
		for k := range all {
			s := &all[k]
			s.LevelSd = 0.012
			m, err := newModel(s, natural)
			if err != nil {
				t.Fatal(err)
			}
			mine := from(ones(len(s.Intervals)), rng.IntN(len(s.Intervals)))
			score, information := m.share(mine)
			sum = share{sum.score + score, sum.information + information}
			at, cov := len(x), covariance(s, natural, s.LevelSd)
			for i := range s.Intervals {
				for j := i; j < len(s.Intervals); j++ {
					stacked.SetSym(at+i, at+j, cov.At(i, j))
				}
			}
			x, off = append(x, mine...), append(off, rest(s)...)
		}
		without := dense(off, stacked)
		for i := range n {
			for j := i; j < n; j++ {
				stacked.SetSym(i, j, stacked.At(i, j)+sd*sd*x[i]*x[j])
			}
		}
		log, _, _ := logBayes(sum.score, sum.information, sd)
		near(t, "log Bayes factor", log, dense(off, stacked)-without, 1e-7)
	}
}
