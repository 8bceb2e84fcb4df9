package reconcile

import (
	"fmt"
	"math"
	"reflect"
	"slices"
	"strings"
	"testing"

	"hopperbook/reconcile/plane"
	"hopperbook/schemas"
	"hopperbook/schemas/fault"
)

// driven is a log along corners in metres, 4 m and a second a fix.
func driven(machine schemas.MachineID, state schemas.Spreading, corners ...[2]float64) Log {
	var fixes []schemas.Fix
	add := func(x, y float64) {
		p := at(x, y)
		fixes = append(fixes, schemas.Fix{UnixMilli: day.UnixMilli() + int64(1000*len(fixes)), LatDeg: p[1], LonDeg: p[0], SpeedKmh: 14.4, HeadingDeg: math.NaN(),
			SetRateKgHa: math.NaN(), BoutWidthM: math.NaN(), Quality: schemas.QualityRTKFixed, Spreading: state})
	}
	for i := 1; i < len(corners); i++ {
		a, b := corners[i-1], corners[i]
		steps := math.Round(math.Hypot(b[0]-a[0], b[1]-a[1]) / 4)
		for k := range int(steps) {
			add(a[0]+(b[0]-a[0])*float64(k)/steps, a[1]+(b[1]-a[1])*float64(k)/steps)
		}
	}
	last := corners[len(corners)-1]
	add(last[0], last[1])
	return Log{Machine: machine, Fixes: fixes}
}

func squareOf(x0, y0, x1, y1 float64) schemas.Boundary {
	return schemas.Boundary{{{at(x0, y0), at(x1, y0), at(x1, y1), at(x0, y1), at(x0, y0)}}}
}

func measured(t *testing.T, o MeasureOptions, logs ...Log) Drive {
	t.Helper()
	d, err := Measure(logs, o)
	if err != nil {
		t.Fatal(err)
	}
	return d
}

func checkAreas(t *testing.T, name string, got, want Areas) {
	t.Helper()
	got.ErrorM2 = 0
	a, b := reflect.ValueOf(got), reflect.ValueOf(want)
	for i := range a.NumField() {
		near(t, name+" "+a.Type().Field(i).Name, a.Field(i).Float(), b.Field(i).Float(), 0.5)
	}
}

// Rectangles by hand: lines of 200 m, bout 20 m, in and over a field of 100 m x 100 m.
func TestMeasureByHand(t *testing.T) {
	on := schemas.SpreadingOn
	up := func(m schemas.MachineID, x float64) Log { return driven(m, on, [2]float64{x, -50}, [2]float64{x, 150}) }
	o := MeasureOptions{BoutWidthM: 20, Boundary: squareOf(0, 0, 100, 100)}
	checkAreas(t, "one line", measured(t, o, up("", 50)).Areas, Areas{SwathM2: 4000, CoveredM2: 2000, MissedM2: 8000, OutsideM2: 2000, BoundaryM2: 10000})
	checkAreas(t, "over the border", measured(t, o, up("", 0)).Areas, Areas{SwathM2: 4000, CoveredM2: 1000, MissedM2: 9000, OutsideM2: 3000, BoundaryM2: 10000})
	// Two machines half on top of each other, one on top of both.
	checkAreas(t, "two machines", measured(t, o, up("a", 50), up("b", 60)).Areas,
		Areas{SwathM2: 8000, CoveredM2: 3000, Overlap2M2: 1000, MissedM2: 7000, OutsideM2: 3000, BoundaryM2: 10000})
	checkAreas(t, "three machines", measured(t, o, up("a", 50), up("b", 60), up("c", 55)).Areas,
		Areas{SwathM2: 12000, CoveredM2: 3000, Overlap2M2: 1000, Overlap3M2: 1000, MissedM2: 7000, OutsideM2: 3000, BoundaryM2: 10000})
	o.Boundary = nil
	checkAreas(t, "no boundary", measured(t, o, up("a", 50), up("b", 60)).Areas, Areas{SwathM2: 8000, CoveredM2: 6000, Overlap2M2: 2000})
	o.Boundary = squareOf(0, 0, 100, 100)
	checkAreas(t, "nothing", measured(t, o).Areas, Areas{MissedM2: 10000, BoundaryM2: 10000})
	checkAreas(t, "nothing at all", measured(t, MeasureOptions{}).Areas, Areas{})
}

func TestExclusionAreasOfADrive(t *testing.T) {
	on := plane.At(latDeg0, lonDeg0)
	if p, err := (MeasureOptions{}).exclusion(on); p != nil || err != nil {
		t.Errorf("none: %v, %v", p, err)
	}
	p, err := MeasureOptions{Exclusion: squareOf(10, 20, 40, 60)}.exclusion(on)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "area", p.AreaM2(), 1200, 0.01)
	o := MeasureOptions{BoutWidthM: 20, Boundary: squareOf(0, 0, 100, 100), Exclusion: squareOf(60, -20, 70, 50)}
	up := driven("", schemas.SpreadingOn, [2]float64{65, -50}, [2]float64{65, 150})
	checkAreas(t, "measured", measured(t, o, up).Areas,
		Areas{SwathM2: 4000, CoveredM2: 1500, ExcludedM2: 500, MissedM2: 8000, OutsideM2: 2000, BoundaryM2: 10000, ExclusionM2: 500})
	o.Exclusion = schemas.Boundary{{{at(60, 0), at(90, 30), at(90, 0), at(60, 30), at(60, 0)}}}
	if d := measured(t, o, up); !slices.ContainsFunc(d.Findings, func(f Finding) bool { return f.Kind == "odd_exclusion" }) {
		t.Errorf("a bow tie excludes without a word: %v", d.Findings)
	}
	if !p.Contains(25, 50) || p.Contains(25, 70) {
		t.Error("it does not lie where it was drawn")
	}
	far := schemas.Boundary{{{{10, 50}, {10.1, 50}, {10.1, 50.1}, {10, 50}}}}
	if _, err := (MeasureOptions{Exclusion: far}).exclusion(on); fault.CodeOf(err) != fault.Input || !strings.Contains(err.Error(), "the exclusion areas") {
		t.Errorf("elsewhere: %v", err)
	}
}

// A boundary's area in the documents is that on the ellipsoid; of a bow tie, whose loops it
// would take from each other, what even-odd gives.
func TestBoundaryAreas(t *testing.T) {
	b, err := plane.NewBoundary(rings(squareOf(0, 0, 18000, 4000)))
	if err != nil {
		t.Fatal(err)
	}
	flat := b.Polygon.AreaM2()
	if got := boundaryM2(b, flat); got != b.AreaM2() || got > flat-20 {
		t.Errorf("%v m2, %v on the plane", got, flat)
	}
	if got := boundaryM2(b, flat/2); got != flat/2 {
		t.Errorf("%v m2 where even-odd gives %v", got, flat/2)
	}
}

// Laws: the order of logs, and of the fixes in them, changes nothing; two
// machines are measured as each for itself and together.
func TestMeasureLaws(t *testing.T) {
	o := MeasureOptions{BoutWidthM: 18, Boundary: squareOf(0, 0, 300, 300)}
	a := driven("a", schemas.SpreadingOn, [2]float64{10, 10}, [2]float64{10, 280}, [2]float64{200, 280})
	b := driven("b", schemas.SpreadingOn, [2]float64{0, 150}, [2]float64{290, 160})
	want := measured(t, o, a, b)
	mixed := Log{"b", slices.Clone(b.Fixes)}
	slices.Reverse(mixed.Fixes)
	got := measured(t, o, mixed, a)
	got.Findings = slices.DeleteFunc(got.Findings, func(f Finding) bool { return f.Kind == "out_of_order" })
	if fmt.Sprint(got) != fmt.Sprint(want) {
		t.Errorf("%+v, want %+v", got, want)
	}
	alone := []Drive{measured(t, o, a), measured(t, o, b)}
	for i, d := range alone {
		if d.Machines[0] != want.Machines[i] {
			t.Errorf("%+v, want %+v", want.Machines[i], d.Machines[0])
		}
	}
	// Inclusion and exclusion: covered by both = a + b - union.
	both := alone[0].CoveredM2 + alone[1].CoveredM2 - want.CoveredM2
	near(t, "both", both, want.Overlap2M2+want.Overlap3M2-alone[0].Overlap2M2-alone[1].Overlap2M2, 0.5)
	near(t, "swath", want.SwathM2, alone[0].SwathM2+alone[1].SwathM2, 0.02)
}

func TestMeasureFindings(t *testing.T) {
	kinds := func(d Drive) (out []string) {
		for _, f := range d.Findings {
			out = append(out, f.Kind)
		}
		return out
	}
	u := [][2]float64{{0, 0}, {0, 60}, {4, 64}, {8, 60}, {8, 0}}
	o := MeasureOptions{BoutWidthM: 20}
	for _, c := range []struct {
		name string
		log  Log
		o    MeasureOptions
		want []string
	}{
		{"a tight turn", driven("", schemas.SpreadingOn, u...), o, []string{"tight_turn"}},
		{"not known to spread", driven("", schemas.SpreadingUnknown, u...), o, nil},
		{"inferred", driven("", schemas.SpreadingUnknown, u...), MeasureOptions{BoutWidthM: 20, Infer: true}, []string{"spreading_inferred"}},
		{"no width", driven("", schemas.SpreadingOn, u[:2]...), MeasureOptions{}, []string{"no_bout_width"}},
		{"beside the boundary", driven("", schemas.SpreadingOn, u[:2]...), MeasureOptions{BoutWidthM: 20, Boundary: squareOf(500, 0, 600, 100)}, []string{"nothing_inside"}},
	} {
		if got := kinds(measured(t, c.o, c.log)); !slices.Equal(got, c.want) {
			t.Errorf("%s: %v, want %v", c.name, got, c.want)
		}
	}
}

func TestMeasureRefusals(t *testing.T) {
	log := driven("", schemas.SpreadingOn, [2]float64{0, 0}, [2]float64{0, 60})
	antipode := schemas.Boundary{{{{-11, 46}, {-10.99, 46}, {-11, 46.01}, {-11, 46}}}}
	shipped := driven("", schemas.SpreadingOn, [2]float64{0, 0}, [2]float64{0, 60})
	for i := 8; i < len(shipped.Fixes); i++ {
		shipped.Fixes[i].LonDeg -= 150
	}
	polar := driven("", schemas.SpreadingOn, [2]float64{0, 0}, [2]float64{0, 60})
	for i := range polar.Fixes {
		polar.Fixes[i].LatDeg -= 43.9
	}
	for name, r := range map[string]struct {
		do   func() (Drive, error)
		says string
	}{
		"boundary far away": {func() (Drive, error) { return Measure([]Log{log}, MeasureOptions{BoutWidthM: 20, Boundary: antipode}) }, "about 20000 km from the boundary"},
		"no boundary":       {func() (Drive, error) { return Measure([]Log{log}, MeasureOptions{Boundary: schemas.Boundary{{}}}) }, "no ring"},
		// From 169 to 19 degrees east at latitude -46: 84.3 degrees of a great circle.
		"around the globe": {func() (Drive, error) { return Measure([]Log{shipped}, MeasureOptions{BoutWidthM: 20}) },
			"the log is at latitude -45.9997, longitude 19.0000 at 2026-03-02T08:00:08Z, about 9400 km from the first position; 100 km are possible"},
		"machines far apart": {func() (Drive, error) {
			return Measure([]Log{log, {"b", shipped.Fixes[8:]}}, MeasureOptions{BoutWidthM: 20})
		}, "the log of b is at latitude"},
		"at the pole":         {func() (Drive, error) { return Measure([]Log{polar}, MeasureOptions{BoutWidthM: 20}) }, "up to latitude 85"},
		"boundary to nowhere": {func() (Drive, error) { return Measure(nil, MeasureOptions{Boundary: squareOf(0, 0, 1e9, 1)}) }, "outside"},
	} {
		if _, err := r.do(); fault.CodeOf(err) != fault.Input || fault.HintOf(err) == "" || !strings.Contains(err.Error(), r.says) {
			t.Errorf("%s: %v", name, err)
		}
	}
}

// Logs gives each machine's fixes the width and rate of its own settings.
func TestLogsOfEvents(t *testing.T) {
	w := twoLines()
	other := w.in.Passes[1]
	other.Machine = "sp2"
	w.in.Passes[1] = other
	logs := Logs(w.in)
	if len(logs) != 2 || logs[0].Machine != "sp1" || logs[1].Machine != "sp2" || len(logs[0].Fixes) != 101 {
		t.Fatalf("%d logs", len(logs))
	}
	if f := logs[0].Fixes[5]; f.BoutWidthM != boutM || f.SetRateKgHa != rateKgHa {
		t.Errorf("%+v", f)
	}
	if f := logs[1].Fixes[5]; !math.IsNaN(f.BoutWidthM) || !math.IsNaN(f.SetRateKgHa) {
		t.Errorf("%+v", f)
	}
}
