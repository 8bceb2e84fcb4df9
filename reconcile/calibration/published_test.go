package calibration

import (
	"bufio"
	"fmt"
	"math"
	"os"
	"strconv"
	"strings"
	"testing"
)

type trayRow struct {
	bout, meanG, kgHa float64
	cv                map[Driving]map[Divisor]float64
}

type trayCase struct {
	name    string
	spacing float64
	masses  []float64
	rows    []trayRow
}

func numbers(t *testing.T, line string) []float64 {
	t.Helper()
	var out []float64
	for _, cell := range strings.Split(line, ",") {
		v, err := strconv.ParseFloat(cell, 64)
		if err != nil {
			t.Fatal(err)
		}
		out = append(out, v)
	}
	return out
}

func lines(t *testing.T, name string) (out []string) {
	t.Helper()
	file, err := os.Open("testdata/" + name)
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close()
	for scan := bufio.NewScanner(file); scan.Scan(); {
		if l := scan.Text(); !strings.HasPrefix(l, "# ") {
			out = append(out, l)
		}
	}
	return out
}

func trayCases(t *testing.T) (cases []trayCase) {
	t.Helper()
	for _, l := range lines(t, "trays.csv") {
		var c *trayCase
		if n := len(cases); n > 0 {
			c = &cases[n-1]
		}
		switch {
		case strings.HasPrefix(l, "## "):
			var next trayCase
			var n int
			var total float64
			if _, err := fmt.Sscanf(l, "## %s spacing %f n %d total %f", &next.name, &next.spacing, &n, &total); err != nil {
				t.Fatal(err)
			}
			next.name, _, _ = strings.Cut(next.name, "_")
			cases = append(cases, next)
		case strings.HasPrefix(l, "bout_steps"):
		case c.masses == nil:
			c.masses = numbers(t, l)
		default:
			v := numbers(t, l)
			c.rows = append(c.rows, trayRow{bout: v[1], meanG: v[2], kgHa: v[3], cv: map[Driving]map[Divisor]float64{
				RoundAndRound: {Population: v[5], Sample: v[6]}, ToAndFro: {Population: v[8], Sample: v[9]}}})
		}
	}
	return cases
}

func (c trayCase) test() TrayTest {
	return TrayTest{MassesG: c.masses, SpacingM: c.spacing, TrayWidthM: 0.5, TrayLengthM: 0.5, WindMS: known(1)}
}

func near(t *testing.T, what string, got, want, within float64) {
	t.Helper()
	if !(math.Abs(got-want) <= within) {
		t.Errorf("%s = %.10g, want %.10g within %g", what, got, want, within)
	}
}

// Check values 3.3: every row of every pattern, both ways of driving, both
// divisors, by themselves and as the rows of a tray test.
func TestTrayRows(t *testing.T) {
	rows := 0
	for _, c := range trayCases(t) {
		p := Centred(c.masses, c.spacing)
		results := map[Divisor]Tray{}
		for _, d := range []Divisor{Sample, Population} {
			r, err := MeasureTrays(c.test(), TrayOptions{Divisor: d})
			if err != nil {
				t.Fatal(err)
			}
			results[d] = r
		}
		for i, row := range c.rows {
			rows++
			near(t, "mean g", p.MeanG(row.bout), row.meanG, 6e-7)
			for driving, by := range row.cv {
				for divisor, want := range by {
					what := fmt.Sprintf("%s at %v m %s %s", c.name, row.bout, driving, divisor)
					got, err := p.CV(row.bout, driving, divisor)
					if err != nil {
						t.Fatal(err)
					}
					near(t, what, got, want, 5.1e-5)
					r := results[divisor].Rows[i]
					if r.BoutWidthM != row.bout || r.CVPct(driving) != got {
						t.Errorf("%s: the test's row is %+v", what, r)
					}
					near(t, what+" kg/ha", r.MeanKgHa, row.kgHa, 5.1e-5)
				}
			}
		}
	}
	if rows != 107 {
		t.Errorf("%d rows read, 107 stand in the file", rows)
	}
}

// Check values 3.4, and the row that pins the divisor: T2 at 19 m passes 25 %
// with the population divisor alone.
func TestWidestBoutWidth(t *testing.T) {
	cases := map[string]trayCase{}
	for _, c := range trayCases(t) {
		cases[c.name] = c
	}
	drivings := map[string][]Driving{"RR": {RoundAndRound}, "TF": {ToAndFro}, "RR or TF": {RoundAndRound, ToAndFro}}
	checked := 0
	for _, l := range lines(t, "widest.csv")[1:] {
		cells := strings.Split(l, ",")
		v := numbers(t, strings.Join(cells[2:], ","))
		r, err := MeasureTrays(cases[cells[0]].test(), TrayOptions{CVLimitPct: v[0]})
		if err != nil {
			t.Fatal(err)
		}
		for _, driving := range drivings[cells[1]] {
			for _, w := range r.Widest {
				if w.Driving != driving {
					continue
				}
				checked++
				if w.BoutWidthM == nil || *w.BoutWidthM != v[1] || w.AnyM == nil || *w.AnyM != v[2] {
					t.Errorf("%s: first fail %v, any %v", l, *w.BoutWidthM, *w.AnyM)
				}
			}
		}
	}
	if checked != 27 {
		t.Errorf("%d verdicts checked", checked)
	}
	for divisor, want := range map[Divisor]float64{Sample: 18, Population: 19} {
		r, err := MeasureTrays(cases["T2"].test(), TrayOptions{CVLimitPct: 25, Divisor: divisor})
		if err != nil || *r.Widest[1].BoutWidthM != want {
			t.Errorf("%s: %v %v", divisor, *r.Widest[1].BoutWidthM, err)
		}
		if r.Divisor != divisor {
			t.Errorf("the result does not name its divisor: %q", r.Divisor)
		}
	}
}

// The general CV row of check values 3.4, sample and population, by trays that
// do not overlap: at the full width of the row, round-and-round, y is the row.
func TestCVOfARow(t *testing.T) {
	p := Centred([]float64{16.6, 37.3, 16.2, 47, 41.2, 40.1, 40.4, 31.8}, 1)
	for divisor, want := range map[Divisor]float64{Sample: 34.151415, Population: 31.945723} {
		got, err := p.CV(8, RoundAndRound, divisor)
		if err != nil {
			t.Fatal(err)
		}
		near(t, string(divisor), got, want, 1e-6)
	}
}

// Check values 2.2 and 2.3, tag [COMP], exact arithmetic; and the trays of 2.2.
func TestCatchRows(t *testing.T) {
	for _, r := range []struct{ mass, time, speed, width, flow, rate float64 }{
		{48.3, 30, 12, 12, 96.6, 402.5}, {22.75, 15, 16, 24, 91, 142.1875}, {310, 60, 8, 12, 310, 1937.5}, {9.84, 20, 10, 15, 29.52, 118.08},
	} {
		f, err := MeasureFlow(CatchTest{CollectedKg: []float64{r.mass}, TimeS: r.time, SpeedKmh: r.speed, BoutWidthM: r.width})
		if err != nil {
			t.Fatal(err)
		}
		near(t, "kg/min", *f.KgMin, r.flow, 1e-9*r.flow)
		near(t, "kg/ha", *f.RateKgHa, r.rate, 1e-9*r.rate)
		at, err := f.RateAt(r.width, r.speed)
		near(t, "kg/ha at the same", at, r.rate, 1e-9*r.rate)
		if err != nil || f.SEPct != nil || f.RateSE != nil {
			t.Errorf("one catch has no standard error: %+v %v", f, err)
		}
	}
	for _, r := range []struct{ mass, distance, width, rate float64 }{
		{42.6, 100, 12, 355}, {118, 250, 18, 2360.0 / 9}, {15.25, 50, 10, 305}, {1260, 2000, 14, 450},
	} {
		f, err := MeasureFlow(CatchTest{CollectedKg: []float64{r.mass}, DistanceM: r.distance, BoutWidthM: r.width})
		if err != nil {
			t.Fatal(err)
		}
		near(t, "kg/ha", *f.RateKgHa, r.rate, 1e-9*r.rate)
		near(t, "kg/m", *f.KgPerM, r.mass/r.distance, 1e-12)
		if f.KgMin != nil {
			t.Error("by distance without a speed there is no kg/min")
		}
	}
	near(t, "linear setting", LinearSetting(8, 402.5, 350), 6.956522, 5e-7)
	for _, r := range []struct {
		grams, side1, side2 float64
		passes              int
		rate                float64
	}{{5, 0.5, 0.5, 1, 200}, {11.4, 0.5, 0.5, 2, 228}, {2.35, 0.5, 0.5, 1, 94}, {36, 0.5, 0.5, 4, 360}, {3.2, 0.4, 0.25, 1, 320}, {20.5, 0.5, 0.5, 3, 820.0 / 3}} {
		res, err := MeasureTrays(TrayTest{MassesG: []float64{r.grams, r.grams, r.grams}, SpacingM: 0.5, TrayWidthM: r.side1, TrayLengthM: r.side2, Passes: r.passes}, TrayOptions{})
		if err != nil {
			t.Fatal(err)
		}
		near(t, "tray kg/ha", res.RatesKgHa[1], r.rate, 1e-9*r.rate)
	}
}

// Published worked numbers of check values 2.1 that calibration computes: a
// 56 in square sheet is 1/2000 acre, so pounds read as short tons an acre (Iowa
// State Extension, Fall 2001); lb/ac = oz x 8 over 340.3 ft at 12 in and 214.9 ft
// at 19 in spacing (University of Georgia, Fertilizer Applicator
// Calibration); t/ac over a measured stretch (Utah State University Extension,
// CNMP step 7.1; the example is computed: 2.5 t over 300 ft x 20 ft is 18.15).
func TestPublishedCatches(t *testing.T) {
	const kgLb, ft, kgHaPerLbAc = 0.45359237, 0.3048, 1.12085115619
	rate := func(lb, lengthFt, widthFt float64) float64 {
		f, err := MeasureFlow(CatchTest{CollectedKg: []float64{lb * kgLb}, DistanceM: lengthFt * ft, BoutWidthM: widthFt * ft})
		if err != nil {
			t.Fatal(err)
		}
		return *f.RateKgHa / kgHaPerLbAc
	}
	near(t, "7 lb on the sheet, short tons/ac", rate(7, 56.0/12, 56.0/12)/2000, 7, 7*1.1e-4)
	near(t, "10 oz over 340.3 ft, lb/ac", rate(10.0/16, 340.3, 1), 80, 80*4e-5)
	near(t, "10 oz over 214.9 ft, lb/ac", rate(10.0/16, 214.9, 19.0/12), 80, 80*2e-4)
	// tons/ac = lb x 21.78 / sheet ft2 (UMass Extension prints 21.8).
	near(t, "3 lb on 4 x 5 ft", rate(3, 5, 4)/2000, 3*21.78/20, 1e-6)
	near(t, "2.5 short tons over 300 x 20 ft", rate(5000, 300, 20)/2000, 18.15, 1e-6)
}

// Check values 2.3: a cubic foot of so many pounds, a hopper of so many tonnes.
func TestDensityRows(t *testing.T) {
	for _, r := range [][2]float64{{46, 736.8493}, {50, 800.9232}, {55, 881.0155}, {60, 961.1078}, {65, 1041.2001}, {75, 1201.3848}, {90, 1441.6617}} {
		d, err := MeasureDensity(DensityTest{Samples: []DensitySample{{MassKg: r[0] * 0.45359237, VolumeL: 28.316846592}}})
		if err != nil {
			t.Fatal(err)
		}
		near(t, "a cubic foot weighed", d.DensityKgM3, r[1], 5.1e-5)
		near(t, "kg/l", d.DensityKgL, r[1]/1000, 5.1e-8)
	}
	for _, r := range [][3]float64{{4.2, 960, 4.032}, {6.5, 1080, 7.02}, {9, 1400, 12.6}, {3.1, 745, 2.3095}} {
		d, err := MeasureDensity(DensityTest{Samples: []DensitySample{{MassKg: 1000 * r[2], VolumeL: 1000 * r[0]}}})
		if err != nil {
			t.Fatal(err)
		}
		near(t, "a hopper weighed", d.DensityKgM3, r[1], 1e-9*r[1])
	}
}

// Half-rate rule: 4 in at the centre, 2 in at 6 ft: 12 ft (Ohio State
// University Extension, B-817, Fig. 20). Triangle and trapezoid fall to half at
// 5 and 8 m: the bout widths at which they are flat.
func TestHalfRateRule(t *testing.T) {
	const ft = 0.3048
	cases := trayCases(t)
	for _, r := range []struct {
		p    Pattern
		want float64
	}{{Centred([]float64{0, 2, 4, 4, 4, 4, 4, 2, 0}, 2*ft), 12 * ft}, {Centred(cases[0].masses, 1), 2 * (10 - (10+9+9)/3.0/2)}, {Centred(cases[1].masses, 1), 16}} {
		got, ok := r.p.HalfRateM()
		if !ok {
			t.Fatal("no half-rate swath")
		}
		near(t, "swath", got, r.want, 1e-9)
	}
	for _, masses := range [][]float64{{5, 5, 5}, {0, 0, 0, 0, 0, 9, 0}, {0, 9, 9, 9, 9}} {
		if got, ok := Centred(masses, 1).HalfRateM(); ok {
			t.Errorf("%v: %v m", masses, got)
		}
	}
}
