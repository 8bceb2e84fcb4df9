package nutrient

import (
	"fmt"

	"hopperbook/schemas/fault"
)

// Nutrient is what is summed: an element, or effective lime.
type Nutrient uint8

// The nutrients. Lime is effective lime as its equivalent of pure CaCO3.
const (
	N Nutrient = iota
	P
	K
	S
	Ca
	Mg
	Lime
	nutrients // how many
)

// Form is how an amount of a nutrient is written: the element or a compound
// that holds it; LimeForm for effective lime.
type Form string

// LimeForm is effective lime as its equivalent of pure CaCO3.
const LimeForm Form = "lime"

// Standard atomic weights, abridged: IUPAC Commission on Isotopic Abundances
// and Atomic Weights, 2021. S: conventional value; with another one within its
// natural range the factor of SO3 moves in the fourth digit.
const (
	weightH  = 1.008
	weightC  = 12.011
	weightN  = 14.007
	weightO  = 15.999
	weightMg = 24.305
	weightP  = 30.973761998
	weightS  = 32.06
	weightCl = 35.45
	weightK  = 39.0983
	weightCa = 40.078
)

// compound is a form: its mass for so many atoms of the element.
type compound struct {
	form     Form
	nutrient Nutrient
	element  float64 // weight of the element's atoms in it
	whole    float64 // weight of all of it
}

// compounds are all forms, those that sums are shown in first and in order.
func compounds() []compound {
	return []compound{
		{"N", N, weightN, weightN},
		{"P", P, weightP, weightP},
		{"P2O5", P, 2 * weightP, 2*weightP + 5*weightO},
		{"K", K, weightK, weightK},
		{"K2O", K, 2 * weightK, 2*weightK + weightO},
		{"S", S, weightS, weightS},
		{"SO3", S, weightS, weightS + 3*weightO},
		{"Ca", Ca, weightCa, weightCa},
		{"CaO", Ca, weightCa, weightCa + weightO},
		{"Mg", Mg, weightMg, weightMg},
		{"MgO", Mg, weightMg, weightMg + weightO},
		{LimeForm, Lime, 1, 1},
		{"NO3", N, weightN, weightN + 3*weightO},
		{"NH4", N, weightN, weightN + 4*weightH},
		{"SO4", S, weightS, weightS + 4*weightO},
		{"KCl", K, weightK, weightK + weightCl},
		{"CaCO3", Ca, weightCa, weightCa + weightC + 3*weightO},
		{"MgCO3", Mg, weightMg, weightMg + weightC + 3*weightO},
	}
}

// shownForms is how many of compounds stand in every sum.
const shownForms = 12

func lookup(f Form) (compound, bool) {
	for _, c := range compounds() {
		if c.form == f {
			return c, true
		}
	}
	return compound{}, false
}

// perElement is kg of the form for 1 kg of its nutrient.
func (c compound) perElement() float64 { return c.whole / c.element }

// Factor is how many kg of one form hold as much of the element as 1 kg of
// another: Factor("P2O5", "P") is 0.43643. fault.Usage: a form that is not
// known, or two that do not hold the same element.
func Factor(from, to Form) (float64, error) {
	a, okA := lookup(from)
	b, okB := lookup(to)
	if !okA || !okB || a.nutrient != b.nutrient {
		return 0, fault.Newf("factor", fault.Usage, fmt.Sprintf("%q and %q do not hold the same element", from, to), "for example P2O5 and P")
	}
	return b.perElement() / a.perElement(), nil
}

// factor is Factor of forms that are known to hold the same element.
func factor(from, to Form) float64 {
	a, _ := lookup(from)
	b, _ := lookup(to)
	return b.perElement() / a.perElement()
}
