package desk

import (
	"math"
	"slices"
	"strings"
	"testing"

	"hopperbook/reconcile/nutrient"
	"hopperbook/reports"
	"hopperbook/schemas"
)

// Two years of one field: each season's records hold its own applications, and the balance of the field
// every season the book has, by hand 160 kg and 120 kg.
func TestSeasonsOfAField(t *testing.T) {
	f := newFiling(t)
	f.day()
	const year = 365 * 24 * 60
	f.add("ld1", schemas.TypeLoadWeighed, year+1, schemas.LoadWeighed{Load: "L2", Product: "super", NetKg: 120, Method: schemas.MethodBucket, SdKg: number(1)})
	f.add("sp1", schemas.TypeHopperRefilled, year+2, schemas.HopperRefilled{Refill: "R3", Product: "super", Loads: []schemas.LoadID{"L2"}, ResidualKg: number(0), ResidualMethod: "empty"})
	f.add("sp1", schemas.TypePassLogged, year+3, line(year+3, schemas.SpreadingOn))
	f.add("sp1", schemas.TypeHopperRefilled, year+9, schemas.HopperRefilled{Refill: "R4", Product: "super", Loads: []schemas.LoadID{}, ResidualKg: number(0), ResidualMethod: "empty"})
	want := map[string]float64{"2026": 160, "2027": 120}
	for _, season := range []string{"2026", "2027"} {
		a, _, err := asked[reports.SeasonAnswer](t, f, Season, SeasonParams{Customer: "C1", Season: season})
		if err != nil {
			t.Fatal(err)
		}
		if len(a.Applications) != 1 || math.Abs(a.Applications[0].MassKg-want[season]) > 0.5 {
			t.Errorf("%s: applications %+v", season, a.Applications)
		}
		var names []string
		for _, sum := range a.Balance {
			names = append(names, sum.Season.Name)
			if math.Abs(sum.MassKg-want[sum.Season.Name]) > 0.5 {
				t.Errorf("%s: %v kg, want %v", sum.Season.Name, sum.MassKg, want[sum.Season.Name])
			}
		}
		if !slices.Equal(names, []string{"2026", "2027"}) {
			t.Errorf("asked for %s, the balance is of %v", season, names)
		}
	}
}

// laterDay registers the field of day anew, with the same boundary, in the quarter after
// it, and spreads 120 kg on it half a year after.
func (f *filing) laterDay(field schemas.RegisterField) {
	f.t.Helper()
	const halfYear = 180 * 24 * 60 // minutes
	field.Boundary = schemas.Boundary{{{{168.999, -46.001}, {169.001, -46.001}, {169.001, -45.995}, {168.999, -45.995}, {168.999, -46.001}}}}
	f.add("office", schemas.TypeRegisterField, halfYear/2, field)
	f.add("ld1", schemas.TypeLoadWeighed, halfYear+1, schemas.LoadWeighed{Load: "L2", Product: "super", NetKg: 120, Method: schemas.MethodBucket, SdKg: number(1)})
	f.add("sp1", schemas.TypeHopperRefilled, halfYear+2, schemas.HopperRefilled{Refill: "R3", Product: "super", Loads: []schemas.LoadID{"L2"}, ResidualKg: number(0), ResidualMethod: "empty"})
	f.add("sp1", schemas.TypePassLogged, halfYear+3, line(halfYear+3, schemas.SpreadingOn))
	f.add("sp1", schemas.TypeHopperRefilled, halfYear+9, schemas.HopperRefilled{Refill: "R4", Product: "super", Loads: []schemas.LoadID{}, ResidualKg: number(0), ResidualMethod: "empty"})
}

// A field that is sold in summer: seller and buyer each have what was spread
// while it was theirs, and both are told.
func TestSeasonOfASoldField(t *testing.T) {
	f := newFiling(t)
	f.day()
	f.laterDay(schemas.RegisterField{Field: "F1", Customer: "C2", Name: "Long", Crop: "barley"})
	for customer, want := range map[schemas.CustomerID]struct {
		kg   float64
		crop string
	}{"C1": {160, ""}, "C2": {120, "barley"}} {
		a, raw, err := asked[reports.SeasonAnswer](t, f, Season, SeasonParams{Customer: customer, Season: "2026"})
		if err != nil {
			t.Fatal(err)
		}
		checkSchema(t, raw)
		if len(a.Applications) != 1 || math.Abs(a.Applications[0].MassKg-want.kg) > 0.5 || a.Applications[0].Crop != want.crop || len(a.Fields) != 1 || a.Fields[0].Crop != want.crop {
			t.Errorf("%s: %+v of %+v", customer, a.Applications, a.Fields)
		}
		if !slices.ContainsFunc(a.Findings, func(x nutrient.Finding) bool {
			return x.Kind == "field_registered_anew" && strings.Contains(x.Text, "it changed hands")
		}) {
			t.Errorf("%s is told %+v", customer, a.Findings)
		}
		if a.Evidence.Events != 5+map[schemas.CustomerID]int64{"C1": 1, "C2": 0}[customer] { // the last registration, whose boundary counts, and the one in force
			t.Errorf("%s: %+v", customer, a.Evidence)
		}
	}
}

// Land that nothing was spread on makes a holding's limit what it is: its
// registers are evidence, and the limit leads to them, another customer's too.
func TestLandIsEvidence(t *testing.T) {
	f := newFiling(t)
	f.day()
	ask := SeasonParams{Customer: "C1", Season: "2026", Rules: []string{"nz-synthetic-nitrogen-cap"}}
	before, _, err := asked[reports.SeasonAnswer](t, f, Season, ask)
	if err != nil {
		t.Fatal(err)
	}
	ring := []schemas.Position{{168.999, -46.011}, {169.001, -46.011}, {169.001, -46.005}, {168.999, -46.005}, {168.999, -46.011}}
	land := f.add("office", schemas.TypeRegisterField, 30, schemas.RegisterField{Field: "F9", Customer: "C9", Holding: "C1", Name: "Far", Boundary: schemas.Boundary{{ring}}})
	after, raw, err := asked[reports.SeasonAnswer](t, f, Season, ask)
	if err != nil {
		t.Fatal(err)
	}
	checkSchema(t, raw)
	if after.Evidence.Digest == before.Evidence.Digest || after.Evidence.Events != before.Evidence.Events+1 {
		t.Errorf("evidence %+v, then %+v", before.Evidence, after.Evidence)
	}
	led := 0
	for _, v := range after.Verdicts {
		if v.Scope != nutrient.ScopeHolding {
			continue
		}
		w, _, err := asked[reports.WhyAnswer](t, f, Why, WhyParams{ask, v.ID})
		if err != nil {
			t.Fatal(err)
		}
		led++
		if !slices.ContainsFunc(w.Events, func(e reports.WhyEvent) bool { return e.ID == land }) || !slices.Equal(w.Fields, []schemas.FieldID{"F1", "F9"}) {
			t.Errorf("%s (%s) leads to %v %+v", v.ID, v.Text, w.Fields, w.Events)
		}
	}
	if led == 0 {
		t.Errorf("no limit of a holding: %+v", after.Verdicts)
	}
}

// A limit of a holding that the field has left since leads to the field's registers all the same.
func TestWhyOfAHoldingThatWasLeft(t *testing.T) {
	f := newFiling(t)
	f.day()
	f.add("office", schemas.TypeRegisterProduct, 1, schemas.RegisterProduct{Product: "super", Name: "Super", Form: "granular", Analysis: &schemas.Analysis{NPct: number(1), Kind: schemas.KindManufactured}})
	f.laterDay(schemas.RegisterField{Field: "F1", Customer: "C1", Holding: "H2", Name: "Long"})
	ask := SeasonParams{Customer: "C1", Season: "2026", Rules: []string{"eu-nitrates-directive"}}
	a, _, err := asked[reports.SeasonAnswer](t, f, Season, ask)
	if err != nil {
		t.Fatal(err)
	}
	of := map[string]int{}
	for _, v := range a.Verdicts {
		w, _, err := asked[reports.WhyAnswer](t, f, Why, WhyParams{ask, v.ID})
		if err != nil {
			t.Fatal(err)
		}
		of[v.Subject] = len(w.Events) + len(w.Parts)
	}
	if len(of) != 2 || of["C1"] == 0 || of["H2"] == 0 {
		t.Errorf("limits lead to %v", of)
	}
}

// What was spread under a job on a field that had changed hands stands in the
// rows of the job's customer, in that season alone; the application is the buyer's.
func TestPlannedOnASoldField(t *testing.T) {
	f := newFiling(t)
	f.add("office", schemas.TypeRegisterJob, 0, schemas.RegisterJob{Job: "J1", Customer: "C1", Fields: []schemas.FieldID{"F1"}, Product: "super", SetRateKgHa: 200})
	f.day()
	half := func(south, north float64) schemas.Boundary {
		return schemas.Boundary{{{{168.999, south}, {169.001, south}, {169.001, north}, {168.999, north}, {168.999, south}}}}
	}
	const year = 365 * 24 * 60
	f.add("office", schemas.TypeRegisterField, year/2, schemas.RegisterField{Field: "F1", Customer: "C2", Name: "Long", Boundary: half(-46.001, -45.998)})
	f.add("office", schemas.TypeRegisterField, year/2, schemas.RegisterField{Field: "F2", Customer: "C1", Name: "Far", Boundary: half(-45.998, -45.995)})
	f.add("office", schemas.TypeRegisterJob, year/2, schemas.RegisterJob{Job: "J2", Customer: "C1", Fields: []schemas.FieldID{"F1"}, Product: "super", SetRateKgHa: 200})
	f.add("ld1", schemas.TypeLoadWeighed, year+1, schemas.LoadWeighed{Load: "L2", Product: "super", NetKg: 120, Method: schemas.MethodBucket, SdKg: number(1)})
	f.add("sp1", schemas.TypeHopperRefilled, year+2, schemas.HopperRefilled{Refill: "R3", Product: "super", Loads: []schemas.LoadID{"L2"}, ResidualKg: number(0), ResidualMethod: "empty"})
	p := line(year+3, schemas.SpreadingOn)
	p.Job = "J2"
	f.add("sp1", schemas.TypePassLogged, year+3, p)
	f.add("sp1", schemas.TypeHopperRefilled, year+9, schemas.HopperRefilled{Refill: "R4", Product: "super", Loads: []schemas.LoadID{}, ResidualKg: number(0), ResidualMethod: "empty"})
	rows := func(customer schemas.CustomerID, season string) (out []reports.SeasonPlanned) {
		a, raw, err := asked[reports.SeasonAnswer](t, f, Season, SeasonParams{Customer: customer, Season: season})
		if err != nil {
			t.Fatal(err)
		}
		checkSchema(t, raw)
		for _, p := range a.Planned {
			if p.Job == "J2" {
				out = append(out, p)
			}
		}
		return out
	}
	got := rows("C1", "2027")
	if len(got) != 1 || math.Abs(got[0].GivenKg-66) > 2 || got[0].OthersKg != got[0].GivenKg || len(got[0].Applications) != 0 {
		t.Fatalf("the job's customer's: %+v", got)
	}
	w, _, err := asked[reports.WhyAnswer](t, f, Why, WhyParams{SeasonParams{Customer: "C1", Season: "2027"}, got[0].ID})
	if err != nil || w.Value != 0 || !strings.Contains(w.Text, "while the field was another customer's") || len(w.Events) == 0 {
		t.Errorf("why: %v %+v", err, w)
	}
	if got := rows("C1", "2026"); len(got) != 0 {
		t.Errorf("the year before: %+v", got)
	}
	if got := rows("C2", "2027"); len(got) != 0 {
		t.Errorf("the buyer's: %+v", got)
	}
}
