package reports

import (
	"slices"
	"strings"
	"testing"

	"hopperbook/reconcile/calibration"
)

func notes(t Table) string { return strings.Join(t.Notes, "\n") }

func TestTrayTableMarksWhatCounts(t *testing.T) {
	wind := 1.0
	test := calibration.TrayTest{MassesG: []float64{0, 1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 9, 8, 7, 6, 5, 4, 3, 2, 1, 0}, SpacingM: 1, TrayWidthM: 0.5, TrayLengthM: 0.5, BoutWidthM: 10.25, WindMS: &wind}
	result, err := calibration.MeasureTrays(test, calibration.TrayOptions{WidthsM: []float64{10, 6.5}})
	if err != nil {
		t.Fatal(err)
	}
	table := CalibrateTray(TrayAnswer{Tray: result})
	var widths, marks []string
	for i := range table.Rows {
		widths = append(widths, cell(t, table, i, "bout_width_m"))
		if mark := cell(t, table, i, "note"); mark != "" {
			marks = append(marks, widths[i]+" "+mark+" "+cell(t, table, i, "within"))
		}
	}
	if want := []string{"4", "5", "6", "6.5", "7", "8", "9", "10", "10.25", "11", "12", "13", "14", "15", "16", "17", "18", "19", "20", "21"}; !slices.Equal(widths, want) {
		t.Errorf("rows %v", widths)
	}
	if !slices.Equal(marks, []string{"10.25 set both", "13 widest both"}) {
		t.Errorf("marks %v", marks)
	}
	for _, want := range []string{"to-and-fro within a CV of 15 %: 13 m", "Left 50.0 %", "0 40 80 120", "Caution: nobody stands"} {
		if !strings.Contains(notes(table), want) {
			t.Errorf("the notes lack %q:\n%s", want, notes(table))
		}
	}
	if got := within(calibration.WidthRow{ToAndFroCVPct: 16, RoundAndRoundCVPct: 15}, 15); got != "round-and-round" {
		t.Errorf("within %s", got)
	}
}

// Every test's table has its cautions, and shows a standard error only where
// there is one.
func TestCalibrationTablesCaution(t *testing.T) {
	density, err1 := calibration.MeasureDensity(calibration.DensityTest{Samples: []calibration.DensitySample{{MassKg: 15, VolumeL: 20}}, Register: calibration.DensityReference{KgM3: 800}})
	flow, err2 := calibration.MeasureFlow(calibration.CatchTest{CollectedKg: []float64{29, 31}, TimeS: 60, SpeedKmh: 10, BoutWidthM: 12, Revolutions: 50})
	curves, err3 := calibration.Curves([]calibration.GateTest{{GateMm: 40, CatchTest: calibration.CatchTest{CollectedKg: []float64{20}, DistanceM: 100}}})
	overlap, err4 := calibration.MeasureOverlap(calibration.OverlapTest{AtLineG: []float64{1, 1.1}, BetweenG: []float64{1, 1.1}})
	for _, err := range []error{err1, err2, err3, err4} {
		if err != nil {
			t.Fatal(err)
		}
	}
	gate, err := curves[0].Gate(calibration.GateWanted{RateKgHa: 105, BoutWidthM: 20})
	if err != nil {
		t.Fatal(err)
	}
	catch := CalibrateCatch(CatchAnswer{Flow: flow, BoutWidthM: 12, GateMm: 40, At: &CatchAt{24, 5, 150}, FirstTry: &FirstTry{300, 80}})
	for name, table := range map[string]Table{"density": CalibrateDensity(DensityAnswer{Density: density}), "catch": catch, "curve": CalibrateGate(GateAnswer{Curves: curves}),
		"gate": CalibrateGate(GateAnswer{Curves: curves, Gates: []calibration.GateAdvice{gate}}), "overlap": CalibrateOverlap(OverlapAnswer{Overlap: overlap})} {
		if !strings.Contains(notes(table), "Caution: ") {
			t.Errorf("%s has no caution", name)
		}
		for _, row := range table.Rows {
			if len(row) != len(table.Columns) {
				t.Errorf("%s: %d cells under %d columns", name, len(row), len(table.Columns))
			}
		}
	}
	for i, want := range []string{"-", "-", "0.0060", "1.000", "0.0200", "5.00", "-", "-", "-"} {
		if got := cell(t, catch, i, "standard_error"); got != want {
			t.Errorf("catch row %v: standard error %s, want %s", catch.Rows[i], got, want)
		}
	}
	if !strings.Contains(catch.Rows[7][0], "24 m and 5 km/h") || catch.Rows[8][1] != "80.0" {
		t.Errorf("elsewhere %v", catch.Rows[7:])
	}
}
