package desk

import (
	"math"
	"slices"
	"testing"

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
