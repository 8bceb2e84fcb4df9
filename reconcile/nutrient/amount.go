package nutrient

import (
	"math"
	"slices"
	"strings"

	"hopperbook/schemas/unit"
)

// z95 makes a two-sided 95 % interval of a standard uncertainty (normal).
const z95 = 1.959963984540054

// amount is a sum with its error as a linear form and what it cannot say.
type amount struct {
	kg      float64
	terms   []Term
	unknown float64 // kg of product of which the share is not known
}

// add adds weight times what an application brought of a nutrient.
func (a *amount) add(p *portion, n Nutrient, weight float64) {
	if !p.content.Known[n] {
		a.unknown += p.MassKg
		return
	}
	share := p.content.PerKg[n] * weight
	a.kg += p.MassKg * share
	for _, t := range p.errors {
		a.terms = append(a.terms, Term{t.Key, t.Kg * share})
	}
	if p.content.RelSd > 0 {
		a.terms = append(a.terms, Term{"analysis:" + p.version, p.MassKg * share * p.content.RelSd})
	}
}

// addMass adds weight times the mass of the product itself.
func (a *amount) addMass(p *portion, weight float64) {
	a.kg += p.MassKg * weight
	for _, t := range p.errors {
		a.terms = append(a.terms, Term{t.Key, t.Kg * weight})
	}
}

// sd is the standard uncertainty: errors of one key are one error. O(n log n).
func (a *amount) sd() float64 {
	slices.SortStableFunc(a.terms, func(x, y Term) int { return strings.Compare(x.Key, y.Key) })
	var v, one float64
	for i, t := range a.terms {
		one += t.Kg
		if i == len(a.terms)-1 || a.terms[i+1].Key != t.Key {
			v += one * one
			one = 0
		}
	}
	return math.Sqrt(v)
}

// interval is the 95 % interval of what is known, not below zero.
func (a *amount) interval() (low, high float64) {
	half := z95 * a.sd()
	return max(0, a.kg-half), a.kg + half
}

// perHa is kg/ha; 0 where the area is not known.
func perHa(kg, areaM2 float64) float64 {
	if !(areaM2 > 0) {
		return 0
	}
	return kg / areaM2 * unit.M2PerHa
}
