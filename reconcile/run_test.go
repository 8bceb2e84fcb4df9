package reconcile

import (
	"bytes"
	"encoding/json"
	"flag"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"testing"
	"time"

	"hopperbook/schemas"
)

var update = flag.Bool("update", false, "write the golden files anew")

var day = time.Date(2026, 3, 2, 8, 0, 0, 0, time.UTC)

// world is an invented crew on square fields of 16 ha near latitude -46: one
// spreader, bout width 20 m, driving straight lines of 400 m at 4 m/s.
type world struct {
	in    Input
	seq   int64
	clock time.Time
}

const (
	boutM    = 20.0
	lineM    = 400.0
	rateKgHa = 200.0
	lineKg   = lineM * boutM * rateKgHa / 10000 // nominal mass of one line: 160 kg
	latDeg0  = -46.0
	lonDeg0  = 169.0
)

// Degrees of a metre near the origin, from the WGS84 radii of curvature there.
var latDegPerM, lonDegPerM = func() (float64, float64) {
	const a, f = 6378137.0, 1 / 298.257223563
	e2, s, c := f*(2-f), math.Sin(latDeg0*math.Pi/180), math.Cos(latDeg0*math.Pi/180)
	w := math.Sqrt(1 - e2*s*s)
	return 180 / math.Pi / (a * (1 - e2) / (w * w * w)), 180 / math.Pi / (a / w * c)
}()

func at(xM, yM float64) schemas.Position {
	return schemas.Position{lonDeg0 + xM*lonDegPerM, latDeg0 + yM*latDegPerM}
}

func meta[T any](w *world, machine schemas.MachineID, data T) At[T] {
	w.seq++
	return At[T]{Identity: schemas.Identity{Source: schemas.DeviceSource(schemas.DeviceID(machine), "a"), Sequence: w.seq},
		ID: schemas.EventID(fmt.Sprintf("%026d", w.seq)), Machine: machine, Time: w.clock, Data: data}
}

// newWorld has n fields side by side, 500 m apart.
func newWorld(n int) *world {
	w := &world{clock: day}
	for i := range n {
		x := 500 * float64(i)
		ring := []schemas.Position{at(x, 0), at(x+lineM, 0), at(x+lineM, lineM), at(x, lineM), at(x, 0)}
		id := schemas.FieldID(fmt.Sprintf("F%d", i+1))
		w.in.Fields = append(w.in.Fields, meta(w, "office", schemas.RegisterField{Field: id, Customer: "C1", Name: "Square " + string(id), Boundary: schemas.Boundary{{ring}}}))
	}
	w.in.Settings = append(w.in.Settings, meta(w, "sp1", schemas.SettingChanged{Product: "super", BoutWidthM: boutM, SetRateKgHa: rateKgHa}))
	return w
}

func kg(v float64) *float64 { return &v }

// refill weighs a load of kgs (none: a reading alone) and puts it in over an
// empty hopper.
func (w *world) refill(kgs ...float64) {
	w.clock = w.clock.Add(time.Minute)
	d := schemas.HopperRefilled{Refill: schemas.RefillID(fmt.Sprintf("R%d", len(w.in.Refills)+1)), Product: "super",
		ResidualKg: kg(0), ResidualSdKg: kg(20), ResidualMethod: schemas.ResidualEmpty}
	for _, v := range kgs {
		id := schemas.LoadID(fmt.Sprintf("L%d", len(w.in.Loads)+1))
		w.in.Loads = append(w.in.Loads, meta(w, "loader", schemas.LoadWeighed{Load: id, Product: "super", NetKg: v, Method: schemas.MethodBucket, SdKg: kg(10), Scale: "S1"}))
		d.Loads = append(d.Loads, id)
	}
	w.in.Refills = append(w.in.Refills, meta(w, "sp1", d))
	w.clock = w.clock.Add(time.Minute)
}

// line drives line number k (from 0) of a field (from 0), up or down in turn.
func (w *world) line(field, k int) {
	x := 500*float64(field) + (float64(k)+0.5)*boutM
	const steps = 100
	fixes := make([]schemas.Fix, 0, steps+1)
	for i := range steps + 1 {
		y := lineM * float64(i) / steps
		if k%2 == 1 {
			y = lineM - y
		}
		p := at(x, y)
		state := schemas.SpreadingOn
		if i == steps {
			state = schemas.SpreadingOff
		}
		fixes = append(fixes, schemas.Fix{UnixMilli: w.clock.UnixMilli() + int64(i)*1000, LatDeg: p[1], LonDeg: p[0], SpeedKmh: 14.4,
			HeadingDeg: math.NaN(), SetRateKgHa: math.NaN(), BoutWidthM: math.NaN(), Quality: schemas.QualityRTKFixed, Spreading: state})
	}
	m := meta(w, "sp1", 0)
	w.in.Passes = append(w.in.Passes, Pass{Identity: m.Identity, ID: m.ID, Machine: "sp1", Field: schemas.FieldID(fmt.Sprintf("F%d", field+1)), Fixes: fixes})
	w.clock = w.clock.Add((steps + 20) * time.Second)
}

// season spreads whole fields, five lines a load, each load weighing what the
// flow ratio makes of the nominal mass.
func season(fields int, ratio func(load int) float64) *world {
	w := newWorld(fields)
	lines := int(lineM / boutM)
	for load := range fields * lines / 5 {
		w.refill(5 * lineKg * ratio(load+1))
		for k := range 5 {
			n := load*5 + k
			w.line(n/lines, n%lines)
		}
	}
	w.refill()
	return w
}

func run(t *testing.T, in Input) Result {
	t.Helper()
	res, err := Run(in)
	if err != nil {
		t.Fatal(err)
	}
	return res
}

func near(t *testing.T, what string, got, want, tolerance float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tolerance) {
		t.Errorf("%s = %v, want %v within %v", what, got, want, tolerance)
	}
}

// A whole field of 16 ha at 3 200 kg: 200 kg/ha by rate = 10 000 m / area.
func TestAFieldByHand(t *testing.T) {
	res := run(t, season(1, func(int) float64 { return 1 }).in)
	if len(res.Fields) != 1 || len(res.Intervals) != 4 || len(res.Drifts) != 1 {
		t.Fatalf("%d fields, %d intervals, %d drifts", len(res.Fields), len(res.Intervals), len(res.Drifts))
	}
	f := res.Fields[0]
	near(t, "covered m2", f.CoveredM2, 160_000, 16) // 0.01 %
	near(t, "mass kg", f.MassKg, 3200, 0.05)        // the lines end on the boundary: some grams fall outside
	near(t, "nominal kg", f.NominalKg, 3200, 0.5)
	near(t, "set rate", f.SetRateKgHa, 200, 1e-9)
	near(t, "field rate", f.FieldRateKgHa, 200, 0.02)
	near(t, "machine rate", f.MachineRateKgHa, 200, 0.02)
	// Four loads of sd 10 kg, the first and last reading of sd 20 kg (the three
	// between cancel), and the scale's bias of 0.5 % on 3 200 kg.
	near(t, "mass sd", f.MassSdKg, math.Sqrt(4*100+2*400+16*16), 0.01)
	near(t, "high - low", f.FieldRateHigh-f.FieldRateLow, 2*1.959964*f.MassSdKg/16, 0.01)
	if res.Drifts[0].State != "holding" || res.Fields[0].Open {
		t.Errorf("state %s, open %v", res.Drifts[0].State, res.Fields[0].Open)
	}
	near(t, "loaded", res.Totals.LoadedKg, 3200, 0)
	near(t, "on fields and elsewhere", res.Totals.OnFieldsKg+res.Totals.ElsewhereKg, 3200, 0.001)
}

func TestDriftIsNamedWithItsLoadAndSize(t *testing.T) {
	res := run(t, season(8, func(load int) float64 {
		if load >= 15 {
			return 0.88
		}
		return 1
	}).in)
	d := res.Drifts[0]
	if d.State != "recalibrate" || d.Machine != "sp1" || d.ChangeLoad != 15 {
		t.Errorf("state %s, machine %s, since load %d", d.State, d.Machine, d.ChangeLoad)
	}
	near(t, "size %", d.SizePct, -12, 0.5)
	near(t, "flow factor", d.FlowFactor, 1/0.88, 0.01)
	if d.AlarmLoad < 15 || d.AlarmLoad > 20 {
		t.Errorf("alarm at load %d", d.AlarmLoad)
	}
}

// A catch test begins a new series: what was before is no longer held against
// the machine.
func TestACatchTestBeginsANewSeries(t *testing.T) {
	w := season(8, func(load int) float64 {
		if load < 15 {
			return 0.88
		}
		return 1
	})
	for _, r := range w.in.Refills {
		if r.Data.Refill == "R15" {
			w.clock = r.Time.Add(-time.Second)
		}
	}
	w.in.Catches = append(w.in.Catches, meta(w, "sp1", schemas.TestCatch{CatchTest: "T1", Product: "super", CollectedKg: 100, BoutWidthM: boutM, DistanceM: kg(250)}))
	res := run(t, w.in)
	if len(res.Drifts) != 2 || res.Drifts[0].State != "recalibrate" || res.Drifts[1].State != "holding" || res.Drifts[1].Loads != 18 ||
		!res.Drifts[0].Superseded || res.Drifts[1].Superseded {
		t.Errorf("drifts %+v", res.Drifts)
	}
}

// The wrong field is picked: the boundary counts, and the finding says so.
func TestTheBoundaryCountsNotThePick(t *testing.T) {
	w := season(2, func(int) float64 { return 1 })
	for i := range w.in.Passes {
		w.in.Passes[i].Field = "F1"
	}
	res := run(t, w.in)
	near(t, "F2 kg", res.Fields[1].MassKg, 3200, 0.5)
	i := slices.IndexFunc(res.Findings, func(f Finding) bool { return f.Kind == "wrong_field_picked" })
	if i < 0 || res.Findings[i].Field != "F2" || res.Findings[i].Count != 20 {
		t.Errorf("findings %+v", res.Findings)
	}
}

// A load that its loader has not sent yet must not look like drift.
func TestAMissingLoadIsSaidAndCallsNothing(t *testing.T) {
	w := season(4, func(int) float64 { return 1 })
	w.in.Loads = slices.Delete(w.in.Loads, 7, 8)
	res := run(t, w.in)
	if res.Drifts[0].State != "holding" {
		t.Errorf("state %s", res.Drifts[0].State)
	}
	i := slices.IndexFunc(res.Findings, func(f Finding) bool { return f.Kind == "load_missing" })
	if i < 0 || res.Findings[i].Machine != "sp1" {
		t.Fatalf("findings %+v", res.Findings)
	}
	near(t, "guess", res.Findings[i].Amount, 800, 1)
	if wide, usual := res.Fields[1].MassSdKg, res.Fields[0].MassSdKg; wide < 3*usual {
		t.Errorf("sd %v of the field with the missing load, %v of another", wide, usual)
	}
}

// Laws: the order of events, pass logs cut in two, and copies of events and
// fixes change nothing.
func TestOrderCopiesAndCutsChangeNothing(t *testing.T) {
	w := season(3, func(load int) float64 { return 1 + 0.01*float64(load%3) })
	want := run(t, w.in)
	rng := rand.New(rand.NewPCG(3, 4))
	in := w.in
	in.Passes = nil
	for _, p := range w.in.Passes {
		cut := 1 + rng.IntN(len(p.Fixes)-1)
		a, b := p, p
		a.Fixes, b.Fixes = p.Fixes[:cut], p.Fixes[cut:]
		b.Identity.Sequence += 100_000
		in.Passes = append(in.Passes, b, a)
	}
	shuffle(rng, in.Passes)
	in.Loads, in.Refills, in.Fields = shuffled(rng, in.Loads), shuffled(rng, in.Refills), shuffled(rng, in.Fields)
	got := run(t, in)
	got.Totals.PassLogs = want.Totals.PassLogs
	same(t, got, want)

	in = w.in
	in.Passes = append(slices.Clone(in.Passes), in.Passes[:10]...)
	got = run(t, in)
	got.Totals, got.Findings = want.Totals, want.Findings // copies are counted and said
	same(t, got, want)
}

// A law: all weights doubled double every mass and no area.
func TestTwiceTheMassIsTwiceTheRate(t *testing.T) {
	w := season(2, func(int) float64 { return 1 })
	want := run(t, w.in)
	for i := range w.in.Loads {
		w.in.Loads[i].Data.NetKg *= 2
	}
	got := run(t, w.in)
	for i := range want.Fields {
		near(t, "rate", got.Fields[i].FieldRateKgHa, 2*want.Fields[i].FieldRateKgHa, 1e-3)
		near(t, "area", got.Fields[i].CoveredM2, want.Fields[i].CoveredM2, 0)
	}
}

func shuffle[T any](rng *rand.Rand, list []T) {
	rng.Shuffle(len(list), func(i, j int) { list[i], list[j] = list[j], list[i] })
}

func shuffled[T any](rng *rand.Rand, list []T) []T {
	out := slices.Clone(list)
	shuffle(rng, out)
	return out
}

func asJSON(t *testing.T, r Result) []byte {
	t.Helper()
	raw, err := json.MarshalIndent(r, "", " ")
	if err != nil {
		t.Fatal(err)
	}
	return append(raw, '\n')
}

func same(t *testing.T, got, want Result) {
	t.Helper()
	a, b := bytes.Split(asJSON(t, got), []byte("\n")), bytes.Split(asJSON(t, want), []byte("\n"))
	for i := range min(len(a), len(b)) {
		if !bytes.Equal(a[i], b[i]) {
			t.Fatalf("line %d: %s\nwant: %s", i+1, a[i], b[i])
		}
	}
	if len(a) != len(b) {
		t.Fatalf("%d lines, want %d", len(a), len(b))
	}
}

// The whole result of a small season, so that a change of any number is seen.
func TestGoldenSeason(t *testing.T) {
	got := asJSON(t, run(t, season(4, func(load int) float64 {
		if load >= 8 {
			return 0.9
		}
		return 1 + 0.01*float64(load%3-1)
	}).in))
	name := filepath.Join("testdata", "season.golden.json")
	if *update {
		if err := os.WriteFile(name, got, 0o644); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(name)
	if err != nil {
		t.Fatal(err)
	}
	if !bytes.Equal(got, want) {
		t.Errorf("the result changed; look at the difference, then run with -update")
	}
}

func TestNothingGivesAnEmptyResult(t *testing.T) {
	res := run(t, Input{})
	if len(res.Fields)+len(res.Intervals)+len(res.Drifts)+len(res.Findings) != 0 || res.Totals != (Totals{}) {
		t.Errorf("%+v", res)
	}
}
