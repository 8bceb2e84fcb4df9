package reconcile

import (
	"math"
	"slices"
	"strings"
	"testing"

	"hopperbook/reconcile/nutrient"
	"hopperbook/schemas"
)

// creek is a strip of 4 m across F1 and beyond, west of x metres.
func creek(x float64) *schemas.Boundary {
	return &schemas.Boundary{{{at(x-4, -50), at(x, -50), at(x, 450), at(x-4, 450), at(x-4, -50)}}}
}

func measuredOf(t *testing.T, w *world, application string) []nutrient.Measured {
	t.Helper()
	in, err := NutrientInput(w.in, NutrientAsk{})
	if err != nil {
		t.Fatal(err)
	}
	i := slices.IndexFunc(in.Applications, func(a nutrient.Application) bool { return a.ID == application })
	if i < 0 {
		t.Fatalf("no application %s", application)
	}
	return in.Applications[i].Measured
}

const firstDay = "F1/2026-03-02/super/sp1/job:J1"

// The scenario: lines of 20 m bout width along F1 from x = 10 on, so that the
// ground is covered from x = 0; creeks west of it.
func TestDistanceToExclusionAreas(t *testing.T) {
	near := func(got []nutrient.Measured, want ...nutrient.Measured) bool {
		return slices.EqualFunc(got, want, func(a, b nutrient.Measured) bool {
			return a.To == b.To && math.Abs(a.DistanceM-b.DistanceM) < 0.02 && a.ReceiverM == b.ReceiverM
		})
	}
	for _, c := range []struct {
		name   string
		change func(*world)
		want   []nutrient.Measured
	}{
		{"none", func(*world) {}, nil},
		{"not said what", func(w *world) { w.in.Fields[0].Data.Exclusion = creek(-7) }, []nutrient.Measured{{To: "", DistanceM: 7, ReceiverM: 0.05}}},
		{"a creek", func(w *world) {
			w.in.Fields[0].Data.Exclusion, w.in.Fields[0].Data.ExclusionTo = creek(-7), []string{"watercourse"}
		}, []nutrient.Measured{{To: "watercourse", DistanceM: 7, ReceiverM: 0.05}}},
		{"spread on", func(w *world) { w.in.Fields[0].Data.Exclusion = creek(50) }, []nutrient.Measured{{To: "", DistanceM: 0, ReceiverM: 0.05}}},
		{"of another field, and twice", func(w *world) {
			for i := range w.in.Fields { // even-odd over both would be no area at all
				w.in.Fields[i].Data.Exclusion, w.in.Fields[i].Data.ExclusionTo = creek(50), []string{"lake"}
			}
		}, []nutrient.Measured{{To: "lake", DistanceM: 0, ReceiverM: 0.05}}},
		{"kinds by their order", func(w *world) {
			both := append(*creek(-7), (*creek(-30))...)
			w.in.Fields[1].Data.Exclusion, w.in.Fields[1].Data.ExclusionTo = &both, []string{"well", "lake"}
		}, []nutrient.Measured{{To: "lake", DistanceM: 30, ReceiverM: 0.05}, {To: "well", DistanceM: 7, ReceiverM: 0.05}}},
		{"too few kinds", func(w *world) {
			three := slices.Concat(*creek(-7), *creek(-30), *creek(-60))
			w.in.Fields[0].Data.Exclusion, w.in.Fields[0].Data.ExclusionTo = &three, []string{"well", "lake"}
		}, []nutrient.Measured{{To: "", DistanceM: 7, ReceiverM: 0.05}}},
		{"far", func(w *world) { w.in.Fields[0].Data.Exclusion = creek(-1005) }, nil},
		{"a rough receiver for a moment", func(w *world) {
			w.in.Fields[0].Data.Exclusion = creek(-7)
			w.in.Passes[2].Fixes[3].Quality = schemas.QualityDGNSS
		}, []nutrient.Measured{{To: "", DistanceM: 7, ReceiverM: 1}}},
	} {
		w := nutrientWorld()
		for i := range w.in.Passes {
			for k := range w.in.Passes[i].Fixes {
				w.in.Passes[i].Fixes[k].Quality = schemas.QualityRTKFixed
			}
		}
		c.change(w)
		if got := measuredOf(t, w, firstDay); !near(got, c.want...) {
			t.Errorf("%s: %+v, want %+v", c.name, got, c.want)
		}
	}
}

// A creek a metre further off is a metre further; what a distance was measured
// to is among the events of the application.
func TestDistanceLaws(t *testing.T) {
	before := 0.0
	for k := range 5 {
		w := nutrientWorld()
		w.in.Fields[1].Data.Exclusion = creek(-2 - float64(k))
		got := measuredOf(t, w, firstDay)
		if len(got) != 1 || k > 0 && math.Abs(got[0].DistanceM-before-1) > 0.011 {
			t.Fatalf("%+v, a metre nearer %v", got, before)
		}
		before = got[0].DistanceM
	}
	for _, with := range []bool{true, false} {
		w := nutrientWorld()
		if with {
			w.in.Fields[1].Data.Exclusion = creek(-7)
		}
		s, err := Seasonal(w.in, NutrientAsk{})
		if err != nil {
			t.Fatal(err)
		}
		if got := slices.Contains(s.Origins[0].Uses, w.in.Fields[1].ID); got != with || s.Origins[0].Application != firstDay {
			t.Errorf("the other field's register is a source of %s: %v", s.Origins[0].Application, got)
		}
	}
}

func TestExclusionKindsThatDoNotMatchAreSaid(t *testing.T) {
	w := nutrientWorld()
	both := append(*creek(-7), (*creek(-30))...)
	w.in.Fields[0].Data.Exclusion, w.in.Fields[0].Data.ExclusionTo = &both, []string{"well", "lake", "coast"}
	res, err := Run(w.in)
	if err != nil || !slices.ContainsFunc(res.Findings, func(f Finding) bool {
		return f.Kind == "exclusion_kinds" && strings.Contains(f.Text, "3 entries for 2 areas")
	}) {
		t.Errorf("%v: %+v", err, res.Findings)
	}
}
