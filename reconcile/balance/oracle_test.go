package balance

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"hopperbook/schemas"
)

// TestCovarianceByMonteCarlo draws every reading again and again through the
// same definition of mass and compares the spread of the field masses, and
// their covariance over two machines that share a scale, with what is stated.
// The open intervals are part of it: they are linear in the closed ones.
func TestCovarianceByMonteCarlo(t *testing.T) {
	const draws = 2500
	rng := rand.New(rand.NewPCG(7, 8))
	machines := []Machine{stated(season(rng, "m1", 9)), stated(season(rng, "m2", 7))}
	o := Options{NaturalSdShare: 1e-9} // the wander is drawn in the next test
	var results []Result
	for _, m := range machines {
		results = append(results, run(t, m, o))
	}
	want := Combine(results...)
	n := len(want)
	sum, cross := make([]float64, n), make([][]float64, n)
	for i := range cross {
		cross[i] = make([]float64, n)
	}
	for range draws {
		bias := map[string]float64{}
		for _, s := range []string{"s", "s1", "s2", "/bucket", "/weighbridge"} {
			bias[s] = 0.005 * rng.NormFloat64()
		}
		results = results[:0]
		for _, m := range machines {
			results = append(results, run(t, redraw(rng, m, bias), o))
		}
		got := Combine(results...)
		for i := range got {
			di := got[i].MassKg - want[i].MassKg
			sum[i] += di
			for j := range got {
				cross[i][j] += di * (got[j].MassKg - want[j].MassKg)
			}
		}
	}
	for i, f := range want {
		near(t, "bias of "+string(f.Field), sum[i]/draws, 0, 5*f.SdKg/math.Sqrt(draws))
		for j, g := range want {
			near(t, "cov of "+string(f.Field)+" "+string(g.Field), cross[i][j]/draws, drawn(f, g), 0.08*f.SdKg*g.SdKg)
		}
	}
}

// drawn leaves out what the open intervals may differ by on their own.
func drawn(f, g FieldMass) float64 {
	strip := func(a Form) Form {
		return slices.DeleteFunc(slices.Clone(a), func(t Term) bool { return t.Key[:5] == "flow:" })
	}
	return Cov(strip(f.Form), strip(g.Form))
}

// stated gives every reading its uncertainty in so many kg, so that redrawing
// does not move the weights, every product a closed interval, and every
// interval a flow ratio near 1: what the readings say of the flow is linear
// in them only where they do not contradict each other.
func stated(m Machine) Machine {
	m.HopperKg = 1e6
	for i := range m.Refills {
		r := &m.Refills[i]
		r.Product = "p"
		r.Residual = Residual{Kg: 2000, SdKg: 30, Method: schemas.ResidualLevel}
		if i%3 == 1 {
			r.Residual.Method = schemas.ResidualUnknown
		}
		if len(r.Loads) == 0 {
			r.Loads = []Load{load(fmt.Sprintf("extra%d", i), 1500, 40)}
		}
		var loaded float64
		for _, l := range r.Loads {
			loaded += l.NetKg
		}
		if len(r.Spread) == 0 {
			r.Spread = []Piece{on("a", 1000, 1)}
		}
		for j, all := 0, nominal(r.Spread); j < len(r.Spread); j++ {
			r.Spread[j].NominalKg *= loaded / all
		}
		for j := range r.Loads {
			r.Loads[j].SdKg = 40
		}
	}
	m.Refills[0].Residual.Method = schemas.ResidualLevel
	return m
}

func redraw(rng *rand.Rand, m Machine, bias map[string]float64) Machine {
	m.Refills = slices.Clone(m.Refills)
	for i := range m.Refills {
		r := &m.Refills[i]
		r.Residual.Kg += r.Residual.SdKg * rng.NormFloat64()
		r.Loads = slices.Clone(r.Loads)
		for j := range r.Loads {
			l := &r.Loads[j]
			scale := string(l.Scale)
			if scale == "" {
				scale = "/" + l.Method
			}
			l.NetKg += l.NetKg*bias[scale] + l.SdKg*rng.NormFloat64()
		}
	}
	return m
}

// TestSplitBySimulatedFlow spreads a load in 25 kg steps of nominal mass whose
// flow deviates independently, as white noise of 1.5 % over 5 000 kg must, and
// compares the true masses with the split by nominal mass.
func TestSplitBySimulatedFlow(t *testing.T) {
	const draws, step = 6000, 25.0
	pieces := []Piece{on("a", 1000, 1), on("b", 2500, 1), on("a", 500, 1), on("c", 2000, 1)}
	r := run(t, Machine{ID: "m", Refills: []Refill{
		refill("r1", 6, left(0, 1e-9), pieces, load("l1", 6000, 1e-9)),
		refill("r2", 7, left(0, 1e-9), nil, load("l2", 1, 1e-9)),
	}}, Options{ScaleBiasShare: 1e-15})
	rng := rand.New(rand.NewPCG(9, 10))
	stepSd := 0.015 * math.Sqrt(5000/step)
	var squares [3]float64
	var ab float64
	for range draws {
		var kg [3]float64
		var total float64
		for _, p := range pieces {
			for done := 0.0; done < p.NominalKg; done += step {
				d := step * (1 + stepSd*rng.NormFloat64())
				kg[p.Field[0]-'a'] += d
				total += d
			}
		}
		for i := range kg {
			kg[i] = kg[i]*6000/total - r.Fields[i].MassKg
			squares[i] += kg[i] * kg[i]
		}
		ab += kg[0] * kg[1]
	}
	for i, f := range r.Fields {
		near(t, "split sd of "+string(f.Field), math.Sqrt(squares[i]/draws), f.SdKg, 0.03*f.SdKg)
	}
	near(t, "split cov", ab/draws, Cov(r.Fields[0].Form, r.Fields[1].Form), 0.05*r.Fields[0].SdKg*r.Fields[1].SdKg)
}
