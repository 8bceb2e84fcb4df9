package tablet

import (
	"math"
	"testing"
	"time"
)

// at is a point metres north at a time in seconds, 10 m wide, 2000 kg/ha.
func at(second, northM float64, on bool) point {
	f := fixAt(morning.Add(time.Duration(second*1000)*time.Millisecond), 0, northM, on)
	p := pointOf(f, 2000, 10)
	return p
}

func TestOdometer(t *testing.T) {
	rough := func(p point) point { p.Fine = false; return p }
	for _, c := range []struct {
		name   string
		points []point
		wantM2 float64
	}{
		{"one point", []point{at(0, 0, true)}, 0},
		{"a straight line", []point{at(0, 0, true), at(1, 5, true), at(2, 10, true)}, 100},
		{"a step has the state it begins with", []point{at(0, 0, true), at(1, 5, false), at(2, 10, true), at(3, 15, false)}, 100},
		{"standing and wandering", []point{at(0, 0, true), at(1, 0.2, true), at(2, 0, true), at(3, 0.2, true)}, 0},
		{"small steps add up", []point{at(0, 0, true), at(1, 0.2, true), at(2, 0.4, true), at(3, 0.6, true), at(4, 0.8, true)}, 8},
		{"a rough receiver's small steps wait", []point{rough(at(0, 0, true)), rough(at(1, 1, true)), rough(at(2, 1.9, true))}, 0},
		{"and count from two metres on", []point{rough(at(0, 0, true)), rough(at(1, 1, true)), rough(at(2, 2.5, true))}, 25},
		{"but spreading ends where it ends", []point{rough(at(0, 0, true)), rough(at(1, 1, false)), rough(at(2, 5, false))}, 10},
		{"it begins to spread while standing", []point{at(0, 0, false), at(1, 0.1, true), at(2, 5, true)}, 50},
		{"a gap in time is not joined, what led up to it counts", []point{rough(at(0, 0, true)), rough(at(1, 1.5, true)), rough(at(7, 6, true)), rough(at(8, 11, true))}, 15 + 50},
		{"a jump is not joined", []point{at(0, 0, true), at(1, 500, true), at(2, 505, true)}, 50},
		{"the same time at another place", []point{at(0, 0, true), at(0, 5, true), at(1, 5, true)}, 50},
		{"a late point", []point{at(0, 0, true), at(1, 5, true), at(0.5, 3, true), at(2, 10, true)}, 100},
		{"the clock is set back", []point{at(9000, 0, true), at(9001, 5, true), at(0, 7, true), at(1, 12, true)}, 100},
	} {
		o := newOdometer()
		for _, p := range c.points {
			o.add(p)
		}
		if got := o.By[0].SwathM2; math.Abs(got-c.wantM2) > 1e-3 || math.Abs(o.By[0].NominalKg-got*0.2) > 1e-9 {
			t.Errorf("%s: %v m2 and %v kg, want %v m2", c.name, got, o.By[0].NominalKg, c.wantM2)
		}
	}
}

// TestDrivingCountsWhereItBegan: driving before a refill counts there, whenever
// its log comes, and what has no log is not lost by an event.
func TestDrivingCountsWhereItBegan(t *testing.T) {
	b := readyBench(t, RoleSpreader)
	b.do(DoSetting, setLime)
	b.do(DoRefill, Refill{Product: "lime", ToldKg: num(4000), Residual: Residual{Method: "empty"}})
	fixes := b.drive(100, 0, 201, true, false)
	b.do(DoRefill, Refill{Product: "lime", ToldKg: num(4000), Residual: Residual{Method: "unknown"}})
	check := func(step string) {
		t.Helper()
		if h := b.View().Hopper; !near(h.Kg, 6000, 1) || !near(h.SpreadHa, 0, 1e-9) {
			t.Errorf("%s: %v kg, %v ha", step, *h.Kg, *h.SpreadHa)
		}
	}
	check("before the log")
	b.log(fixes)
	check("after the log")
	b.restart()
	check("after key-off")
}

func TestFixesWithoutALogAreBounded(t *testing.T) {
	b := newBench(t, RoleSpreader)
	b.do(DoSetting, setLime)
	b.do(DoRefill, Refill{Product: "lime", ToldKg: num(100000), Residual: Residual{Method: "empty"}})
	const n = tailFixes + 2
	b.drive(0, 0, n, true, false)
	if len(b.tail) > tailFixes || len(b.tail) < tailFixes*8/10 {
		t.Errorf("%d fixes wait", len(b.tail))
	}
	if got := b.View().Hopper.SpreadHa; !near(got, (n-1)*5*10/1e4, 0.1) {
		t.Errorf("%v ha", *got)
	}
}
