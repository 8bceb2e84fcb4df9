package stock

import (
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"hopperbook/schemas/fault"
)

// example is a random network with a gross error, so that every law is tested
// on suspects as well.
func example(rng *rand.Rand) Problem {
	p, truth := random(rng, 4, 6, 1)
	draw(rng, &p, truth)
	p.Flows[2].Value += 12
	p.Directions = []Direction{{Name: "pair", Terms: []Term{{3, 1}, {4, 1}}}}
	return p
}

func TestScalingScales(t *testing.T) {
	rng := rand.New(rand.NewPCG(21, 22))
	for _, c := range []float64{1000, 1e-4} {
		p := example(rng)
		want := solve(t, p, Options{})
		q := p
		q.Flows, q.Covariances = slices.Clone(p.Flows), slices.Clone(p.Covariances)
		for i := range q.Flows {
			q.Flows[i].Value *= c
			q.Flows[i].Sd *= c
		}
		for i := range q.Covariances {
			q.Covariances[i].Value *= c * c
		}
		got := solve(t, q, Options{})
		near(t, "chi-square", got.Last.ChiSquare, want.Last.ChiSquare, 1e-7*(1+want.Last.ChiSquare))
		near(t, "suspects", float64(len(got.Gross)), float64(len(want.Gross)), 0)
		for i, e := range want.Last.Estimates {
			near(t, "flow", got.Last.Estimates[i].Value/c, e.Value, 1e-7*(1+math.Abs(e.Value)))
			near(t, "sd", got.Last.Estimates[i].Sd/c, e.Sd, 1e-6*(1+e.Sd))
		}
	}
}

// Flows and balances in another order, a balance times -3 and the sum of two
// balances added as a third say nothing new.
func TestOrderAndRedundantBalancesChangeNothing(t *testing.T) {
	rng := rand.New(rand.NewPCG(23, 24))
	for range 10 {
		p := example(rng)
		want := solve(t, p, Options{})
		n := len(p.Flows)
		to := rng.Perm(n)
		q := Problem{Flows: make([]Flow, n)}
		move := func(terms []Term, times float64) (out []Term) {
			for _, t := range terms {
				out = append(out, Term{to[t.Flow], times * t.Coefficient})
			}
			return out
		}
		for i, f := range p.Flows {
			q.Flows[to[i]] = f
		}
		for _, c := range p.Constraints {
			q.Constraints = append(q.Constraints, Constraint{c.Name, move(c.Terms, -3)})
		}
		rng.Shuffle(len(q.Constraints), func(i, j int) { q.Constraints[i], q.Constraints[j] = q.Constraints[j], q.Constraints[i] })
		q.Constraints = append(q.Constraints, Constraint{"both", append(slices.Clone(q.Constraints[0].Terms), q.Constraints[1].Terms...)})
		for _, c := range p.Covariances {
			q.Covariances = append(q.Covariances, Covariance{to[c.B], to[c.A], c.Value})
		}
		q.Directions = []Direction{{"pair", move(p.Directions[0].Terms, -2)}}
		got := solve(t, q, Options{})
		near(t, "chi-square", got.Last.ChiSquare, want.Last.ChiSquare, 1e-6*(1+want.Last.ChiSquare))
		if got.Last.Dof != want.Last.Dof || len(got.Gross) != len(want.Gross) {
			t.Fatalf("dof %d, want %d; suspects %v, want %v", got.Last.Dof, want.Last.Dof, got.Gross, want.Gross)
		}
		for i, e := range want.Last.Estimates {
			near(t, "flow", got.Last.Estimates[to[i]].Value, e.Value, 1e-6*(1+math.Abs(e.Value)))
			near(t, "test", got.Last.Estimates[to[i]].Z, e.Z, 1e-6*(1+e.Z))
		}
		for k, g := range want.Gross {
			near(t, "statistic", got.Gross[k].Z, g.Z, 1e-6*g.Z)
		}
	}
}

// One flow measured in two parts with the same uncertainty together is the
// same network.
func TestSplittingAFlowChangesNothing(t *testing.T) {
	p := exchanger(68.45)
	want := solve(t, p, Options{})
	half := Flow{Name: "half", Value: p.Flows[1].Value / 2, Sd: p.Flows[1].Sd / math.Sqrt2}
	q := Problem{Flows: append(slices.Clone(p.Flows), half)}
	q.Flows[1] = half
	for _, c := range p.Constraints {
		terms := slices.Clone(c.Terms)
		for _, term := range c.Terms {
			if term.Flow == 1 {
				terms = append(terms, Term{len(p.Flows), term.Coefficient})
			}
		}
		q.Constraints = append(q.Constraints, Constraint{c.Name, terms})
	}
	got := solve(t, q, Options{NameNone: true})
	near(t, "chi-square", got.First.ChiSquare, want.First.ChiSquare, 1e-9)
	near(t, "both halves", got.First.Estimates[1].Value+got.First.Estimates[6].Value, want.First.Estimates[1].Value, 1e-9)
	near(t, "test of a half", got.First.Estimates[1].Z, want.First.Estimates[1].Z, 1e-9)
	got = solve(t, q, Options{})
	near(t, "critical: the halves are one test", got.Gross[0].Critical, want.Gross[0].Critical, 1e-9)
	if len(got.Gross) != 1 || len(got.Gross[0].Rivals) != 2 {
		t.Errorf("suspects %+v", got.Gross)
	}
}

// Ugly networks: a finding, never a number that is none.
func TestDegenerateNetworks(t *testing.T) {
	in := func(v, sd float64) Flow { return Flow{Name: "x", Value: v, Sd: sd} }
	two := []Constraint{sum("same", []int{0}, []int{1})}
	for _, c := range []struct {
		name string
		p    Problem
		want Kind // "": none
		dof  int
	}{
		{"nothing", Problem{}, NoRedundancy, 0},
		{"no balance", Problem{Flows: []Flow{in(5, 1)}}, NoRedundancy, 0},
		{"one unmeasured in the only balance", Problem{Flows: []Flow{in(5, 1), {Unmeasured: true}}, Constraints: two}, NoRedundancy, 0},
		{"all unmeasured", Problem{Flows: []Flow{{Unmeasured: true}, {Unmeasured: true}}, Constraints: two}, NoRedundancy, 0},
		{"an unmeasured flow in no balance", Problem{Flows: []Flow{in(5, 1), in(5, 1), {Unmeasured: true}}, Constraints: two}, "", 1},
		{"one exact", Problem{Flows: []Flow{in(5, 0), in(6, 1)}, Constraints: two}, "", 1},
		{"both exact and the same", Problem{Flows: []Flow{in(5, 0), in(5, 0)}, Constraints: two}, NoRedundancy, 0},
		{"both exact and different", Problem{Flows: []Flow{in(5, 0), in(6, 0)}, Constraints: two}, Contradiction, 0},
		{"zeros", Problem{Flows: []Flow{in(0, 0), in(0, 0)}, Constraints: two}, NoRedundancy, 0},
		{"fully correlated", Problem{Flows: []Flow{in(5, 1), in(5, 1)}, Constraints: two, Covariances: []Covariance{{0, 1, 1}}}, NoRedundancy, 0},
		{"correlated beyond 1", Problem{Flows: []Flow{in(5, 1), in(6, 1)}, Constraints: two, Covariances: []Covariance{{0, 1, 1.5}}}, BadCovariance, 1},
		{"covariance of an exact flow", Problem{Flows: []Flow{in(5, 0), in(6, 1)}, Constraints: two, Covariances: []Covariance{{0, 1, 1}}}, BadCovariance, 1},
		{"negative", Problem{Flows: []Flow{in(-5, 1), in(-6, 1)}, Constraints: two}, "", 1},
		{"the same balance twice", Problem{Flows: []Flow{in(5, 1), in(6, 1)}, Constraints: append(slices.Clone(two), two...)}, "", 1},
		{"an empty balance", Problem{Flows: []Flow{in(5, 1), in(6, 1)}, Constraints: append(slices.Clone(two), Constraint{})}, "", 1},
	} {
		s := solve(t, c.p, Options{})
		has := func(k Kind) bool { return slices.ContainsFunc(s.Findings, func(f Finding) bool { return f.Kind == k }) }
		if c.want != "" && !has(c.want) || c.want == "" && len(s.Findings) > 0 || s.Last.Dof != c.dof {
			t.Errorf("%s: dof %d, findings %v", c.name, s.Last.Dof, s.Findings)
		}
		numbers := []float64{s.Last.ChiSquare, s.Last.Critical, s.Last.P}
		for _, e := range s.Last.Estimates {
			numbers = append(numbers, e.Value, e.Sd, e.Adjustment, e.AdjustmentSd, e.Z)
		}
		for _, v := range numbers {
			if math.IsNaN(v) || math.IsInf(v, 0) {
				t.Errorf("%s: %+v", c.name, s.Last)
				break
			}
		}
	}
}

func TestWhatIsNoNumberIsRefused(t *testing.T) {
	good := Flow{Name: "x", Value: 1, Sd: 1}
	for name, p := range map[string]Problem{
		"value":       {Flows: []Flow{{Value: math.NaN(), Sd: 1}}},
		"sd":          {Flows: []Flow{{Value: 1, Sd: -1}}},
		"infinite sd": {Flows: []Flow{{Value: 1, Sd: math.Inf(1)}}},
		"index":       {Flows: []Flow{good}, Constraints: []Constraint{sum("c", []int{1}, nil)}},
		"coefficient": {Flows: []Flow{good}, Constraints: []Constraint{{"c", []Term{{0, math.Inf(1)}}}}},
		"direction":   {Flows: []Flow{good}, Directions: []Direction{{"d", []Term{{-1, 1}}}}},
		"covariance":  {Flows: []Flow{good}, Covariances: []Covariance{{0, 0, 1}}},
	} {
		if _, err := Reconcile(p, Options{}); fault.CodeOf(err) != fault.Input || !strings.Contains(err.Error(), "reconcile stock") {
			t.Errorf("%s: %v", name, err)
		}
	}
	if _, err := Reconcile(Problem{}, Options{Level: 1}); fault.CodeOf(err) != fault.Usage {
		t.Errorf("level 1: %v", err)
	}
}
