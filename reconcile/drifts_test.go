package reconcile

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"hopperbook/reconcile/calibration"
	"hopperbook/schemas"
)

// offFrom15 is a season whose flow falls by 12 % at load 15 of 32.
func offFrom15() *world {
	return season(8, func(load int) float64 {
		if load >= 15 {
			return 0.88
		}
		return 1
	})
}

// before moves the clock to a second before refill n, after to a second after it.
func (w *world) before(n int) { w.clock = w.in.Refills[n-1].Time.Add(-time.Second) }
func (w *world) after(n int)  { w.clock = w.in.Refills[n-1].Time.Add(time.Second) }

func (w *world) catch(id schemas.TestID, gateMm, kgCaught float64) {
	w.in.Catches = append(w.in.Catches, meta(w, "sp1", schemas.TestCatch{CatchTest: id, Product: "super", GateMm: gateMm, CollectedKg: kgCaught, BoutWidthM: boutM, DistanceM: kg(250)}))
}

func (w *world) setting(change func(*schemas.SettingChanged)) {
	d := schemas.SettingChanged{Product: "super", BoutWidthM: boutM, SetRateKgHa: rateKgHa}
	change(&d)
	w.in.Settings = append(w.in.Settings, meta(w, "sp1", d))
}

// names is a setting under a catch test.
func names(id schemas.TestID) func(*schemas.SettingChanged) {
	return func(d *schemas.SettingChanged) { d.CatchTest = id }
}

// What ends a series and what does not; the flow falls at load 15, and what
// happens happens there.
func TestWhatBeginsANewSeries(t *testing.T) {
	for _, c := range []struct {
		name   string
		happen func(w *world)
		series []schemas.TestID // their catch tests
		loads  int              // of the last
	}{
		{"nothing", func(*world) {}, []schemas.TestID{"T1"}, 32},
		{"the gate is moved under the same test", func(w *world) {
			w.before(15)
			w.setting(func(d *schemas.SettingChanged) { d.CatchTest, d.GateMm = "T1", kg(70) })
		}, []schemas.TestID{"T1"}, 32},
		{"discs and gear are changed, no test is named", func(w *world) {
			w.before(15)
			w.setting(func(d *schemas.SettingChanged) { d.DiscSet, d.BeltGear = "powder", "2" })
		}, []schemas.TestID{"T1"}, 32},
		{"the setting names a test", func(w *world) { w.before(15); w.setting(names("T2")) }, []schemas.TestID{"T1", "T2"}, 18},
		{"the setting names a test that was never made", func(w *world) { w.before(15); w.setting(names("T9")) }, []schemas.TestID{"T1", "T2"}, 18},
		{"a setting of another product names it", func(w *world) {
			w.before(15)
			w.setting(func(d *schemas.SettingChanged) { d.Product, d.CatchTest = "urea", "T2" })
		}, []schemas.TestID{"T1"}, 32},
		{"a test is made", func(w *world) { w.before(15); w.catch("T3", 60, 100) }, []schemas.TestID{"T1", "T3"}, 18},
		{"a test is made over the full hopper", func(w *world) { w.after(15); w.catch("T3", 60, 100) }, []schemas.TestID{"T1", "T3"}, 18},
		{"a test of another product is made", func(w *world) {
			w.before(15)
			w.catch("T3", 60, 100)
			w.in.Catches[2].Data.Product = "urea"
		}, []schemas.TestID{"T1"}, 32},
		{"there, and at load 20 back to the first", func(w *world) {
			w.before(15)
			w.setting(names("T2"))
			w.before(20)
			w.setting(names("T1"))
		}, []schemas.TestID{"T1", "T2", "T1"}, 13},
	} {
		w := offFrom15()
		w.clock = day.Add(-2 * time.Hour)
		w.catch("T1", 60, 100)
		w.catch("T2", 62, 103)
		w.clock = day.Add(-time.Hour)
		w.setting(names("T1"))
		c.happen(w)
		drifts := run(t, w.in).Drifts
		if len(drifts) != len(c.series) {
			t.Errorf("%s: %d series, want %d", c.name, len(drifts), len(c.series))
			continue
		}
		for i, d := range drifts {
			if d.CatchTest != c.series[i] || d.Since.IsZero() || len(d.Points) != d.Loads {
				t.Errorf("%s: series %d stands on %s since %v with %d of %d points", c.name, i, d.CatchTest, d.Since, len(d.Points), d.Loads)
			}
		}
		if last := drifts[len(drifts)-1]; last.Loads != c.loads {
			t.Errorf("%s: %d loads in the last series, want %d", c.name, last.Loads, c.loads)
		}
		if len(drifts) == 1 {
			d := drifts[0]
			if d.State != "recalibrate" || d.ChangeLoad != 15 || d.ChangeLoadLow > 15 || d.ChangeLoadHigh < 15 || d.ChangeLoadLow < 13 || d.ChangeLoadHigh > 17 {
				t.Errorf("%s: %s since load %d (%d to %d)", c.name, d.State, d.ChangeLoad, d.ChangeLoadLow, d.ChangeLoadHigh)
			}
		}
	}
}

// The opening to try is on the line through the tested ones and never beyond
// them; flow here is 100 kg at 60 mm, in proportion to the opening.
func TestGateToTry(t *testing.T) {
	for _, c := range []struct {
		name  string
		gates []float64 // tested
		make  func(w *world)
		try   float64 // 0: none
	}{
		{"between tested openings", []float64{40, 60, 80}, nil, 60 / 0.88},
		{"beyond them", []float64{40, 60, 66}, nil, 0},
		{"one opening", []float64{60}, nil, 0},
		{"the setting's opening counts", []float64{40, 60, 80}, func(w *world) {
			w.setting(func(d *schemas.SettingChanged) { d.CatchTest, d.GateMm = "T60", kg(44) })
		}, 44 / 0.88},
		{"it lies outside the tested ones", []float64{40, 60, 80}, func(w *world) {
			w.setting(func(d *schemas.SettingChanged) { d.CatchTest, d.GateMm = "T60", kg(39) })
		}, 0},
		{"another gear than tested", []float64{40, 60, 80}, func(w *world) {
			for i := range w.in.Catches {
				w.in.Catches[i].Data.BeltGear = "1"
			}
			w.setting(func(d *schemas.SettingChanged) { d.CatchTest, d.BeltGear = "T60", "2" })
		}, 0},
		{"the other openings were tested in another gear", []float64{40, 60, 80}, func(w *world) {
			w.in.Catches[2].Data.BeltGear, w.in.Catches[0].Data.BeltGear = "2", "2"
		}, 0},
		{"the other openings were tested with other discs", []float64{40, 60, 80}, func(w *world) {
			w.in.Catches[2].Data.DiscSet, w.in.Catches[0].Data.DiscSet = "powder", "powder"
		}, 0},
		{"weighed with the bucket", []float64{40, 60, 80}, func(w *world) {
			w.in.Catches[2].Data.CollectedKg, w.in.Catches[2].Data.TareKg = w.in.Catches[2].Data.CollectedKg+50, kg(50)
		}, 60 / 0.88},
		{"tests by time", []float64{40, 60, 80}, func(w *world) {
			for i := range w.in.Catches {
				w.in.Catches[i].Data.DistanceM, w.in.Catches[i].Data.TimeS = nil, kg(60)
			}
		}, 60 / 0.88},
		{"an opening that gave nothing", []float64{40, 60, 80}, func(w *world) { w.in.Catches[0].Data.CollectedKg = 0 }, 60 / 0.88},
	} {
		w := offFrom15()
		w.clock = day.Add(-2 * time.Hour)
		for _, gate := range c.gates {
			w.catch(schemas.TestID(fmt.Sprintf("T%g", gate)), gate, 100*gate/60)
		}
		w.clock = day.Add(-time.Hour)
		w.setting(names("T60"))
		if c.make != nil {
			w.clock = day.Add(time.Second) // after the season's own setting
			c.make(w)
		}
		d := run(t, w.in).Drifts[0]
		if d.State != "recalibrate" {
			t.Fatalf("%s: %s", c.name, d.State)
		}
		if (d.GateTry != nil) != (c.try > 0) {
			t.Errorf("%s: %+v", c.name, d.GateTry)
			continue
		}
		if c.try > 0 { // the size is known to half a per cent
			near(t, c.name, d.GateTry.TryMm, c.try, 0.006*c.try+0.05)
		}
	}
}

// Whatever the curve, the opening to try has 1 / (1 + size) of the flow of the
// one now set: found here by walking along the curve in steps of 0.01 mm.
func TestGateToTryByWalking(t *testing.T) {
	rng := rand.New(rand.NewPCG(21, 21))
	none := 0
	for range 300 {
		var tests []calibration.GateTest
		gate, flow := 20.0, 10.0
		for range 2 + rng.IntN(4) {
			gate, flow = gate+5+20*rng.Float64(), flow+1+30*rng.Float64()
			tests = append(tests, calibration.GateTest{Product: "super", GateMm: gate, CatchTest: calibration.CatchTest{CollectedKg: []float64{flow}, DistanceM: 100}})
		}
		curves, err := calibration.Curves(tests)
		if err != nil {
			t.Fatal(err)
		}
		c := curves[0]
		from, to := c.Points[0].GateMm, c.Points[len(c.Points)-1].GateMm
		now, size := from-3+(to-from+6)*rng.Float64(), 0.5*(rng.Float64()-0.5)
		got := tryOn(c, now, size)
		at, inside := c.At(now)
		best := math.NaN()
		for g := from; inside && g <= to; g += 0.01 {
			if f, _ := c.At(g); f*(1+size) >= at {
				if g > from || f*(1+size) < at*1.0005 {
					best = g
				}
				break
			}
		}
		if got == nil {
			none++
			if !math.IsNaN(best) && best > from+0.05 && best < to-0.05 {
				t.Errorf("now %v, size %v: none, walking gives %v within %v to %v", now, size, best, from, to)
			}
			continue
		}
		if !(got.TryMm >= from-0.05 && got.TryMm <= to+0.05) || math.IsNaN(best) || math.Abs(got.TryMm-best) > 0.1 {
			t.Errorf("now %v, size %v: %v, walking gives %v within %v to %v", now, size, got.TryMm, best, from, to)
		}
	}
	if none < 20 || none > 280 {
		t.Errorf("%d of 300 without an opening", none)
	}
}
