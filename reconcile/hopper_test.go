package reconcile

import (
	"math"
	"slices"
	"testing"
	"time"

	"hopperbook/schemas"
)

// Five lines of 160 kg nominal a load of 720 kg: flow ratio 0.9. The last load
// of 720 kg is in, two lines of it are driven, the gate is as it was.
func openSeason() *world {
	w := season(2, func(int) float64 { return 0.9 })
	w.in.Refills = w.in.Refills[:len(w.in.Refills)-1]
	w.in.Passes = w.in.Passes[:len(w.in.Passes)-3]
	return w
}

func TestTheHopperNow(t *testing.T) {
	res := run(t, openSeason().in)
	h := res.Hoppers[0]
	if len(res.Hoppers) != 1 || h.Machine != "sp1" || h.Product != "super" {
		t.Fatalf("%+v", res.Hoppers)
	}
	// 7 closed loads say 0.9, each with 3 to 4 %; before any it was 1 +- 10 %.
	near(t, "flow ratio", h.FlowRatio, 0.9, 0.01)
	near(t, "kg", h.HopperKg, 720-2*160*0.9, 10)
	near(t, "ha at 200 kg/ha and 0.9", h.LeftHa, h.HopperKg/200/h.FlowRatio, 0.001)
	near(t, "closed", h.LoadedKg+h.ResidualStartKg-h.SpreadKg-h.HopperKg, 0, 0.002)
	if !(h.HopperLowKg < h.HopperKg && h.HopperKg < h.HopperHighKg && h.FlowRatioLow < 0.9 && 0.9 < h.FlowRatioHigh) {
		t.Errorf("%+v", h)
	}
	last := res.Intervals[len(res.Intervals)-1]
	if !last.Open || last.ToRefill != "" || !(last.MassLowKg < 288 && 288 < last.MassHighKg) {
		t.Errorf("open interval %+v", last)
	}
}

// What is changed on the machine releases the flow ratio; the set rate alone,
// or another product's catch test, does not.
func TestWhatReleasesTheFlowRatio(t *testing.T) {
	gate := func(mm float64) schemas.SettingChanged {
		return schemas.SettingChanged{Product: "super", BoutWidthM: boutM, SetRateKgHa: rateKgHa, GateMm: &mm}
	}
	for _, r := range []struct {
		name     string
		change   func(w *world)
		released bool
	}{
		{"nothing", func(*world) {}, false},
		{"the set rate", func(w *world) {
			s := w.in.Settings[0].Data
			s.SetRateKgHa = 150
			w.in.Settings = append(w.in.Settings, meta(w, "sp1", s))
		}, false},
		{"the gate", func(w *world) { w.in.Settings = append(w.in.Settings, meta(w, "sp1", gate(40))) }, true},
		{"the gate of another machine", func(w *world) { w.in.Settings = append(w.in.Settings, meta(w, "sp2", gate(40))) }, false},
		{"a catch test", func(w *world) {
			w.in.Catches = append(w.in.Catches, meta(w, "sp1", schemas.TestCatch{CatchTest: "T1", Product: "super", CollectedKg: 100, BoutWidthM: boutM}))
		}, true},
		{"another product's", func(w *world) {
			w.in.Catches = append(w.in.Catches, meta(w, "sp1", schemas.TestCatch{CatchTest: "T1", Product: "urea", CollectedKg: 100, BoutWidthM: boutM}))
		}, false},
	} {
		w := openSeason()
		last := w.in.Refills[len(w.in.Refills)-1]
		w.clock = last.Time.Add(-time.Second)
		r.change(w)
		h := run(t, w.in).Hoppers[0]
		if released := math.Abs(h.FlowRatio-1) < 1e-9; released != r.released {
			t.Errorf("%s: flow ratio %v", r.name, h.FlowRatio)
		}
	}
}

// The hopper's registered volume of its product, heaped, bounds what can be in it.
func TestALevelAboveTheBrimIsSaid(t *testing.T) {
	w := openSeason()
	density := 1000.0
	w.in.Machines = append(w.in.Machines, meta(w, "office", schemas.RegisterMachine{Machine: "sp1", Name: "One", HopperM3: 2}))
	w.in.Products = append(w.in.Products, meta(w, "office", schemas.RegisterProduct{Product: "super", Name: "Super", BulkDensityKgM3: &density}))
	said := func() bool {
		return slices.ContainsFunc(run(t, w.in).Findings, func(f Finding) bool { return f.Kind == "over_capacity" && f.Machine == "sp1" })
	}
	if said() {
		t.Error("said of a hopper that was never full")
	}
	w.in.Refills[3].Data.ResidualKg, w.in.Refills[3].Data.ResidualMethod = kg(2500), schemas.ResidualLevel
	if !said() {
		t.Error("2 500 kg in 2 m3 of 1 000 kg/m3 is not said")
	}
}

// An unread residual: the refills on both sides share what they spread.
func TestPartsOfAMergedInterval(t *testing.T) {
	w := season(2, func(int) float64 { return 0.95 })
	w.in.Refills[2].Data.ResidualKg, w.in.Refills[2].Data.ResidualMethod = nil, schemas.ResidualUnknown
	res := run(t, w.in)
	i := slices.IndexFunc(res.Intervals, func(iv Interval) bool { return iv.Merged > 0 })
	iv := res.Intervals[i]
	if len(iv.Parts) != 2 || iv.Parts[0].Load != 2 || iv.Parts[1].Load != 3 || iv.Parts[0].LeftUnread || !iv.Parts[1].LeftUnread {
		t.Fatalf("%+v", iv)
	}
	near(t, "sum", iv.Parts[0].MassKg+iv.Parts[1].MassKg, iv.MassKg, 0.002)
	near(t, "even shares", iv.Parts[0].MassKg, 760, 0.5)
	near(t, "left, truly nothing", iv.Parts[1].LeftKg, 0, 30)
	if p := iv.Parts[0]; !(p.MassLowKg < 755 && 765 < p.MassHighKg) {
		t.Errorf("%+v", p)
	}
}
