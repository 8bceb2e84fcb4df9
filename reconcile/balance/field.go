package balance

import (
	"cmp"
	"fmt"
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
	Part          string          // of what is done in the field
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

// collect adds up masses of the same field, part and product, sorted by these.
func collect(parts []FieldMass) []FieldMass {
	sorted := slices.Clone(parts)
	slices.SortStableFunc(sorted, func(a, b FieldMass) int {
		return cmp.Or(strings.Compare(string(a.Field), string(b.Field)), strings.Compare(a.Part, b.Part), strings.Compare(string(a.Product), string(b.Product)))
	})
	out := sorted[:0]
	for _, p := range sorted {
		if n := len(out); n > 0 && out[n-1].Field == p.Field && out[n-1].Part == p.Part && out[n-1].Product == p.Product {
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
	iv := &c.intervals[i]
	pieces := iv.pieces
	if iv.NominalKg == 0 {
		pieces = slices.Clone(pieces)
		for k := range pieces {
			pieces[k].NominalKg = pieces[k].SwathM2
		}
	}
	total := nominal(pieces)
	if total == 0 {
		iv.shareByLoads()
		return c.outside(*iv)
	}
	if iv.NominalKg == 0 {
		c.find(SplitByArea, iv.From, "no nominal mass: %.0f kg split by swath area", iv.MassKg)
	}
	out, at := byField(iv.pieces)
	shares := make([]float64, len(out))
	for k, p := range pieces {
		shares[at[k]] += p.NominalKg / total
	}
	wander := c.wander(*iv, pieces, total, at, len(out)).forms(shares, "split:"+string(c.machine.ID)+"/"+string(iv.From)+"/")
	for f := range out {
		kg := shares[f] * iv.MassKg
		out[f].Product, out[f].MassKg = iv.Product, kg
		out[f].Form = Form(nil).plus(iv.Form, shares[f]).plus(wander[f], 1)
		out[f].Contributions = []Contribution{{c.machine.ID, iv.From, iv.To, kg}}
	}
	c.share(iv, pieces, total)
	return out
}

// byField makes one FieldMass a field and part of the pieces, sorted, with nominal mass
// and swath, and says where each piece belongs.
func byField(pieces []Piece) (out []FieldMass, at []int) {
	at = make([]int, len(pieces))
	index := func(p Piece) (int, bool) {
		return slices.BinarySearchFunc(out, p, func(f FieldMass, p Piece) int {
			return cmp.Or(strings.Compare(string(f.Field), string(p.Field)), strings.Compare(f.Part, p.Part))
		})
	}
	for _, p := range pieces {
		i, ok := index(p)
		if !ok {
			out = slices.Insert(out, i, FieldMass{Field: p.Field, Part: p.Part})
		}
		out[i].NominalKg += p.NominalKg
		out[i].SwathM2 += p.SwathM2
	}
	for k, p := range pieces {
		at[k], _ = index(p)
	}
	return out, at
}

// shareByLoads gives a merged interval's parts their mass where no pass says when it went
// out: by what was loaded, evenly where nothing was, and as unsure as if one division
// of the mass were as likely as any other (the variance of a share of Dirichlet's distribution).
func (iv *Interval) shareByLoads() {
	n := float64(len(iv.Parts))
	for i := range iv.Parts {
		share := 1 / n
		if iv.LoadedKg > 0 {
			share = iv.Parts[i].LoadedKg / iv.LoadedKg
		}
		iv.Parts[i].MassKg = share * iv.MassKg
		iv.Parts[i].SdKg = math.Hypot(share*iv.SdKg, iv.MassKg*math.Sqrt(share*(1-share)/(n+1)))
	}
}

// share gives a merged interval's parts their mass.
func (c *chain) share(iv *Interval, pieces []Piece, total float64) {
	if len(iv.Parts) == 0 {
		return
	}
	at, k := make([]int, len(pieces)), 0
	shares := make([]float64, len(iv.Parts))
	for i := iv.first; i < iv.end; i++ {
		for range c.refills[i].Spread {
			at[k] = i - iv.first
			shares[at[k]] += pieces[k].NominalKg / total
			k++
		}
	}
	wander := c.wander(*iv, pieces, total, at, len(iv.Parts)).apart(shares)
	for i := range iv.Parts {
		iv.Parts[i].MassKg = shares[i] * iv.MassKg
		iv.Parts[i].SdKg = math.Hypot(shares[i]*iv.SdKg, math.Sqrt(wander[i]))
	}
}

// covariance [kg2] is symmetric, by rows.
type covariance [][]float64

// wander is by how much the mass of each group of pieces deviates from its
// nominal share because the flow wanders, before what all groups share is taken
// out: covariances of the integrals of flow (see noise) over their pieces.
// O(pieces x groups).
func (c *chain) wander(iv Interval, pieces []Piece, total float64, at []int, groups int) covariance {
	v, done := c.o.noise(), 0.0
	before := make([]float64, groups) // sum of piece x its middle, so far
	cov := make(covariance, groups)
	for g := range cov {
		cov[g] = make([]float64, groups)
	}
	for k, p := range pieces {
		n, g := math.Abs(iv.MassKg)*p.NominalKg/total, at[k]
		for j, b := range before {
			cov[g][j] += v.walk * n * b
			cov[j][g] += v.walk * n * b
		}
		cov[g][g] += v.white*n + v.walk*n*n*(done+n/3)
		before[g] += n * (done + n/2)
		done += n
	}
	return cov
}

// apart gives the variances of the groups' deviations less their share of
// everyone's: what all share is the interval's mass. O(groups^2).
func (c covariance) apart(shares []float64) []float64 {
	rows, all := make([]float64, len(c)), 0.0
	for g, row := range c {
		for _, v := range row {
			rows[g] += v
		}
		all += rows[g]
	}
	out := make([]float64, len(c))
	for g, s := range shares {
		out[g] = max(0, c[g][g]-2*s*rows[g]+s*s*all)
	}
	return out
}

// forms are the same deviations as independent terms. A single group has none.
// O(groups^3).
func (c covariance) forms(shares []float64, key string) []Form {
	out := make([]Form, len(c))
	if len(c) < 2 {
		return out
	}
	lower := c.cholesky()
	for j := range lower {
		var all float64
		for g := range lower {
			all += lower[g][j]
		}
		for g, s := range shares {
			if x := lower[g][j] - s*all; x != 0 {
				out[g] = append(out[g], Term{fmt.Sprintf("%s%04d", key, j), x, 1})
			}
		}
	}
	return out
}

// cholesky is L of c = L L'. A group that does not deviate by itself has a
// column of zeros, which the library's factorization would refuse.
func (c covariance) cholesky() covariance {
	lower := make(covariance, len(c))
	for i := range c {
		lower[i] = make([]float64, len(c))
		for j := range i + 1 {
			v := c[i][j]
			for k := range j {
				v -= lower[i][k] * lower[j][k]
			}
			switch {
			case i == j:
				lower[i][i] = math.Sqrt(max(0, v))
			case lower[j][j] > 1e-9*math.Sqrt(c[j][j]):
				lower[i][j] = v / lower[j][j]
			}
		}
	}
	return lower
}

func (c *chain) outside(iv Interval) []FieldMass {
	if iv.MassKg == 0 && len(iv.Form) == 0 {
		return nil
	}
	if iv.MassKg > 3*iv.Form.Sd() {
		c.find(MassWithoutPass, iv.From, "%.0f kg went out without nominal mass: no pass was logged, or no set rate or bout width is known", iv.MassKg)
	}
	return []FieldMass{{
		Product: iv.Product, MassKg: iv.MassKg, Form: iv.Form,
		Contributions: []Contribution{{c.machine.ID, iv.From, iv.To, iv.MassKg}},
	}}
}
