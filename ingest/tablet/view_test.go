package tablet

import (
	"context"
	"math"
	"reflect"
	"testing"
	"time"

	"hopperbook/schemas"
)

// drive goes north from a place at 5 m/s, one fix a second, and hands the
// fixes to the agent; the pass log of them is made where logged.
func (b *bench) drive(eastM, northM float64, seconds int, on, logged bool) []schemas.Fix {
	b.t.Helper()
	var fixes []schemas.Fix
	for i := range seconds {
		b.at = b.at.Add(time.Second)
		f := fixAt(b.at, eastM, northM+5*float64(i), on)
		b.OnFix(f, "switch")
		fixes = append(fixes, f)
	}
	if logged {
		b.log(fixes)
	}
	return fixes
}

// log makes the pass log of fixes, with what goes with them now.
func (b *bench) log(fixes []schemas.Fix) {
	b.t.Helper()
	d := b.Driving()
	logged := make([]schemas.Fix, len(fixes))
	for i, f := range fixes {
		f.SetRateKgHa, f.BoutWidthM = d.SetRateKgHa, d.BoutWidthM
		logged[i] = f
	}
	data, err := schemas.PassData(logged, schemas.PassHeader{Job: d.Job, Field: d.Field})
	if err != nil {
		b.t.Fatal(err)
	}
	if _, err := b.LogPass(data, ""); err != nil {
		b.t.Fatal(err)
	}
}

func near(got *float64, want, within float64) bool {
	return got != nil && math.Abs(*got-want) <= within
}

// TestHopperAndRates: 10 m wide at 2000 kg/ha is 2 kg a metre.
func TestHopperAndRates(t *testing.T) {
	b := readyBench(t, RoleSpreader)
	b.do(DoSetting, setLime)
	if v := b.View(); v.Hopper.Kg != nil || v.Rate.NowKgHa != nil || *v.Rate.SetKgHa != 2000 {
		t.Fatalf("nothing is known yet: %+v %+v", v.Hopper, v.Rate)
	}
	load := func(kg float64, r Residual) {
		t.Helper()
		b.do(DoLoad, Load{Product: "lime", Method: "cells", NetKg: num(kg), Refill: true, Residual: &r, Confirm: true})
	}
	load(4000, Residual{Method: "empty"})
	b.drive(100, 0, 201, true, true) // 1000 m: 2000 kg nominal
	v := b.View()
	if !near(v.Hopper.Kg, 2000, 1) || !near(v.Hopper.HaLeft, 1, 1e-3) || !near(v.Hopper.SpreadHa, 1, 1e-3) || v.Rate.LastKgHa != nil {
		t.Fatalf("before any closed run: hopper %v %v, rate %+v", *v.Hopper.Kg, *v.Hopper.HaLeft, v.Rate)
	}
	load(4000, Residual{Method: "cells", Kg: num(1800)}) // 2200 kg went out over 2000: ratio 1.1
	v = b.View()
	if !near(v.Rate.LastKgHa, 2200, 2) || !near(v.Rate.LastOffPc, 10, 0.1) || !near(v.Rate.NowKgHa, 2200, 2) || v.Rate.LastTold != "tablet" || !near(v.Hopper.Kg, 5800, 0) || !near(v.Hopper.HaLeft, 5800.0/2200, 0.01) {
		t.Fatalf("after a closed run: %+v", v.Rate)
	}
	b.drive(200, 0, 101, true, false) // 500 m, in no pass log yet: 1000 kg nominal, 1100 real
	if v := b.View(); !near(v.Hopper.Kg, 4700, 2) {
		t.Fatalf("hopper %v", *v.Hopper.Kg)
	}
	b.log(b.drive(300, 0, 2, false, false)) // the log's fixes are not those of the tail: they are counted once all the same
	load(1000, Residual{Method: "unknown"})
	if v := b.View(); len(v.Rate.Series) != 1 {
		t.Errorf("a refill without a reading closed a run: %+v", v.Rate.Series)
	}
	b.drive(400, 0, 101, true, true)
	// 1800+4000+1000 in, 300 left: 6500 kg; of the swath only what was logged after the second refill counts
	load(1000, Residual{Method: "cells", Kg: num(5500)})
	v = b.View()
	if len(v.Rate.Series) != 2 || !near(v.Hopper.Kg, 6500, 0) {
		t.Errorf("merged run: %+v", v.Rate.Series)
	}
	if v.Rate.Series[0].Load != "r-spreader-1-20260302-2" {
		t.Errorf("series %+v", v.Rate.Series)
	}
}

func TestHopperReadAsEmpty(t *testing.T) {
	b := readyBench(t, RoleSpreader)
	is := func(want bool, step string) {
		t.Helper()
		if b.HopperEmpty() != want {
			t.Errorf("%s: empty is %v", step, !want)
		}
	}
	is(false, "nothing read")
	b.do(DoRefill, Refill{Product: "lime", Residual: Residual{Method: "empty"}})
	is(true, "read")
	b.do(DoLoad, Load{Product: "lime", Method: "cells", NetKg: num(100), Refill: true, Residual: &Residual{Method: "empty"}})
	is(false, "filled")
	b.do(DoUndo, Undo{})
	is(true, "taken back")
	b.do(DoRefill, Refill{Product: "lime", ToldKg: num(300), Residual: Residual{Method: "empty"}})
	is(false, "told")
}

// TestToldByTheLoader: the loader's tablet books loads and refill; this one
// reckons with what its driver called out.
func TestToldByTheLoader(t *testing.T) {
	b := readyBench(t, RoleSpreader)
	b.do(DoSetting, setLime)
	b.do(DoRefill, Refill{Product: "lime", ToldKg: num(3000), Residual: Residual{Method: "cells", Kg: num(400)}})
	if h := b.View().Hopper; !near(h.Kg, 3400, 0) || !near(h.LoadedKg, 3000, 0) || h.LastKnown != "cells" {
		t.Errorf("hopper %+v", h)
	}
	b.drive(100, 0, 201, true, true)
	b.do(DoRefill, Refill{Product: "lime", ToldKg: num(1000), Residual: Residual{Method: "cells", Kg: num(1600)}})
	if r := b.View().Rate; !near(r.LastKgHa, 1800, 1) {
		t.Errorf("rate %+v", r)
	}
	b.do(DoRefill, Refill{Loads: []schemas.LoadID{"from-loader"}, ToldKg: num(500), Residual: Residual{Method: "unknown"}, Confirm: true})
	if h := b.View().Hopper; !near(h.LoadedKg, 4500, 0) {
		t.Errorf("the office's load and what was told: %+v", h)
	}
}

func TestWhoSaysTheFlowRatio(t *testing.T) {
	b := readyBench(t, RoleSpreader)
	b.do(DoSetting, setLime)
	b.do(DoLoad, Load{Product: "lime", Method: "cells", NetKg: num(4000), Refill: true, Residual: &Residual{Method: "empty"}})
	b.drive(100, 0, 201, true, true)
	b.do(DoRefill, Refill{Product: "lime", Residual: Residual{Method: "cells", Kg: num(2200)}}) // ratio 0.9
	is := func(step string, want float64) {
		t.Helper()
		got := b.View().Rate.NowKgHa
		if want == 0 && got != nil || want != 0 && !near(got, want, 2) {
			t.Errorf("%s: now %v, want %v", step, got, want)
		}
	}
	is("own run", 1800)
	p := packet("spreader-1", b.at)
	p.Drift = []schemas.CabDrift{{Product: "lime", State: "watch", FlowRatio: 0.95}}
	p.Rates = map[string]schemas.CabRates{"r-spreader-1-20260302-2": {MachineRateKgHa: 1850, LowKgHa: 1800, HighKgHa: 1900}}
	if err := b.TakePacket(p); err != nil {
		t.Fatal(err)
	}
	is("the office's verdict", 1900)
	if r := b.View().Rate; !near(r.LastKgHa, 1850, 0) || !near(r.LastOffPc, -7.5, 0.1) || r.LastTold != "office" {
		t.Errorf("rate %v %v %s", *r.LastKgHa, *r.LastOffPc, r.LastTold)
	}
	same := setLime
	same.SetRateKgHa = 1000
	b.do(DoSetting, same)
	is("another set rate, same gate", 950)
	b.do(DoCatch, schemas.TestCatch{Product: "lime", GateMm: 60, CollectedKg: 20, BoutWidthM: 10, DistanceM: num(20)})
	is("after a catch test nobody knows", 0)
	b.do(DoUndo, Undo{})
	is("the catch test taken back", 950)
	other := same
	other.GateMm = num(70)
	b.do(DoSetting, other)
	is("another gate", 0)
}

func TestJobsNearestFirst(t *testing.T) {
	b := readyBench(t, RoleSpreader)
	if v := b.View(); len(v.Jobs) != 3 || v.Jobs[0].AwayM != nil {
		t.Fatalf("without a position: %+v", v.Jobs)
	}
	b.OnFix(fixAt(b.at, 500, 500, false), "switch")
	v := b.View()
	if v.Jobs[0].Field != "home" || *v.Jobs[0].AwayM != 0 || v.Work.InField != "home" || !near(v.Jobs[1].AwayM, 1503.3, 0.2) || v.Jobs[2].AwayM != nil {
		t.Fatalf("inside: %+v, %v", v.Jobs, *v.Jobs[1].AwayM)
	}
	if !near(&v.Jobs[0].AreaHa, 100, 0.02) {
		t.Errorf("area %v ha", v.Jobs[0].AreaHa)
	}
	b.at = b.at.Add(time.Second)
	b.OnFix(fixAt(b.at, 1900, 200, false), "switch")
	if v := b.View(); v.Jobs[0].Field != "far" || !near(v.Jobs[0].AwayM, 100, 0.1) || !near(v.Jobs[1].AwayM, 900, 0.5) || v.Work.InField != "" {
		t.Errorf("outside: %+v", v.Jobs)
	}
	b.do(DoPick, Pick{Job: "j1"})
	if w := b.View().Work; w.Field != "far" || w.State != "picked" || w.Product != "lime" || w.Customer != "A customer" {
		t.Errorf("picked %+v", w)
	}
	b.do(DoStart, Start{})
	b.do(DoFinish, struct{}{})
	if v := b.View(); v.Jobs[0].Job != "j2" {
		t.Errorf("finished jobs stand last: %+v", v.Jobs)
	}
}

func TestDrivingSaysWhatGoesWithTheFixes(t *testing.T) {
	b := readyBench(t, RoleSpreader)
	if d := b.Driving(); d.Working || !math.IsNaN(d.SetRateKgHa) || d.Hand != "" {
		t.Errorf("idle: %+v", d)
	}
	b.do(DoPick, Pick{Job: "j1", Field: "home"})
	b.do(DoSetting, setLime)
	b.do(DoStart, Start{})
	b.do(DoSpread, Spread{On: true})
	if d := b.Driving(); !d.Working || d.Job != "j1" || d.Field != "home" || d.SetRateKgHa != 2000 || d.BoutWidthM != 10 || d.Hand != "on" {
		t.Errorf("working: %+v", d)
	}
	b.do(DoPick, Pick{Job: "j1", Field: "far"}) // on to the job's next field
	b.do(DoSpread, Spread{})
	if d := b.Driving(); d.Field != "far" || d.Hand != "off" {
		t.Errorf("next field: %+v", d)
	}
	b.restart()
	if d := b.Driving(); d.Field != "far" || d.Hand != "off" || !d.Working {
		t.Errorf("after key-off: %+v", d)
	}
	b.do(DoSpread, Spread{Auto: true})
	if d := b.Driving(); d.Hand != "" {
		t.Errorf("given back: %+v", d)
	}
}

func TestTimeIsTheReceivers(t *testing.T) {
	b := readyBench(t, RoleSpreader)
	ahead := 90 * time.Minute
	b.OnFix(fixAt(b.at.Add(ahead), 0, 0, false), "switch")
	b.do(DoWeather, schemas.WeatherNoted{Soil: "dry"})
	if at := b.View().Last[0].At; !at.Equal(b.at.Add(ahead)) {
		t.Errorf("event at %v, the receiver's time is %v", at, b.at.Add(ahead))
	}
	b.restart() // no fix yet: the device's clock, but not before the last event
	first := b.View().Last[0].At
	b.do(DoWeather, schemas.WeatherNoted{Soil: "wet"})
	if at := b.View().Last[0].At; !at.Equal(first.Add(time.Millisecond)) {
		t.Errorf("event at %v after one at %v", at, first)
	}
}

func TestNoticesAreNewForAMinute(t *testing.T) {
	b := readyBench(t, RoleSpreader)
	if n := b.View().Notices; len(n) != 1 || !n[0].New {
		t.Fatalf("notices %+v", n)
	}
	b.at = b.at.Add(2 * time.Minute)
	if n := b.View().Notices; n[0].New {
		t.Error("still new")
	}
	b.do(DoNotice, Ack{"n1"})
	if n := b.View().Notices; len(n) != 0 {
		t.Errorf("notices %+v", n)
	}
}

func TestChangedTellsOfEveryChange(t *testing.T) {
	b := readyBench(t, RoleSpreader)
	ctx, stop := context.WithCancel(context.Background())
	done := make(chan struct{})
	for name, change := range map[string]func(){
		"command": func() { b.do(DoWho, Who{schemas.Operator(b.at.String())}) },
		"event":   func() { b.do(DoWeather, schemas.WeatherNoted{Soil: "dry"}) },
		"fix":     func() { b.at = b.at.Add(time.Second); b.OnFix(fixAt(b.at, 0, 0, false), "switch") },
		"gnss":    func() { b.SetGNSS("good") },
		"link":    func() { b.SetLink(LinkView{State: "up"}) },
		"packet":  func() { _ = b.TakePacket(packet("spreader-1", b.at)) },
		"store":   func() { close(b.disk.changed); go func() { b.Run(ctx); close(done) }() },
	} {
		wait := b.Changed()
		change()
		select {
		case <-wait:
		case <-time.After(10 * time.Second):
			t.Errorf("%s was not told", name)
		}
	}
	stop()
	<-done
	wait := b.Changed()
	b.SetGNSS("good")
	b.SetLink(LinkView{State: "up"})
	select {
	case <-wait:
		t.Error("told though nothing changed")
	default:
	}
}

// TestSnapshotStaysSmall: what a snapshot holds stays bounded over a season.
func TestSnapshotStaysSmall(t *testing.T) {
	b := readyBench(t, RoleSpreader)
	b.do(DoSetting, setLime)
	b.do(DoCheck, schemas.CheckMachine{Item: "guard", Unit: "-", Pass: false})
	size := 0
	for day := range 11 {
		b.at = morning.Add(time.Duration(day) * 24 * time.Hour)
		for range 8 {
			b.do(DoLoad, Load{Product: "lime", Method: "cells", NetKg: num(3000), Refill: true, Residual: &Residual{Method: "empty"}})
			b.do(DoWeather, schemas.WeatherNoted{Soil: "dry"})
		}
		if day == 8 {
			size = len(b.disk.state)
		}
	}
	if got := len(b.disk.state); got > size*11/10 || got > 20_000 {
		t.Errorf("%d bytes after 11 days, %d after 9", got, size)
	}
	v := b.View()
	if len(v.Work.Unsafe) != 1 || v.Setting == nil {
		t.Error("an old failed check or setting was dropped")
	}
	if kept := len(b.state.Driven.By); kept > 2*keepEach {
		t.Errorf("%d counts are kept", kept)
	}
}

func TestViewIsTheCallers(t *testing.T) {
	b := readyBench(t, RoleSpreader)
	v := b.View()
	v.Jobs[0].Job = "changed"
	v.Notices[0].Text = "changed"
	if again := b.View(); reflect.DeepEqual(again.Jobs, v.Jobs) || again.Notices[0].Text == "changed" {
		t.Error("a caller can change the agent's own view")
	}
}
