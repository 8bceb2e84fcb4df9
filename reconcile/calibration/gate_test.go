package calibration

import (
	"math"
	"math/rand/v2"
	"reflect"
	"slices"
	"testing"

	"hopperbook/schemas"
)

// caught is a catch over 100 m at an opening.
func caught(id schemas.TestID, gateMm float64, kg ...float64) GateTest {
	return GateTest{ID: id, Product: "urea", GateMm: gateMm, CatchTest: CatchTest{CollectedKg: kg, DistanceM: 100}}
}

func oneCurve(t *testing.T, tests ...GateTest) Curve {
	t.Helper()
	curves, err := Curves(tests)
	if err != nil || len(curves) != 1 {
		t.Fatalf("%d curves, %v", len(curves), err)
	}
	return curves[0]
}

func kinds(f []Finding) (out []Kind) {
	for _, x := range f {
		out = append(out, x.Kind)
	}
	return out
}

// 40 mm gives 0.2 kg/m, 60 mm 0.3, 100 mm 0.5; at 20 m that is 100, 150 and
// 250 kg/ha.
func TestGateForARate(t *testing.T) {
	c := oneCurve(t, caught("A", 60, 30), caught("B", 40, 20, 20), caught("C", 100, 50))
	for _, r := range []struct {
		rate, gate   float64 // gate 0: none is named
		extrapolated bool
		kind         Kind
	}{
		{100, 40, false, ""}, {125, 50, false, ""}, {150, 60, false, ""}, {200, 80, false, ""}, {250, 100, false, ""},
		{90, 36, true, Extrapolated}, {300, 120, true, Extrapolated}, {301, 0, true, OutOfRange}, {79, 0, true, OutOfRange}, {1e6, 0, true, OutOfRange},
	} {
		a, err := c.Gate(GateWanted{RateKgHa: r.rate, BoutWidthM: 20})
		if err != nil {
			t.Fatal(err)
		}
		if (a.GateMm == nil) != (r.gate == 0) || a.Extrapolated != r.extrapolated {
			t.Errorf("%v kg/ha: %+v", r.rate, a)
		}
		if a.GateMm != nil {
			near(t, "gate", *a.GateMm, r.gate, 1e-9)
		}
		if got := kinds(a.Findings); (r.kind == "") != (len(got) == 0) || (r.kind != "" && got[0] != r.kind) {
			t.Errorf("%v kg/ha: findings %v", r.rate, a.Findings)
		}
		near(t, "lowest", a.LowestKgHa, 100, 1e-9)
		near(t, "highest", a.HighestKgHa, 250, 1e-9)
	}
	if flow, ok := c.At(80); !ok || math.Abs(flow-0.4) > 1e-12 {
		t.Errorf("at 80 mm %v %v", flow, ok)
	}
	for _, outside := range []float64{39.9, 100.1, math.NaN()} {
		if flow, ok := c.At(outside); ok {
			t.Errorf("at %v mm %v", outside, flow)
		}
	}
}

// 0.2 kg/m (standard error 0.01) at 40 mm and 0.3 (none) at 60 mm: a quarter of
// the way 0.0075 kg/m at 0.005 kg/m a mm. A level end is left by the slope to the
// nearest other flow.
func TestGateErrorAndLevelEnd(t *testing.T) {
	c := oneCurve(t, caught("A", 40, 19, 21), caught("B", 60, 30, 30), caught("C", 80, 30, 30))
	for _, r := range []struct{ flow, gate, se float64 }{{0.225, 45, 1.5}, {0.2, 40, 2}, {0.3, 70, 0}, {0.325, 90, -1}, {0.19, 38, -1}} {
		a, err := c.Gate(GateWanted{RateKgHa: r.flow * 500, BoutWidthM: 20})
		if err != nil || a.GateMm == nil || (a.GateSEMm == nil) != (r.se < 0) {
			t.Fatalf("%v kg/m: %+v %v", r.flow, a, err)
		}
		near(t, "gate", *a.GateMm, r.gate, 1e-9)
		if r.se >= 0 {
			near(t, "its standard error", *a.GateSEMm, r.se, 1e-9)
		}
	}
}

// By time the speed counts: 60 kg/min at 10 km/h and 12 m is 300 kg/ha, and a
// belt that follows the ground gives the same at any speed.
func TestTimedCurves(t *testing.T) {
	timed := func(gate, kg float64, ground bool) GateTest {
		return GateTest{Product: "lime", GateMm: gate, CatchTest: CatchTest{CollectedKg: []float64{kg}, TimeS: 60, SpeedKmh: 10, GroundDriven: ground}}
	}
	free := oneCurve(t, timed(50, 60, false), timed(100, 120, false))
	ground := oneCurve(t, timed(50, 60, true), timed(100, 120, true))
	for _, r := range []struct {
		c           Curve
		speed, gate float64
	}{{free, 10, 50}, {free, 20, 100}, {ground, 10, 50}, {ground, 20, 50}, {ground, 0, 50}} {
		a, err := r.c.Gate(GateWanted{300, r.speed, 12})
		if err != nil || a.GateMm == nil {
			t.Fatalf("%+v %v", a, err)
		}
		near(t, "gate", *a.GateMm, r.gate, 1e-9)
	}
	if free.FlowUnit != "kg/min" || ground.FlowUnit != "kg/m" {
		t.Errorf("units %s %s", free.FlowUnit, ground.FlowUnit)
	}
	if _, err := free.Gate(GateWanted{300, 0, 12}); err == nil {
		t.Error("a belt on its own needs a speed")
	}
}

func TestCurvesKeepSetUpsApart(t *testing.T) {
	granular, powder, other := caught("G", 50, 30), caught("P", 50, 20), caught("O", 50, 10)
	granular.DiscSet, powder.DiscSet, other.Product = "granular", "powder", "super"
	curves, err := Curves([]GateTest{powder, other, granular, caught("T", 60, 35)})
	if err != nil || len(curves) != 4 {
		t.Fatalf("%d curves, %v", len(curves), err)
	}
	var order []string
	for _, c := range curves {
		order = append(order, string(c.Product)+c.DiscSet)
		if !slices.Contains(kinds(c.Findings), OneOpening) {
			t.Errorf("%v does not say that it has one opening", c.CurveKey)
		}
	}
	if !slices.Equal(order, []string{"super", "urea", "ureagranular", "ureapowder"}) {
		t.Errorf("order %v", order)
	}
}

// A wider gate that gave less is taken together with its neighbour, weighted by
// catches, and said; a level stretch has its middle as its gate.
func TestANotMonotonePairIsPooledAndSaid(t *testing.T) {
	c := oneCurve(t, caught("A", 40, 20), caught("B", 60, 34, 34, 34), caught("C", 80, 30), caught("D", 100, 50))
	if fit := []float64{c.Points[0].Fitted, c.Points[1].Fitted, c.Points[2].Fitted, c.Points[3].Fitted}; math.Abs(fit[1]-0.33) > 1e-12 || fit[1] != fit[2] || fit[0] != 0.2 {
		t.Errorf("fit %v", fit)
	}
	if got := kinds(c.Findings); !slices.Equal(got, []Kind{GateNotMonotone}) {
		t.Errorf("findings %v", got)
	}
	a, err := c.Gate(GateWanted{RateKgHa: c.Points[1].Fitted * 500, BoutWidthM: 20})
	if err != nil || a.GateMm == nil || math.Abs(*a.GateMm-70) > 1e-9 {
		t.Errorf("%+v %v", a, err)
	}
}

// isotonicOracle is the min-max formula of isotonic regression.
func isotonicOracle(y, w []float64) []float64 {
	fit := make([]float64, len(y))
	for i := range y {
		best := math.Inf(-1)
		for a := 0; a <= i; a++ {
			lowest := math.Inf(1)
			for b := i; b < len(y); b++ {
				sum, weight := 0.0, 0.0
				for k := a; k <= b; k++ {
					sum, weight = sum+y[k]*w[k], weight+w[k]
				}
				lowest = math.Min(lowest, sum/weight)
			}
			best = math.Max(best, lowest)
		}
		fit[i] = best
	}
	return fit
}

func TestIsotonicAgreesWithMinMax(t *testing.T) {
	rng := rand.New(rand.NewPCG(2, 2))
	for range 500 {
		n := 1 + rng.IntN(12)
		y, w := make([]float64, n), make([]float64, n)
		for i := range y {
			y[i], w[i] = float64(rng.IntN(10))+rng.Float64()*float64(rng.IntN(2)), 1+float64(rng.IntN(4))
		}
		for i, got := range isotonic(y, w) {
			if want := isotonicOracle(y, w)[i]; math.Abs(got-want) > 1e-12*math.Max(1, want) {
				t.Fatalf("%v weights %v: %d is %v, want %v", y, w, i, got, want)
			}
		}
	}
}

// Laws: the gate named for the rate of an opening gives that rate again; twice
// the mass everywhere names the same gate for twice the rate; the order of the
// tests does not matter.
func TestGateLaws(t *testing.T) {
	rng := rand.New(rand.NewPCG(8, 4))
	for range 300 {
		var tests, doubled []GateTest
		for k := range 2 + rng.IntN(6) {
			g := caught(schemas.TestID(rune('A'+k)), 30+math.Round(rng.Float64()*20)*5, 10+20*rng.Float64(), 10+20*rng.Float64())
			tests = append(tests, g)
			g.CollectedKg = []float64{2 * g.CollectedKg[0], 2 * g.CollectedKg[1]}
			doubled = append(doubled, g)
		}
		c, d := oneCurve(t, tests...), oneCurve(t, doubled...)
		slices.Reverse(tests)
		if !reflect.DeepEqual(oneCurve(t, tests...), c) {
			t.Fatal("the order of the tests matters")
		}
		first, last := c.Points[0], c.Points[len(c.Points)-1]
		flow := first.Fitted + rng.Float64()*(last.Fitted-first.Fitted)
		a, err := c.Gate(GateWanted{RateKgHa: flow * 1000, BoutWidthM: 10})
		if err != nil || a.GateMm == nil || a.Extrapolated {
			t.Fatalf("%+v %v", a, err)
		}
		back, ok := c.At(*a.GateMm)
		if !ok {
			t.Fatalf("gate %v outside %v..%v", *a.GateMm, first.GateMm, last.GateMm)
		}
		near(t, "flow of the named gate", back, flow, 1e-9)
		if a.GateSEMm == nil && first.Fitted != last.Fitted {
			t.Fatalf("no standard error from repeated catches: %+v", a)
		}
		b, err := d.Gate(GateWanted{RateKgHa: flow * 2000, BoutWidthM: 10})
		if err != nil || b.GateMm == nil {
			t.Fatalf("%+v %v", b, err)
		}
		near(t, "gate after doubling", *b.GateMm, *a.GateMm, 1e-6)
	}
}

func TestBadGateInput(t *testing.T) {
	c := oneCurve(t, caught("A", 40, 20), caught("B", 60, 30))
	for _, w := range []GateWanted{{0, 10, 12}, {-5, 10, 12}, {100, -1, 12}, {100, 10, 0}, {math.NaN(), 10, 12}, {100, math.Inf(1), 12}} {
		_, err := c.Gate(w)
		wantInput(t, err, "")
	}
	_, err := Curves(nil)
	wantInput(t, err, "no catch test")
	_, err = Curves([]GateTest{caught("A", 0, 20)})
	wantInput(t, err, "gate opening of 0 mm")
	_, err = Curves([]GateTest{caught("A", 40, -1)})
	wantInput(t, err, "catch 1: -1 kg")
	_, err = Curve{}.Gate(GateWanted{100, 10, 12})
	wantInput(t, err, "no tested opening")
}
