package reconcile

import (
	"testing"
	"time"

	"hopperbook/schemas"
)

// stocked gives the invented season a stockpile: surveyed, filled by one
// docket, and surveyed again after the season.
func stocked(ratio float64) *world {
	w := season(2, func(int) float64 { return ratio })
	at := func(t time.Time) *world { w.clock = t; return w }
	start, end := day.Add(-time.Hour), w.clock.Add(time.Hour)
	w.in.Surveys = append(w.in.Surveys, meta(at(start), "office", schemas.StockSurveyed{Stockpile: "P1", Product: "super", MassKg: 2000, SdKg: 30}))
	w.in.Dockets = append(w.in.Dockets, meta(at(start.Add(time.Minute)), "office", schemas.DocketReceived{Docket: "17", Product: "super", Stockpile: "P1", NetKg: 6000, SdKg: kg(10)}))
	w.in.Surveys = append(w.in.Surveys, meta(at(end), "office", schemas.StockSurveyed{Stockpile: "P1", Product: "super", MassKg: 8000 - 6400*ratio, SdKg: 30}))
	w.in.Catches = append(w.in.Catches, meta(at(start), "sp1", schemas.TestCatch{CatchTest: "T1", Product: "super", CollectedKg: 100, BoutWidthM: boutM, DistanceM: kg(250)}))
	return w
}

// Two fields of 3 200 kg: 2 + 6 - 6.4 = 1.6 t, and 6.4 t spread, all by hand.
func TestStocksByHand(t *testing.T) {
	res := run(t, stocked(1).in)
	if res.Stock == nil || len(res.Stock.Rows) != 1 || len(res.Stock.Suspects) != 0 || len(res.Stock.Findings) != 0 {
		t.Fatalf("%+v", res.Stock)
	}
	r := res.Stock.Rows[0]
	for _, c := range []struct {
		what       string
		got, want  float64
		tolerance  float64
		isMeasured bool
	}{
		{"opening", r.Opening.Kg, 2000, 1, r.Opening.Measured}, {"docketed", r.Docketed.Kg, 6000, 1, r.Docketed.Measured},
		{"loaded", r.Loaded.Kg, 6400, 1, r.Loaded.Measured}, {"spread", r.Spread.MeasuredKg, 6400, 1, r.Spread.Measured}, {"closing", r.Closing.Kg, 1600, 1, r.Closing.Measured},
		{"loads", float64(r.Loads), 8, 0, true}, {"dockets", float64(r.Dockets), 1, 0, true}, {"redundancy", float64(res.Stock.Test.Dof), 2, 0, true},
	} {
		near(t, c.what, c.got, c.want, c.tolerance)
		if !c.isMeasured {
			t.Errorf("%s is not measured", c.what)
		}
	}
}

// Without a catch test nominal mass is no measurement, and without docket and
// survey there is nothing to say.
func TestStocksUseOnlyWhatIsIndependent(t *testing.T) {
	w := stocked(1)
	w.in.Catches = nil
	if res := run(t, w.in); res.Stock.Test.Dof != 1 || res.Stock.Rows[0].Spread.Measured || !res.Stock.Rows[0].Spread.Known {
		t.Errorf("%+v", res.Stock)
	}
	w.in.Dockets, w.in.Surveys = nil, nil
	if res := run(t, w.in); res.Stock != nil {
		t.Errorf("%+v", res.Stock)
	}
}

// A loader's scale that shows 20 % too much is caught by stockpile and machine
// together, where the flow ratio alone would blame the machine.
func TestStocksSeeTheScale(t *testing.T) {
	w := stocked(1)
	for i := range w.in.Loads {
		w.in.Loads[i].Data.NetKg *= 1.2
	}
	res := run(t, w.in)
	if len(res.Stock.Suspects) != 1 || res.Stock.Suspects[0].Kind != "scale_off" || res.Stock.Suspects[0].Scale != "S1" {
		t.Errorf("%+v", res.Stock.Suspects)
	}
}
