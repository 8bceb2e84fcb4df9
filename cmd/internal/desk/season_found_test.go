package desk

import (
	"math"
	"slices"
	"strings"
	"testing"

	"hopperbook/reports"
	"hopperbook/schemas"
)

// A load that was voided leaves a mass that nobody weighed: the records say so,
// and the load and what voided it are among the events of the application.
func TestSeasonOfAVoidedLoad(t *testing.T) {
	f := newFiling(t)
	load, pass := f.day()
	void := f.add("office", schemas.TypeEventAmended, 20, schemas.EventAmended{Amends: load, Action: schemas.AmendVoid, Reason: "weighed twice"})
	ask := SeasonParams{Customer: "C1", Season: "2026"}
	a, raw, err := asked[reports.SeasonAnswer](t, f, Season, ask)
	if err != nil {
		t.Fatal(err)
	}
	checkSchema(t, raw)
	said := ""
	for _, x := range a.Findings {
		said += x.Kind + ": " + x.Text + "\n"
	}
	if !strings.Contains(said, "load_missing: sp1: load L1 of refill R1 has no weight in the book") {
		t.Errorf("findings:\n%s", said)
	}
	if known := reports.SeasonTables(a); !slices.ContainsFunc(known[len(known)-1].Rows, func(r []string) bool { return r[0] == "load missing" }) {
		t.Errorf("what is not known: %v", known[len(known)-1].Rows)
	}
	w, _, err := asked[reports.WhyAnswer](t, f, Why, WhyParams{ask, a.Applications[0].ID})
	if err != nil {
		t.Fatal(err)
	}
	for _, id := range []schemas.EventID{load, pass, void} {
		if !slices.ContainsFunc(w.Events, func(e reports.WhyEvent) bool { return e.ID == id }) {
			t.Errorf("%s is not among %+v", id, w.Events)
		}
	}
	// A year later the same is no longer said: nothing of it bears on that season.
	const year = 365 * 24 * 60
	f.add("ld1", schemas.TypeLoadWeighed, year+1, schemas.LoadWeighed{Load: "L2", Product: "super", NetKg: 120, Method: schemas.MethodBucket, SdKg: number(1)})
	f.add("sp1", schemas.TypeHopperRefilled, year+2, schemas.HopperRefilled{Refill: "R3", Product: "super", Loads: []schemas.LoadID{"L2"}, ResidualKg: number(0), ResidualMethod: "empty"})
	f.add("sp1", schemas.TypePassLogged, year+3, line(year+3, schemas.SpreadingOn))
	f.add("sp1", schemas.TypeHopperRefilled, year+9, schemas.HopperRefilled{Refill: "R4", Product: "super", Loads: []schemas.LoadID{}, ResidualKg: number(0), ResidualMethod: "empty"})
	b, _, err := asked[reports.SeasonAnswer](t, f, Season, SeasonParams{Customer: "C1", Season: "2027"})
	if err != nil || math.Abs(b.Applications[0].MassKg-120) > 0.5 {
		t.Fatalf("%v %+v", err, b.Applications)
	}
	for _, x := range b.Findings {
		if x.Kind == "load_missing" {
			t.Errorf("2027 says %+v", x)
		}
	}
}
