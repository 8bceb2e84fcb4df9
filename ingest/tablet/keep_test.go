package tablet

import (
	"strings"
	"testing"
	"time"

	"hopperbook/schemas"
)

// TestWhatIsKeptOfOldEntries: a failed safety check blocks however long ago it
// was, also when the check that cleared it is taken back; a load is kept as
// long as its refill.
func TestWhatIsKeptOfOldEntries(t *testing.T) {
	b := readyBench(t, RoleSpreader)
	b.do(DoSetting, setLime)
	b.do(DoCheck, schemas.CheckMachine{Item: "guard", Unit: "-", Pass: false})
	b.do(DoLoad, Load{Product: "lime", Method: "cells", NetKg: num(3000), Refill: true, Residual: &Residual{Method: "empty"}})
	for range keepEach + 10 {
		b.at = b.at.Add(time.Hour)
		b.do(DoCheck, schemas.CheckMachine{Item: "belt_sag", Unit: "mm", Value: 20, Pass: true})
		b.do(DoLoad, Load{Product: "lime", Method: "cells", NetKg: num(100)})
	}
	if n := len(b.View().Work.Unsafe); n != 1 {
		t.Errorf("%d unsafe items after days of other checks", n)
	}
	if kg := b.View().Hopper.Kg; !near(kg, 3000, 0) {
		t.Errorf("hopper %v", kg)
	}
	b.do(DoCheck, schemas.CheckMachine{Item: "guard", Unit: "-", Pass: true})
	if n := len(b.View().Work.Unsafe); n != 0 {
		t.Errorf("%d unsafe items after it was put right", n)
	}
	b.do(DoUndo, Undo{})
	if n := len(b.View().Work.Unsafe); n != 1 {
		t.Errorf("%d unsafe items after that was taken back", n)
	}
}

// TestEventsTheSnapshotHas: a store that hands out more than was asked for
// changes nothing.
func TestEventsTheSnapshotHas(t *testing.T) {
	b := readyBench(t, RoleSpreader)
	b.do(DoLoad, Load{Product: "lime", Method: "cells", NetKg: num(3000), Refill: true, Residual: &Residual{Method: "empty"}})
	s := b.state.clone()
	if err := s.applyAll(b.disk.events); err != nil || len(s.Own) != len(b.state.Own) || len(s.Driven.By) != len(b.state.Driven.By) {
		t.Errorf("%v: %d entries, want %d", err, len(s.Own), len(b.state.Own))
	}
}

// TestTakenBackHereThoughTheOfficeHasIt: copies made before the amendment came.
func TestTakenBackHereThoughTheOfficeHasIt(t *testing.T) {
	b := readyBench(t, RoleSpreader)
	catch := schemas.TestCatch{Product: "lime", GateMm: 60, CollectedKg: 40, BoutWidthM: 10, DistanceM: num(20)}
	b.do(DoCatch, catch)
	caught := catch
	caught.CatchTest = "c-spreader-1-20260302-1"
	b.do(DoUndo, Undo{})
	b.do(DoLoad, Load{Product: "lime", Method: "cells", NetKg: num(10)})
	load := b.View().Waiting[1].Load
	b.do(DoUndo, Undo{})
	p := packet("spreader-1", morning.Add(time.Hour))
	p.Loads = append(p.Loads, schemas.CabLoad{Load: load, Product: "lime", NetKg: 10, At: morning})
	p.Catch = []schemas.CabTest{{At: morning, Data: []byte(`{"catch_test":"c-spreader-1-20260302-1","product":"lime"}`)},
		{At: morning, Data: []byte(`{"catch_test":"c-old","product":"lime"}`)}}
	if err := b.TakePacket(p); err != nil {
		t.Fatal(err)
	}
	if w := b.View().Waiting; len(w) != 1 || w[0].Load != "from-loader" {
		t.Errorf("waiting %+v", w)
	}
	done := b.do(DoCatch, catch)
	if r := done.Result.(CatchResult); r.Findings[0] != "1 earlier" {
		t.Errorf("result %+v", r)
	}
}

func TestDensityTestGivesTheLevelItsMass(t *testing.T) {
	b := readyBench(t, RoleSpreader)
	b.do(DoDensity, schemas.TestDensity{Product: "lime", MassKg: 12, VolumeL: 10})
	b.do(DoRefill, Refill{Product: "lime", Residual: Residual{Method: "level", Share: num(0.5)}})
	if !strings.Contains(b.last(), `"residual_kg":3600`) {
		t.Errorf("refill %s", b.last())
	}
	if d := b.View().Products[0].BulkDensityKgM3; !near(d, 1200, 1e-9) {
		t.Errorf("bulk density %v", *d)
	}
}

// TestFlowRatioIsOfTheLastRuns: an old run does not count for ever.
func TestFlowRatioIsOfTheLastRuns(t *testing.T) {
	b := readyBench(t, RoleSpreader)
	b.do(DoSetting, setLime)
	b.do(DoRefill, Refill{Product: "lime", ToldKg: num(3000), Residual: Residual{Method: "empty"}})
	for _, out := range []float64{1200, 2000, 2000, 2000} { // kg over 2000 nominal
		b.drive(100, 0, 201, true, true)
		b.do(DoRefill, Refill{Product: "lime", ToldKg: num(3000), Residual: Residual{Method: "cells", Kg: num(3000 - out)}})
		b.do(DoUndo, Undo{}) // and again, as it happens
		b.do(DoRefill, Refill{Product: "lime", ToldKg: num(out), Residual: Residual{Method: "cells", Kg: num(3000 - out)}})
	}
	if v := b.View(); !near(v.Rate.NowKgHa, 2000, 1) || len(v.Rate.Series) != 4 {
		t.Errorf("now %v, series %+v", *v.Rate.NowKgHa, v.Rate.Series)
	}
}

func TestALoadersRefillsAreNotItsOwn(t *testing.T) {
	b := readyBench(t, RoleLoader)
	b.do(DoRefill, Refill{Product: "lime", For: "spreader-2", Residual: Residual{Method: "empty"}})
	if b.HopperEmpty() || len(b.book.refills) != 0 {
		t.Error("a loader has a hopper")
	}
}

// cycle spreads 1000 m and reads what is left: kg went out.
func (b *bench) cycle(p schemas.ProductID, kg float64) {
	b.t.Helper()
	b.do(DoRefill, Refill{Product: p, ToldKg: num(kg), Residual: Residual{Method: "empty"}, Confirm: true})
	b.drive(100, 0, 201, true, true)
}

func TestRunsOfOneProduct(t *testing.T) {
	b := readyBench(t, RoleSpreader)
	b.do(DoSetting, schemas.SettingChanged{Product: "urea", BoutWidthM: 10, SetRateKgHa: 2000})
	b.do(DoSetting, setLime)
	b.cycle("urea", 1900)
	for range seriesOfLoads + 2 {
		b.cycle("lime", 2100)
	}
	b.do(DoRefill, Refill{Product: "lime", ToldKg: num(1000), Residual: Residual{Method: "empty"}})
	b.do(DoRefill, Refill{Product: "urea", ToldKg: num(1000), Residual: Residual{Method: "unknown"}})
	b.drive(200, 0, 201, true, true)
	b.do(DoRefill, Refill{Product: "lime", Residual: Residual{Method: "empty"}}) // 2000 kg of both: says nothing
	h := b.book.balance(b.live.By)
	if n := len(h.runs); n != seriesOfLoads+3 {
		t.Errorf("%d runs", n)
	}
	r := b.View().Rate
	if len(r.Series) != seriesOfLoads || !near(r.LastKgHa, 2100, 1) {
		t.Errorf("series of %d, last %v", len(r.Series), *r.LastKgHa)
	}
	b.do(DoSetting, schemas.SettingChanged{Product: "urea", BoutWidthM: 10, SetRateKgHa: 2000})
	if r := b.View().Rate; len(r.Series) != 1 || !near(r.LastKgHa, 1900, 1) {
		t.Errorf("urea: %+v", r.Series)
	}
}

func TestSmallThingsOfTheView(t *testing.T) {
	b := readyBench(t, RoleSpreader)
	b.do(DoPick, Pick{Job: "j1", Field: "home"})
	b.do(DoStart, Start{})
	b.do(DoWeather, schemas.WeatherNoted{Soil: "dry"})
	b.disk.confirmed = 1
	if l := b.View().Last; l[0].Sent || !l[1].Sent {
		t.Errorf("sent %v %v", l[0].Sent, l[1].Sent)
	}
	p := packet("spreader-1", b.at.Add(jobHolds-time.Hour)) // still says ordered
	p.Fields = append(p.Fields, schemas.RegisterField{Field: "a-strip", Customer: "c1", Name: "Strip", Boundary: square(0, 0, 100)},
		schemas.RegisterField{Field: "z-strip", Customer: "c1", Name: "Strip", Boundary: square(0, 0, 100)})
	p.Products = nil
	for id, n := range map[schemas.ProductID]float64{"nitrate": 33.5, "can": 24, "urea46": 46} {
		p.Products = append(p.Products, schemas.RegisterProduct{Product: id, Form: "granular", Analysis: &schemas.Analysis{NPct: num(n)}})
	}
	take := func() {
		t.Helper()
		if err := b.TakePacket(p); err != nil {
			t.Fatal(err)
		}
	}
	take()
	if s := b.jobState("j1"); s != "started" {
		t.Errorf("the start is on its way: %s", s)
	}
	b.OnFix(fixAt(b.at, 50, 50, false), "switch")
	if in := b.View().Work.InField; in != "a-strip" {
		t.Errorf("in %s of three that hold the place", in)
	}
	for _, v := range b.View().Products {
		if v.Ammonium != (v.Product == "nitrate") {
			t.Errorf("%s: caution %v", v.Product, v.Ammonium)
		}
	}
	p.At, p.Jobs[0].State = p.At.Add(2*time.Hour), "finished"
	take()
	if s := b.jobState("j1"); s != "finished" {
		t.Errorf("the office has known better for long: %s", s)
	}
}

func TestALoaderServesManyJobs(t *testing.T) {
	b := readyBench(t, RoleLoader)
	b.do(DoPick, Pick{Job: "j1"})
	b.do(DoLoad, Load{Product: "urea", Method: "cells", NetKg: num(10), For: "spreader-2"})
}
