package applied

import (
	"math/rand/v2"
	"testing"

	"hopperbook/reconcile/plane"
)

// A pass north over a field of 40 by 100 m, 2 kg/m over 20 m: 1000 kg/ha. The
// exclusion area takes 5 of the 20 m over a length of 40 m and reaches 10 m out
// of the field: 5 x 40 m at 0.1 kg/m2 are 20 kg, on 15 x 40 m2 of the field.
func TestAnExclusionAreaIsNoTarget(t *testing.T) {
	in := Input{Pieces: []Piece{{FromXM: 20, FromYM: 0, ToXM: 20, ToYM: 100, MassKg: 200}}, Patterns: []Pattern{even(t, 20)}, Field: rect(0, 0, 40, 100)}
	before := lay(t, in).Figures(1000)
	in.Exclusion = rect(25, 30, 50, 70)
	m := lay(t, in)
	if !near(m.ExcludedKg, 20, 1e-9) || !near(m.ExcludedM2, 15*40, 1e-9) || !near(m.InFieldKg, 180, 1e-9) || !near(m.OutsideKg, 0, 1e-9) {
		t.Errorf("excluded %v kg on %v m2, in the field %v, outside %v", m.ExcludedKg, m.ExcludedM2, m.InFieldKg, m.OutsideKg)
	}
	f := m.Figures(1000)
	// Hit: 2000 - 200 m2 of 4000 - 600.
	if !near(f.AreaM2, 3400, 1e-9) || !near(f.NotHitShare(), 1600.0/3400, 1e-9) || !near(f.MeanKgHa, 1800*1000/3400.0, 1e-6) || !near(before.NotHitShare(), 0.5, 1e-9) {
		t.Errorf("%+v", f)
	}
	if m.at(29.5, 50.5) != 0 || !near(m.at(24.5, 50.5), 1000, 1e-6) {
		t.Errorf("%v in the area, %v beside it", m.at(29.5, 50.5), m.at(24.5, 50.5))
	}

	in.Exclusion = rect(-10, -10, 50, 110)
	m = lay(t, in)
	if m.InFieldKg != 0 || !near(m.ExcludedKg, 200, 1e-9) || m.Figures(1000) != (Figures{}) {
		t.Errorf("all of it excluded: %+v", m.Figures(1000))
	}
}

// Laws on random drives: masses are conserved and are those of a count over the cells of a map
// without exclusion by the polygon's own rule; what lies outside the field does not change.
func TestExclusionLaws(t *testing.T) {
	for seed := range uint64(12) {
		rng := rand.New(rand.NewPCG(seed, 8))
		in := Input{Pieces: wander(rng, 150), Patterns: []Pattern{trays(t, 2, lopsided...)}, Field: crooked, CellM: 0.5 + 2*rng.Float64()}
		whole := lay(t, in)
		// It lies over the field's hole and over its border.
		in.Exclusion = plane.Polygon{Parts: []plane.Part{rect(50, 40, 100, 70+10*rng.Float64()).Parts[0], rect(120, 50+10*rng.Float64(), 190, 90).Parts[0]}}
		m := lay(t, in)
		kg, m2 := 0.0, 0.0
		for i, inField := range whole.Inside {
			x, y := m.OriginXM+(float64(i%m.Cols)+0.5)*m.CellM, m.OriginYM+(float64(i/m.Cols)+0.5)*m.CellM
			want := inField && !in.Exclusion.Contains(x, y)
			if m.Inside[i] != want {
				t.Fatalf("seed %d: (%v, %v) is target: %v", seed, x, y, m.Inside[i])
			}
			if inField && !want {
				m2 += m.CellM * m.CellM
				kg += whole.KgHa[i] * m.CellM * m.CellM / 10000
			}
		}
		tol := 1e-9 * m.SpreadKg
		if !near(m.ExcludedKg, kg, tol) || !near(m.ExcludedM2, m2, 1e-6) || !near(m.InFieldKg+m.ExcludedKg, whole.InFieldKg, tol) || !near(m.OutsideKg, whole.OutsideKg, tol) || kg <= 0 {
			t.Errorf("seed %d: excluded %v kg on %v m2, want %v on %v; in the field %v, was %v; outside %v, was %v",
				seed, m.ExcludedKg, m.ExcludedM2, kg, m2, m.InFieldKg, whole.InFieldKg, m.OutsideKg, whole.OutsideKg)
		}
	}
}
