package reconcile

import (
	"encoding/json"
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"hopperbook/schemas"
)

// Odd events that the contract accepts: each is said, none stops the rest, and
// nothing in the result is no number.
func TestOddEventsAreSaidAndStopNothing(t *testing.T) {
	for _, r := range []struct {
		kind string // of the finding
		make func(w *world)
	}{
		{"duplicate_load", func(w *world) { // the same load in another machine's hopper, later
			refill := w.in.Refills[1]
			refill.Machine, refill.Data.Refill, refill.Identity.Sequence = "sp2", "X1", 9001
			w.in.Refills = append(w.in.Refills, refill)
		}},
		{"load_product", func(w *world) { w.in.Loads[1].Data.Product = "urea" }},
		{"load_twice", func(w *world) {
			again := w.in.Loads[1]
			again.Identity.Sequence = 9002
			w.in.Loads = append(w.in.Loads, again)
		}},
		{"load_not_refilled", func(w *world) {
			w.in.Loads = append(w.in.Loads, meta(w, "loader", schemas.LoadWeighed{Load: "X", Product: "super", NetKg: 500, Method: "bucket"}))
		}},
		{"refill_twice", func(w *world) {
			again := w.in.Refills[1]
			again.Identity.Sequence = 9003
			w.in.Refills = append(w.in.Refills, again)
		}},
		{"no_machine", func(w *world) { w.in.Refills[2].Machine = "" }},
		{"negative_mass", func(w *world) { w.in.Refills[2].Data.ResidualKg = kg(90_000) }},
		{"negative_mass", func(w *world) { // between two good intervals that share its readings
			w.in.Refills[3].Data.ResidualKg, w.in.Refills[3].Data.ResidualSdKg = kg(1700), kg(100)
		}},
		{"no_set_rate", func(w *world) { w.in.Settings = nil }},
		{"odd_boundary", func(w *world) { // a bow tie
			ring := w.in.Fields[1].Data.Boundary[0][0]
			ring[1], ring[2] = ring[2], ring[1]
		}},
		{"bad_boundary", func(w *world) { // half the globe
			w.in.Fields[1].Data.Boundary = schemas.Boundary{{{{-90, -40}, {90, -40}, {90, 40}, {-90, 40}, {-90, -40}}}}
		}},
		{"bad_exclusion", func(w *world) { // on another continent
			w.in.Fields[1].Data.Exclusion = &schemas.Boundary{{{{10, 50}, {10.1, 50}, {10.1, 50.1}, {10, 50}}}}
		}},
		{"odd_exclusion", func(w *world) { // a bow tie
			w.in.Fields[1].Data.Exclusion = &schemas.Boundary{{{at(510, 10), at(540, 40), at(540, 10), at(510, 40), at(510, 10)}}}
		}},
		{"unknown_catch_test", func(w *world) { w.in.Settings[0].Data.CatchTest = "never made" }},
		{"not_on_a_field", func(w *world) { w.in.Fields = nil }},
	} {
		w := season(2, func(int) float64 { return 1 })
		r.make(w)
		res, err := Run(w.in)
		if err != nil {
			t.Errorf("%s: %v", r.kind, err)
			continue
		}
		raw, err := json.Marshal(res) // refuses NaN and Inf
		if err != nil {
			t.Errorf("%s: %v", r.kind, err)
		}
		i := slices.IndexFunc(res.Findings, func(f Finding) bool { return f.Kind == r.kind })
		if i < 0 || len(res.Findings[i].Text) < 20 || strings.Contains(res.Findings[i].Text, "%!") {
			t.Errorf("%s is not said: %s", r.kind, raw)
		}
		for _, f := range res.Fields {
			if !(f.FieldRateLow <= f.FieldRateKgHa && f.FieldRateKgHa <= f.FieldRateHigh) {
				t.Errorf("%s: %v is not between %v and %v", r.kind, f.FieldRateKgHa, f.FieldRateLow, f.FieldRateHigh)
			}
		}
	}
}

// A residual reading that names another product changes nothing: the field
// keeps its area.
func TestAReadingOfAnotherProductChangesNothing(t *testing.T) {
	w := season(1, func(int) float64 { return 1 })
	want := run(t, w.in)
	w.clock = w.in.Passes[7].start().Add(-time.Second)
	w.refill()
	last := len(w.in.Refills) - 1
	w.in.Refills[last].Data.Product = "urea"
	w.in.Refills[last].Data.ResidualKg, w.in.Refills[last].Data.Refill = kg(480), "Rx"
	got := run(t, w.in)
	if len(got.Fields) != 1 {
		t.Fatalf("fields %+v", got.Fields)
	}
	near(t, "covered", got.Fields[0].CoveredM2, want.Fields[0].CoveredM2, 0.1)
	near(t, "mass", got.Fields[0].MassKg, want.Fields[0].MassKg, 0.5)
}

// One load is in one hopper: its mass counts once.
func TestALoadInTwoHoppersCountsOnce(t *testing.T) {
	w := season(2, func(int) float64 { return 1 })
	want := run(t, w.in).Totals.LoadedKg
	refill := w.in.Refills[1]
	refill.Machine, refill.Data.Refill, refill.Identity.Sequence = "sp2", "X1", 9001
	w.in.Refills = append(w.in.Refills, refill)
	near(t, "loaded", run(t, w.in).Totals.LoadedKg, want, 0.001)
}

// A set rate too small to be one asks for nothing instead of dividing by it.
func TestATinySetRateIsNone(t *testing.T) {
	w := season(1, func(int) float64 { return 1 })
	w.in.Settings[0].Data.SetRateKgHa = 1e-305
	res := run(t, w.in)
	near(t, "mass", res.Fields[0].MassKg, 3200, 0.5)
	near(t, "set rate", res.Fields[0].SetRateKgHa, 0, 0)
}

// Grams on a scale for tonnes tell nothing of the flow, and stop nothing.
func TestLoadsOfGramsStopNothing(t *testing.T) {
	w := season(2, func(load int) float64 { return 1 })
	for i := range w.in.Loads {
		w.in.Loads[i].Data.NetKg = 0.01
	}
	for i := range w.in.Refills {
		w.in.Refills[i].Data.ResidualSdKg = kg(100)
	}
	w.in.Settings[0].Data.SetRateKgHa = 0.02
	res := run(t, w.in)
	if len(res.Drifts) == 0 || len(res.Drifts[0].Causes) != 0 {
		t.Errorf("drifts %+v", res.Drifts)
	}
}

// The flow of a hopper that holds two products is of neither.
func TestAMixedHopperIsNoFlowRatio(t *testing.T) {
	w := season(4, func(load int) float64 { return 1 })
	for i := range w.in.Refills {
		if i >= 5 {
			w.in.Refills[i].Data.Product = "lime"
		}
	}
	*w.in.Refills[5].Data.ResidualKg = 300
	res := run(t, w.in)
	for _, d := range res.Drifts {
		if n := slices.IndexFunc(d.Points, func(p DriftPoint) bool { return p.Refill == "R6" }); n >= 0 {
			t.Errorf("%s: the mixed load stands in the series", d.Product)
		}
	}
	if len(res.Drifts) != 2 {
		t.Errorf("drifts %+v", res.Drifts)
	}
}

// Without a pass, what merged loads spread is shared by what was loaded; the rows add up.
func TestRowsAddUpWithoutPasses(t *testing.T) {
	w := season(1, func(load int) float64 { return 1 })
	w.in.Passes = nil
	for i := 1; i+1 < len(w.in.Refills); i++ {
		w.in.Refills[i].Data.ResidualMethod = schemas.ResidualUnknown
		w.in.Refills[i].Data.ResidualKg = nil
	}
	for _, iv := range run(t, w.in).Intervals {
		sum := 0.0
		for _, p := range iv.Parts {
			sum += p.MassKg
		}
		if len(iv.Parts) > 0 && (iv.MassKg <= 0 || math.Abs(sum-iv.MassKg) > 0.01) {
			t.Errorf("parts of %v kg sum to %v", iv.MassKg, sum)
		}
	}
}
