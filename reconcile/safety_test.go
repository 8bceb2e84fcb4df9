package reconcile

import (
	"math"
	"math/rand/v2"
	"reflect"
	"strings"
	"testing"
	"time"

	"hopperbook/schemas"
	"hopperbook/schemas/fault"
)

// guardOff is a machine whose guard is off for an hour.
func guardOff(w *world) Input {
	check := func(minute int, pass bool) {
		c := meta(w, "sp1", schemas.CheckMachine{Item: schemas.ItemGuard, Unit: "-", Pass: pass})
		c.Time = day.Add(time.Duration(minute) * time.Minute)
		w.in.Checks = append(w.in.Checks, c)
	}
	check(0, false)
	check(60, true)
	return w.in
}

func kindsOf(found []Finding) (kinds []string) {
	for _, f := range found {
		kinds = append(kinds, f.Kind)
	}
	return kinds
}

// A start that happened is never refused, only said.
func TestAStartAgainstAFailedCheckIsFound(t *testing.T) {
	if res := run(t, guardOff(newWorld(1))); len(res.Findings) != 0 {
		t.Errorf("without a start: %+v", res.Findings)
	}
	for _, r := range []struct {
		minute   int
		override *schemas.Override
		kind     string
		says     string
	}{
		{30, nil, "unsafe_start", "job J1 was started against a failed safety check and without an override: guards: noted as failed"},
		{30, &schemas.Override{Reason: "guard on the trailer", Operator: "Wren Marlow"}, "start_overridden", "Wren Marlow started job J1 in spite of a failed safety check, because: guard on the trailer."},
		{61, nil, "", ""},
	} {
		w := newWorld(1)
		in := guardOff(w)
		s := meta(w, "sp1", schemas.JobStarted{Job: "J1", Override: r.override})
		s.Time = day.Add(time.Duration(r.minute) * time.Minute)
		in.Starts = append(in.Starts, s)
		found := run(t, in).Findings
		if r.kind == "" {
			if len(found) != 0 {
				t.Errorf("put right: %+v", found)
			}
			continue
		}
		if len(found) != 1 || found[0].Kind != r.kind || found[0].Machine != "sp1" || !strings.Contains(found[0].Text, r.says) {
			t.Errorf("minute %d: %+v", r.minute, found)
		}
	}
}

func TestWhatIsStillFailedIsSaid(t *testing.T) {
	w := newWorld(1)
	sag := meta(w, "sp1", schemas.CheckMachine{Item: schemas.ItemBeltSag, Value: 60, Unit: "mm", Pass: true, Position: "left"})
	w.in.Checks = append(w.in.Checks, sag)
	found := run(t, w.in).Findings
	if len(found) != 1 || found[0].Kind != "check_failed" || found[0].Amount != 60 || !strings.Contains(found[0].Text, "both sides equally") {
		t.Errorf("%+v", found)
	}
	w.in.Checks[0].Data.Value = 50
	if found := run(t, w.in).Findings; len(found) != 0 {
		t.Errorf("%+v", found)
	}
}

func TestSafetyIsTheSameInAnyOrder(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 3))
	w := newWorld(1)
	for i := range 40 {
		c := meta(w, schemas.MachineID([]string{"sp1", "sp2"}[i%2]), schemas.CheckMachine{Item: []string{"guard", "tyres"}[rng.IntN(2)], Unit: "-", Pass: rng.IntN(2) == 0})
		c.Time = day.Add(time.Duration(rng.IntN(100)) * time.Minute)
		w.in.Checks = append(w.in.Checks, c)
		s := meta(w, c.Machine, schemas.JobStarted{Job: "J1"})
		s.Time = day.Add(time.Duration(rng.IntN(100)) * time.Minute)
		w.in.Starts = append(w.in.Starts, s)
	}
	want := run(t, w.in).Findings
	if len(want) < 5 {
		t.Fatalf("only %d findings", len(want))
	}
	rng.Shuffle(len(w.in.Checks), func(i, j int) { w.in.Checks[i], w.in.Checks[j] = w.in.Checks[j], w.in.Checks[i] })
	rng.Shuffle(len(w.in.Starts), func(i, j int) { w.in.Starts[i], w.in.Starts[j] = w.in.Starts[j], w.in.Starts[i] })
	if got := run(t, w.in).Findings; !reflect.DeepEqual(got, want) {
		t.Errorf("%v\n%v", kindsOf(got), kindsOf(want))
	}
}

// A tray test in the book that cannot be used is said and, where the wind
// voids it, not laid over the ground.
func TestBadTrayTestsAreFound(t *testing.T) {
	nan := math.NaN()
	good := schemas.TestTray{TrayTest: "T1", Product: "super", BoutWidthM: boutM, TraySpacingM: 5, TrayWidthM: 0.5, TrayLengthM: 0.5, MassesG: []float64{10, 20, 30, 20, 10}}
	wind, still := 4.0, 1.0
	for _, r := range []struct {
		name   string
		change func(*schemas.TestTray)
		kind   string
		test   schemas.TestID // the map is laid with; "": evenly
	}{
		{"sound", func(*schemas.TestTray) {}, "", "T1"},
		{"still air", func(d *schemas.TestTray) { d.WindMS = &still }, "", "T1"},
		{"windy", func(d *schemas.TestTray) { d.WindMS = &wind }, "tray_test_void", ""},
		{"one tray missing", func(d *schemas.TestTray) { d.MassesG[1] = nan }, "", "T1"},
		{"two side by side missing", func(d *schemas.TestTray) { d.MassesG[1], d.MassesG[2] = nan, nan }, "tray_test_unusable", "T1"},
		{"unequal spacing", func(d *schemas.TestTray) { d.PositionsM = []float64{-10, -5, 0, 5, 12} }, "tray_test_unusable", "T1"},
	} {
		w := season(1, func(int) float64 { return 1 })
		test := good
		test.MassesG = append(schemas.MassesG{}, good.MassesG...)
		r.change(&test)
		e := meta(w, "sp1", test)
		e.Time = day
		w.in.Trays = []At[schemas.TestTray]{e}
		found := false
		for _, f := range run(t, w.in).Findings {
			found = found || f.Kind == "tray_test_void" || f.Kind == "tray_test_unusable"
			if found && f.Kind == r.kind && !strings.Contains(f.Text, "T1") {
				t.Errorf("%s: %+v", r.name, f)
			}
		}
		if found != (r.kind != "") {
			t.Errorf("%s: found %v", r.name, found)
		}
		m, err := Applied(w.in, "F1", "super", 1)
		if r.kind == "tray_test_unusable" {
			if fault.CodeOf(err) != fault.Input || !strings.Contains(err.Error(), "T1") {
				t.Errorf("%s: %v", r.name, err)
			}
			continue
		}
		if err != nil || m.Patterns[0].TrayTest != r.test {
			t.Errorf("%s: %+v %v", r.name, m.Patterns, err)
		}
	}
}

// Positions beside the driving line shift the pattern: a triangle of 10 m about
// 5 m to its left.
func TestAMapFollowsTheTraysPositions(t *testing.T) {
	w := season(1, func(int) float64 { return 1 })
	e := meta(w, "sp1", schemas.TestTray{TrayTest: "T1", Product: "super", BoutWidthM: boutM, TraySpacingM: 5, TrayWidthM: 0.5, TrayLengthM: 0.5,
		MassesG: []float64{0, 30, 0}, PositionsM: []float64{-10, -5, 0}})
	e.Time = day
	w.in.Trays = []At[schemas.TestTray]{e}
	m := mapOf(t, w.in, "F1", "super", 1)
	near(t, "left of line 0", m.strip(0, 10), 400, 2)
	near(t, "right of it", m.strip(11, 29), 0, 1e-9)
}
