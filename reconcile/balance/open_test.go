package balance

import (
	"fmt"
	"math"
	"testing"

	"hopperbook/schemas"
)

func TestTruncatedNormal(t *testing.T) {
	for _, c := range []struct {
		name                 string
		mean, sd, low, high  float64
		wantKg, wantVarShare float64
	}{
		{"wide bounds change nothing", 3, 1, -1e3, 1e3, 3, 1},
		{"half normal: sqrt(2/pi), 1 - 2/pi", 0, 1, 0, math.Inf(1), math.Sqrt(2 / math.Pi), 1 - 2/math.Pi},
		{"flat between close bounds: the rectangle", 0.5, 1e4, 0, 1, 0.5, 1e-8 / 12},
		{"symmetric +-1: 1 - 2 phi(1)/(probability within 1)", 0, 1, -1, 1, 0, 1 - 2*0.24197072451914337/math.Erf(math.Sqrt(0.5))},
		{"far above: the bound", 1000, 1, 0, 10, 10, 1.0 / 990 / 990},
		{"nothing in it", 5, 1, 0, 0, 0, 0},
	} {
		kg, share := truncated(c.mean, c.sd, c.low, c.high)
		near(t, c.name, kg, c.wantKg, 1e-7)
		near(t, c.name+": share", share, c.wantVarShare, 1e-8)
	}
}

// TestWithin: the flow says 5 000 kg with 400 kg, half of the variance its own;
// the hopper held 5 000 kg with 60 kg. Half a normal is left.
func TestWithin(t *testing.T) {
	flow := mass{5000, Form{{"load:x", 1, 400 / math.Sqrt2}}}
	content := mass{5000, Form{{"load:y", 1, 60}}}
	m := within(flow, 400/math.Sqrt2, content, 0, 5000, "flow:")
	share := 1 - 2/math.Pi
	near(t, "mass", m.kg, 5000-400*math.Sqrt(2/math.Pi), 1e-6)
	near(t, "variance", m.form.Var(), share*400*400+math.Pow((1-share)*60, 2), 1e-3)
	near(t, "what comes from the flow", Cov(m.form, flow.form), share*400*400/2, 1e-3)
	near(t, "what comes from the content", Cov(m.form, content.form), (1-share)*60*60, 1e-3)
	free := within(flow, 300, content, 0, 1e9, "flow:")
	near(t, "free variance", free.form.Var(), 80000+300*300, 1e-6)
	near(t, "free of the content", Cov(free.form, content.form), 0, 1e-6)
}

// line is a machine whose closed loads of 5 000 kg nominal have these ratios,
// and whose open interval has 2 000 kg nominal.
func line(ratios ...float64) Machine {
	m := Machine{ID: "m"}
	for i, r := range append(ratios, 1) {
		spread := []Piece{on("a", 5000, 1)}
		if i == len(ratios) {
			spread[0].NominalKg = 2000
		}
		m.Refills = append(m.Refills, refill(fmt.Sprintf("r%02d", i), i, left(0, 1e-6), spread, load(fmt.Sprintf("l%02d", i), 5000*r, 1e-6)))
	}
	return m
}

// TestOpenFollowsTheFlow: what an open interval is expected to have spread
// follows a flow that has changed, the faster the more it wanders.
func TestOpenFollowsTheFlow(t *testing.T) {
	last := func(o Options, ratios ...float64) Interval {
		o.ScaleBiasShare = 1e-15
		r := run(t, line(ratios...), o)
		return r.Intervals[len(r.Intervals)-1]
	}
	changed := []float64{1, 1, 1, 1, 1, 0.9, 0.9, 0.9}
	near(t, "a steady flow: the mean of all", last(Options{NaturalSdShare: 0.015}, changed...).MassKg, 2000*(1-0.3/8), 3)
	near(t, "a flow that walks: the last", last(Options{NaturalSdShare: 1e-6, WalkSdShare: 0.01}, changed...).MassKg, 1800, 6)
	// Learned: a flow that has walked in forty loads is followed, one that jumps to and fro is not.
	var walked, shook []float64
	for i := range 40 {
		walked = append(walked, 1-0.1*float64(i/4)/10)
		shook = append(shook, 1-0.09*float64(i%2))
	}
	near(t, "walked", last(Options{}, walked...).MassKg, 2000*0.91, 10)
	near(t, "shook", last(Options{}, shook...).MassKg, 2000*0.955, 20)
	near(t, "shook, sd: 4.5 % of 5 000 kg by the root", last(Options{}, shook...).SdKg, math.Sqrt(2000*5000)*0.045, 20)
}

// TestBeforeTheFirstRefill: passes before anything was loaded ran at the flow
// ratio that the first loads show, not at that of later ones.
func TestBeforeTheFirstRefill(t *testing.T) {
	m := line(0.9, 0.9, 0.9, 0.9, 1.1, 1.1, 1.1, 1.1)
	m.Before = []Piece{on("z", 2000, 1)}
	r := run(t, m, Options{ScaleBiasShare: 1e-15, NaturalSdShare: 0.003, WalkSdShare: 0.02})
	first := r.Intervals[0]
	near(t, "mass", first.MassKg, 1800, 30)
	near(t, "level", first.Level, 0.9, 0.015)
	if !first.Open || first.From != "" || first.To != "r00" || first.SdKg < 20 || first.SdKg > 100 {
		t.Errorf("%+v", first)
	}
	near(t, "initial", r.InitialKg, first.MassKg, 1e-9)
}

// TestNamelessScale: loads of one method without a scale share one bias.
func TestNamelessScale(t *testing.T) {
	m := line(1, 1)
	for i := range m.Refills {
		m.Refills[i].Loads[0].Scale = ""
		m.Refills[i].Loads[0].Method = schemas.MethodVolume
	}
	r := run(t, m, Options{})
	near(t, "two loads, one bias", Cov(r.Intervals[0].Form, r.Intervals[1].Form), math.Pow(0.005*5000, 2), 1e-6)
	m.Refills[1].Loads[0].Method = schemas.MethodBucket
	r = run(t, m, Options{})
	near(t, "two methods, two biases", Cov(r.Intervals[0].Form, r.Intervals[1].Form), 0, 1e-6)
}
