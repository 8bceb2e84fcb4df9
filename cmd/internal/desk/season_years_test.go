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

// A field that is sold in summer: seller and buyer each have what was spread
// while it was theirs, and both are told.
func TestSeasonOfASoldField(t *testing.T) {
	f := newFiling(t)
	f.day()
	const halfYear = 180 * 24 * 60
	ring := []schemas.Position{{168.999, -46.001}, {169.001, -46.001}, {169.001, -45.995}, {168.999, -45.995}, {168.999, -46.001}}
	f.add("office", schemas.TypeRegisterField, halfYear/2, schemas.RegisterField{Field: "F1", Customer: "C2", Name: "Long", Crop: "barley", Boundary: schemas.Boundary{{ring}}})
	f.add("ld1", schemas.TypeLoadWeighed, halfYear+1, schemas.LoadWeighed{Load: "L2", Product: "super", NetKg: 120, Method: schemas.MethodBucket, SdKg: number(1)})
	f.add("sp1", schemas.TypeHopperRefilled, halfYear+2, schemas.HopperRefilled{Refill: "R3", Product: "super", Loads: []schemas.LoadID{"L2"}, ResidualKg: number(0), ResidualMethod: "empty"})
	f.add("sp1", schemas.TypePassLogged, halfYear+3, line(halfYear+3, schemas.SpreadingOn))
	f.add("sp1", schemas.TypeHopperRefilled, halfYear+9, schemas.HopperRefilled{Refill: "R4", Product: "super", Loads: []schemas.LoadID{}, ResidualKg: number(0), ResidualMethod: "empty"})
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
