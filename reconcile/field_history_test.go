package reconcile

import (
	"encoding/json"
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"hopperbook/reconcile/nutrient"
	"hopperbook/schemas"
)

// again registers a field (from 0) anew at a time.
func (w *world) again(field int, at time.Time, change func(*schemas.RegisterField)) {
	w.clock = at
	d := w.in.Fields[field].Data
	change(&d)
	w.in.Fields = append(w.in.Fields, meta(w, "office", d))
}

// p2o5Rules caps P2O5 on pasture in a zone and over the holding, which no test comes to.
func p2o5Rules() []nutrient.Rules {
	pasture := nutrient.Applies{LandUses: []string{"pasture"}, Zones: []string{"nvz"}}
	return []nutrient.Rules{{RuleHead: nutrient.RuleHead{ID: "mine"}, Limits: []nutrient.Limit{
		{Part: nutrient.Part{ID: "field", Applies: pasture}, Nutrient: "P2O5", Scope: nutrient.ScopeField, Value: 35, Unit: "kg/ha"},
		{Part: nutrient.Part{ID: "holding"}, Nutrient: "P2O5", Scope: nutrient.ScopeHolding, Value: 70, Unit: "kg/ha"}}}}
}

func nutrientsOf(t *testing.T, w *world, customer schemas.CustomerID) (nutrient.Result, Season) {
	t.Helper()
	s, err := Seasonal(w.in, NutrientAsk{Customer: customer, Rules: p2o5Rules()})
	if err != nil {
		t.Fatal(err)
	}
	r, err := nutrient.Run(s.Input)
	if err != nil {
		t.Fatal(err)
	}
	return r, s
}

func foundText(s *Season, year int, kind string) string {
	var words []string
	for _, f := range s.FoundIn(spanOf(year)) {
		if f.Kind == kind {
			words = append(words, string(f.Field)+" "+f.Text)
		}
	}
	return strings.Join(words, "\n")
}

var nextSpring = time.Date(2027, 3, 1, 8, 0, 0, 0, time.UTC)

// What is registered later with the same boundary changes nothing of a season before.
func TestLaterRegistrationsLeaveThePastAlone(t *testing.T) {
	w := nutrientWorld()
	before, first := nutrientsOf(t, w, "C1")
	w.again(0, nextSpring, func(d *schemas.RegisterField) {
		d.Crop, d.Soil, d.LandUse, d.Zones, d.Holding = "potatoes", "peat", "arable", []string{}, "H9"
	})
	after, s := nutrientsOf(t, w, "C1")
	x, _ := json.Marshal(before)
	y, _ := json.Marshal(after)
	if string(x) != string(y) {
		t.Errorf("was\n%s\nis\n%s", x, y)
	}
	for year, want := range map[int]string{2026: "ryegrass", 2027: "potatoes"} {
		if f := s.Input.FieldsIn(spanOf(year))[0]; f.Crop != want || f.AreaM2 != first.Input.Fields[0].AreaM2 {
			t.Errorf("%d: %+v", year, f)
		}
	}
	if got := foundText(&s, 2026, "field_registered_anew"); got != "" {
		t.Errorf("2026 says %s", got)
	}
	if a := s.Origins[0]; len(a.Uses) == 0 || a.Uses[0] != w.in.Fields[0].ID {
		t.Errorf("the registration in force is not among %v", a.Uses)
	}
}

// A field entered late, or never before its first application, is what it was entered as.
func TestFieldEnteredLate(t *testing.T) {
	w := nutrientWorld()
	for i := range w.in.Fields {
		w.in.Fields[i].Time = nextSpring
	}
	_, s := nutrientsOf(t, w, "C1")
	if f, known := s.Input.FieldAt("F1", day); !known || f.Crop != "ryegrass" || len(s.Input.Applications) != 3 {
		t.Errorf("%+v", f)
	}
}

// Between two applications a field turns arable: checks go by what it was at
// each, and the limit on pasture has the second in its upper end alone.
func TestLandUseChangesWithinASeason(t *testing.T) {
	w := nutrientWorld()
	w.again(1, w.in.Passes[19].start().Add(8*time.Hour), func(d *schemas.RegisterField) { d.LandUse, d.Crop = "arable", "barley" })
	r, s := nutrientsOf(t, w, "C1")
	if got := foundText(&s, 2026, "field_registered_anew"); !strings.Contains(got, "F2 on 2026-03-02: land use pasture, then arable; crop ryegrass, then barley") {
		t.Errorf("%s", got)
	}
	for _, v := range r.Verdicts {
		if v.Subject != "F2" {
			continue
		}
		// By hand: 800 kg of 20 % on pasture are 10 kg/ha, 1600 kg of 18 % later 18 more.
		if math.Abs(v.Low-10) > 1 || math.Abs(v.High-28) > 1.5 || v.State != nutrient.Under || !strings.Contains(strings.Join(v.Notes, ";"), "did not apply") {
			t.Errorf("%+v", v)
		}
	}
}

// A boundary drawn anew afterwards does not change the area of the past; the
// interval of a limit holds what either area gives.
func TestBoundaryDrawnAnew(t *testing.T) {
	w := nutrientWorld()
	sums, _ := nutrientsOf(t, w, "C1")
	w.again(0, nextSpring, func(d *schemas.RegisterField) { // 15 of 20 lines were spread: 12 of 16 ha
		d.Boundary = schemas.Boundary{{{at(0, 0), at(300, 0), at(300, 400), at(0, 400), at(0, 0)}}}
	})
	r, s := nutrientsOf(t, w, "C1")
	for i, v := range r.Verdicts {
		if v.Subject == "F1" && (math.Abs(v.AreaM2-160000) > 20 || v.Value > 1.02*sums.Verdicts[i].Value || v.High < 1.3*v.Value || v.State != nutrient.NotShown) {
			t.Errorf("%+v", v)
		}
	}
	if got := foundText(&s, 2026, "field_redrawn"); !strings.HasPrefix(got, "F1 its boundary was drawn anew on 2027-03-01") {
		t.Errorf("%q", got)
	}
}

// A field is sold between two applications: each customer's records have what
// was spread while it was theirs, and its limits count both.
func TestFieldChangesHands(t *testing.T) {
	w := nutrientWorld()
	sale := w.in.Passes[19].start().Add(8 * time.Hour)
	w.again(1, sale, func(d *schemas.RegisterField) { d.Customer, d.Holding = "C2", "H2" })
	all, _ := nutrientsOf(t, w, "")
	total := 0.0
	for customer, want := range map[schemas.CustomerID]string{"C1": "F1/2026-03-02/super/sp1/job:J1 F2/2026-03-02/super/sp1/job:J1", "C2": "F2/2026-03-03/super/sp1/D2"} {
		r, s := nutrientsOf(t, w, customer)
		var names []string
		for _, sum := range r.Sums {
			if sum.Scope == nutrient.ScopeApplication {
				names = append(names, sum.Subject)
				total += sum.MassKg
			}
		}
		if got := strings.Join(names, " "); got != want {
			t.Errorf("%s has %s", customer, got)
		}
		if got := foundText(&s, 2026, "field_registered_anew"); !strings.Contains(got, "it changed hands") || strings.Contains(got, "C1") || strings.Contains(got, "C2") {
			t.Errorf("%s is told: %s", customer, got)
		}
		for _, v := range r.Verdicts {
			if v.Subject != "F2" {
				continue
			}
			if math.Abs(v.Value-28) > 1 || len(v.Applications) != 1 || !strings.Contains(strings.Join(v.Notes, ";"), "their records show it") {
				t.Errorf("%s: %+v", customer, v)
			}
		}
	}
	whole := 0.0
	for _, sum := range all.Sums {
		if sum.Scope == nutrient.ScopeApplication {
			whole += sum.MassKg
		}
	}
	if math.Abs(total-whole) > 1e-6 {
		t.Errorf("both have %v kg, all is %v kg", total, whole)
	}
}

// A holding is as large in the records of one customer as in the other's, also
// where only a field that has left it leads the other to it.
func TestHoldingHasOneSize(t *testing.T) {
	w := nutrientWorld()
	w.in.Fields[0].Data.Holding, w.in.Fields[1].Data.Holding = "H1", "H1"
	w.again(1, time.Date(2026, 3, 3, 0, 0, 0, 0, time.UTC), func(d *schemas.RegisterField) { d.Customer, d.Holding = "C2", "H2" })
	said := map[schemas.CustomerID]string{}
	for _, customer := range []schemas.CustomerID{"C1", "C2"} {
		rules := p2o5Rules()
		rules[0].Limits[0].Applies = nutrient.Applies{LeastHoldingHa: 1000}
		s, err := Seasonal(w.in, NutrientAsk{Customer: customer, Rules: rules})
		if err != nil {
			t.Fatal(err)
		}
		r, err := nutrient.Run(s.Input)
		if err != nil {
			t.Fatal(err)
		}
		for _, v := range r.Verdicts {
			if v.Limit == "field" && v.Subject == "F2" {
				said[customer] = v.Notes[0]
			}
		}
	}
	if said["C1"] != said["C2"] || !strings.Contains(said["C1"], "the fields of holding H1 in the book make 32.00 ha") {
		t.Errorf("holding H1: %v", said)
	}
}

// Of two registrations of one instant the last one counts.
func TestRegisteredTwiceAtOnce(t *testing.T) {
	w := nutrientWorld()
	w.again(0, w.in.Fields[0].Time, func(d *schemas.RegisterField) { d.Crop = "clover" })
	w.again(0, w.in.Fields[0].Time, func(d *schemas.RegisterField) { d.Crop = "barley" })
	_, s := nutrientsOf(t, w, "C1")
	if f := s.Input.FieldsIn(spanOf(2026)); len(f) != 2 || f[0].Crop != "barley" {
		t.Errorf("%+v", f)
	}
}

// A boundary that was drawn anew afterwards, with the same area too, takes the
// upper end from what was spread before. Drawn as it was, it takes nothing.
func TestDrawnAnewAfterwards(t *testing.T) {
	for name, c := range map[string]struct {
		east  float64 // degrees
		known bool
	}{"moved": {1e-4, false}, "as it was": {0, true}} {
		w := nutrientWorld()
		w.again(0, nextSpring, func(d *schemas.RegisterField) {
			raw, _ := json.Marshal(d.Boundary)
			var moved schemas.Boundary
			if err := json.Unmarshal(raw, &moved); err != nil {
				t.Fatal(err)
			}
			for i := range moved[0][0] {
				moved[0][0][i][0] += c.east
			}
			d.Boundary, d.Crop = moved, "potatoes"
		})
		r, s := nutrientsOf(t, w, "C1")
		for _, v := range r.Verdicts {
			if on := slices.Contains(v.Fields, "F1"); on && (v.HighKnown != c.known || v.State == nutrient.Under && !c.known) {
				t.Errorf("%s: %+v", name, v)
			}
		}
		if got := foundText(&s, 2026, "field_redrawn"); (got == "") != c.known {
			t.Errorf("%s: says %q", name, got)
		}
	}
}

// A holding of two customers is judged whole in the records of both, and shows
// nobody the other's applications.
func TestHoldingOfTwoCustomers(t *testing.T) {
	w := nutrientWorld()
	w.in.Fields[1].Data.Customer = "C2"
	whole, _ := nutrientsOf(t, w, "")
	of := func(r nutrient.Result) nutrient.Verdict {
		for _, v := range r.Verdicts {
			if v.Scope == nutrient.ScopeHolding {
				return v
			}
		}
		return nutrient.Verdict{}
	}
	for customer, own := range map[schemas.CustomerID]schemas.FieldID{"C1": "F1", "C2": "F2"} {
		r, s := nutrientsOf(t, w, customer)
		v, want := of(r), of(whole)
		if v.Value != want.Value || v.Low != want.Low || v.High != want.High || v.AreaM2 != want.AreaM2 || v.Value == 0 {
			t.Errorf("%s: %+v, the whole holding %+v", customer, v, want)
		}
		if notes := strings.Join(v.Notes, "; "); !strings.Contains(notes, "of it 16.0005 ha of other customers' fields") || !strings.Contains(notes, "kg P2O5") {
			t.Errorf("%s: %s", customer, notes)
		}
		if len(r.Findings) == 0 || !strings.Contains(r.Findings[len(r.Findings)-1].Text, "limits of holding H1 count 16.0005 ha of other customers' fields") {
			t.Errorf("%s: %+v", customer, r.Findings)
		}
		raw, _ := json.Marshal(r)
		if other := map[schemas.FieldID]string{"F1": "F2", "F2": "F1"}[own]; strings.Contains(string(raw), `"`+other) {
			t.Errorf("%s is shown %s: %s", customer, other, raw)
		}
		if fields := s.Input.FieldsIn(spanOf(2026)); len(fields) != 1 || fields[0].ID != own {
			t.Errorf("%s: %+v", customer, fields)
		}
	}
}
