package season

import (
	"math"
	"math/rand/v2"
	"sync"
	"testing"
	"time"

	"hopperbook/schemas"
)

// spread collects standardized errors: their mean square must be 1.
type spread struct {
	n         int
	sum, sum2 float64
}

func (s *spread) add(z float64) {
	s.n++
	s.sum += z
	s.sum2 += z * z
}

// check holds mean square and mean against 1 and 0 within four standard
// errors of normal values; folded values have no mean of 0.
func (s *spread) check(t *testing.T, what string, folded bool) {
	t.Helper()
	n := float64(s.n)
	if ms := s.sum2 / n; math.Abs(ms-1) > 4*math.Sqrt(2/n) {
		t.Errorf("%s: mean square %.4f of %d standardized errors", what, ms, s.n)
	}
	if m := s.sum / n; !folded && math.Abs(m) > 4/math.Sqrt(n) {
		t.Errorf("%s: mean %.4f of %d standardized errors", what, m, s.n)
	}
}

func TestLoadErrors(t *testing.T) {
	t.Parallel()
	p := &plan{cfg: Config{}.withDefaults(), products: products()}
	rng := rand.New(rand.NewPCG(1, 1))
	var load, bias spread
	for seed := range uint64(400) {
		p.cfg.Seed = seed
		var loads []*LoadTruth
		for range 20 {
			loads = append(loads, &LoadTruth{Load: "l-1", Loader: "loader-1", Product: "gypsum", Time: p.cfg.Start, MassKg: 3000 + 6000*rng.Float64()})
		}
		var truth Truth
		rec := weigh(p, 0, nil, loads, &truth)
		if rec.err != nil {
			t.Fatal(rec.err)
		}
		bias.add(truth.Scales[0].Bias / 0.003)
		for _, l := range loads {
			load.add((l.StatedKg - l.MassKg*(1+truth.Scales[0].Bias)) / l.StatedSd)
			if math.Abs(l.StatedSd-0.006*l.MassKg) > 0.051 {
				t.Fatalf("load of %v kg states %v kg", l.MassKg, l.StatedSd)
			}
		}
	}
	load.check(t, "loads", false)
	bias.check(t, "scale bias", false)
}

func TestCatchErrors(t *testing.T) {
	t.Parallel()
	p, err := newPlan(Config{Spreaders: 1, Days: 1, DayHours: 0.1}.withDefaults())
	if err != nil {
		t.Fatal(err)
	}
	var ratio, repeat spread
	for seed := range uint64(1500) {
		p.cfg.Seed = seed
		c := newCrew(p, 0, nil)
		c.now = p.cfg.Start
		c.changeProduct(lime)
		e, bad := schemas.Read(c.rec.events[len(c.rec.events)-1].Raw)
		if bad != nil {
			t.Fatal(bad)
		}
		test, err := schemas.DecodeData[schemas.TestCatch](&e)
		if err != nil {
			t.Fatal(err)
		}
		// What the operator found is the set rate.
		if rate := test.CollectedKg / (*test.DistanceM * test.BoutWidthM) * 1e4; math.Abs(rate-2500) > 0.5 {
			t.Fatalf("the catch test gives %v kg/ha", rate)
		}
		// Flow goes with the gate, and 180 mm would truly have given the rate.
		if got := test.GateMm / 180; math.Abs(got-c.truth.Catches[0].Ratio) > 0.0006 {
			t.Fatalf("gate %v mm, true ratio %v", test.GateMm, c.truth.Catches[0].Ratio)
		}
		ratio.add((1/c.truth.Catches[0].Ratio - 1) / 0.01)
		var s2 float64
		for _, kg := range test.Repeats {
			s2 += (kg - test.CollectedKg) * (kg - test.CollectedKg)
		}
		// Variance of the mean, as its repeats show it, against the true one.
		repeat.add(math.Sqrt(s2/2/3) / test.CollectedKg / 0.01)
	}
	ratio.check(t, "catch tests", false)
	repeat.check(t, "repeats", true)
}

func TestResidualErrors(t *testing.T) {
	t.Parallel()
	p, err := newPlan(Config{Spreaders: 1, Days: 1, DayHours: 0.1}.withDefaults())
	if err != nil {
		t.Fatal(err)
	}
	c := newCrew(p, 0, nil)
	var level spread
	unknown := 0
	const n = 20000
	for range n {
		c.hopper.kg = levelMinKg + levelSpanKg*c.rng.Float64()
		var e schemas.HopperRefilled
		if c.readResidual(&e, false); e.ResidualMethod == schemas.ResidualUnknown {
			unknown++
			continue
		}
		level.add((*e.ResidualKg - c.hopper.kg) / *e.ResidualSdKg)
	}
	level.check(t, "level", false)
	if want := 0.05 * n; math.Abs(float64(unknown)-want) > 4*math.Sqrt(want) {
		t.Errorf("%d of %d residuals unknown", unknown, n)
	}
}

// clean is a few short seasons without faults.
var clean = sync.OnceValues(func() ([]*Season, error) {
	var out []*Season
	for seed := range uint64(5) {
		s, err := Play(Config{Seed: 40 + seed, Days: 1, DayHours: 1}.NoFaults())
		if err != nil {
			return nil, err
		}
		out = append(out, s)
	}
	return out, nil
})

func refillsOf(t *testing.T, s *Season) map[schemas.RefillID]schemas.HopperRefilled {
	t.Helper()
	stated := map[schemas.RefillID]schemas.HopperRefilled{}
	for i := range s.Devices {
		refills, _ := data[schemas.HopperRefilled](t, &s.Devices[i], schemas.TypeHopperRefilled)
		for _, r := range refills {
			stated[r.Refill] = r
		}
	}
	return stated
}

// In a whole season, residuals as the events state them are true residuals
// plus their stated errors; empty means what sticks.
func TestSeasonResiduals(t *testing.T) {
	t.Parallel()
	seasons, err := clean()
	if err != nil {
		t.Fatal(err)
	}
	var empty, level, dockets spread
	for _, s := range seasons {
		stated := refillsOf(t, s)
		for _, i := range s.Truth.Intervals {
			switch r := stated[i.To]; r.ResidualMethod {
			case schemas.ResidualEmpty:
				empty.add((*r.ResidualKg - i.ResidualKg) / *r.ResidualSdKg)
			case schemas.ResidualLevel:
				level.add((*r.ResidualKg - i.ResidualKg) / *r.ResidualSdKg)
			}
		}
		net := map[schemas.ProductID]float64{}
		count := map[schemas.ProductID]float64{}
		tickets, _ := data[schemas.DocketReceived](t, s.device(t, "_office"), schemas.TypeDocketReceived)
		for _, d := range tickets {
			net[d.Product] += d.NetKg
			count[d.Product]++
			if *d.GrossKg-*d.TareKg != d.NetKg || *d.SdKg != 35 {
				t.Errorf("docket %+v", d)
			}
		}
		for _, p := range s.Truth.Stock {
			if n := count[p.Product]; n > 0 {
				dockets.add((net[p.Product] - p.DeliveredKg) / 35 / math.Sqrt(n))
			}
		}
	}
	if empty.n < 15 || level.n < 15 || dockets.n < 3 {
		t.Fatalf("only %d empty, %d level, %d dockets", empty.n, level.n, dockets.n)
	}
	empty.check(t, "empty", true)
	level.check(t, "level", false)
	dockets.check(t, "dockets", false)
}

// The ratio wanders by the root of the tonnes, whatever the steps are.
func TestWalk(t *testing.T) {
	t.Parallel()
	rng := rand.New(rand.NewPCG(8, 8))
	var walk spread
	for range 2000 {
		h := hopper{kg: 25000, catch: 1, walk: 1, fault: 1}
		for range 100 {
			h.deliver(rng, 250, 0.0005)
		}
		walk.add(math.Log(h.walk) / 0.0005 / math.Sqrt(h.totalKg/1000))
	}
	walk.check(t, "walk", false)
}

// Receiver errors have the stated sd: fixes of a machine that stands still.
func TestReceiverErrors(t *testing.T) {
	t.Parallel()
	p, err := newPlan(Config{Spreaders: 1, Days: 1, DayHours: 0.1}.withDefaults())
	if err != nil {
		t.Fatal(err)
	}
	const mPerLat, mPerLon = 111155.2, 77183.7 // WGS84 radii of curvature at the origin
	c := newCrew(p, 0, nil)
	c.now, c.logging = p.cfg.Start, true
	c.stand(300 * time.Minute)
	var sum2, n float64
	for _, f := range fixesOf(t, &Device{Events: c.rec.events}) {
		north, east := (f.lat-originLatDeg)*mPerLat, (f.lon-originLonDeg)*mPerLon
		sum2, n = sum2+north*north+east*east, n+2
	}
	// About 150 independent values: four standard errors are 25 %.
	if sd := math.Sqrt(sum2 / n); n < 30000 || math.Abs(sd-0.3) > 0.075 {
		t.Errorf("sd %.3f m of %v values, want 0.3", sd, n)
	}
}
