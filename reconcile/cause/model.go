package cause

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/floats"
)

// model is one series, whitened for one natural standard deviation.
type model struct {
	gain, sd []float64 // the tridiagonal covariance as L D L': innovation i = x[i] - gain[i] x innovation i-1
	base     []float64 // the constant 1, whitened
	off      []float64 // ratio - 1, whitened
	levelSd  float64   // prior of the constant
	logSd    float64   // sum of the logarithms of sd
}

func newModel(s *Series, natural float64) (*model, error) {
	n := len(s.Intervals)
	m := &model{gain: make([]float64, n), sd: make([]float64, n), levelSd: s.LevelSd}
	ones, off := make([]float64, n), make([]float64, n)
	for i := range s.Intervals {
		iv := &s.Intervals[i]
		v := iv.Sd*iv.Sd + natural*natural
		if i > 0 {
			before := m.sd[i-1] * m.sd[i-1]
			m.gain[i] = s.Intervals[i-1].CovNext / before
			v -= m.gain[i] * m.gain[i] * before
		}
		if !(v > 0) || math.IsInf(v, 1) {
			return nil, invalid(fmt.Sprintf("machine %s, refill %s: covariance %v with the interval before", s.Machine, iv.Refill, s.Intervals[max(i-1, 0)].CovNext),
				"the covariance of neighbours is at most the variance of the residual they share")
		}
		m.sd[i] = math.Sqrt(v)
		m.logSd += math.Log(m.sd[i])
		ones[i], off[i] = 1, iv.Ratio-1
	}
	m.base, m.off = m.whiten(ones), m.whiten(off)
	return m, nil
}

// whiten gives the standardized innovations of xs.
func (m *model) whiten(xs []float64) []float64 {
	out := make([]float64, len(xs))
	var before float64
	for i, x := range xs {
		before = x - m.gain[i]*before
		out[i] = before / m.sd[i]
	}
	return out
}

// term is one regressor with the normal prior of its coefficient.
type term struct {
	x        []float64
	mean, sd float64
}

// mostTerms of a hypothesis, the constant included.
const mostTerms = 3

// fit is what a hypothesis comes to.
type fit struct {
	log      float64 // density of the ratios, but for constants that all hypotheses share
	mean, sd float64 // posterior of the last term's coefficient
}

// likelihood integrates the coefficients of the terms, and of a constant with
// standard deviation levelSd, out of the density of the ratios. At most two
// terms. O(n).
func (m *model) likelihood(levelSd float64, terms ...term) fit {
	k := len(terms) + 1
	columns, sds := [mostTerms][]float64{m.base}, [mostTerms]float64{levelSd}
	rest := m.off
	for i, t := range terms {
		columns[i+1], sds[i+1] = m.whiten(t.x), t.sd
		if t.mean != 0 {
			rest = floats.AddScaledTo(make([]float64, len(rest)), rest, -t.mean, columns[i+1])
		}
	}
	// Lower factor of I + U'U and the solution of its first half, U being the
	// columns times their prior: Cholesky, whose pivots are at least 1.
	var l [mostTerms][mostTerms]float64
	var half [mostTerms]float64
	f := fit{log: -floats.Dot(rest, rest)/2 - m.logSd}
	for i := range k {
		for j := range i + 1 {
			v := sds[i] * sds[j] * floats.Dot(columns[i], columns[j])
			if i == j {
				v++
			}
			for c := range j {
				v -= l[i][c] * l[j][c]
			}
			if i == j {
				l[i][i] = math.Sqrt(math.Max(1, v))
			} else {
				l[i][j] = v / l[j][j]
			}
		}
		half[i] = sds[i] * floats.Dot(columns[i], rest)
		for c := range i {
			half[i] -= l[i][c] * half[c]
		}
		half[i] /= l[i][i]
		f.log += half[i]*half[i]/2 - math.Log(l[i][i])
	}
	// The last coefficient is the first that solving from the end gives.
	last := k - 1
	f.mean, f.sd = sds[last]*half[last]/l[last][last], sds[last]/l[last][last]
	if last > 0 {
		f.mean += terms[last-1].mean
	}
	return f
}

// share is what a series says of an effect that other series have too: the
// log likelihood ratio of size d against none is score d - information d2 / 2,
// the constant integrated out.
func (m *model) share(x []float64) (score, information float64) {
	white := m.whiten(x)
	v := m.levelSd * m.levelSd
	bx, bz, bb := floats.Dot(m.base, white), floats.Dot(m.base, m.off), floats.Dot(m.base, m.base)
	score = floats.Dot(white, m.off) - v*bx*bz/(1+v*bb)
	return score, math.Max(0, floats.Dot(white, white)-v*bx*bx/(1+v*bb))
}

// logBayes is the logarithm of the Bayes factor of an effect with prior N(0,
// sd2) against none, and the posterior of its size.
func logBayes(score, information, sd float64) (log, mean, posteriorSd float64) {
	v := sd * sd
	shrunk := 1 + v*information
	return (v*score*score/shrunk - math.Log(shrunk)) / 2, v * score / shrunk, sd / math.Sqrt(shrunk)
}
