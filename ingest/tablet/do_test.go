package tablet

import (
	"errors"
	"math"
	"strings"
	"testing"
	"time"

	"github.com/tidwall/gjson"

	"hopperbook/schemas"
	"hopperbook/schemas/fault"
)

var nan = math.NaN()

var setLime = schemas.SettingChanged{Product: "lime", BoutWidthM: 10, SetRateKgHa: 2000, GateMm: num(60)}

func TestCommandsMakeTheContractsEvents(t *testing.T) {
	for _, c := range []struct {
		name, do string
		body     any
		typ      schemas.EventType
		want     string // gjson path = value, of the event's data
	}{
		{"lifts less their tare", DoLoad, Load{Product: "lime", Method: "bucket", LiftsKg: []float64{1200.5, 1300.2}, TareKg: num(200)}, schemas.TypeLoadWeighed, "net_kg=2100.7 lifts_kg.0=1000.5 method=bucket load=l-spreader-1-20260302-1"},
		{"one weighbridge lift keeps gross and tare", DoLoad, Load{Product: "lime", Method: "weighbridge", LiftsKg: []float64{9000}, TareKg: num(4000)}, schemas.TypeLoadWeighed, "net_kg=5000 gross_kg=9000 tare_kg=4000"},
		{"a number of the cells", DoLoad, Load{Product: "lime", Method: "cells", NetKg: num(4321)}, schemas.TypeLoadWeighed, "net_kg=4321 method=cells"},
		{"a volume", DoLoad, Load{Product: "lime", VolumeM3: num(2.5)}, schemas.TypeLoadWeighed, "net_kg=2500 method=volume bulk_density_kg_m3=1000 volume_m3=2.5"},
		{"docket, stockpile, scale", DoLoad, Load{Product: "lime", NetKg: num(1), Method: "cells", Docket: "d1", Stockpile: "s1", Scale: "sc"}, schemas.TypeLoadWeighed, "docket=d1 stockpile=s1 scale=sc"},
		{"the office's load over an empty hopper", DoRefill, Refill{Loads: []schemas.LoadID{"from-loader"}, Residual: Residual{Method: "empty"}}, schemas.TypeHopperRefilled, "loads.0=from-loader residual_kg=0 residual_method=empty told_kg=4000 product=lime refill=r-spreader-1-20260302-1"},
		{"a level picture", DoRefill, Refill{Residual: Residual{Method: "level", Share: num(0.25)}, Product: "lime"}, schemas.TypeHopperRefilled, "loads.#=0 residual_kg=1500 residual_sd_kg=300 residual_method=level"},
		{"the cells' number", DoRefill, Refill{Residual: Residual{Method: "cells", Kg: num(730)}, Product: "lime"}, schemas.TypeHopperRefilled, "residual_kg=730 residual_method=cells"},
		{"told by the loader's driver: no reading in the books", DoRefill, Refill{Residual: Residual{Method: "empty"}, ToldKg: num(3000), Product: "lime"}, schemas.TypeHopperRefilled, "loads.#=0 residual_method=unknown told_kg=3000 told_residual_kg=0 residual_kg="},
		{"setting", DoSetting, setLime, schemas.TypeSettingChanged, "product=lime bout_width_m=10 gate_mm=60"},
		{"density", DoDensity, schemas.TestDensity{Product: "lime", MassKg: 11, VolumeL: 10}, schemas.TypeTestDensity, "mass_kg=11"},
		{"catch", DoCatch, schemas.TestCatch{Product: "lime", GateMm: 60, CollectedKg: 40, BoutWidthM: 10, DistanceM: num(20)}, schemas.TypeTestCatch, "catch_test=c-spreader-1-20260302-1"},
		{"trays, one missing", DoTray, `{"product":"lime","bout_width_m":10,"tray_spacing_m":1,"tray_width_m":0.5,"tray_length_m":0.5,"masses_g":[1,null,3]}`, schemas.TypeTestTray, "masses_g.#=3 masses_g.1= tray_test=t-spreader-1-20260302-1"},
		{"check", DoCheck, schemas.CheckMachine{Item: "guard", Value: 0, Unit: "mm", Pass: true}, schemas.TypeCheckMachine, "item=guard pass=true"},
		{"weather", DoWeather, schemas.WeatherNoted{WindMS: 3, Soil: "dry"}, schemas.TypeWeatherNoted, "soil=dry"},
		{"notice", DoNotice, Ack{"n1"}, schemas.TypeNoticeAcknowledged, "notice=n1 kind=check machine=spreader-1"},
	} {
		t.Run(c.name, func(t *testing.T) {
			b := readyBench(t, RoleSpreader)
			done := b.do(c.do, c.body)
			if done.Type != c.typ || done.Event == "" {
				t.Errorf("did %+v, want %s", done, c.typ)
			}
			data := b.last()
			for pair := range strings.FieldsSeq(c.want) {
				path, want, _ := strings.Cut(pair, "=")
				if got := gjson.Get(data, path).String(); got != want {
					t.Errorf("%s is %q, want %q in %s", path, got, want, data)
				}
			}
		})
	}
}

func TestRefusals(t *testing.T) {
	long := schemas.Operator(strings.Repeat("a", 300))
	for _, c := range []struct {
		key, do string
		body    any
	}{
		{KeyBody, "fly", Who{}},
		{KeyBody, DoLoad, `{"lifts_kg":"many"}`},
		{KeyBody, DoLoad, `[`},
		{KeyBody, DoTry, Try{Test: "spread"}},
		{KeyBody, DoTry, `{"test":"catch","data":7}`},
		{KeyContract, DoLoad, Load{Product: "lime", Method: "guess", NetKg: num(5)}},
		{KeyContract, DoLoad, Load{Product: "lime", Method: "cells", NetKg: num(300000), Confirm: true}},
		{KeyContract, DoSetting, schemas.SettingChanged{Product: "lime", BoutWidthM: 500}},
		{KeyContract, DoWeather, schemas.WeatherNoted{Soil: "lava"}},
		{KeyContract, DoCheck, schemas.CheckMachine{Item: "engine", Unit: "x"}},
		{KeyContract, DoWho, Who{long}},
		{KeyNoProduct, DoLoad, Load{Product: "gravel", Method: "cells", NetKg: num(5)}},
		{KeyNoProduct, DoLoad, Load{Method: "cells", NetKg: num(5)}},
		{KeyNoMass, DoLoad, Load{Product: "lime", Method: "cells"}},
		{KeyNegative, DoLoad, Load{Product: "lime", Method: "cells", NetKg: num(-5), Confirm: true}},
		{KeyNegative, DoLoad, Load{Product: "lime", LiftsKg: []float64{100}, TareKg: num(200), Confirm: true}},
		{KeyNegative, DoLoad, Load{Product: "lime", LiftsKg: []float64{100}, TareKg: num(-1)}},
		{KeyNegative, DoRefill, Refill{Product: "lime", Residual: Residual{Method: "cells", Kg: num(-1)}}},
		{KeyNegative, DoRefill, Refill{Product: "lime", ToldKg: num(-1)}},
		{KeyNoDensity, DoLoad, Load{Product: "urea", VolumeM3: num(2)}},
		{KeyNoHopper, DoRefill, Refill{Product: "urea", Residual: Residual{Method: "level", Share: num(0.5)}}},
		{KeyLoadZero, DoLoad, Load{Product: "lime", Method: "cells", NetKg: num(0)}},
		{KeyLoadTooBig, DoLoad, Load{Product: "lime", Method: "cells", NetKg: num(6601)}},
		{KeyOverFull, DoRefill, Refill{Loads: []schemas.LoadID{"from-loader"}, Residual: Residual{Method: "cells", Kg: num(2601)}}},
		{KeyNoLoad, DoRefill, Refill{Loads: []schemas.LoadID{"nowhere"}, Residual: Residual{Method: "empty"}}},
		{KeyNoLoad, DoRefill, Refill{Loads: []schemas.LoadID{"from-loader", "from-loader"}, Residual: Residual{Method: "empty"}}},
		{KeyNoReading, DoRefill, Refill{Product: "lime", Residual: Residual{Method: "unknown"}}},
		{KeyResidual, DoRefill, Refill{Product: "lime", Residual: Residual{Method: "sniffed"}}},
		{KeyResidual, DoRefill, Refill{Product: "lime", Residual: Residual{Method: "cells"}}},
		{KeyResidual, DoRefill, Refill{Product: "lime", Residual: Residual{Method: "level", Share: num(1.2)}}},
		{KeyNoSpreader, DoRefill, Refill{Product: "lime", For: "spreader-2", Residual: Residual{Method: "empty"}}},
		{KeyNoSpreader, DoLoad, Load{Product: "lime", Method: "cells", NetKg: num(5), For: "loader-1"}},
		{KeyNoJob, DoPick, Pick{Job: "j9"}},
		{KeyNoField, DoPick, Pick{Job: "j1", Field: "none"}},
		{KeyNoJob, DoStart, Start{}},
		{KeyNotStarted, DoFinish, Start{}},
		{KeyUndoNothing, DoUndo, Undo{}},
		{KeyUndoUnknown, DoUndo, Undo{Event: "01ARZ3NDEKTSV4RRFFQ69G5FAV"}},
		{KeyNoNotice, DoNotice, Ack{"n2"}},
		{KeyTest, DoDensity, schemas.TestDensity{Product: "lime", MassKg: 13, VolumeL: 10}},
		{KeyTest, DoCatch, schemas.TestCatch{Product: "lime"}},
		{KeyTest, DoTray, schemas.TestTray{Product: "lime"}},
	} {
		r := readyBench(t, RoleSpreader).refused(c.key, c.do, c.body)
		if asks := c.key == KeyLoadZero || c.key == KeyLoadTooBig || c.key == KeyOverFull; r.Confirm != asks || r.Text == "" {
			t.Errorf("%s: %+v", c.key, r)
		}
	}
}

func TestWhatIsNotPlausibleIsAskedOnce(t *testing.T) {
	b := readyBench(t, RoleSpreader)
	r := b.refused(KeyLoadTooBig, DoLoad, Load{Product: "lime", Method: "cells", NetKg: num(7000)})
	if r.Values["kg"] != 7000 || math.Abs(r.Values["limit_kg"]-6600) > 1e-9 {
		t.Errorf("values %v", r.Values)
	}
	b.do(DoLoad, Load{Product: "lime", Method: "cells", NetKg: num(7000), Confirm: true})
	b.do(DoLoad, Load{Product: "lime", Method: "cells", NetKg: num(0), Confirm: true})
	b.do(DoPick, Pick{Job: "j1"})
	b.refused(KeyOtherProduct, DoLoad, Load{Product: "urea", Method: "cells", NetKg: num(10)})
	b.do(DoLoad, Load{Product: "urea", Method: "cells", NetKg: num(10), Confirm: true})
	if n := len(b.View().Waiting); n != 4 {
		t.Errorf("%d loads wait, want 3 and the office's", n)
	}
}

func TestLoadAndRefillAtOnce(t *testing.T) {
	b := readyBench(t, RoleSpreader)
	b.do(DoLoad, Load{Product: "lime", Method: "cells", NetKg: num(3000), Refill: true, Residual: &Residual{Method: "cells", Kg: num(500)}})
	if len(b.disk.events) != 2 || b.disk.writes != 2 { // the packet, then both in one transaction
		t.Fatalf("%d events in %d writes", len(b.disk.events), b.disk.writes)
	}
	if got := gjson.Get(b.last(), "loads.0").Str; got != "l-spreader-1-20260302-1" {
		t.Errorf("the refill names %q", got)
	}
	v := b.View()
	if *v.Hopper.Kg != 3500 || *v.Hopper.LoadedKg != 3000 || v.Hopper.LastKnown != "cells" || math.Abs(*v.Hopper.Share-3500.0/6000) > 1e-9 {
		t.Errorf("hopper %+v", v.Hopper)
	}
	b.refused(KeyNoLoad, DoRefill, Refill{Loads: []schemas.LoadID{"l-spreader-1-20260302-1"}, Residual: Residual{Method: "empty"}})
	b.refused(KeyOverFull, DoLoad, Load{Product: "lime", Method: "cells", NetKg: num(6000), Refill: true, Residual: &Residual{Method: "cells", Kg: num(1000)}})
}

func TestStartNeedsSafeMachineOrSomebodyWhoAnswers(t *testing.T) {
	b := readyBench(t, RoleSpreader)
	b.do(DoPick, Pick{Job: "j1", Field: "home"})
	b.do(DoCheck, schemas.CheckMachine{Item: "guard", Unit: "-", Pass: false})
	if v := b.View(); len(v.Work.Unsafe) != 1 || v.Work.State != "picked" {
		t.Errorf("work %+v", v.Work)
	}
	b.refused(KeySafety, DoStart, Start{})
	b.refused(KeyNoOperator, DoStart, Start{OverrideReason: "harvest waits"})
	b.do(DoWho, Who{"R. Moss"})
	b.do(DoStart, Start{OverrideReason: "harvest waits"})
	if got := gjson.Get(b.last(), "override").Raw; got != `{"reason":"harvest waits","operator":"R. Moss"}` {
		t.Errorf("override %s", got)
	}
	b.refused(KeyStarted, DoStart, Start{})
	b.do(DoFinish, struct{}{})
	b.do(DoCheck, schemas.CheckMachine{Item: "guard", Unit: "-", Pass: true})
	b.do(DoPick, Pick{Job: "j1", Field: "home"})
	b.do(DoStart, Start{OverrideReason: "not needed any more"})
	if gjson.Get(b.last(), "override").Exists() {
		t.Error("an override that nothing needed is in the event")
	}
}

func TestACheckTakenBackBlocksNoMore(t *testing.T) {
	b := readyBench(t, RoleSpreader)
	done := b.do(DoCheck, schemas.CheckMachine{Item: "guard", Unit: "-", Pass: false})
	checked := b.View().Last[0].At
	b.do(DoUndo, Undo{Event: done.Event})
	p := packet("spreader-1", morning.Add(time.Hour)) // the office has the check, and not yet the amendment
	p.Checks = []schemas.CabTest{{At: checked, Data: []byte(`{"item":"guard","value":0,"unit":"-","pass":false}`)}}
	if err := b.TakePacket(p); err != nil {
		t.Fatal(err)
	}
	if n := len(b.View().Work.Unsafe); n != 0 {
		t.Errorf("%d unsafe items", n)
	}
	b.at = b.at.Add(time.Hour)
	p.At, p.Checks[0].At = p.At.Add(time.Minute), checked.Add(time.Minute) // another one the office noted
	if err := b.TakePacket(p); err != nil {
		t.Fatal(err)
	}
	if n := len(b.View().Work.Unsafe); n != 1 {
		t.Errorf("%d unsafe items, want the office's", n)
	}
}

func TestUndo(t *testing.T) {
	b := readyBench(t, RoleSpreader)
	b.do(DoLoad, Load{Product: "lime", Method: "cells", NetKg: num(3000), Refill: true, Residual: &Residual{Method: "empty"}})
	load, refill := b.View().Last[1], b.View().Last[0]
	if u := b.View().Undo; u == nil || u.Event != refill.Event || *u.Kg != 3000 {
		t.Fatalf("undo would take back %+v", u)
	}
	b.do(DoUndo, Undo{})
	if got := b.last(); got != `{"amends":"`+string(refill.Event)+`","action":"void","reason":"taken back on the tablet"}` {
		t.Errorf("amendment %s", got)
	}
	v := b.View()
	if v.Hopper.Kg != nil || len(v.Waiting) != 2 || !v.Last[0].Undone || v.Undo.Event != load.Event {
		t.Errorf("after undoing the refill: hopper %+v, waiting %v, last %+v", v.Hopper, v.Waiting, v.Last)
	}
	b.refused(KeyUndoTwice, DoUndo, Undo{Event: refill.Event})
	b.do(DoUndo, Undo{Event: load.Event, Reason: "wrong bucket"})
	if v := b.View(); len(v.Waiting) != 1 || v.Undo != nil {
		t.Errorf("after undoing the load: waiting %v, undo %v", v.Waiting, v.Undo)
	}
	b.refused(KeyUndoNothing, DoUndo, Undo{})
	b.do(DoWeather, schemas.WeatherNoted{Soil: "dry"})
	b.at = b.at.Add(25 * time.Hour)
	old := b.View().Last[0].Event
	b.refused(KeyUndoOld, DoUndo, Undo{Event: old})
	if b.View().Undo != nil {
		t.Error("an old entry is offered")
	}
	note := b.do(DoNotice, Ack{"n1"})
	b.refused(KeyUndoUnknown, DoUndo, Undo{Event: note.Event})
}

func TestUndoOfALoadInTheHopperEmptiesIt(t *testing.T) {
	b := readyBench(t, RoleSpreader)
	load := b.do(DoLoad, Load{Product: "lime", Method: "cells", NetKg: num(3000), Refill: true, Residual: &Residual{Method: "cells", Kg: num(200)}})
	b.do(DoUndo, Undo{Event: load.Event})
	if v := b.View(); *v.Hopper.Kg != 200 || *v.Hopper.LoadedKg != 0 {
		t.Errorf("hopper %v kg, loaded %v", *v.Hopper.Kg, *v.Hopper.LoadedKg)
	}
}

func TestUndoOfWork(t *testing.T) {
	b := readyBench(t, RoleSpreader)
	b.do(DoPick, Pick{Job: "j1", Field: "home"})
	b.do(DoStart, Start{})
	b.refused(KeyFinishFirst, DoPick, Pick{Job: "j2"})
	b.do(DoFinish, struct{}{})
	if v := b.View(); v.Work.State != "idle" || b.jobState("j1") != "finished" {
		t.Errorf("work %+v, jobs %+v", v.Work, v.Jobs)
	}
	b.do(DoUndo, Undo{})
	if v := b.View(); v.Work.State != "working" || v.Work.Job != "j1" || b.jobState("j1") != "started" {
		t.Errorf("after undoing the finish: %+v", v.Work)
	}
	b.do(DoUndo, Undo{})
	if v := b.View(); v.Work.State != "idle" || b.jobState("j1") != "ordered" {
		t.Errorf("after undoing the start: %+v", v.Work)
	}
}

func (b *bench) jobState(id schemas.JobID) string {
	for _, v := range b.View().Jobs {
		if v.Job == id {
			return v.State
		}
	}
	return ""
}

func TestLoaderFillsSeveralSpreaders(t *testing.T) {
	b := readyBench(t, RoleLoader)
	b.refused(KeyRole, DoStart, Start{})
	b.refused(KeyRole, DoSetting, setLime)
	b.refused(KeyLoadTooBig, DoLoad, Load{Product: "lime", Method: "cells", NetKg: num(5000), For: "spreader-2"}) // 4 m3
	b.do(DoLoad, Load{Product: "lime", Method: "cells", NetKg: num(5000), For: "spreader-1"})
	b.do(DoLoad, Load{Product: "lime", Method: "cells", NetKg: num(4000), For: "spreader-2"})
	v := b.View()
	if len(v.Waiting) != 3 || v.Waiting[1].For != "spreader-1" || len(v.Spreader) != 2 || v.Hopper.Kg != nil {
		t.Fatalf("waiting %+v, spreaders %+v", v.Waiting, v.Spreader)
	}
	b.refused(KeyNoSpreader, DoRefill, Refill{Loads: []schemas.LoadID{v.Waiting[2].Load}, Residual: Residual{Method: "empty"}})
	b.do(DoRefill, Refill{Loads: []schemas.LoadID{v.Waiting[2].Load}, For: "spreader-2", Residual: Residual{Method: "empty"}})
	if got := gjson.Get(b.last(), "machine").Str; got != "spreader-2" {
		t.Errorf("the refill is of %q", got)
	}
	if v := b.View(); len(v.Waiting) != 2 || v.Hopper.Kg != nil {
		t.Errorf("waiting %+v", v.Waiting)
	}
}

func TestALoadUsedElsewhereWaitsNoMore(t *testing.T) {
	b := readyBench(t, RoleLoader)
	b.do(DoLoad, Load{Product: "lime", Method: "cells", NetKg: num(4000), For: "spreader-2"})
	b.disk.confirmed = 1
	if n := len(b.View().Waiting); n != 2 {
		t.Fatalf("%d wait before newer copies", n)
	}
	p := packet("loader-1", morning.Add(time.Hour))
	p.Loads = nil
	if err := b.TakePacket(p); err != nil {
		t.Fatal(err)
	}
	if n := len(b.View().Waiting); n != 0 {
		t.Errorf("%d wait; a spreader's tablet has taken them", n)
	}
	b.disk.confirmed = 0
	if n := len(b.View().Waiting); n != 1 {
		t.Errorf("%d wait; the book does not have the load yet", n)
	}
}

func TestDiskTroubleIsToldAndLeavesNothing(t *testing.T) {
	b := readyBench(t, RoleSpreader)
	weather := schemas.WeatherNoted{Soil: "dry"}
	b.disk.fail = fault.Newf("store", fault.Full, "no room", "")
	b.refused(KeyDiskFull, DoWeather, weather)
	b.disk.fail = errors.New("input/output error")
	b.refused(KeyDisk, DoWho, Who{"R. Moss"})
	b.do(DoWeather, weather)
	if v := b.View(); len(v.Last) != 1 || v.Operator != "" {
		t.Errorf("last %v operator %q", v.Last, v.Operator)
	}
}

func TestIdentifiersNeverRepeat(t *testing.T) {
	b := readyBench(t, RoleSpreader)
	seen := map[string]bool{}
	for i := range 30 {
		b.do(DoLoad, Load{Product: "lime", Method: "cells", NetKg: num(10)})
		id := gjson.Get(b.last(), "load").Str
		if seen[id] {
			t.Fatalf("%s was given twice", id)
		}
		seen[id] = true
		switch i % 4 {
		case 0:
			b.do(DoUndo, Undo{})
		case 1:
			b.restart()
		case 2:
			b.at = b.at.Add(-36 * time.Hour) // the device's clock is set back over a day
		case 3:
			b.disk.state = nil // a snapshot of another program version: only the events are left
			b.restart()
		}
	}
	var before time.Time
	for _, e := range b.disk.events {
		read, _ := schemas.Read(e.Raw)
		if !read.Time.After(before) {
			t.Fatalf("event %s is not later than the one before", read.ID)
		}
		before = read.Time
	}
}

func TestLocalDayAndLongNames(t *testing.T) {
	b := readyBench(t, RoleSpreader)
	b.at = time.Date(2026, 3, 2, 14, 30, 0, 0, time.UTC) // 00:30 the next day in the machine's time zone
	b.do(DoLoad, Load{Product: "lime", Method: "cells", NetKg: num(10)})
	if id := gjson.Get(b.last(), "load").Str; id != "l-spreader-1-20260303-1" {
		t.Errorf("identifier %s", id)
	}
	b.cfg.Device, b.cfg.Install = schemas.DeviceID(strings.Repeat("d", 48)), "k7"
	b.cfg.TimeZone = "Australia/Brisbane"
	b.restart()
	b.do(DoLoad, Load{Product: "lime", Method: "cells", NetKg: num(10), Confirm: true})
	if id := gjson.Get(b.last(), "load").Str; len(id) != 64 || !strings.HasSuffix(id, "-20260303-k7-2") {
		t.Errorf("identifier %s of %d", id, len(id))
	}
}
