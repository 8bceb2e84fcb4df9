package cab

import (
	"math"
	"testing"
	"time"

	"hopperbook/ingest/tablet"
	"hopperbook/schemas"
	"hopperbook/schemas/fault"
)

func ptr(v float64) *float64 { return &v }

func near(t *testing.T, what string, got *float64, want, within float64) {
	t.Helper()
	switch {
	case got == nil:
		t.Errorf("%s is null, want %g", what, want)
	case !(math.Abs(*got-want) <= within):
		t.Errorf("%s is %g, want %g", what, *got, want)
	}
}

func TestCatchByRules(t *testing.T) {
	catch := func(id string, gateMm, kg float64) schemas.TestCatch {
		return schemas.TestCatch{CatchTest: schemas.TestID(id), Product: "lime", GateMm: gateMm, CollectedKg: kg, DistanceM: ptr(100), BoutWidthM: 24}
	}
	// 30 kg over 100 m x 24 m is 125 kg/ha.
	r, err := Rules{}.Catch(catch("c1", 60, 30), 0, nil)
	if err != nil || r.SetKgHa != nil || r.OffPct != nil || r.GateTryMm != nil {
		t.Errorf("without a set rate: %+v, %v", r, err)
	}
	near(t, "rate", r.RateKgHa, 125, 1e-9)
	if r, err = (Rules{}).Catch(catch("c1", 60, 30), 100, nil); err != nil {
		t.Fatal(err)
	}
	near(t, "off", r.OffPct, 25, 1e-9)
	near(t, "gate in proportion", r.GateTryMm, 48, 1e-9) // 60 x 100/125
	past := []schemas.TestCatch{catch("c0", 40, 18), {CatchTest: "odd", Product: "lime"}, {CatchTest: "c9", Product: "urea", GateMm: 50, CollectedKg: 90, DistanceM: ptr(100), BoutWidthM: 24}}
	if r, err = (Rules{}).Catch(catch("c1", 60, 30), 100, past); err != nil {
		t.Fatal(err)
	}
	near(t, "gate on the curve", r.GateTryMm, 50, 1e-9) // half-way: 24 kg between 18 and 30
	if r, err = (Rules{}).Catch(catch("c1", 60, 30), 400, past); err != nil || r.GateTryMm != nil {
		t.Errorf("far beyond what was tested: %+v, %v", r, err)
	}
	if _, err = (Rules{}).Catch(schemas.TestCatch{}, 100, nil); fault.CodeOf(err) != fault.Input {
		t.Errorf("no catch: %v", err)
	}
}

func TestDensityByRules(t *testing.T) {
	r, err := Rules{}.Density(schemas.TestDensity{MassKg: 11, VolumeL: 10}, 1000)
	if err != nil || math.Abs(r.DensityKgM3-1100) > 1e-9 || r.Findings == nil {
		t.Errorf("%+v, %v", r, err)
	}
	near(t, "change of rate", r.RateChangePct, 10, 1e-9)
	if r, err = (Rules{}).Density(schemas.TestDensity{MassKg: 11, VolumeL: 10}, 0); err != nil || r.RateChangePct != nil {
		t.Errorf("without a register: %+v, %v", r, err)
	}
}

func TestTraysByRules(t *testing.T) {
	test := schemas.TestTray{BoutWidthM: 10, TraySpacingM: 1, TrayWidthM: 0.5, TrayLengthM: 0.5, WindMS: ptr(1)}
	for i := range 19 { // a triangle 20 m wide: even at 10 m
		test.MassesG = append(test.MassesG, 10-math.Abs(float64(i-9)))
	}
	r, err := Rules{}.Tray(test, &schemas.RegisterProduct{Analysis: &schemas.Analysis{NeutralisingValuePct: ptr(50)}})
	if err != nil || r.Void || r.CVLimitPct != 25 || r.DrivingOfWorst == "" {
		t.Fatalf("%+v, %v", r, err)
	}
	near(t, "CV", r.CVPct, 0, 1e-9)
	near(t, "off side", r.OffSidePct, 0, 1e-9)
	near(t, "rate", r.RateKgHa, 400, 1e-9) // 10 g on 0.25 m2
	near(t, "left", r.MeanLeftKgHa, 400, 1e-9)
	if r.WidestM == nil || *r.WidestM < 10 {
		t.Errorf("widest %v", r.WidestM)
	}
	test.WindMS = ptr(9)
	if r, err = (Rules{}).Tray(test, nil); err != nil || !r.Void || r.WidestM != nil || r.CVLimitPct != 15 {
		t.Errorf("in the wind: %+v, %v", r, err)
	}
}

func TestChecksByRules(t *testing.T) {
	at := time.Date(2026, 3, 1, 8, 0, 0, 0, time.UTC)
	checked := func(hour int, item, position string, pass bool) tablet.Checked {
		return tablet.Checked{At: at.Add(time.Duration(hour) * time.Hour), CheckMachine: schemas.CheckMachine{Item: item, Position: position, Pass: pass}}
	}
	checks := []tablet.Checked{checked(0, schemas.ItemGuard, "", true), checked(1, schemas.ItemBeltSag, "left", false), checked(2, schemas.ItemBeltSag, "right", true), checked(9, schemas.ItemGuard, "", false)}
	state := func(item string, views []tablet.CheckView) tablet.CheckView {
		for _, v := range views {
			if v.Item == item {
				return v
			}
		}
		t.Fatalf("no item %s", item)
		return tablet.CheckView{}
	}
	now := Rules{}.Checks(checks, at.Add(3*time.Hour))
	if g := state(schemas.ItemGuard, now); g.State != "passed" || !g.Safety || !g.At.Equal(at) {
		t.Errorf("guard %+v", g)
	}
	if g := state(schemas.ItemBeltSag, now); g.State != "failed" || g.Safety || !g.At.Equal(at.Add(2*time.Hour)) {
		t.Errorf("belt %+v", g)
	}
	if g := state(schemas.ItemScreen, now); g.State != "unknown" {
		t.Errorf("screen %+v", g)
	}
	if err := (Rules{}).Start(checks, at.Add(3*time.Hour), nil); err != nil {
		t.Error(err)
	}
	later := at.Add(10 * time.Hour)
	if err := (Rules{}).Start(checks, later, nil); fault.CodeOf(err) != fault.Conflict {
		t.Errorf("a failed guard: %v", err)
	}
	if err := (Rules{}).Start(checks, later, &schemas.Override{Reason: "to the yard", Operator: "A"}); err != nil {
		t.Errorf("answered for: %v", err)
	}
}
