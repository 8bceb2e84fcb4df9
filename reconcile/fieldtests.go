package reconcile

import (
	"fmt"

	"hopperbook/reconcile/calibration"
	"hopperbook/schemas"
)

// densityTests finds tests whose density differs from the product's register
// or from the test before by more than the uncertainty: the rate at the same
// opening changes with it.
func densityTests(in Input, reg *registers, found *findings) {
	type series struct {
		machine schemas.MachineID
		product schemas.ProductID
	}
	groups := map[series][]At[schemas.TestDensity]{}
	for _, t := range sorted(in.Densities) {
		key := series{t.Machine, t.Data.Product}
		groups[key] = append(groups[key], t)
	}
	for key, tests := range groups {
		test := calibration.DensityTest{Register: calibration.DensityReference{KgM3: orZero(reg.products[key.product].Data.BulkDensityKgM3)}}
		for len(tests) > 0 {
			n := 1
			for n < len(tests) && tests[n].Time.Sub(tests[0].Time) <= calibration.TestDay {
				n++
			}
			test.Samples = nil
			for _, t := range tests[:n] {
				test.Samples = append(test.Samples, calibration.Samples(t.Data)...)
			}
			last := tests[n-1]
			tests = tests[n:]
			d, err := calibration.MeasureDensity(test)
			if err != nil {
				found.add(Finding{Kind: "density_test_unusable", Machine: key.machine, Event: last.ID, At: last.Time, Text: fmt.Sprintf("%s: %v", key.product, err)})
				continue
			}
			test.Last = d.AsReference()
			for _, x := range d.Findings {
				if x.Kind == calibration.DensityChanged || x.Kind == calibration.DensityOdd {
					found.add(Finding{Kind: string(x.Kind), Machine: key.machine, Event: last.ID, At: last.Time, Amount: d.DensityKgM3, Unit: "kg/m3", Text: fmt.Sprintf("%s: %s", key.product, x.Text)})
				}
			}
		}
	}
}

// catchTests finds catch tests from which no flow follows.
func catchTests(in Input, found *findings) {
	for _, t := range sorted(in.Catches) {
		if _, err := calibration.MeasureFlow(calibration.CatchOf(t.Data)); err != nil {
			found.add(Finding{Kind: "catch_test_unusable", Machine: t.Machine, Event: t.ID, At: t.Time, Text: fmt.Sprintf("%s: %v", t.Data.CatchTest, err)})
		}
	}
}

// trayTests finds tray tests that no map can be laid with.
func trayTests(in Input, found *findings) {
	for _, t := range sorted(in.Trays) {
		x := Finding{Kind: "tray_test_unusable", Machine: t.Machine, Event: t.ID, At: t.Time}
		if _, err := calibration.Whole(t.Data); err != nil {
			x.Text = fmt.Sprintf("%s: %v", t.Data.TrayTest, err)
			found.add(x)
		} else if calibration.TraysOf(t.Data).Void() {
			x.Kind, x.Text = "tray_test_void", fmt.Sprintf("%s is void: wind of %.1f m/s; no map is laid with it", t.Data.TrayTest, *t.Data.WindMS)
			found.add(x)
		}
	}
}

// notVoid keeps the tray tests that the wind has not voided.
func notVoid(tests []At[schemas.TestTray]) (kept []At[schemas.TestTray]) {
	for _, t := range tests {
		if !calibration.TraysOf(t.Data).Void() {
			kept = append(kept, t)
		}
	}
	return kept
}
