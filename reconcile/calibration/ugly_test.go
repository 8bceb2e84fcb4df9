package calibration

import (
	"math"
	"slices"
	"testing"
)

func TestBadDensityAndCatch(t *testing.T) {
	for says, bad := range map[string]DensityTest{
		"no sample":                     {},
		"sample 2: a volume of 0 l":     {Samples: []DensitySample{{15, 20, 0}, {15, 0, 0}}},
		"sample 1: a volume of -20 l":   {Samples: []DensitySample{{15, -20, 0}}},
		"sample 1: a mass of -15 kg":    {Samples: []DensitySample{{-15, 20, 0}}},
		"sample 1: a mass of NaN kg":    {Samples: []DensitySample{{math.NaN(), 20, 0}}},
		"is not above the tare of 2 kg": {Samples: []DensitySample{{2, 20, 2}}},
		"a tare of -1 kg":               {Samples: []DensitySample{{15, 20, -1}}},
		"register says -5 kg/m3":        {Samples: []DensitySample{{15, 20, 0}}, Register: DensityReference{KgM3: -5}},
		"last test says 750 kg/m3":      {Samples: []DensitySample{{15, 20, 0}}, Last: DensityReference{750, -1}},
	} {
		_, err := MeasureDensity(bad)
		wantInput(t, err, says)
	}
	one := []float64{20}
	for says, bad := range map[string]CatchTest{
		"no catch":                      {DistanceM: 10},
		"catch 2: -1 kg":                {CollectedKg: []float64{5, -1}, DistanceM: 10},
		"is not above the tare of 0 kg": {CollectedKg: []float64{0}, DistanceM: 10},
		"is not above the tare of 3 kg": {CollectedKg: []float64{2.9}, TareKg: 3, DistanceM: 10},
		"neither distance nor time":     {CollectedKg: one},
		"both distance and time":        {CollectedKg: one, DistanceM: 10, TimeS: 10},
		"a distance of -10":             {CollectedKg: one, DistanceM: -10},
		"a speed of NaN":                {CollectedKg: one, TimeS: 10, SpeedKmh: math.NaN()},
		"a bout width of +Inf":          {CollectedKg: one, TimeS: 10, BoutWidthM: math.Inf(1)},
		"timed without a speed":         {CollectedKg: one, TimeS: 10, GroundDriven: true},
	} {
		_, err := MeasureFlow(bad)
		wantInput(t, err, says)
	}
	f, err := MeasureFlow(CatchTest{CollectedKg: one, TimeS: 10})
	if err != nil || f.RateKgHa != nil || f.KgPerM != nil {
		t.Errorf("by time without a speed there is kg/min alone: %+v %v", f, err)
	}
	_, err = f.RateAt(12, 0)
	wantInput(t, err, "speed")
	if !math.IsNaN(LinearSetting(8, 0, 350)) {
		t.Error("a rate of nothing gives no setting")
	}
}

// A triangle between multiples, by hand: its straight flanks are interpolated
// exactly, so at 10.25 m y is 10 on the driving line and 9.75 from a quarter of a
// metre beside it on; ten places 1.025 m apart read 10 once and 9.75 nine times.
func TestTriangleBetweenMultiples(t *testing.T) {
	p := Centred(trayCases(t)[0].masses, 1)
	got, err := p.CV(10.25, RoundAndRound, Population)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "CV at 10.25 m", got, 100*0.25*0.3/9.775, 1e-9)
}

func TestBadTrays(t *testing.T) {
	nan := math.NaN()
	good := func() TrayTest {
		return TrayTest{MassesG: []float64{1, 2, 3, 2, 1}, SpacingM: 1, TrayWidthM: 0.5, TrayLengthM: 0.5, WindMS: known(1)}
	}
	for _, r := range []struct {
		says   string
		change func(*TrayTest)
	}{
		{"2 trays", func(t *TrayTest) { t.MassesG = []float64{1, 2} }},
		{"1001 trays", func(t *TrayTest) { t.MassesG = make([]float64, 1001) }},
		{"tray 3: -3 g", func(t *TrayTest) { t.MassesG[2] = -3 }},
		{"tray 3: +Inf g", func(t *TrayTest) { t.MassesG[2] = math.Inf(1) }},
		{"nothing in any tray", func(t *TrayTest) { t.MassesG = make([]float64, 5) }},
		{"tray 2 is missing and does not stand alone", func(t *TrayTest) { t.MassesG = []float64{1, nan, nan, 2, 1} }},
		{"tray 1 is missing", func(t *TrayTest) { t.MassesG[0] = nan }},
		{"tray 5 is missing", func(t *TrayTest) { t.MassesG[4] = nan }},
		{"a tray spacing of 0 m", func(t *TrayTest) { t.SpacingM = 0 }},
		{"trays of 0 m by 0.5 m", func(t *TrayTest) { t.TrayWidthM = 0 }},
		{"cannot stand 0.4 m apart", func(t *TrayTest) { t.SpacingM = 0.4 }},
		{"a bout width of -1 m", func(t *TrayTest) { t.BoutWidthM = -1 }},
		{"a bout width of 0.9 m is under", func(t *TrayTest) { t.BoutWidthM = 0.9 }},
		{"-1 passes", func(t *TrayTest) { t.Passes = -1 }},
		{"a wind of -2 m/s", func(t *TrayTest) { t.WindMS = known(-2) }},
		{"4 positions of 5 trays", func(t *TrayTest) { t.PositionsM = []float64{-2, -1, 0, 1} }},
		{"1 missing between tray 2 at -1 m and tray 3 at 1 m", func(t *TrayTest) { t.PositionsM = []float64{-2, -1, 1, 2, 3} }},
		{"unequal spacing: 1.5 m between trays 3 and 4, 1 m elsewhere", func(t *TrayTest) { t.PositionsM = []float64{-2, -1, 0, 1.5, 2.5} }},
		{"does not stand right of tray 2", func(t *TrayTest) { t.PositionsM = []float64{-2, -1, -1, 1, 2} }},
		{"but the positions are 1 m apart", func(t *TrayTest) { t.PositionsM, t.SpacingM = []float64{-2, -1, 0, 1, 2}, 0.5 }},
	} {
		bad := good()
		r.change(&bad)
		_, err := MeasureTrays(bad, TrayOptions{})
		wantInput(t, err, r.says)
	}
	for says, o := range map[string]TrayOptions{
		"CV limit -1 %": {CVLimitPct: -1}, `divisor "half"`: {Divisor: "half"}, "more than 5000 bout widths": {StepM: 1e-6}, "first bout width -1 m": {FromM: -1},
		"is beyond the row of trays, 5 m wide": {WidthsM: []float64{5.5}}, "is under the tray spacing": {WidthsM: []float64{0.5}},
		"there is one tray between the driving lines": {FromM: 1},
	} {
		_, err := MeasureTrays(good(), o)
		wantInput(t, err, says)
	}
}

func TestTrayFindings(t *testing.T) {
	for _, r := range []struct {
		name   string
		change func(*TrayTest)
		want   []Kind
	}{
		{"nothing the matter", func(*TrayTest) {}, nil},
		{"wind not given", func(t *TrayTest) { t.WindMS = nil }, []Kind{WindUnknown}},
		{"wind at the limit", func(t *TrayTest) { t.WindMS = known(DefaultWindLimitMS) }, nil},
		{"wind over it", func(t *TrayTest) { t.WindMS = known(2.3) }, []Kind{WindOverLimit}},
		{"a wheel track", func(t *TrayTest) { t.MassesG[8] = math.NaN() }, []Kind{TrayFilled}},
		{"bout width beyond the trays", func(t *TrayTest) { t.BoutWidthM = 21.5 }, []Kind{BoutBeyondTrays}},
		{"bout width too wide", func(t *TrayTest) { t.BoutWidthM = 14.5 }, []Kind{BoutTooWide, BoutTooWide}},
		{"a sound catch test", func(t *TrayTest) { t.BoutWidthM, t.CatchRateKgHa = 10, 440 }, nil},
		{"a catch test that disagrees", func(t *TrayTest) { t.BoutWidthM, t.CatchRateKgHa = 10, 445 }, []Kind{CatchDisagrees}},
		{"too much in the trays", func(t *TrayTest) { t.BoutWidthM, t.CatchRateKgHa = 10, 360 }, []Kind{CatchDisagrees}},
		{"a row too short", func(t *TrayTest) { t.MassesG = t.MassesG[2:19] }, []Kind{ThrowBeyondTrays, ThrowBeyondTrays}},
	} {
		test := trayCases(t)[0].test()
		r.change(&test)
		before := slices.Clone(test.MassesG)
		res, err := MeasureTrays(test, TrayOptions{})
		if err != nil {
			t.Fatal(err)
		}
		if got := kinds(res.Findings); !slices.Equal(got, r.want) {
			t.Errorf("%s: %v", r.name, res.Findings)
		}
		if void := slices.Contains(r.want, WindOverLimit); res.Valid == void || (res.WidestBoutWidthM == nil) != void {
			t.Errorf("%s: valid %v, widest %v", r.name, res.Valid, res.WidestBoutWidthM)
		}
		if beyond := test.BoutWidthM > 21; test.BoutWidthM > 0 && (res.AtSet == nil) != beyond {
			t.Errorf("%s: at the set bout width %+v", r.name, res.AtSet)
		}
		for i, m := range test.MassesG {
			if m != before[i] && !math.IsNaN(m) {
				t.Error("the input was changed")
			}
		}
	}
	later := trayCases(t)[2].test()
	later.BoutWidthM = 16.5
	if r, err := MeasureTrays(later, TrayOptions{}); err != nil || !slices.Equal(kinds(r.Findings), []Kind{BoutTooWide, PassesLater, BoutTooWide, PassesLater}) {
		t.Errorf("a bout width that passes after narrower ones fail: %v %v", r.Findings, err)
	}
	rough, err := MeasureTrays(TrayTest{MassesG: []float64{0, 9, 0, 9, 0, 9, 0}, SpacingM: 1, TrayWidthM: 1, TrayLengthM: 1, WindMS: known(0)}, TrayOptions{})
	if err != nil || rough.WidestBoutWidthM != nil || rough.MeanKgHa != nil || !slices.Contains(kinds(rough.Findings), NoBoutWidth) {
		t.Errorf("a comb has no bout width: %+v %v", rough, err)
	}
}

// T4 at 4 m has 1.8 % round-and-round and 2.8 % to-and-fro: at a limit of 2 % the
// one way has a bout width, both together have none.
func TestOneWayWithoutABoutWidth(t *testing.T) {
	r, err := MeasureTrays(trayCases(t)[3].test(), TrayOptions{CVLimitPct: 2})
	if err != nil || r.WidestBoutWidthM != nil || r.Widest[0].BoutWidthM != nil || r.Widest[1].BoutWidthM == nil || !slices.Contains(kinds(r.Findings), NoBoutWidth) {
		t.Errorf("%+v %v", r.Widest, err)
	}
}

// A filled tray is the mean of its neighbours, positions shift the driving
// line, and the shares of the sides follow.
func TestTrayDetails(t *testing.T) {
	r, err := MeasureTrays(TrayTest{MassesG: []float64{1, 2, math.NaN(), 4, 1}, SpacingM: 1, TrayWidthM: 0.5, TrayLengthM: 0.5}, TrayOptions{})
	if err != nil {
		t.Fatal(err)
	}
	near(t, "filled kg/ha", r.RatesKgHa[2], 3*40, 1e-9)
	near(t, "left", r.LeftPct, 100*4.5/11, 1e-9)
	near(t, "left and right", r.LeftPct+r.RightPct, 100, 1e-9)
	near(t, "centre", r.CentreRightM, (4+2-2-2)/11.0, 1e-9)
	moved, err := MeasureTrays(TrayTest{MassesG: []float64{1, 2, 3, 4, 1}, PositionsM: []float64{-2.5, -1.5, -0.5, 0.5, 1.5}, TrayWidthM: 0.5, TrayLengthM: 0.5}, TrayOptions{})
	if err != nil {
		t.Fatal(err)
	}
	near(t, "left of a line between trays", moved.LeftPct, 100*6/11.0, 1e-9)
	near(t, "centre of the moved row", moved.CentreRightM, r.CentreRightM-0.5, 1e-9)
	if moved.Rows[0].RoundAndRoundCVPct != r.Rows[0].RoundAndRoundCVPct || moved.Rows[0].ToAndFroCVPct == r.Rows[0].ToAndFroCVPct {
		t.Error("the driving line counts to-and-fro, and only there")
	}
	fine, err := MeasureTrays(trayCases(t)[0].test(), TrayOptions{FromM: 10, StepM: 0.25, WidthsM: []float64{6.3}})
	if err != nil || fine.Rows[1].BoutWidthM != 10.25 || fine.Further[0].BoutWidthM != 6.3 || *fine.WidestBoutWidthM != 13.25 {
		t.Errorf("steps %+v, further %+v, widest %v, %v", fine.Rows[:2], fine.Further, *fine.WidestBoutWidthM, err)
	}
}
