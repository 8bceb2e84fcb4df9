package calibration

import (
	"encoding/json"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"hopperbook/schemas/fault"
)

func wantInput(t *testing.T, err error, says string) {
	t.Helper()
	if err == nil || fault.CodeOf(err) != fault.Input || fault.HintOf(err) == "" || !strings.Contains(err.Error(), says) {
		t.Errorf("error %v (hint %q), want an input error that says %q", err, fault.HintOf(err), says)
	}
}

// Three repeats 10, 11, 12 less a tare of 1: mean 10, sd 1, se 1/sqrt 3, t 4.302653
// (two degrees of freedom, any table of Student's t).
func TestRepeatsGiveAStandardError(t *testing.T) {
	f, err := MeasureFlow(CatchTest{CollectedKg: []float64{10, 11, 12}, TareKg: 1, DistanceM: 50, SpeedKmh: 12, BoutWidthM: 10, Revolutions: 20})
	if err != nil {
		t.Fatal(err)
	}
	se := 1 / math.Sqrt(3)
	near(t, "mass", f.MassKg, 10, 1e-12)
	near(t, "sd", *f.MassSD, 1, 1e-12)
	near(t, "se %", *f.SEPct, 10*se, 1e-9)
	near(t, "u95 %", *f.U95Pct, 10*se*4.302653, 1e-5)
	near(t, "kg/m", *f.KgPerM, 0.2, 1e-12)
	near(t, "kg/m se", *f.KgPerMSE, se/50, 1e-12)
	near(t, "kg/min", *f.KgMin, 40, 1e-9) // 50 m at 12 km/h are 15 s
	near(t, "kg/min se", *f.KgMinSE, 4*se, 1e-9)
	near(t, "kg/rev", *f.KgRev, 0.5, 1e-12)
	near(t, "kg/rev se", *f.KgRevSE, se/20, 1e-12)
	near(t, "kg/ha", *f.RateKgHa, 200, 1e-9)
	near(t, "kg/ha se", *f.RateSE, 20*se, 1e-9)
	if !slices.Equal(kinds(f.Findings), []Kind{RepeatsScatter}) {
		t.Errorf("findings %v", f.Findings)
	}
	at, err := f.RateAt(20, 0)
	near(t, "at 20 m", at, 100, 1e-9)
	if err != nil {
		t.Error(err)
	}
}

// The rate is linear in what was collected, and so is its standard error.
func TestRateIsLinearInTheMass(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 9))
	for range 300 {
		c := CatchTest{CollectedKg: []float64{20 + rng.Float64(), 20 + rng.Float64(), 20 + rng.Float64()}, TareKg: rng.Float64(), BoutWidthM: 5 + 20*rng.Float64(), SpeedKmh: 5 + 10*rng.Float64()}
		if c.DistanceM = 100 * rng.Float64(); rng.IntN(2) == 0 {
			c.DistanceM, c.TimeS = 0, 60*rng.Float64()
		}
		k := 0.5 + 3*rng.Float64()
		scaled := c
		scaled.TareKg *= k
		scaled.CollectedKg = []float64{k * c.CollectedKg[0], k * c.CollectedKg[1], k * c.CollectedKg[2]}
		a, err := MeasureFlow(c)
		if err != nil {
			t.Fatal(err)
		}
		b, err := MeasureFlow(scaled)
		if err != nil {
			t.Fatal(err)
		}
		near(t, "rate", *b.RateKgHa, k**a.RateKgHa, 1e-9**b.RateKgHa)
		near(t, "its se", *b.RateSE, k**a.RateSE, 1e-9**b.RateKgHa)
		at, err := a.RateAt(c.BoutWidthM, c.SpeedKmh)
		if err != nil {
			t.Fatal(err)
		}
		near(t, "rate at the same", at, *a.RateKgHa, 1e-9*at)
	}
}

func TestDensityAgainstRegisterAndLastTest(t *testing.T) {
	test := DensityTest{Samples: []DensitySample{{16.0, 20, 1.1}, {16.1, 20, 1.1}, {16.2, 20, 1.1}},
		Register: DensityReference{KgM3: 800}, Last: DensityReference{KgM3: 752, SEKgM3: 3}}
	d, err := MeasureDensity(test)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "kg/m3", d.DensityKgM3, 750, 1e-9)
	near(t, "u95", d.U95KgM3, 4.302653*5/math.Sqrt(3), 1e-4)
	if len(d.Against) != 2 || !d.Against[0].BeyondUncertainty || d.Against[1].BeyondUncertainty || !slices.Equal(kinds(d.Findings), []Kind{DensityChanged}) {
		t.Fatalf("%+v", d)
	}
	near(t, "rate change", d.Against[0].RateChangePct, -6.25, 1e-9)
	near(t, "u95 of the difference", d.Against[1].U95KgM3, math.Hypot(d.U95KgM3, 3*1.959964), 1e-5)
	if !strings.Contains(d.Findings[0].Text, "the rate changes by -6.2 %") {
		t.Errorf("%q", d.Findings[0].Text)
	}
	near(t, "se as a reference", d.AsReference().SEKgM3, d.U95KgM3/1.959964, 1e-6)
	one, err := MeasureDensity(DensityTest{Samples: test.Samples[:1], Register: DensityReference{KgM3: 770}})
	if err != nil || !one.U95Assumed || one.SEKgM3 != nil || one.Against[0].BeyondUncertainty || !slices.Equal(kinds(one.Findings), []Kind{FewRepeats}) {
		t.Errorf("%+v %v", one, err)
	}
	odd, err := MeasureDensity(DensityTest{Samples: []DensitySample{{16, 0.02, 0}, {16, 0.02, 0}}})
	if err != nil || !slices.Equal(kinds(odd.Findings), []Kind{FewRepeats, DensityOdd}) {
		t.Errorf("%+v %v", odd, err)
	}
}

func TestShapes(t *testing.T) {
	cases := map[string][]float64{
		"one tray odd":  {0, 2, 4, 6, 8, 10, 10, 10, 12, 10, 10, 10, 8, 6, 4, 2, 0},
		"w":             {0, 3, 9, 10, 8, 4, 4, 9, 12, 9, 4, 4, 8, 10, 9, 3, 0},
		"centre":        {0, .6, .6, .6, .7, .8, 1, 4, 12, 4, 1, .8, .7, .6, .6, .6, 0},
		"even trays m":  {0, 3, 9, 12, 12, 7, 6, 6, 7, 12, 12, 9, 3, 0},
		"even trays ok": {0, 3, 6, 9, 9, 6, 3, 0},
		"centre short":  {0, 2, 5, 10, 10, 10, 8.5, 10, 10, 10, 5, 2, 0},
	}
	for _, c := range trayCases(t) {
		cases[c.name] = c.masses
	}
	for name, want := range map[string][]ShapeKind{
		"T1": {Regular}, "T2": {Regular}, "T3": {MShape}, "T4": {SkewedLeft}, "T5": {SkewedRight},
		"one tray odd": {Regular}, "w": {WShape}, "centre": {CentreHeavy}, "even trays m": {MShape}, "even trays ok": {Regular}, "centre short": {Regular},
	} {
		var got, mirrored []ShapeKind
		for _, s := range Centred(cases[name], 1).Shapes() {
			got = append(got, s.Kind)
			if len(s.Text) < 20 {
				t.Errorf("%s asks for %q", s.Kind, s.Text)
			}
		}
		turned := slices.Clone(cases[name])
		slices.Reverse(turned)
		for _, s := range Centred(turned, 1).Shapes() {
			switch s.Kind {
			case SkewedLeft:
				s.Kind = SkewedRight
			case SkewedRight:
				s.Kind = SkewedLeft
			}
			mirrored = append(mirrored, s.Kind)
		}
		if !slices.Equal(got, want) || !slices.Equal(mirrored, want) {
			t.Errorf("%s: %v, mirrored %v, want %v", name, got, mirrored, want)
		}
	}
	both := Centred([]float64{0, 8, 14, 14, 6, 4, 4, 7, 7, 4, 0}, 1).Shapes()
	if len(both) != 2 || both[0].Kind != SkewedLeft || both[1].Kind != MShape {
		t.Errorf("skewed and M: %v", both)
	}
}

func TestOverlapTest(t *testing.T) {
	for _, r := range []struct {
		at, between []float64
		ratio       float64
		verdict     Verdict
		sure        bool
	}{
		{[]float64{10, 10.1, 9.9}, []float64{9.8, 10, 9.9}, 0.99, Even, true},
		{[]float64{10, 10.1, 9.9}, []float64{6.9, 7, 7.1}, 0.7, BetweenLight, true},
		{[]float64{10, 10.1, 9.9}, []float64{13.9, 14, 14.1}, 1.4, BetweenHeavy, true},
		{[]float64{10, 13, 7}, []float64{7, 9.1, 4.9}, 0.7, BetweenLight, false},
		{[]float64{3.1, 3.2}, []float64{2.9}, 2.9 / 3.15, Even, false},
		{[]float64{10, 11}, []float64{0, 0}, 0, BetweenLight, true},
		{[]float64{10, 10, 10}, []float64{8.5, 9, 9.5}, 0.9, Even, false},       // low end over the limit
		{[]float64{10, 10, 10}, []float64{10.5, 11, 11.5}, 1.1, Even, false},    // high end
		{[]float64{9.95, 10.05}, []float64{9, 9, 9, 9, 9}, 0.9, Even, false},    // one degree of freedom: 12.7 x 0.0045
		{[]float64{9.95, 10, 10.05}, []float64{9, 9, 9, 9, 9}, 0.9, Even, true}, // two: 4.3 x 0.0026
	} {
		o, err := MeasureOverlap(OverlapTest{AtLineG: r.at, BetweenG: r.between})
		if err != nil {
			t.Fatal(err)
		}
		near(t, "ratio", o.Ratio, r.ratio, 1e-9)
		if o.Verdict != r.verdict || o.Sure != r.sure || (len(o.Findings) == 0) != r.sure || o.Text == "" {
			t.Errorf("%v %v: %+v", r.at, r.between, o)
		}
	}
	o, err := MeasureOverlap(OverlapTest{AtLineG: []float64{8, 12}, BetweenG: []float64{9, 11}})
	if err != nil {
		t.Fatal(err)
	}
	near(t, "ratio se", *o.RatioSE, math.Hypot(0.2, 0.1), 1e-12)
	half, err := MeasureOverlap(OverlapTest{AtLineG: []float64{8, 12}, BetweenG: []float64{4.5, 5.5}})
	if err != nil {
		t.Fatal(err)
	}
	near(t, "ratio se at one half", *half.RatioSE, math.Hypot(0.05, 0.1), 1e-12)
	near(t, "cv", o.CVPct, 100*math.Sqrt(10.0/3)/10, 1e-9)
	for says, bad := range map[string]OverlapTest{
		"no tray on": {BetweenG: []float64{1}}, "no tray between": {AtLineG: []float64{1}}, "tray 2 on the driving lines: -1 g": {AtLineG: []float64{1, -1}, BetweenG: []float64{1}},
		"nothing in the trays": {AtLineG: []float64{0, 0}, BetweenG: []float64{1}}, "a tolerance of": {AtLineG: []float64{1}, BetweenG: []float64{1}, TolerancePct: 100},
	} {
		_, err := MeasureOverlap(bad)
		wantInput(t, err, says)
	}
}

// No result holds a NaN: encoding/json refuses those.
func TestResultsAreJSON(t *testing.T) {
	d, err1 := MeasureDensity(DensityTest{Samples: []DensitySample{{15, 20, 0}}})
	f, err2 := MeasureFlow(CatchTest{CollectedKg: []float64{15}, DistanceM: 10})
	r, err3 := MeasureTrays(TrayTest{MassesG: []float64{0, 1, 0}, SpacingM: 1, TrayWidthM: 1, TrayLengthM: 1}, TrayOptions{CVLimitPct: 0.001})
	o, err4 := MeasureOverlap(OverlapTest{AtLineG: []float64{1}, BetweenG: []float64{0}})
	for _, err := range []error{err1, err2, err3, err4} {
		if err != nil {
			t.Fatal(err)
		}
	}
	raw, err := json.Marshal([]any{d, f, r, o})
	if err != nil || strings.Contains(string(raw), `"findings":null`) {
		t.Errorf("%s %v", raw, err)
	}
}

func TestStatedMean(t *testing.T) {
	for stated, want := range map[float64]int{36.1: 0, 36.2: 0, 36.4: 1, 35.8: 1} {
		if got := StatedMean(stated, []float64{36, 36.2}); len(got) != want {
			t.Errorf("%v kg: %v", stated, got)
		}
	}
	if got := StatedMean(36, nil); got != nil {
		t.Errorf("without repeats: %v", got)
	}
}

// What lies at each tray after all passes, by laying many passes one by one;
// the triangle of 10 m is even at a bout width of 10 m.
func TestOnTheGround(t *testing.T) {
	even, err := MeasureTrays(trayCases(t)[0].test(), TrayOptions{})
	if err != nil {
		t.Fatal(err)
	}
	for i, kgHa := range even.OnTheGround(10, ToAndFro) {
		near(t, "a triangle", kgHa, even.RatesKgHa[10], 1e-9)
		near(t, "place", even.PositionsM[i], float64(i-10), 1e-9)
	}
	skewed := Tray{PositionsM: []float64{-1, 0, 1, 2}, RatesKgHa: []float64{10, 40, 30, 20}}
	for _, driving := range []Driving{ToAndFro, RoundAndRound} {
		got := skewed.OnTheGround(3, driving)
		for i, x := range skewed.PositionsM {
			want := 0.0
			for pass := -20; pass <= 20; pass++ {
				d := x - 3*float64(pass)
				if driving == ToAndFro && pass%2 != 0 {
					d = -d
				}
				if j := slices.Index(skewed.PositionsM, d); j >= 0 {
					want += skewed.RatesKgHa[j]
				}
			}
			near(t, string(driving), got[i], want, 1e-9)
		}
	}
	if skewed.OnTheGround(0, ToAndFro) != nil || (Tray{}).OnTheGround(3, ToAndFro) != nil {
		t.Error("nothing to draw")
	}
}
