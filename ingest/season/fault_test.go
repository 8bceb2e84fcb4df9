package season

import (
	"math"
	"slices"
	"testing"
	"time"

	"hopperbook/schemas"
)

func (s *Season) began(t *testing.T, k Kind) FaultTruth {
	t.Helper()
	i := slices.IndexFunc(s.Truth.Faults, func(f FaultTruth) bool { return f.Kind == k })
	if i < 0 {
		t.Fatalf("no %s", k)
	}
	return s.Truth.Faults[i]
}

// Flow faults begin with the refill the truth names, and nowhere else.
func TestFlowFaultsBegin(t *testing.T) {
	t.Parallel()
	s := sharedSeason(t)
	slip, wet := s.began(t, Slip), s.began(t, WetBatch)
	if slip.Load != 6 || wet.Load != 3 {
		t.Fatalf("slip at load %d, wet batch at load %d", slip.Load, wet.Load)
	}
	for _, i := range s.Truth.Intervals {
		want := 1.0
		if i.Machine == "spreader-1" && i.Load >= 6 {
			want *= 0.88
		}
		if i.Product == "gypsum" && i.Load >= 3 {
			want *= 1.08
		}
		if i.FaultFactor != want {
			t.Errorf("%s %s load %d: factor %v, want %v", i.Machine, i.From, i.Load, i.FaultFactor, want)
		}
		if i.From == slip.Refill && (i.Load != slip.Load || !i.Start.Equal(slip.At)) {
			t.Errorf("slip %+v begins in %+v", slip, i)
		}
	}
	if !slices.ContainsFunc(s.Truth.Intervals, func(i IntervalTruth) bool { return i.From == slip.Refill }) {
		t.Errorf("the slip's refill %s is no interval's", slip.Refill)
	}
}

// Until a slip begins nothing differs by a byte; other spreaders never do.
func TestFaultTouchesNothingElse(t *testing.T) {
	t.Parallel()
	cfg := Config{Seed: 7, Days: 1, DayHours: 1, Spreaders: 2}.NoFaults()
	clean := mustPlay(t, cfg)
	cfg.Faults = []Fault{{Kind: Slip, Machine: "spreader-1", From: 4, Size: -0.12}}
	slipped := mustPlay(t, cfg)
	if !sameBytes(clean.device(t, "spreader-2").Events, slipped.device(t, "spreader-2").Events) {
		t.Error("spreader-2 feels the slip of spreader-1")
	}
	at := slipped.began(t, Slip).At
	a, b := clean.device(t, "spreader-1").Events, slipped.device(t, "spreader-1").Events
	n := slices.IndexFunc(b, func(e Event) bool { return e.Time.After(at) })
	if n < 50 || !sameBytes(a[:n], b[:n]) {
		t.Errorf("the %d events before the slip differ", n)
	}
	if sameBytes(a, b) {
		t.Error("the slip changes nothing")
	}
}

func TestScaleOff(t *testing.T) {
	t.Parallel()
	s := sharedSeason(t)
	f, n := s.began(t, ScaleOff), 0
	for _, l := range s.Truth.Loads {
		if l.Loader != "loader-2" {
			continue
		}
		n++
		want := 1 + s.Truth.Scales[1].Bias
		if n >= 4 {
			want *= 1.05
		}
		if math.Abs(l.ScaleRead/l.MassKg-want) > 1e-12 || math.Abs(l.StatedKg-l.ScaleRead) > 5*l.StatedSd {
			t.Errorf("load %d of loader-2: %+v", n, l)
		}
		if n == 4 && (f.Refill != l.Refill || f.Load != 4 || !f.At.Equal(l.Time)) {
			t.Errorf("fault %+v at %+v", f, l)
		}
	}
	if n < 5 {
		t.Fatalf("%d loads of loader-2", n)
	}
}

func TestMissingDocket(t *testing.T) {
	t.Parallel()
	s := sharedSeason(t)
	f := s.began(t, MissingDocket)
	tickets, _ := data[schemas.DocketReceived](t, s.device(t, "_office"), schemas.TypeDocketReceived)
	var net, delivered float64
	for _, d := range tickets {
		if net += d.NetKg; d.Docket == f.Docket {
			t.Errorf("docket %s is there", d.Docket)
		}
	}
	for _, p := range s.Truth.Stock {
		delivered += p.DeliveredKg
	}
	if short := delivered - net; math.Abs(short-f.NetKg) > 5*35*math.Sqrt(float64(len(tickets)+1)) || f.Docket != "d-0002" {
		t.Errorf("%v kg short, the missing docket %s says %v", short, f.Docket, f.NetKg)
	}
}

func TestForgetJobChange(t *testing.T) {
	t.Parallel()
	cfg := Config{Days: 1, DayHours: 2}
	var p *plan
	m := 3
	for m == 3 && cfg.Seed < 50 {
		cfg.Seed++
		var err error
		if p, err = newPlan(cfg.withDefaults()); err != nil {
			t.Fatal(err)
		}
		for m = 0; m < 3 && p.firstForgettable(m) == 0; m++ {
		}
	}
	if m == 3 {
		t.Fatal("no seed has a job to forget")
	}
	n, me := p.firstForgettable(m), p.spreaders[m].id
	forgotten, before := p.jobs[m][n], p.jobs[m][n-1]
	cfg.Faults = []Fault{{Kind: ForgetJobChange, Machine: me, From: n + 1}}
	s := mustPlay(t, cfg)
	d := s.device(t, schemas.DeviceID(me))
	started, _ := data[schemas.JobStarted](t, d, schemas.TypeJobStarted)
	finished, _ := data[schemas.JobFinished](t, d, schemas.TypeJobFinished)
	if len(started) != len(p.jobs[m])-1 || len(finished) != len(started) || slices.ContainsFunc(started, func(j schemas.JobStarted) bool { return j.Job == forgotten.id }) {
		t.Errorf("%d jobs, started %v, finished %v", len(p.jobs[m]), started, finished)
	}
	// Product still went where it was ordered, and the logs name the old field.
	for _, f := range forgotten.fields {
		if !slices.ContainsFunc(s.Truth.Fields, func(x FieldTruth) bool { return x.Field == f.id && x.Machine == me }) {
			t.Errorf("field %s was left out", f.id)
		}
	}
	f := s.began(t, ForgetJobChange)
	last := before.fields[len(before.fields)-1].id
	passes, at := data[schemas.PassLogged](t, d, schemas.TypePassLogged)
	wrong := 0
	for i, l := range passes {
		if l.Job == forgotten.id {
			t.Fatal("a pass log names the forgotten job")
		}
		if l.Job == before.id && l.Field == last && at[i].After(f.At) {
			wrong++
		}
	}
	if f.Job != forgotten.id || wrong < 10 {
		t.Errorf("fault %+v, %d pass logs under the old job after it", f, wrong)
	}
}

func TestByTime(t *testing.T) {
	t.Parallel()
	s := sharedSeason(t)
	all, n := s.ByTime(), 0
	for _, d := range s.Devices {
		n += len(d.Events)
	}
	if len(all) != n {
		t.Fatalf("%d arrivals of %d events", len(all), n)
	}
	noon := s.Config.Start.Add(36 * time.Hour)
	next, held := map[schemas.Source]int64{}, 0
	for i, a := range all {
		if next[a.Event.Source]++; a.Event.Sequence != next[a.Event.Source] {
			t.Fatalf("%s arrives out of its order", a.Event.Identity)
		}
		if i > 0 && a.At.Before(all[i-1].At) || a.At.Before(a.Event.Time) {
			t.Fatalf("%s arrives at %s", a.Event.Identity, a.At)
		}
		if late := a.At.After(a.Event.Time); late {
			held++
			if a.Device != "spreader-3" || !a.At.Equal(noon) {
				t.Fatalf("%s is late: %s", a.Event.Identity, a.At)
			}
		}
	}
	if held < 50 || s.began(t, LateTablet).At != s.Config.Start {
		t.Errorf("%d events held", held)
	}
}

// The demo's own faults begin in the middle, with loads enough on both sides;
// small seasons leave out what cannot be.
func TestDemoFaults(t *testing.T) {
	t.Parallel()
	for seed := range uint64(40) {
		p, err := newPlan(Config{Seed: seed}.withDefaults())
		if err != nil {
			t.Fatal(err)
		}
		faults := p.demoFaults()
		if err := p.checkFaults(faults); err != nil {
			t.Fatal(err)
		}
		kinds := map[Kind]Fault{}
		for _, f := range faults {
			kinds[f.Kind] = f
		}
		slip := kinds[Slip]
		m := slices.IndexFunc(p.spreaders, func(s spreader) bool { return s.id == slip.Machine })
		before, loads := p.longestRun(m)
		if from := float64(slip.From - before); len(kinds) != 4 || slip.Size > -0.1 || slip.Size < -0.14 || from < 0.3*loads || from < 5 || loads-from < 6 {
			t.Errorf("seed %d: %+v, run of %.1f loads after %d", seed, faults, loads, before)
		}
	}
	tiny := mustPlay(t, Config{Seed: 1, Days: 1, Spreaders: 1, DayHours: 0.1})
	if len(tiny.Truth.Faults) != len(tiny.Config.Faults) || slices.ContainsFunc(tiny.Truth.Faults, func(f FaultTruth) bool { return f.Kind == Slip }) {
		t.Errorf("faults %+v", tiny.Truth.Faults)
	}
}
