package reconcile

import (
	"slices"
	"strings"
	"testing"
	"time"

	"hopperbook/reconcile/nutrient"
	"hopperbook/schemas"
)

func spanOf(year int) nutrient.Span {
	at := func(y int) time.Time { return time.Date(y, 1, 1, 0, 0, 0, 0, time.UTC) }
	return nutrient.Span{Name: "x", From: at(year), To: at(year + 1)}
}

// What a reconciliation finds of the mass is told in the season it bears on,
// and in no other.
func TestSeasonTellsItsFindings(t *testing.T) {
	for name, c := range map[string]struct {
		change func(*world)
		kinds  string // in 2026, sorted
	}{
		"nothing odd": {func(*world) {}, ""},
		"no pass":     {func(w *world) { w.refill(750); w.refill() }, "mass_without_pass not_on_a_field"},
		"on a well":   {func(w *world) { w.in.Fields[0].Data.Exclusion = creek(100) }, "exclusion_hit"},
		"voided load": {func(w *world) { w.in.Loads = w.in.Loads[1:] }, "load_missing"},
		"never filled": {func(w *world) {
			w.in.Loads = append(w.in.Loads, meta(w, "loader", schemas.LoadWeighed{Load: "LX", NetKg: 9}))
		}, "load_not_refilled"},
		"bad amendment": {func(w *world) { w.in.Findings = []Finding{{Kind: "bad_amendment", At: day.Add(time.Hour), Text: "x"}} }, "bad_amendment"},
		"another machine's": {func(w *world) {
			d := schemas.HopperRefilled{Refill: "R9", Product: "super", Loads: []schemas.LoadID{"L9"}, ResidualKg: kg(0), ResidualMethod: schemas.ResidualEmpty}
			w.in.Refills = append(w.in.Refills, meta(w, "sp9", d))
		}, ""},
	} {
		w := nutrientWorld()
		c.change(w)
		s, err := Seasonal(w.in, NutrientAsk{})
		if err != nil {
			t.Fatal(err)
		}
		var kinds []string
		for _, f := range s.FoundIn(spanOf(2026)) {
			kinds = append(kinds, f.Kind)
		}
		kinds = slices.Compact(kinds)
		if got := strings.Join(kinds, " "); got != c.kinds {
			t.Errorf("%s: %s, want %s", name, got, c.kinds)
		}
		for _, year := range []int{2025, 2027} {
			for _, f := range s.FoundIn(spanOf(year)) {
				if f.Kind != "bad_amendment" || year == 2027 {
					t.Errorf("%s: %d says %+v", name, year, f)
				}
			}
		}
	}
}

// How much went nowhere known is told with the refills it is of, the first of many.
func TestMassNowhere(t *testing.T) {
	w := nutrientWorld()
	for range 5 {
		w.refill(300)
	}
	w.refill()
	s, err := Seasonal(w.in, NutrientAsk{})
	if err != nil {
		t.Fatal(err)
	}
	all := s.FoundIn(spanOf(2026))
	i := slices.IndexFunc(all, func(f Finding) bool { return f.Kind == "not_on_a_field" })
	if i < 0 || all[i].Count != 5 || all[i].Amount < 1450 || all[i].Amount > 1550 || !strings.Contains(all[i].Text, "and 2 more") {
		t.Errorf("%+v", all)
	}
}
