package stock

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/mat"

	"hopperbook/schemas/fault"
)

// Flow is one flow or stock of a network, in any unit that all share.
type Flow struct {
	Name       string
	Value      float64 // measured
	Sd         float64 // standard uncertainty of Value; 0: exact
	Unmeasured bool    // Value and Sd mean nothing
	Trusted    bool    // never a suspect
}

// Term is a flow with its coefficient.
type Term struct {
	Flow        int // index into Problem.Flows
	Coefficient float64
}

// Constraint holds exactly: the terms of the true flows sum to zero.
type Constraint struct {
	Name  string
	Terms []Term
}

// Direction is a gross error that moves several measured flows together: by
// its coefficient each, per unit of the error.
type Direction struct {
	Name  string
	Terms []Term
}

// Covariance is the covariance of two different flows' measurements.
type Covariance struct {
	A, B  int // indexes into Problem.Flows
	Value float64
}

// Problem is a network of flows to reconcile.
type Problem struct {
	Flows       []Flow
	Constraints []Constraint
	Covariances []Covariance // entries of one pair add up
	Directions  []Direction  // suspects beside each measured flow alone
}

// Options are the choices of a reconciliation; the zero value means the
// defaults.
type Options struct {
	// Level is the chance of naming any suspect where there is none, and that
	// of the chi-square test to fail; 0: 0.05.
	Level float64
	// NameNone leaves the suspects in: one weighted least-squares fit.
	NameNone bool
	// Choose gives the index of the rival to name, where something beside the
	// figures (a number missing in a row) speaks for one; nil: the first of
	// those with the largest test. It must depend on its argument alone.
	Choose func([]Rival) int
}

const defaultLevel = 0.05

// network is a checked problem in matrices: constraints in rows, flows in
// columns.
type network struct {
	p        Problem
	a        *mat.Dense    // coefficients
	s        *mat.SymDense // covariance of the measurements
	y        *mat.VecDense // measurements; 0 where there is none
	as       *mat.Dense    // a s
	v        *mat.Dense    // a s a': covariance of the imbalances
	r        *mat.VecDense // a y: imbalances of the measured flows
	findings []Finding
}

// newNetwork fails (fault.Input) on what is no number, on a negative Sd and on
// an index outside the flows; a covariance that can't be is a Finding, and the
// measurements are then taken as independent.
func newNetwork(p Problem) (*network, error) {
	if err := p.check(); err != nil {
		return nil, err
	}
	n, m := len(p.Flows), len(p.Constraints)
	net := &network{p: p, a: mat.NewDense(m, n, nil), y: mat.NewVecDense(n, nil)}
	for i, f := range p.Flows {
		if !f.Unmeasured {
			net.y.SetVec(i, f.Value)
		}
	}
	for j, c := range p.Constraints {
		for _, t := range c.Terms {
			net.a.Set(j, t.Flow, net.a.At(j, t.Flow)+t.Coefficient)
		}
	}
	if net.s = p.covariance(); len(p.Covariances) > 0 && !possible(net.s) {
		p.Covariances = nil
		net.s = p.covariance()
		net.findings = append(net.findings, Finding{Kind: BadCovariance, Text: "the covariances stated can't be those of any measurements (a correlation beyond 1); they were left out"})
	}
	net.as, net.v, net.r = mat.NewDense(m, n, nil), &mat.Dense{}, &mat.VecDense{}
	for j, c := range p.Constraints { // a balance has few terms: as a product of matrices this would be most of the work
		for _, t := range c.Terms {
			for i := range n {
				net.as.Set(j, i, net.as.At(j, i)+t.Coefficient*net.s.At(t.Flow, i))
			}
		}
	}
	net.v.Mul(net.as, net.a.T())
	net.r.MulVec(net.a, net.y)
	return net, nil
}

func (p Problem) check() error {
	for _, f := range p.Flows {
		if !f.Unmeasured && (math.IsNaN(f.Value-f.Value) || !(f.Sd >= 0) || math.IsInf(f.Sd, 1)) {
			return invalid("flow %q: %v with standard uncertainty %v", f.Name, f.Value, f.Sd)
		}
	}
	for _, c := range p.Constraints {
		if err := p.checkTerms("constraint "+c.Name, c.Terms); err != nil {
			return err
		}
	}
	for _, d := range p.Directions {
		if err := p.checkTerms("direction "+d.Name, d.Terms); err != nil {
			return err
		}
	}
	for _, c := range p.Covariances {
		if c.A == c.B || math.IsNaN(c.Value-c.Value) {
			return invalid("covariance of flows %d and %d: %v", c.A, c.B, c.Value)
		}
		if err := p.checkTerms("a covariance", []Term{{c.A, 1}, {c.B, 1}}); err != nil {
			return err
		}
	}
	return nil
}

func (p Problem) checkTerms(where string, terms []Term) error {
	for _, t := range terms {
		if t.Flow < 0 || t.Flow >= len(p.Flows) || math.IsNaN(t.Coefficient-t.Coefficient) {
			return invalid("%s: flow %d of %d, coefficient %v", where, t.Flow, len(p.Flows), t.Coefficient)
		}
	}
	return nil
}

func (p Problem) covariance() *mat.SymDense {
	s := mat.NewSymDense(len(p.Flows), nil)
	for i, f := range p.Flows {
		if !f.Unmeasured {
			s.SetSym(i, i, f.Sd*f.Sd)
		}
	}
	for _, c := range p.Covariances {
		if !p.Flows[c.A].Unmeasured && !p.Flows[c.B].Unmeasured {
			s.SetSym(c.A, c.B, s.At(c.A, c.B)+c.Value)
		}
	}
	return s
}

// possible reports whether s is positive semidefinite, up to rounding.
func possible(s *mat.SymDense) bool {
	const rounding = 1e-9
	n := s.SymmetricDim()
	c := mat.NewSymDense(n, nil)
	for i := range n {
		for k := i + 1; k < n; k++ {
			scale := math.Sqrt(s.At(i, i) * s.At(k, k))
			if scale == 0 && s.At(i, k) != 0 {
				return false
			}
			if scale > 0 {
				c.SetSym(i, k, s.At(i, k)/scale)
			}
		}
		c.SetSym(i, i, 1+rounding)
	}
	var chol mat.Cholesky
	return chol.Factorize(c)
}

func invalid(format string, args ...any) error {
	return fault.Newf("reconcile stock", fault.Input, fmt.Sprintf(format, args...), "values must be finite numbers, uncertainties not negative, indexes those of flows")
}
