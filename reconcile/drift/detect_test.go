package drift

import (
	"math"
	"math/rand/v2"
	"reflect"
	"slices"
	"strconv"
	"testing"

	"hopperbook/schemas"
	"hopperbook/schemas/fault"
)

// ratios makes a series measured to 1 % without anything shared.
func ratios(values ...float64) []Point {
	out := make([]Point, len(values))
	for i, v := range values {
		out[i] = Point{Refill: schemas.RefillID("r" + strconv.Itoa(i)), Load: 10 + i, Ratio: v, Sd: 0.01}
	}
	return out
}

func TestStates(t *testing.T) {
	for _, c := range []struct {
		name   string
		series []Point
		want   State
		index  int // of the change; -1: none
	}{
		{"nothing yet", nil, Holding, -1},
		{"one good load", ratios(1), Holding, -1},
		{"on calibration", ratios(1, 1.01, 0.99, 1, 1, 0.99, 1.01), Holding, -1},
		{"4 % low is real but harmless", ratios(1, 1, 1, 1, 0.96, 0.96, 0.96, 0.96, 0.96, 0.96, 0.96, 0.96), Watch, 4},
		{"12 % low for two loads is not enough", ratios(1, 1, 1, 1, 0.88, 0.88), Watch, 4},
		{"12 % low for three loads", ratios(1, 1, 1, 1, 0.88, 0.88, 0.88), Recalibrate, 4},
		{"12 % high for three loads", ratios(1, 1, 1, 1, 1.12, 1.12, 1.12), Recalibrate, 4},
		{"off since the reset", ratios(0.9, 0.9, 0.9, 0.9), Recalibrate, 0},
		{"one load booked wrongly, then two good ones", ratios(1, 1, 1, 1, 0.5, 1, 1), Watch, 4},
		{"one load booked wrongly, just now", ratios(1, 1, 1, 1, 0.5), Watch, 4},
	} {
		v := detect(t, c.series)
		if v.State != c.want {
			t.Errorf("%s: %s, want %s (%+v)", c.name, v.State, c.want, v.Change)
			continue
		}
		if c.index >= 0 && (v.Change == nil || v.Change.Index != c.index || v.Change.Load != 10+c.index || v.Change.Refill != c.series[c.index].Refill) {
			t.Errorf("%s: change %+v, want at %d", c.name, v.Change, c.index)
		}
		if c.index < 0 && v.Change != nil {
			t.Errorf("%s: change %+v", c.name, v.Change)
		}
	}
}

// TestKnownStep is worked by hand: independent loads with standard deviation
// s = sqrt(0.01^2 + 0.015^2), four on calibration and four 12 % low.
func TestKnownStep(t *testing.T) {
	v := detect(t, ratios(1, 1, 1, 1, 0.88, 0.88, 0.88, 0.88))
	s := math.Hypot(0.01, 0.015)
	near(t, "natural", v.NaturalSd, 0.015, 1e-12)
	near(t, "small k", v.Design.Small.K, 0.6*2.5/2, 1e-12) // 0.05 / s is beyond the bound
	near(t, "large k", v.Design.Large.K, 1.6*2.5/2, 1e-12)
	near(t, "innovation", v.Innovations[5], -0.12/s, 1e-9)
	small, large := v.Design.Small, v.Design.Large
	near(t, "evidence", v.Evidence[5].Low, max(2*(0.12/s-small.K)/small.H, 2*(0.12/s-large.K)/large.H), 1e-9)
	if v.FirstAlarm != 4 {
		t.Errorf("first alarm at %d", v.FirstAlarm)
	}
	c := v.Change
	if c.Alarm != 4 {
		t.Errorf("the change calls at %d", c.Alarm)
	}
	near(t, "size", c.Size, -0.12, 1e-12)
	near(t, "size sd", c.SizeSd, math.Hypot(s/2, 0.005), 1e-12)
	near(t, "low end", c.Low, -0.12-1.959964*c.SizeSd, 1e-8)
	near(t, "high end", c.High, -0.12+1.959964*c.SizeSd, 1e-8)
	near(t, "step", c.Step, -0.12, 1e-12)
	near(t, "step sd", c.StepSd, s/math.Sqrt2, 1e-12)
	// A start one load off loses at least (1 - 4/5) of the likelihood: 8.9 > 3.
	if c.LoadLow != 14 || c.LoadHigh != 14 {
		t.Errorf("change in loads %d to %d", c.LoadLow, c.LoadHigh)
	}
	near(t, "log-likelihood", c.LogRatio, 4*0.12*0.12/2/s/s, 1e-9)
	near(t, "mean", v.Mean, 0.94, 1e-12)
	near(t, "mean sd", v.MeanSd, math.Hypot(s/math.Sqrt(8), 0.005), 1e-12)
	near(t, "smoothed", v.SmoothedRatio[5], 1-0.12*0.3*1.7, 1e-12)
}

// The design follows the loads' own noise, between a quiet machine's and one
// whose loads say little.
func TestDesignFollowsTheNoise(t *testing.T) {
	for _, c := range []struct{ sd, shift float64 }{{0.001, mostShift}, {0.02, 0.05 / 0.025}, {0.5, leastShift}} {
		series := ratios(1, 1, 1, 1)
		for i := range series {
			series[i].Sd = c.sd
		}
		design := detect(t, series).Design
		near(t, "small k", design.Small.K, 0.6*c.shift/2, 1e-9)
		near(t, "large k", design.Large.K, 1.6*c.shift/2, 1e-9)
	}
}

func TestNaturalSpreadIsOnlyRaised(t *testing.T) {
	rng := rand.New(rand.NewPCG(4, 4))
	draw := func(sd float64) []Point {
		series := ratios(make([]float64, 400)...)
		for i := range series {
			series[i].Ratio = 1 + math.Hypot(sd, 0.01)*rng.NormFloat64()
			if i >= 200 {
				series[i].Ratio -= 0.12
			}
		}
		return series
	}
	near(t, "quiet machine", detect(t, draw(0.002)).NaturalSd, 0.015, 1e-12)
	near(t, "uneven machine", detect(t, draw(0.04)).NaturalSd, 0.04, 0.005)
	// Eleven loads 10 % up and down: 10 differences against 20 of the statement.
	few := ratios(1, 1.1, 1, 1.1, 1, 1.1, 1, 1.1, 1, 1.1, 1)
	seen := (math.Pow(0.1/0.6744897501960817, 2) - 2*0.01*0.01) / 2
	near(t, "few loads", detect(t, few).NaturalSd, math.Sqrt((20*0.015*0.015+10*seen)/30), 1e-12)
}

// A machine that was a little off from the start, which is watched, and then
// slips: the slip's alarm is its own.
func TestAlarmIsOfTheChange(t *testing.T) {
	values := slices.Concat(slices.Repeat([]float64{0.975}, 20), slices.Repeat([]float64{0.86}, 5))
	v := detect(t, ratios(values...))
	if v.State != Recalibrate || v.FirstAlarm >= 15 || v.Change.Index != 20 || v.Change.Alarm != 20 {
		t.Errorf("%s, first alarm at %d, change %+v", v.State, v.FirstAlarm, v.Change)
	}
}

func TestUglySeries(t *testing.T) {
	for name, break_ := range map[string]func([]Point, *Options){
		"NaN ratio":          func(s []Point, _ *Options) { s[1].Ratio = math.NaN() },
		"infinite ratio":     func(s []Point, _ *Options) { s[1].Ratio = math.Inf(-1) },
		"no uncertainty":     func(s []Point, _ *Options) { s[1].Sd = 0 },
		"NaN covariance":     func(s []Point, _ *Options) { s[1].CovNext = math.NaN() },
		"covariance too big": func(s []Point, _ *Options) { s[0].CovNext, s[1].CovNext = -0.01, -0.01 },
		"negative tolerance": func(_ []Point, o *Options) { o.Tolerance = -1 },
		"run length of one":  func(_ []Point, o *Options) { o.ARL0 = 1 },
	} {
		series, o := ratios(1, 1, 1, 1), Options{}
		break_(series, &o)
		if _, err := Detect(series, o); fault.CodeOf(err) != fault.Input {
			t.Errorf("%s: %v", name, err)
		}
	}
}

// TestLaws: the same series mirrored about 1 gives the mirrored verdict, other
// names and load numbers change nothing but names, the input stays as it was.
func TestLaws(t *testing.T) {
	rng := rand.New(rand.NewPCG(5, 5))
	for range 50 {
		series, _ := crew(rng, 30, 15, 0.3*(rng.Float64()-0.5))
		v := detect(t, series)
		mirrored, renamed := slices.Clone(series), slices.Clone(series)
		for i := range series {
			mirrored[i].Ratio = 2 - series[i].Ratio
			renamed[i].Load += 100
		}
		m, r := detect(t, mirrored), detect(t, renamed)
		if m.State != v.State || m.FirstAlarm != v.FirstAlarm || r.State != v.State || !reflect.DeepEqual(r.Evidence, v.Evidence) {
			t.Fatalf("%s at %d, mirrored %s at %d, renamed %s", v.State, v.FirstAlarm, m.State, m.FirstAlarm, r.State)
		}
		if v.Change != nil {
			near(t, "mirrored size", m.Change.Size, -v.Change.Size, 1e-9)
			near(t, "mirrored index", float64(m.Change.Index), float64(v.Change.Index), 0)
			near(t, "renamed load", float64(r.Change.Load), float64(v.Change.Load+100), 0)
			near(t, "renamed end", float64(r.Change.LoadHigh), float64(v.Change.LoadHigh+100), 0)
			if c := v.Change; !(c.IndexLow <= c.Index && c.Index <= c.IndexHigh && m.Change.IndexLow == c.IndexLow && m.Change.IndexHigh == c.IndexHigh) {
				t.Fatalf("interval %+v, mirrored %+v", c, m.Change)
			}
		}
		if again := detect(t, series); !reflect.DeepEqual(again, v) {
			t.Fatal("the same series twice, two verdicts")
		}
	}
}
