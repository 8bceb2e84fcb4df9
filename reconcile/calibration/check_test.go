package calibration

import (
	"fmt"
	"math/rand/v2"
	"reflect"
	"strings"
	"testing"
	"time"

	"hopperbook/schemas"
	"hopperbook/schemas/fault"
)

var noon = time.Date(2026, 3, 2, 12, 0, 0, 0, time.UTC)

func checkAt(minute int, item string, value float64, unit string, pass bool) Check {
	return Check{Machine: "sp1", At: noon.Add(time.Duration(minute) * time.Minute), CheckMachine: schemas.CheckMachine{Item: item, Value: value, Unit: unit, Pass: pass}}
}

func on(position string, c Check) Check { c.Position = position; return c }

func TestCheckLimits(t *testing.T) {
	table := func(low, high *float64, c Check) Check { c.LimitLow, c.LimitHigh = low, high; return c }
	for _, r := range []struct {
		check  Check
		failed bool
		says   string
	}{
		{checkAt(0, schemas.ItemBeltSag, 50, "mm", true), false, ""},
		{checkAt(0, schemas.ItemBeltSag, 50.1, "mm", true), true, "belt sag: 50.1 mm is over 50 mm; tension the belt, both sides equally"},
		{checkAt(0, schemas.ItemBeltSag, 6, "cm", true), true, "6 cm is over 50 mm"},
		{checkAt(0, schemas.ItemBeltSag, 0.04, "m", true), false, ""},
		{checkAt(0, schemas.ItemBeltSag, 80, "%", true), false, ""}, // no length: what the person noted counts
		{checkAt(0, schemas.ItemBeltSag, 10, "mm", false), true, "noted as failed"},
		{on("left", checkAt(0, schemas.ItemBeltSag, 70, "mm", true)), true, "belt sag left: 70 mm"},
		{table(known(2.2), known(2.6), checkAt(0, schemas.ItemTyres, 2.6, "bar", true)), false, ""},
		{table(known(2.2), known(2.6), checkAt(0, schemas.ItemTyres, 2.1, "bar", true)), true, "2.1 bar is under 2.2 by the machine's own table"},
		{table(nil, known(2.6), checkAt(0, schemas.ItemTyres, 2.7, "bar", true)), true, "2.7 bar is over 2.6"},
		{checkAt(0, schemas.ItemPTOGuard, 0, "-", false), true, "PTO shaft guard: noted as failed; fit a whole guard"},
		{checkAt(0, schemas.ItemScreen, 1, "-", true), false, ""},
	} {
		got := CheckStates([]Check{r.check}, "sp1", noon, DefaultCheckLimits())
		if len(got) != 1 || got[0].Failed != r.failed || !strings.Contains(got[0].Text, r.says) || (got[0].Text == "") == r.failed {
			t.Errorf("%+v: %+v, want failed %v %q", r.check, got, r.failed, r.says)
		}
	}
	own := []CheckLimit{{Item: schemas.ItemBeltSag, Words: "belt", Unit: "mm", High: known(20), Safety: true, Ask: "tension it"}}
	if got := CheckStates([]Check{checkAt(0, schemas.ItemBeltSag, 25, "mm", true)}, "sp1", noon, own); !got[0].Failed || !got[0].Safety {
		t.Errorf("limits are data: %+v", got)
	}
}

// Every item of the contract has a limit, and no limit is of anything else.
func TestLimitsNameTheContractsItems(t *testing.T) {
	info, _ := schemas.Lookup(schemas.TypeCheckMachine)
	limits := map[string]bool{}
	for _, l := range DefaultCheckLimits() {
		limits[l.Item] = true
	}
	for _, item := range info.Data.Fields[0].Enum {
		if !limits[item] {
			t.Errorf("no limit for %s", item)
		}
		delete(limits, item)
	}
	if len(limits) > 0 {
		t.Errorf("the contract has no %v", limits)
	}
}

func TestAFailedSafetyCheckBlocks(t *testing.T) {
	broken, whole := checkAt(0, schemas.ItemGuard, 0, "-", false), checkAt(10, schemas.ItemGuard, 1, "-", true)
	override := &schemas.Override{Reason: "guard is on the trailer, fitted before the discs turn", Operator: "Wren Marlow"}
	for _, r := range []struct {
		name     string
		checks   []Check
		minute   int
		override *schemas.Override
		refused  bool
	}{
		{"nothing was checked", nil, 5, nil, false},
		{"failed", []Check{broken}, 5, nil, true},
		{"failed at that very moment", []Check{broken}, 0, nil, true},
		{"failed later", []Check{broken}, -1, nil, false},
		{"put right", []Check{whole, broken}, 11, nil, false},
		{"put right too late", []Check{whole, broken}, 9, nil, true},
		{"under an override", []Check{broken}, 5, override, false},
		{"an override without a reason", []Check{broken}, 5, &schemas.Override{Reason: " ", Operator: "Wren Marlow"}, true},
		{"an override without a name", []Check{broken}, 5, &schemas.Override{Reason: "urgent", Operator: " "}, true},
		{"no safety item", []Check{checkAt(0, schemas.ItemBeltSag, 90, "mm", false)}, 5, nil, false},
	} {
		plan := PlanStart(r.checks, "sp1", noon.Add(time.Duration(r.minute)*time.Minute), r.override, DefaultCheckLimits())
		err := plan.Refusal()
		if (err != nil) != r.refused {
			t.Errorf("%s: %v", r.name, err)
		}
		if err != nil && (fault.CodeOf(err) != fault.Conflict || !strings.Contains(err.Error(), "guards: noted as failed") || fault.HintOf(err) == "") {
			t.Errorf("%s: %v", r.name, fault.Message(err))
		}
		if other := PlanStart(r.checks, "sp2", noon.Add(time.Hour), nil, DefaultCheckLimits()); len(other.Blocked) > 0 {
			t.Errorf("%s: blocks another machine", r.name)
		}
	}
}

func TestAWholeCheckStandsForItsPositions(t *testing.T) {
	left, right := on("left", checkAt(0, schemas.ItemGuard, 0, "-", false)), on("right", checkAt(1, schemas.ItemGuard, 1, "-", true))
	if got := CheckStates([]Check{left, right}, "sp1", noon.Add(time.Hour), DefaultCheckLimits()); len(got) != 2 || !got[0].Failed || got[1].Failed {
		t.Errorf("two positions: %+v", got)
	}
	if got := CheckStates([]Check{left, right, checkAt(2, schemas.ItemGuard, 1, "-", true)}, "sp1", noon.Add(time.Hour), DefaultCheckLimits()); len(got) != 1 || got[0].Failed {
		t.Errorf("all of them looked at again: %+v", got)
	}
}

// Against a slow reading of the rule, on random checks in any order.
func TestCheckStatesAgainstTheRule(t *testing.T) {
	rng := rand.New(rand.NewPCG(5, 1))
	items, positions := []string{schemas.ItemGuard, schemas.ItemTyres, schemas.ItemBeltSag}, []string{"", "left", "right"}
	limits := DefaultCheckLimits()
	for range 300 {
		var checks []Check
		for range rng.IntN(12) {
			c := on(positions[rng.IntN(3)], checkAt(rng.IntN(6), items[rng.IntN(3)], float64(rng.IntN(100)), "mm", rng.IntN(2) == 0))
			checks = append(checks, c)
		}
		at := noon.Add(time.Duration(rng.IntN(7)) * time.Minute)
		want := map[string]bool{}
		for _, c := range checks { // a check counts when nothing later, or failed at the same time, stands against it
			counts := !c.At.After(at)
			for _, d := range checks {
				same := d.Item == c.Item && (d.Position == c.Position || d.Position == "") && !d.At.After(at)
				counts = counts && !(same && d.At.After(c.At))
			}
			if counts {
				want[c.Item+c.Position] = want[c.Item+c.Position] || limitOf(c.Item, limits).judge(c).Failed
			}
		}
		got := map[string]bool{}
		states := CheckStates(checks, "sp1", at, limits)
		for _, s := range states {
			got[s.Item+s.Position] = s.Failed
		}
		if fmt.Sprint(got) != fmt.Sprint(want) {
			t.Fatalf("%+v at %v:\n got %v\nwant %v", checks, at, got, want)
		}
		rng.Shuffle(len(checks), func(i, j int) { checks[i], checks[j] = checks[j], checks[i] })
		again := CheckStates(checks, "sp1", at, limits)
		for i := range again {
			if again[i].Failed != states[i].Failed || again[i].Position != states[i].Position {
				t.Fatalf("another order, another state: %+v and %+v", again[i], states[i])
			}
		}
	}
}

func TestEventsAreTheTestsTheyNote(t *testing.T) {
	if got := Samples(schemas.TestDensity{MassKg: 15.2, VolumeL: 20, TareKg: known(1), Repeats: []float64{15.1, 15.3}}); !reflect.DeepEqual(got, []DensitySample{{15.1, 20, 1}, {15.3, 20, 1}}) {
		t.Errorf("%v", got)
	}
	if got := Samples(schemas.TestDensity{MassKg: 15.2, VolumeL: 20}); !reflect.DeepEqual(got, []DensitySample{{15.2, 20, 0}}) {
		t.Errorf("%v", got)
	}
	both := CatchOf(schemas.TestCatch{CollectedKg: 12, BoutWidthM: 24, DistanceM: known(100), TimeS: known(20), SpeedKmh: known(18), TareKg: known(2), Revolutions: known(50)})
	flow, err := MeasureFlow(both)
	if err != nil || flow.Drive != ByGround || *flow.KgPerM != 0.1 || *flow.KgRev != 0.2 {
		t.Errorf("%+v %v", flow, err)
	}
	timed := GateTestOf(schemas.TestCatch{CatchTest: "C1", DiscSet: "powder", GateMm: 80, CollectedKg: 12, TimeS: known(30), SpeedKmh: known(12), GroundDriven: true, PTORpm: known(540)})
	if timed.DiscSet != "powder" || timed.PTORpm != 540 || timed.drive() != ByGround {
		t.Errorf("%+v", timed)
	}
	trays := TraysOf(schemas.TestTray{MassesG: []float64{1, 2, 1}, TraySpacingM: 1, Passes: 2})
	if trays.TrayWidthM != 0.5 || trays.TrayLengthM != 0.5 || trays.Passes != 2 || trays.Void() {
		t.Errorf("%+v", trays)
	}
	trays.WindMS = known(2.3)
	if !trays.Void() {
		t.Error("2.3 m/s voids a test")
	}
}
