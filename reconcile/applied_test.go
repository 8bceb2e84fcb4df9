package reconcile

import (
	"math"
	"math/rand/v2"
	"reflect"
	"slices"
	"strings"
	"testing"

	"hopperbook/schemas"
	"hopperbook/schemas/fault"
)

func mapOf(t *testing.T, in Input, field schemas.FieldID, product schemas.ProductID, cellM float64) FieldMap {
	t.Helper()
	m, err := Applied(in, field, product, cellM)
	if err != nil {
		t.Fatal(err)
	}
	return m
}

// strip is the mean rate of the cells between two distances from the field's west side.
func (m FieldMap) strip(fromM, toM float64) float64 {
	sum, n := 0.0, 0.0
	for i, in := range m.Map.Inside {
		x := m.Map.OriginXM + (float64(i%m.Map.Cols)+0.5)*m.Map.CellM + lineM/2
		if in && x > fromM && x < toM {
			sum, n = sum+m.Map.KgHa[i], n+1
		}
	}
	return sum / n
}

// A square of 16 ha, four loads of five lines each, the third one at 0.8 of
// what is set: three quarters at 200 kg/ha, one at 160.
func TestTheMapOfAFieldByHand(t *testing.T) {
	w := season(1, func(load int) float64 { return []float64{1, 1, 0.8, 1}[load-1] })
	m := mapOf(t, w.in, "F1", "", 1)
	if m.Product != "super" || m.Name != "Square F1" || m.Open || m.SetRateVaries || len(m.Patterns) != 1 || m.Patterns[0].TrayTest != "" || m.Patterns[0].BoutWidthM != boutM {
		t.Errorf("%+v %v %v %v %+v", m.Product, m.Name, m.Open, m.SetRateVaries, m.Patterns)
	}
	near(t, "set rate", m.SetRateKgHa, 200, 1e-9)
	for _, r := range [][3]float64{{2, 98, 200}, {102, 198, 200}, {202, 298, 160}, {302, 398, 200}} {
		near(t, "rate of a quarter", m.strip(r[0], r[1]), r[2], 0.1)
	}
	near(t, "mean", m.Figures.MeanKgHa, 190, 0.5)
	near(t, "CV %", m.Figures.CVPct, 100*math.Sqrt(3.0/16)*40/190, 0.3)
	near(t, "mass", m.Map.InFieldKg+m.Map.OutsideKg, 0.95*3200, 0.1)
	// 0.8 of the set rate is the border of the band: which side a cell falls is rounding.
	if m.Figures.AboveShare() > 0.005 || m.Figures.NotHitShare() > 0.005 {
		t.Errorf("%+v", m.Figures)
	}

	f := run(t, w.in).Fields[0]
	near(t, "mass of the balance", m.Map.SpreadKg, f.MassKg+f.ThrownOutsideKg+f.ExcludedKg, 0.01)
}

// Half the first quarter of the square is not to be spread, and some ground
// beyond its border: 50 x 400 m of 200 kg/ha.
func TestTheMapLeavesExclusionAreasOut(t *testing.T) {
	w := season(1, func(load int) float64 { return []float64{1, 1, 0.8, 1}[load-1] })
	before := mapOf(t, w.in, "F1", "", 1)
	area := squareOf(-50, -50, 50, 450)
	w.in.Fields[0].Data.Exclusion = &area
	m := mapOf(t, w.in, "F1", "", 1)
	near(t, "excluded kg", m.Map.ExcludedKg, 400, 1)
	near(t, "excluded m2", m.Map.ExcludedM2, 20000, 450)
	near(t, "conserved", m.Map.InFieldKg+m.Map.ExcludedKg, before.Map.InFieldKg, 1e-9*before.Map.InFieldKg)
	near(t, "outside", m.Map.OutsideKg, before.Map.OutsideKg, 1e-9)
	r, err := Run(w.in)
	if err != nil {
		t.Fatal(err)
	}
	f := r.Fields[0]
	near(t, "field's excluded kg", f.ExcludedKg, 380, 0.5) // at the mean of the field, whose third quarter got 160 kg/ha
	near(t, "field's excluded m2", f.ExcludedM2, 20000, 5)
	near(t, "field's exclusion m2", f.ExclusionM2, 20000, 5)
	near(t, "missed and covered", f.CoveredM2+f.MissedM2, f.BoundaryM2-f.ExclusionM2, 0.1)
	if !slices.ContainsFunc(r.Findings, func(d Finding) bool { return d.Kind == "exclusion_hit" && d.Field == "F1" }) {
		t.Errorf("no finding of the exclusion area: %v", r.Findings)
	}
	near(t, "mean", m.Figures.MeanKgHa, (50*200+100*200+100*160+100*200)/350.0, 0.5)

	// One that cannot be used excludes nothing.
	area = schemas.Boundary{{{{10, 50}, {10.1, 50}, {10.1, 50.1}, {10, 50}}}}
	if m := mapOf(t, w.in, "F1", "", 1); m.Map.ExcludedKg != 0 || m.Map.InFieldKg != before.Map.InFieldKg {
		t.Errorf("excluded %v kg by an area elsewhere", m.Map.ExcludedKg)
	}
}

// The masses of a map are the balance's, whatever is unknown: residuals (merged
// intervals), the last reading (an open one), a first pass before any refill.
func TestTheMapHasTheMassOfTheBalance(t *testing.T) {
	w := newWorld(2)
	w.line(0, 0)
	for load := range 6 {
		w.refill(800 * (1 + 0.1*float64(load%3)))
		for k := range 5 {
			n := load*5 + k + 1
			w.line(n/20, n%20)
		}
		if load%2 == 1 {
			last := &w.in.Refills[len(w.in.Refills)-1].Data
			last.ResidualKg, last.ResidualSdKg, last.ResidualMethod = nil, nil, schemas.ResidualUnknown
		}
	}
	for _, f := range run(t, w.in).Fields {
		m := mapOf(t, w.in, f.Field, f.Product, 2)
		near(t, "spread on "+string(f.Field), m.Map.SpreadKg, f.MassKg+f.ThrownOutsideKg+f.ExcludedKg, 0.005)
		near(t, "in the field "+string(f.Field), m.Map.InFieldKg, f.MassKg, 0.01*f.MassKg)
		if m.Open != f.Open {
			t.Errorf("%s: open %v, the balance says %v", f.Field, m.Open, f.Open)
		}
	}
}

// A tray test holds for its machine and product from its time on, left and
// right as seen while driving: line 0 goes north, line 1 south.
func TestTheMapFollowsTheTrayTest(t *testing.T) {
	w := season(1, func(int) float64 { return 1 })
	left := schemas.TestTray{TrayTest: "T1", Product: "super", BoutWidthM: boutM, TraySpacingM: 5, TrayWidthM: 0.5, TrayLengthM: 0.5, MassesG: []float64{30, 0, 0}}
	others := []At[schemas.TestTray]{meta(w, "sp2", left), meta(w, "sp1", left), meta(w, "sp1", left)}
	others[0].Time, others[1].Time, others[2].Time = day, day, w.clock
	others[1].Data.Product = "lime"
	w.in.Trays = others
	m := mapOf(t, w.in, "F1", "super", 1)
	near(t, "with none of its own", m.strip(2, 98), 200, 0.1)

	own := meta(w, "sp1", left)
	own.Time = day
	w.in.Trays = append(others, own)
	m = mapOf(t, w.in, "F1", "super", 1)
	if len(m.Patterns) != 1 || m.Patterns[0].TrayTest != "T1" {
		t.Fatalf("patterns %+v", m.Patterns)
	}
	// A triangle of 10 m about 5 m to the left: line 0 (x = 10, north) hits 0..10, line 1 (x = 30, south) 30..40.
	near(t, "left of line 0", m.strip(0, 10), 400, 2)
	near(t, "right of lines 0 and 1", m.strip(11, 29), 0, 1e-9)
	near(t, "left of line 1", m.strip(30, 40), 400, 2)
	if m.Figures.NotHitShare() < 0.45 || m.Figures.NotHitShare() > 0.55 {
		t.Errorf("%+v", m.Figures)
	}

	w.in.Trays[3].Data.MassesG = []float64{0, 0, 0}
	if _, err := Applied(w.in, "F1", "super", 1); fault.CodeOf(err) != fault.Input || !strings.Contains(err.Error(), "T1") {
		t.Errorf("an empty tray test: %v", err)
	}
}

func TestTheMapIsTheSameInAnyOrder(t *testing.T) {
	w := season(2, func(load int) float64 { return 1 + 0.02*float64(load%3) })
	want := mapOf(t, w.in, "F2", "", 4)
	rng := rand.New(rand.NewPCG(4, 4))
	for range 3 {
		in := w.in
		in.Passes, in.Loads, in.Refills = slices.Clone(in.Passes), slices.Clone(in.Loads), slices.Clone(in.Refills)
		rng.Shuffle(len(in.Passes), func(i, j int) { in.Passes[i], in.Passes[j] = in.Passes[j], in.Passes[i] })
		rng.Shuffle(len(in.Loads), func(i, j int) { in.Loads[i], in.Loads[j] = in.Loads[j], in.Loads[i] })
		rng.Shuffle(len(in.Refills), func(i, j int) { in.Refills[i], in.Refills[j] = in.Refills[j], in.Refills[i] })
		if got := mapOf(t, in, "F2", "", 4); !reflect.DeepEqual(got, want) {
			t.Error("another order, another map")
		}
	}
}

func TestTheMapSaysWhatCannotBeMapped(t *testing.T) {
	w := season(2, func(int) float64 { return 1 })
	twice := w.in.Fields[1]
	twice.Data.Field, twice.Data.Name = "North-3", "Long paddock"
	w.in.Fields = append(w.in.Fields, twice)
	for i := range w.in.Fields {
		w.in.Fields[i].Sequence = int64(i)
	}
	far := twice
	far.Data.Field, far.Data.Name = "North-4", "Long paddock"
	far.Data.Boundary = schemas.Boundary{{{at(9000, 9000), at(9100, 9000), at(9100, 9100)}}}
	w.in.Fields = append(w.in.Fields, far)
	// From the second load of F1 on it is lime.
	for i := range w.in.Refills {
		if i >= 2 && i < 4 {
			w.in.Refills[i].Data.Product = "lime"
		}
	}
	for _, r := range []struct {
		field schemas.FieldID
		prod  schemas.ProductID
		code  fault.Code
		hint  string
	}{
		{"F1", "", fault.Usage, "--product"},
		{"F1", "urea", fault.NotFound, "lime, super"},
		{"F11", "", fault.NotFound, "near it, of 4 fields: F1 (Square F1), F2 (Square F2)"},
		{"north3", "", fault.NotFound, "North-3 (Long paddock)"},
		{"long paddock", "", fault.Usage, "North-3, North-4"},
		{"North-4", "", fault.NotFound, "hopperbook fields"},
	} {
		_, err := Applied(w.in, r.field, r.prod, 1)
		if err == nil || fault.CodeOf(err) != r.code || !strings.Contains(fault.HintOf(err), r.hint) {
			t.Errorf("%s of %s: %v, hint %q", r.prod, r.field, err, fault.HintOf(err))
		}
	}
	if m := mapOf(t, w.in, "square f1", "lime", 5); m.Field != "F1" || !(m.Map.SpreadKg > 1000) {
		t.Errorf("by its name: %s, %v kg", m.Field, m.Map.SpreadKg)
	}
	if _, err := Applied(Input{}, "F1", "", 1); fault.HintOf(err) != "no field is registered yet" {
		t.Errorf("%v", err)
	}
}

func TestEdits(t *testing.T) {
	for _, r := range []struct {
		a, b string
		want int
	}{{"", "", 0}, {"kitten", "sitting", 3}, {"flaw", "lawn", 2}, {"a", "", 1}, {"übung", "ubung", 1}} { // kitten/sitting: Wagner and Fischer's usual example
		if got := edits(r.a, r.b); got != r.want {
			t.Errorf("%q to %q: %d, want %d", r.a, r.b, got, r.want)
		}
	}
}
