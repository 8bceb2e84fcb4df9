package balance

import (
	"math"
	"slices"
	"strings"
)

// Term is one independent error of mean zero in a mass: how much the mass
// moves (Coefficient) per unit of an error with standard uncertainty Sd.
type Term struct {
	Key         string // "load:", "residual:", "scale:", "split:" or "flow:" and where
	Coefficient float64
	Sd          float64 // kg; a share for "scale:"
}

// Form is an error as a linear form: terms sorted by key, each key once. The
// zero value is no error.
type Form []Term

const scalePrefix = "scale:"

// Var is the variance [kg2] of the form. O(terms).
func (f Form) Var() float64 {
	var v float64
	for _, t := range f {
		s := t.Coefficient * t.Sd
		v += s * s
	}
	return v
}

// Sd is the standard uncertainty [kg] of the form.
func (f Form) Sd() float64 { return math.Sqrt(f.Var()) }

// Cov is the covariance [kg2] of two forms: errors with the same key are the
// same error. O(terms of both).
func Cov(a, b Form) float64 {
	var v float64
	for len(a) > 0 && len(b) > 0 {
		switch c := strings.Compare(a[0].Key, b[0].Key); {
		case c < 0:
			a = a[1:]
		case c > 0:
			b = b[1:]
		default:
			v += a[0].Coefficient * b[0].Coefficient * a[0].Sd * a[0].Sd
			a, b = a[1:], b[1:]
		}
	}
	return v
}

// plus is a + scale b. Terms that cancel are dropped.
func (a Form) plus(b Form, scale float64) Form {
	out := make(Form, 0, len(a)+len(b))
	keep := func(t Term) {
		if t.Coefficient != 0 && t.Sd != 0 {
			out = append(out, t)
		}
	}
	for len(a) > 0 || len(b) > 0 {
		switch {
		case len(b) == 0 || len(a) > 0 && a[0].Key < b[0].Key:
			keep(a[0])
			a = a[1:]
		case len(a) == 0 || b[0].Key < a[0].Key:
			keep(Term{b[0].Key, scale * b[0].Coefficient, b[0].Sd})
			b = b[1:]
		default:
			keep(Term{a[0].Key, a[0].Coefficient + scale*b[0].Coefficient, a[0].Sd})
			a, b = a[1:], b[1:]
		}
	}
	return out
}

// sum collects many forms at once.
type sum struct {
	terms Form
}

func (s *sum) add(f Form, scale float64) {
	for _, t := range f {
		s.terms = append(s.terms, Term{t.Key, scale * t.Coefficient, t.Sd})
	}
}

// form is what was collected. The order of adding must not depend on chance.
func (s *sum) form() Form {
	slices.SortStableFunc(s.terms, func(a, b Term) int { return strings.Compare(a.Key, b.Key) })
	out := make(Form, 0, len(s.terms))
	for _, t := range s.terms {
		if n := len(out); n > 0 && out[n-1].Key == t.Key {
			out[n-1].Coefficient += t.Coefficient
			continue
		}
		out = append(out, t)
	}
	return slices.DeleteFunc(out, func(t Term) bool { return t.Coefficient == 0 || t.Sd == 0 })
}

// withoutScales is the part of the form that changes from load to load.
func (f Form) withoutScales() Form {
	out := make(Form, 0, len(f))
	for _, t := range f {
		if !strings.HasPrefix(t.Key, scalePrefix) {
			out = append(out, t)
		}
	}
	return out
}

// mass is a mass in kg with its error.
type mass struct {
	kg   float64
	form Form
}

func (m mass) plus(o mass, scale float64) mass {
	return mass{m.kg + scale*o.kg, m.form.plus(o.form, scale)}
}
