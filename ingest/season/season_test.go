package season

import (
	"bytes"
	"math"
	"slices"
	"sync"
	"testing"
	"time"

	"hopperbook/schemas"
	"hopperbook/schemas/fault"
)

func mustPlay(t testing.TB, cfg Config) *Season {
	t.Helper()
	s, err := Play(cfg)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// short is a quick configuration: two days, three spreaders, a field or two each.
func short(seed uint64) Config { return Config{Seed: seed, Days: 2, DayHours: 1} }

// shared is one short season with faults for the tests that only look.
var shared = sync.OnceValues(func() (*Season, error) {
	cfg := short(7)
	cfg.Loaders = 2
	cfg.Faults = []Fault{
		{Kind: Slip, Machine: "spreader-1", From: 6, Size: -0.12},
		{Kind: WetBatch, Product: "gypsum", From: 3, Size: 0.08},
		{Kind: ScaleOff, Machine: "loader-2", From: 4, Size: 0.05},
		{Kind: MissingDocket, From: 2},
		{Kind: LateTablet, Machine: "spreader-3", From: 1},
	}
	return Play(cfg)
})

func sharedSeason(t *testing.T) *Season {
	t.Helper()
	s, err := shared()
	if err != nil {
		t.Fatal(err)
	}
	return s
}

func (s *Season) device(t *testing.T, id schemas.DeviceID) *Device {
	t.Helper()
	i := slices.IndexFunc(s.Devices, func(d Device) bool { return d.ID == id })
	if i < 0 {
		t.Fatalf("no device %s", id)
	}
	return &s.Devices[i]
}

// data gives all events of one type as their Go type.
func data[T any](t *testing.T, d *Device, typ schemas.EventType) (out []T, at []time.Time) {
	t.Helper()
	for i := range d.Events {
		if d.Events[i].Type != typ {
			continue
		}
		e, bad := schemas.Read(d.Events[i].Raw)
		if bad != nil {
			t.Fatalf("%s: %v", d.Events[i].Identity, bad)
		}
		v, err := schemas.DecodeData[T](&e)
		if err != nil {
			t.Fatal(err)
		}
		out, at = append(out, v), append(at, e.Time)
	}
	return out, at
}

func sameBytes(a, b []Event) bool {
	return slices.EqualFunc(a, b, func(x, y Event) bool { return bytes.Equal(x.Raw, y.Raw) })
}

func TestDeterminism(t *testing.T) {
	t.Parallel()
	cfg := Config{Seed: 3, Days: 1, DayHours: 0.1, Spreaders: 2}
	a, b := mustPlay(t, cfg), mustPlay(t, cfg)
	cfg.Seed = 4
	other := mustPlay(t, cfg)
	for i := range a.Devices {
		if !sameBytes(a.Devices[i].Events, b.Devices[i].Events) {
			t.Errorf("%s: the same seed gives other bytes", a.Devices[i].ID)
		}
		if sameBytes(a.Devices[i].Events, other.Devices[i].Events) {
			t.Errorf("%s: another seed gives the same bytes", a.Devices[i].ID)
		}
	}
	if a.Truth.SpreadKg != b.Truth.SpreadKg || a.Truth.SpreadKg == other.Truth.SpreadKg {
		t.Errorf("spread %v, %v, other seed %v kg", a.Truth.SpreadKg, b.Truth.SpreadKg, other.Truth.SpreadKg)
	}
}

func TestEventsKeepTheContract(t *testing.T) {
	t.Parallel()
	s := sharedSeason(t)
	ids, count := map[schemas.EventID]bool{}, map[schemas.EventType]int{}
	for _, d := range s.Devices {
		var last time.Time
		for i, e := range d.Events {
			read, bad := schemas.Read(e.Raw)
			if bad != nil {
				t.Fatalf("%s %s: %v", e.Identity, e.Type, bad)
			}
			if read.Source != d.Source || read.Sequence != int64(i)+1 || read.Identity != e.Identity || read.ID != e.ID || read.Type != e.Type || !read.Time.Equal(e.Time) {
				t.Fatalf("%s event %d: reads as %s %s %s %s", d.ID, i, read.Identity, read.ID, read.Type, read.Time)
			}
			if read.Time.Before(last) || read.Time.Before(s.Config.Start) {
				t.Fatalf("%s: time falls to %s", e.Identity, read.Time)
			}
			if ids[e.ID] {
				t.Fatalf("%s: ID %s again", e.Identity, e.ID)
			}
			last, ids[e.ID] = read.Time, true
			count[e.Type]++
		}
	}
	for _, typ := range []schemas.EventType{
		schemas.TypeRegisterCustomer, schemas.TypeRegisterField, schemas.TypeRegisterMachine, schemas.TypeRegisterProduct, schemas.TypeRegisterJob, schemas.TypeRegisterContractor, schemas.TypeRegisterAgreement,
		schemas.TypeJobStarted, schemas.TypeJobFinished, schemas.TypeSettingChanged, schemas.TypeTestCatch, schemas.TypeLoadWeighed,
		schemas.TypeHopperRefilled, schemas.TypePassLogged, schemas.TypeWeatherNoted, schemas.TypeDocketReceived, schemas.TypeStockSurveyed,
	} {
		if count[typ] == 0 {
			t.Errorf("no %s", typ)
		}
	}
	if count[schemas.TypeJobStarted] != count[schemas.TypeJobFinished] {
		t.Errorf("%d jobs started, %d finished", count[schemas.TypeJobStarted], count[schemas.TypeJobFinished])
	}
}

// The truth closes on its own sums, and every load of the truth is one load
// event and stands in one refill.
func TestConservation(t *testing.T) {
	t.Parallel()
	s := sharedSeason(t)
	events, poured := map[schemas.LoadID]schemas.LoadWeighed{}, map[schemas.LoadID]schemas.RefillID{}
	for i := range s.Devices {
		loads, _ := data[schemas.LoadWeighed](t, &s.Devices[i], schemas.TypeLoadWeighed)
		for _, l := range loads {
			events[l.Load] = l
		}
		refills, _ := data[schemas.HopperRefilled](t, &s.Devices[i], schemas.TypeHopperRefilled)
		for _, r := range refills {
			for _, l := range r.Loads {
				poured[l] = r.Refill
			}
		}
	}
	if len(events) != len(s.Truth.Loads) || len(poured) != len(s.Truth.Loads) {
		t.Fatalf("%d loads, %d weighed, %d poured", len(s.Truth.Loads), len(events), len(poured))
	}
	var loaded float64
	for _, l := range s.Truth.Loads {
		e := events[l.Load]
		var lifts float64
		for _, kg := range e.LiftsKg {
			lifts += kg
		}
		if e.NetKg != l.StatedKg || *e.SdKg != l.StatedSd || lifts != e.NetKg || poured[l.Load] != l.Refill || len(e.LiftsKg) < 2 || len(e.LiftsKg) > 6 {
			t.Errorf("load %s: event %+v, truth %+v", l.Load, e, l)
		}
		loaded += l.MassKg
	}
	var onFields float64
	for _, f := range s.Truth.Fields {
		onFields += f.MassKg + f.OutsideKg
	}
	if math.Abs(loaded-onFields-s.Truth.LeftKg) > gramKg || math.Abs(onFields-s.Truth.SpreadKg) > gramKg {
		t.Errorf("loaded %v, spread %v, left %v kg", loaded, onFields, s.Truth.LeftKg)
	}
	for _, p := range s.Truth.Stock {
		if math.Abs(p.OpeningKg+p.DeliveredKg-p.LoadedKg-p.ClosingKg) > gramKg || p.ClosingKg < 0 {
			t.Errorf("stock %+v does not close", p)
		}
	}
	if out := s.Truth.OutsideKg / s.Truth.SpreadKg; !(out > 0 && out < 0.003) {
		t.Errorf("%v of the mass is thrown outside", out)
	}
}

// Mass = nominal x catch x walk x fault, where the walk stays within five of
// its standard deviations.
func TestIntervalTruth(t *testing.T) {
	t.Parallel()
	s := sharedSeason(t)
	ratio := map[schemas.TestID]float64{}
	for _, c := range s.Truth.Catches {
		ratio[c.CatchTest] = c.Ratio
	}
	tonnes, level := map[schemas.TestID]float64{}, map[schemas.MachineID]float64{}
	for _, i := range s.Truth.Intervals {
		if got := level[i.Machine] + i.LoadedKg - i.MassKg; math.Abs(got-i.ResidualKg) > 1e-6 {
			t.Errorf("%s: %v kg left, truth says %v", i.From, got, i.ResidualKg)
		}
		level[i.Machine] = i.ResidualKg
		if i.NominalKg == 0 {
			continue
		}
		tonnes[i.CatchTest] += i.MassKg / 1000
		walk := i.MassKg / i.NominalKg / ratio[i.CatchTest] / i.FaultFactor
		if math.Abs(walk-1) > 5*s.Config.Noise.WalkSdShare*math.Sqrt(tonnes[i.CatchTest]) || i.Ratio != i.MassKg/i.NominalKg {
			t.Errorf("%s %s: ratio %v, catch %v, fault %v: walk %v after %v t", i.Machine, i.From, i.Ratio, ratio[i.CatchTest], i.FaultFactor, walk, tonnes[i.CatchTest])
		}
	}
}

func TestFieldTruth(t *testing.T) {
	t.Parallel()
	for _, f := range sharedSeason(t).Truth.Fields {
		if share := f.CoveredM2 / f.BoundaryM2; share < 0.95 || share > 1.0005 {
			t.Errorf("%s %s: %.4f covered", f.Field, f.Product, share)
		}
		if over := f.SwathM2 / f.CoveredM2; over < 1 || over > 1.3 {
			t.Errorf("%s %s: swath %.3f of covered", f.Field, f.Product, over)
		}
		if f.RateKgHa != f.MassKg/f.CoveredM2*1e4 {
			t.Errorf("%s %s: rate %v", f.Field, f.Product, f.RateKgHa)
		}
	}
}

func TestPlayRefuses(t *testing.T) {
	t.Parallel()
	for _, r := range []struct {
		name string
		cfg  Config
	}{
		{"token", Config{Contractor: "Two words"}},
		{"days", Config{Days: -1}},
		{"spreaders", Config{Spreaders: 100}},
		{"loaders", Config{Loaders: 4}},
		{"3 Hz", Config{FixHz: 3}},
		{"hours", Config{DayHours: math.Inf(1)}},
		{"bout width", Config{BoutWidthM: 60}},
		{"not a number", Config{Noise: Noise{GNSSSdM: math.NaN()}}},
		{"share", Config{Noise: Noise{CatchSdShare: 0.5}}},
		{"kind", Config{Faults: []Fault{{Kind: "gremlin", From: 1}}}},
		{"machine", Config{Faults: []Fault{{Kind: Slip, Machine: "spreader-9", From: 1, Size: -0.1}}}},
		{"loader's slip", Config{Faults: []Fault{{Kind: Slip, Machine: "loader-1", From: 1, Size: -0.1}}}},
		{"from", Config{Faults: []Fault{{Kind: Slip, Machine: "spreader-1", Size: -0.1}}}},
		{"size", Config{Faults: []Fault{{Kind: Slip, Machine: "spreader-1", From: 1, Size: -1}}}},
		{"first job", Config{Faults: []Fault{{Kind: ForgetJobChange, Machine: "spreader-1", From: 1}}}},
		{"never begins", Config{Days: 1, DayHours: 0.1, Spreaders: 1, Faults: []Fault{{Kind: Slip, Machine: "spreader-1", From: 999, Size: -0.1}}}},
	} {
		if _, err := Play(r.cfg); fault.CodeOf(err) != fault.Usage || fault.HintOf(err) == "" {
			t.Errorf("%s: %v", r.name, err)
		}
	}
}

func BenchmarkPlay(b *testing.B) {
	fixes := 0
	for b.Loop() {
		fixes += mustPlay(b, Config{Seed: 1}).Truth.Fixes
	}
	b.ReportMetric(float64(fixes)/b.Elapsed().Seconds(), "fixes/s")
}
