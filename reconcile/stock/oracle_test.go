package stock

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/mat"
)

// random is a network of m constraints and n flows, u of them unmeasured, with
// correlated measurements, drawn about true flows that fulfil it.
func random(rng *rand.Rand, m, n, u int) (p Problem, truth []float64) {
	a := mat.NewDense(m, n, nil)
	truth = make([]float64, n)
	for i := range n {
		truth[i] = 5 + 10*rng.Float64()
		p.Flows = append(p.Flows, Flow{Name: fmt.Sprint("f", i), Sd: 0.05 + rng.Float64(), Unmeasured: i < u})
	}
	for j := range m {
		var c Constraint
		left := 0.0
		for i := range n {
			a.Set(j, i, rng.NormFloat64())
			c.Terms = append(c.Terms, Term{i, a.At(j, i)})
			left += a.At(j, i) * truth[i]
		}
		// the last m flows close the balances: a flow of its own each
		p.Flows = append(p.Flows, Flow{Name: fmt.Sprint("close", j), Sd: 0.05 + rng.Float64()})
		truth = append(truth, left)
		c.Terms = append(c.Terms, Term{n + j, -1})
		p.Constraints = append(p.Constraints, c)
	}
	shared := 0.8 * rng.Float64()
	for i := u; i < n; i++ {
		for k := i + 1; k < n; k++ {
			p.Covariances = append(p.Covariances, Covariance{i, k, shared * shared * p.Flows[i].Sd * p.Flows[k].Sd})
		}
	}
	return p, truth
}

// draw measures the true flows: errors with the network's covariance.
func draw(rng *rand.Rand, p *Problem, truth []float64) {
	s := p.covariance()
	for i := range p.Flows {
		if p.Flows[i].Unmeasured {
			s.SetSym(i, i, 1)
		}
	}
	var chol mat.Cholesky
	if !chol.Factorize(s) {
		panic("covariance")
	}
	var l mat.TriDense
	chol.LTo(&l)
	e := mat.NewVecDense(len(truth), nil)
	for i := range truth {
		e.SetVec(i, rng.NormFloat64())
	}
	e.MulVec(&l, e)
	for i := range p.Flows {
		if !p.Flows[i].Unmeasured {
			p.Flows[i].Value = truth[i] + e.AtVec(i)
		}
	}
}

// lagrange solves the stationary point of the constrained least squares with
// all unknowns and multipliers at once; the unknowns' block of the inverse is
// their covariance.
func lagrange(p Problem) (x, sd []float64, chiSquare float64) {
	n, m := len(p.Flows), len(p.Constraints)
	s := p.covariance()
	var inverse mat.Dense
	for i, f := range p.Flows {
		if f.Unmeasured {
			s.SetSym(i, i, 1)
		}
	}
	if err := inverse.Inverse(s); err != nil {
		panic(err)
	}
	k, b := mat.NewDense(n+m, n+m, nil), mat.NewVecDense(n+m, nil)
	for i := range n {
		for j := range n {
			if p.Flows[i].Unmeasured || p.Flows[j].Unmeasured {
				continue
			}
			k.Set(i, j, inverse.At(i, j))
			b.SetVec(i, b.AtVec(i)+inverse.At(i, j)*p.Flows[j].Value)
		}
	}
	for j, c := range p.Constraints {
		for _, t := range c.Terms {
			k.Set(n+j, t.Flow, k.At(n+j, t.Flow)+t.Coefficient)
			k.Set(t.Flow, n+j, k.At(t.Flow, n+j)+t.Coefficient)
		}
	}
	var all mat.Dense
	if err := all.Inverse(k); err != nil {
		panic(err)
	}
	var xs mat.VecDense
	xs.MulVec(&all, b)
	for i := range n {
		x, sd = append(x, xs.AtVec(i)), append(sd, math.Sqrt(max(0, all.At(i, i))))
	}
	for i := range n {
		for j := range n {
			if !p.Flows[i].Unmeasured && !p.Flows[j].Unmeasured {
				chiSquare += (p.Flows[i].Value - x[i]) * inverse.At(i, j) * (p.Flows[j].Value - x[j])
			}
		}
	}
	return x, sd, chiSquare
}

func TestAgainstLagrange(t *testing.T) {
	rng := rand.New(rand.NewPCG(11, 12))
	for range 60 {
		u := rng.IntN(3)
		m := u + 1 + rng.IntN(5)
		p, truth := random(rng, m, u+2+rng.IntN(8), u)
		draw(rng, &p, truth)
		s := solve(t, p, Options{NameNone: true})
		x, sd, chiSquare := lagrange(p)
		for i := range x {
			e := s.First.Estimates[i]
			if !e.Known {
				t.Fatalf("flow %d of %d, %d unmeasured, is not known", i, len(x), u)
			}
			near(t, "flow", e.Value, x[i], 1e-8*(1+math.Abs(x[i])))
			near(t, "sd", e.Sd, sd[i], 1e-7*(1+sd[i]))
		}
		near(t, "chi-square", s.First.ChiSquare, chiSquare, 1e-7*(1+chiSquare))
		if s.First.Dof != m-u {
			t.Errorf("dof %d, want %d", s.First.Dof, m-u)
		}
	}
}

func net(t *testing.T, p Problem) *network {
	t.Helper()
	n, err := newNetwork(p)
	if err != nil {
		t.Fatal(err)
	}
	return n
}

// A test by definition: with the suspect free, the chi-square falls by the
// square of its statistic, and the size found is that of an unmeasured flow.
func TestTestsAgainstTakingOut(t *testing.T) {
	rng := rand.New(rand.NewPCG(13, 14))
	for range 30 {
		p, truth := random(rng, 4, 5, 1)
		draw(rng, &p, truth)
		all := solve(t, p, Options{NameNone: true}).First
		first := net(t, p).solve(nil, 0.05)
		for i := range p.Flows {
			if !all.Estimates[i].Tested {
				continue
			}
			q := p
			q.Flows = append([]Flow(nil), p.Flows...)
			q.Flows[i].Unmeasured = true
			without := solve(t, q, Options{NameNone: true}).First
			out := net(t, p).solve([]Direction{{Terms: []Term{{i, -3}}}}, 0.05)
			near(t, "chi-square of the suspect taken out", out.fit.ChiSquare, without.ChiSquare, 1e-6*(1+all.ChiSquare))
			near(t, "flow of the suspect taken out", out.fit.Estimates[i].Value, without.Estimates[i].Value, 1e-6*(1+math.Abs(without.Estimates[i].Value)))
			near(t, "its sd", out.fit.Estimates[i].Sd, without.Estimates[i].Sd, 1e-6*(1+without.Estimates[i].Sd))
			one, _ := net(t, p).test(&first, i)
			near(t, "its size", -3*out.sizes[0], one.size, 1e-6*(1+math.Abs(one.size)))
			near(t, "size over its sd", math.Abs(out.sizes[0])/out.sds[0], all.Estimates[i].Z, 1e-6*(1+all.Estimates[i].Z))
			near(t, "fall of the chi-square", all.ChiSquare-without.ChiSquare, all.Estimates[i].Z*all.Estimates[i].Z, 1e-6*(1+all.ChiSquare))
		}
	}
}

// Spread and tests of what is fitted, drawn again and again; among seasons
// without a gross error the stated share names one.
func TestMonteCarlo(t *testing.T) {
	const draws = 4000
	rng := rand.New(rand.NewPCG(15, 16))
	p, truth := random(rng, 4, 6, 1)
	var first Solution
	square, named, failed := make([]float64, len(truth)), 0, 0
	for range draws {
		draw(rng, &p, truth)
		first = solve(t, p, Options{})
		s := first.First
		if len(first.Gross) > 0 {
			named++
		}
		if !s.Passes() {
			failed++
		}
		for i := range truth {
			d := s.Estimates[i].Value - truth[i]
			square[i] += d * d / draws
		}
	}
	for i := range truth {
		want := first.First.Estimates[i].Sd
		near(t, "sd over draws", math.Sqrt(square[i])/want, 1, 4/math.Sqrt(2*draws))
	}
	near(t, "share that fails the global test", float64(failed)/draws, 0.05, 4*math.Sqrt(0.05*0.95/draws))
	// Sidak's is a bound for correlated tests.
	if share := float64(named) / draws; share > 0.05+3*math.Sqrt(0.05*0.95/draws) || share < 0.01 {
		t.Errorf("a suspect in %.3f of networks without a gross error, at most 0.05 stated", share)
	}
}

// A gross error of six standard deviations of its test is found where it is.
func TestGrossErrorsAreFound(t *testing.T) {
	rng := rand.New(rand.NewPCG(17, 18))
	found := 0
	const draws = 300
	for range draws {
		p, truth := random(rng, 5, 5, 0)
		draw(rng, &p, truth)
		wrong := rng.IntN(len(truth))
		p.Directions = []Direction{{Name: "two together", Terms: []Term{{0, 2}, {1, 3}}}}
		s := net(t, p).solve(nil, 0.05)
		one, _ := net(t, p).test(&s, wrong)
		p.Flows[wrong].Value += 8 * one.sizeSd
		got := solve(t, p, Options{})
		if len(got.Gross) == 1 && got.Gross[0].Suspect == wrong {
			found++
		}
		if len(got.Gross) > 0 && got.Gross[0].Suspect == wrong {
			near(t, "size in its sd", got.Gross[0].Size/one.sizeSd, 8, 4.5)
		}
	}
	if found < draws*70/100 {
		t.Errorf("%d of %d gross errors named alone and rightly", found, draws)
	}
}
