package drive

import (
	"math"
	"math/rand/v2"
	"reflect"
	"testing"
	"time"

	"hopperbook/ingest/tablet"
	"hopperbook/schemas"
	"hopperbook/schemas/fault"
)

func TestWhatSaysThatItSpreads(t *testing.T) {
	const on, off = schemas.SpreadingOn, schemas.SpreadingOff
	for _, c := range []struct {
		name   string
		change func(r *rig, f *schemas.Fix)
		want   schemas.Spreading
		by     string
	}{
		{"in the field at speed with a job", func(*rig, *schemas.Fix) {}, on, "speed_and_field"},
		{"no job started", func(r *rig, _ *schemas.Fix) { r.driving.Working = false }, off, "speed_and_field"},
		{"in no field", func(r *rig, _ *schemas.Fix) { r.driving.InField = "" }, off, "speed_and_field"},
		{"just too slow", func(_ *rig, f *schemas.Fix) { f.SpeedKmh = 2.99 }, off, "speed_and_field"},
		{"just fast enough", func(_ *rig, f *schemas.Fix) { f.SpeedKmh = 3 }, on, "speed_and_field"},
		{"just not too fast", func(_ *rig, f *schemas.Fix) { f.SpeedKmh = 30 }, on, "speed_and_field"},
		{"too fast", func(_ *rig, f *schemas.Fix) { f.SpeedKmh = 30.01 }, off, "speed_and_field"},
		{"hopper known empty", func(r *rig, _ *schemas.Fix) { r.empty = true }, off, "speed_and_field"},
		{"the switch is on outside every field", func(r *rig, _ *schemas.Fix) {
			r.Switch(true, true)
			r.driving = tablet.Driving{SetRateKgHa: math.NaN(), BoutWidthM: math.NaN()}
		}, on, "switch"},
		{"the switch is off in the field", func(r *rig, _ *schemas.Fix) { r.Switch(false, true) }, off, "switch"},
		{"the switch was on and is not heard", func(r *rig, _ *schemas.Fix) { r.Switch(true, true); r.Switch(false, false); r.driving.Working = false }, off, "speed_and_field"},
		{"by hand against the switch", func(r *rig, _ *schemas.Fix) { r.Switch(true, true); r.driving.Hand = "off" }, off, "hand"},
		{"by hand while it stands", func(r *rig, f *schemas.Fix) { r.driving.Hand = "on"; f.SpeedKmh = 0 }, on, "hand"},
	} {
		r := newRig(t, Config{})
		f := fixAt(0)
		c.change(r, &f)
		r.Driver.Fix(f)
		if err := r.Close(); err != nil {
			t.Fatal(err)
		}
		if got := r.logged(t); len(got) != 1 || got[0].Spreading != c.want || r.logs[0].MarkedBy != c.by || r.marks[0] != c.by || r.told[0].Spreading != c.want {
			t.Errorf("%s: got %+v by %q", c.name, got, r.logs[0].MarkedBy)
		}
	}
}

func TestWhatIsLeftOut(t *testing.T) {
	for _, c := range []struct {
		name   string
		cfg    Config
		change func(f *schemas.Fix)
		want   Counts
	}{
		{"a good fix", Config{}, func(*schemas.Fix) {}, Counts{In: 2, Logged: 2}},
		{"none", Config{}, func(f *schemas.Fix) { f.Quality = schemas.QualityNone }, Counts{In: 2, Logged: 1, Coarse: 1}},
		{"dead reckoning", Config{}, func(f *schemas.Fix) { f.Quality = schemas.QualityEstimated }, Counts{In: 2, Logged: 1, Coarse: 1}},
		{"simulated", Config{}, func(f *schemas.Fix) { f.Quality = schemas.QualitySimulator }, Counts{In: 2, Logged: 1, Coarse: 1}},
		{"RTK float where fixed is asked", Config{Coarsest: schemas.QualityRTKFixed}, func(f *schemas.Fix) { f.Quality = schemas.QualityRTKFloat }, Counts{In: 2, Logged: 1, Coarse: 1}},
		{"RTK float is better than DGNSS", Config{Coarsest: schemas.QualityDGNSS}, func(f *schemas.Fix) { f.Quality = schemas.QualityRTKFloat }, Counts{In: 2, Logged: 2}},
		{"no latitude", Config{}, func(f *schemas.Fix) { f.LatDeg = math.NaN() }, Counts{In: 2, Logged: 1, Impossible: 1}},
		{"as fast as a jet", Config{}, func(f *schemas.Fix) { f.SpeedKmh = 301 }, Counts{In: 2, Logged: 1, Impossible: 1}},
		{"the same time again", Config{}, func(f *schemas.Fix) { f.UnixMilli = startMs }, Counts{In: 2, Logged: 1, Repeated: 1}},
		{"no speed, so that of its way", Config{}, func(f *schemas.Fix) { f.SpeedKmh = math.NaN() }, Counts{In: 2, Logged: 2}},
		{"no speed and a jump", Config{}, func(f *schemas.Fix) { f.SpeedKmh = math.NaN(); f.LatDeg++ }, Counts{In: 2, Logged: 1, Impossible: 1}},
		{"a loader", Config{PositionsOnly: true}, func(*schemas.Fix) {}, Counts{In: 2, Positions: 2}},
	} {
		r := newRig(t, c.cfg)
		r.Driver.Fix(fixAt(0))
		f := fixAt(1000)
		c.change(&f)
		r.Driver.Fix(f)
		if err := r.Close(); err != nil {
			t.Fatal(err)
		}
		if got := r.Counts(); got != c.want {
			t.Errorf("%s: %+v, want %+v", c.name, got, c.want)
		}
	}
}

func TestTheSpeedOfItsWay(t *testing.T) {
	// A minute of arc of latitude is 1853 m on the sphere used (1852 by the old
	// nautical mile): in 300 s 22.2 km/h.
	a, b := schemas.Fix{LatDeg: 50, LonDeg: 8}, schemas.Fix{LatDeg: 50 + 1.0/60, LonDeg: 8, UnixMilli: 300_000}
	if got := speedKmh(&a, &b); math.Abs(got-22.238) > 0.01 {
		t.Errorf("north: %g km/h", got)
	}
	a, b = schemas.Fix{LatDeg: 60, LonDeg: 179.999}, schemas.Fix{LatDeg: 60, LonDeg: -179.999, UnixMilli: 100_000}
	if got := speedKmh(&a, &b); math.Abs(got-4.003) > 0.01 { // 0.002 degrees at half the radius: 111.2 m
		t.Errorf("over the date line: %g km/h", got)
	}
}

func TestWhereOneLogEnds(t *testing.T) {
	for _, c := range []struct {
		name   string
		change func(r *rig)
		want   []int
	}{
		{"60 fixes", func(r *rig) {}, []int{60, 60, 10}},
		{"another bout width", func(r *rig) { r.driving.BoutWidthM = 18 }, []int{60, 5, 60, 5}},
		{"no bout width", func(r *rig) { r.driving.BoutWidthM = math.NaN() }, []int{60, 5, 60, 5}},
		{"another job", func(r *rig) { r.driving.Job = "J-2" }, []int{60, 5, 60, 5}},
		{"another field", func(r *rig) { r.driving.Field = "F-2" }, []int{60, 5, 60, 5}},
		{"no set rate", func(r *rig) { r.driving.SetRateKgHa = math.NaN() }, []int{60, 5, 60, 5}},
		{"another set rate goes on", func(r *rig) { r.driving.SetRateKgHa = 90 }, []int{60, 60, 10}},
		{"another marker", func(r *rig) { r.Switch(true, true) }, []int{60, 5, 60, 5}},
		{"another position in a field goes on", func(r *rig) { r.driving.InField = "" }, []int{60, 60, 10}},
	} {
		r := newRig(t, Config{})
		r.drive(0, 65)
		c.change(r)
		r.drive(65*200, 65)
		if err := r.Close(); err != nil {
			t.Fatal(err)
		}
		var got []int
		for _, p := range r.logs {
			got = append(got, len(p.DtMs))
		}
		if !reflect.DeepEqual(got, c.want) {
			t.Errorf("%s: logs of %v fixes, want %v", c.name, got, c.want)
		}
		r.addsUp(t)
	}
}

func TestPausesAndSteppingBackEndALog(t *testing.T) {
	r := newRig(t, Config{})
	r.drive(0, 5)
	r.drive(70_000, 5)
	r.drive(10_000, 5) // the receiver set its clock back
	_ = r.Close()
	if got := len(r.logs); got != 3 {
		t.Errorf("%d logs", got)
	}
	if c := r.Counts(); c.Logged != 15 {
		t.Errorf("counts %+v", c)
	}
}

func TestStandingIsThinned(t *testing.T) {
	r := newRig(t, Config{})
	for i := range int64(301) { // a minute at 5 Hz
		f := fixAt(200 * i)
		f.SpeedKmh = 0.3
		r.Driver.Fix(f)
	}
	_ = r.Close()
	if c := r.Counts(); c.Logged != 16 || c.Thinned != 285 || len(r.told) != 301 { // one in 4 s, the first too
		t.Errorf("counts %+v, %d told", c, len(r.told))
	}
	for i, f := range r.logged(t) {
		if f.UnixMilli != startMs+4000*int64(i) {
			t.Errorf("fix %d at %d", i, f.UnixMilli-startMs)
		}
	}
}

func TestAQuietReceiverGivesItsLog(t *testing.T) {
	r := newRig(t, Config{})
	r.Receiver(true)
	r.drive(0, 5)
	r.at = r.at.Add(leave - time.Millisecond)
	r.Tick()
	if len(r.logs) != 0 {
		t.Error("too early")
	}
	r.at = r.at.Add(time.Millisecond)
	r.Tick()
	r.Receiver(false)
	if len(r.logs) != 1 {
		t.Errorf("%d logs", len(r.logs))
	}
	if want := []string{"searching", "good", "searching", "none"}; !reflect.DeepEqual(r.cab.gnss, want) {
		t.Errorf("receiver %v, want %v", r.cab.gnss, want)
	}
	f := fixAt(60_000)
	f.Quality = schemas.QualityEstimated
	r.Driver.Fix(f)
	if r.cab.gnss[len(r.cab.gnss)-1] != "poor" {
		t.Errorf("receiver %v", r.cab.gnss)
	}
}

// A power cut at any fix costs at most the last second, and no fix is in two
// logs.
func TestAPowerCutAtAnyFix(t *testing.T) {
	for cut := int64(1); cut <= 150; cut++ {
		r := newRig(t, Config{})
		r.drive(0, cut)
		r.restart(t)
		r.restart(t) // and once more while it starts
		r.drive(cut*200, 20)
		if err := r.Close(); err != nil {
			t.Fatal(err)
		}
		seen := map[int64]int{}
		for _, f := range r.logged(t) {
			seen[f.UnixMilli-startMs]++
		}
		lost := 0
		for i := range cut + 20 {
			switch n := seen[200*i]; {
			case n > 1:
				t.Fatalf("cut at %d: fix %d is in %d logs", cut, i, n)
			case n == 0 && (i >= cut || i < cut-6): // 1 s, looked after at the next fix
				t.Fatalf("cut at %d: fix %d is lost", cut, i)
			case n == 0:
				lost++
			}
		}
		if len(r.cab.drafts) != 0 {
			t.Fatalf("cut at %d: drafts left %v", cut, r.cab.drafts)
		}
		if lost > 5 {
			t.Errorf("cut at %d: %d fixes lost", cut, lost)
		}
	}
}

func TestADiskThatIsFullForAWhile(t *testing.T) {
	r := newRig(t, Config{HoldFixes: 300})
	r.drive(0, 100)
	r.fails = func() error { return errFull }
	r.drive(100*200, 200)
	if fault.CodeOf(r.Problem()) != fault.Full {
		t.Errorf("problem %v", r.Problem())
	}
	r.addsUp(t)
	r.fails = nil
	r.drive(300*200, 20)
	if r.Problem() != nil || r.Close() != nil {
		t.Errorf("problem %v", r.Problem())
	}
	if c := r.Counts(); c.Logged != 320 || c.Lost != 0 {
		t.Errorf("counts %+v", c)
	}
	r.fails = func() error { return errFull }
	r.drive(400*200, 1000)
	if c := r.Counts(); c.Lost == 0 || c.Held > 360 {
		t.Errorf("without bound: %+v", c)
	}
	r.addsUp(t)
	if r.Close() == nil {
		t.Error("closing says nothing of what is lost")
	}
}

// Whatever comes in whatever order, and however the disk fails: every fix is
// accounted for, and none is in two logs.
func TestEveryFixIsSomewhere(t *testing.T) {
	for seed := range uint64(100) {
		rng := rand.New(rand.NewPCG(seed, 6))
		r := newRig(t, Config{HoldFixes: 200, BatchFixes: 1 + rng.IntN(80)})
		r.fails = func() error {
			if r.lies = false; rng.IntN(4) == 0 {
				return errFull
			}
			return nil
		}
		unique, in := int64(0), int64(0)
		for range 400 {
			switch rng.IntN(40) {
			case 0:
				r.driving.BoutWidthM = []float64{12, 24, math.NaN()}[rng.IntN(3)]
			case 1:
				r.driving.SetRateKgHa = []float64{120, math.NaN()}[rng.IntN(2)]
			case 2:
				r.Switch(rng.IntN(2) == 0, rng.IntN(2) == 0)
			case 3:
				r.at = r.at.Add(time.Minute)
				r.Tick()
			case 4:
				unique -= rng.Int64N(2) // a repeated time
			}
			unique++
			f := fixAt(unique * 200)
			f.SpeedKmh = []float64{0, 12, 12, 12, 400, math.NaN()}[rng.IntN(6)]
			f.Quality = schemas.Quality(rng.IntN(9))
			r.at = r.at.Add(200 * time.Millisecond)
			r.Driver.Fix(f)
			in++
			r.addsUp(t)
		}
		r.fails = nil
		if err := r.Close(); err != nil {
			t.Fatal(err)
		}
		c := r.Counts()
		if c.In != in || c.Held != 0 || c.Logged != int64(len(r.logged(t))) || len(r.cab.drafts) != 0 {
			t.Fatalf("seed %d: %+v, %d in logs, drafts %d", seed, c, len(r.logged(t)), len(r.cab.drafts))
		}
		seen := map[int64]bool{}
		for _, f := range r.logged(t) {
			if seen[f.UnixMilli] {
				t.Fatalf("seed %d: a fix in two logs", seed)
			}
			seen[f.UnixMilli] = true
		}
	}
}

// A draft whose write failed and yet is on the disk does not come twice.
func TestADraftThatFailedAndIsThere(t *testing.T) {
	r := newRig(t, Config{})
	r.fails, r.lies = func() error { return errFull }, true
	r.drive(0, 10) // the draft is there, the driver was told it is not
	if len(r.cab.drafts) == 0 {
		t.Fatal("no draft was tried")
	}
	r.fails = nil
	if err := r.Close(); err != nil {
		t.Fatal(err)
	}
	r.restart(t)
	if got := len(r.logged(t)); got != 10 || len(r.cab.drafts) != 0 {
		t.Errorf("%d fixes in logs, drafts %v", got, r.cab.drafts)
	}
}

// A pass log whose making failed and that is on the disk does not come twice.
func TestALogThatFailedAndIsThere(t *testing.T) {
	r := newRig(t, Config{})
	r.drive(0, 59)
	r.fails, r.lies = func() error { return errFull }, true
	r.drive(59*200, 1)
	r.fails = nil
	if err := r.Close(); err != nil {
		t.Fatal(err)
	}
	if got := len(r.logged(t)); got != 60 {
		t.Errorf("%d fixes in logs", got)
	}
	r.addsUp(t)
}

func TestADraftThatCannotBeReadStays(t *testing.T) {
	r := newRig(t, Config{})
	r.cab.drafts["pass-x"] = []byte("{")
	r.restart(t)
	if r.Problem() == nil || len(r.cab.drafts) != 1 {
		t.Errorf("problem %v, drafts %v", r.Problem(), r.cab.drafts)
	}
}

func TestTheAgentIsACab(*testing.T) { var _ Cab = (*tablet.Cab)(nil) }
