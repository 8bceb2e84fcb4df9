package balance

import (
	"cmp"
	"math"
	"slices"
	"strings"

	"hopperbook/schemas"
)

// z95 makes a two-sided 95 % interval of a standard uncertainty (normal).
const z95 = 1.959963984540054

// FieldMass is what one product came to on one field.
type FieldMass struct {
	Field         schemas.FieldID // "": outside all fields
	Product       schemas.ProductID
	MassKg        float64
	SdKg          float64 // standard uncertainty of MassKg
	NominalKg     float64
	SwathM2       float64
	Form          Form           // error of MassKg, to combine with other masses
	Contributions []Contribution // in time order within a machine; they sum to MassKg
}

// Contribution is the part of a FieldMass that came from one interval.
type Contribution struct {
	Machine  schemas.MachineID
	From, To schemas.RefillID // of the interval; To "" while it is open
	MassKg   float64
}

// Interval95 is the 95 % interval [kg] of the mass: 1.96 standard
// uncertainties to each side. Its lower end may be below zero.
func (f FieldMass) Interval95() (lowKg, highKg float64) {
	return f.MassKg - z95*f.SdKg, f.MassKg + z95*f.SdKg
}

// Combine adds up the fields of several machines. Machines loaded over one
// scale share its bias, so their errors do not average out. The order of the
// results only orders Contributions. O(n log n).
func Combine(results ...Result) []FieldMass {
	var all []FieldMass
	for _, r := range results {
		all = append(all, r.Fields...)
	}
	return collect(all)
}

// collect adds up masses of the same field and product, sorted by both.
func collect(parts []FieldMass) []FieldMass {
	sorted := slices.Clone(parts)
	slices.SortStableFunc(sorted, func(a, b FieldMass) int {
		return cmp.Or(strings.Compare(string(a.Field), string(b.Field)), strings.Compare(string(a.Product), string(b.Product)))
	})
	out := sorted[:0]
	for _, p := range sorted {
		if n := len(out); n > 0 && out[n-1].Field == p.Field && out[n-1].Product == p.Product {
			f := &out[n-1]
			f.MassKg += p.MassKg
			f.NominalKg += p.NominalKg
			f.SwathM2 += p.SwathM2
			f.Form = f.Form.plus(p.Form, 1)
			f.Contributions = append(slices.Clone(f.Contributions), p.Contributions...)
			continue
		}
		out = append(out, p)
	}
	for i := range out {
		out[i].SdKg = out[i].Form.Sd()
	}
	return out
}

// fields splits every interval over its fields and adds up.
func (c *chain) fields() []FieldMass {
	var parts []FieldMass
	for i := range c.intervals {
		parts = append(parts, c.split(i)...)
	}
	return collect(parts)
}

// split shares the mass of interval i by nominal mass; without any, by swath
// area; without that either, it all went outside.
func (c *chain) split(i int) []FieldMass {
	iv := c.intervals[i]
	weights, total := make([]float64, len(iv.pieces)), 0.0
	for k, p := range iv.pieces {
		weights[k] = p.NominalKg
		total += p.NominalKg
	}
	if total == 0 {
		for k, p := range iv.pieces {
			weights[k] = p.SwathM2
			total += p.SwathM2
		}
		if total > 0 {
			c.find(SplitByArea, iv.From, "no nominal mass: %.0f kg split by swath area", iv.MassKg)
		}
	}
	if total == 0 {
		return c.outside(iv)
	}
	out := make([]FieldMass, len(iv.pieces))
	for k, p := range iv.pieces {
		share := weights[k] / total
		out[k] = FieldMass{
			Field: p.Field, Product: iv.Product, MassKg: share * iv.MassKg, NominalKg: p.NominalKg, SwathM2: p.SwathM2,
			Form:          Form(nil).plus(iv.Form, share).plus(c.wander(iv, weights, total, k), 1),
			Contributions: []Contribution{{c.machine.ID, iv.From, iv.To, share * iv.MassKg}},
		}
	}
	return out
}

// wander is the error of piece k's share: every piece deviates independently
// (see the package comment), and what all share is the interval's mass, so
// piece k feels 1 - share of its own deviation and -share of each other one.
func (c *chain) wander(iv Interval, weights []float64, total float64, k int) Form {
	perKg := c.o.NaturalSdShare * c.o.NaturalSdShare * naturalLoadKg
	out := make(Form, len(iv.pieces))
	for j, p := range iv.pieces {
		key := "split:" + string(c.machine.ID) + "/" + string(iv.From) + "/" + string(p.Field)
		out[j] = Term{key, -weights[k] / total, math.Sqrt(perKg * math.Abs(iv.MassKg) * weights[j] / total)}
	}
	out[k].Coefficient++
	return out
}

func (c *chain) outside(iv Interval) []FieldMass {
	if iv.MassKg == 0 && len(iv.Form) == 0 {
		return nil
	}
	if iv.MassKg > 3*iv.Form.Sd() {
		c.find(MassWithoutPass, iv.From, "%.0f kg went out while no pass was logged", iv.MassKg)
	}
	return []FieldMass{{
		Product: iv.Product, MassKg: iv.MassKg, Form: iv.Form,
		Contributions: []Contribution{{c.machine.ID, iv.From, iv.To, iv.MassKg}},
	}}
}
