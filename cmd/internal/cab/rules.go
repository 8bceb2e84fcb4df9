package cab

import (
	"math"
	"slices"
	"time"

	"hopperbook/ingest/tablet"
	"hopperbook/reconcile/calibration"
	"hopperbook/schemas"
)

// Rules are the rules of the trade as reconcile/calibration has them.
type Rules struct{}

func checksOf(checks []tablet.Checked) []calibration.Check {
	out := make([]calibration.Check, len(checks))
	for i, c := range checks {
		out[i] = calibration.Check{At: c.At, CheckMachine: c.CheckMachine}
	}
	return out
}

// Checks is how every item stands. An item with several positions has failed
// where one of them has.
func (Rules) Checks(checks []tablet.Checked, at time.Time) []tablet.CheckView {
	limits := calibration.DefaultCheckLimits()
	states := calibration.CheckStates(checksOf(checks), "", at, limits)
	out := make([]tablet.CheckView, len(limits))
	for i, l := range limits {
		v := tablet.CheckView{Item: l.Item, Unit: l.Unit, State: "unknown", Safety: l.Safety, Limit: l.High}
		for _, s := range states {
			switch {
			case s.Item != l.Item:
				continue
			case s.Failed:
				v.State = "failed"
			case v.State == "unknown":
				v.State = "passed"
			}
			if s.At.After(v.At) {
				v.At = s.At
			}
		}
		out[i] = v
	}
	return out
}

// Start is why work must not begin.
func (Rules) Start(checks []tablet.Checked, at time.Time, override *schemas.Override) error {
	return calibration.PlanStart(checksOf(checks), "", at, override, calibration.DefaultCheckLimits()).Refusal()
}

// Density works out a density test.
func (Rules) Density(test schemas.TestDensity, registerKgM3 float64) (tablet.DensityResult, error) {
	r, err := calibration.MeasureDensity(calibration.DensityTest{Samples: calibration.Samples(test), Register: calibration.DensityReference{KgM3: registerKgM3}})
	if err != nil {
		return tablet.DensityResult{}, err
	}
	out := tablet.DensityResult{DensityKgM3: r.DensityKgM3, U95KgM3: r.U95KgM3, Findings: textsOf(r.Findings)}
	for _, a := range r.Against {
		out.RateChangePct = &a.RateChangePct
	}
	return out, nil
}

// Catch works out a catch test.
func (Rules) Catch(test schemas.TestCatch, setRateKgHa float64, past []schemas.TestCatch) (tablet.CatchResult, error) {
	flow, err := calibration.MeasureFlow(calibration.CatchOf(test))
	if err != nil {
		return tablet.CatchResult{}, err
	}
	out := tablet.CatchResult{RateKgHa: flow.RateKgHa, U95Pct: flow.U95Pct, Findings: textsOf(append(flow.Findings, calibration.StatedMean(test.CollectedKg, test.Repeats)...))}
	if setRateKgHa > 0 {
		out.SetKgHa = &setRateKgHa
	}
	if flow.RateKgHa == nil || out.SetKgHa == nil {
		return out, nil
	}
	off := 100 * (*flow.RateKgHa/setRateKgHa - 1)
	out.OffPct = &off
	out.GateTryMm, err = gateTry(test, *flow.RateKgHa, setRateKgHa, past)
	return out, err
}

// gateTry is the opening to set for a rate: by the gate curve of the machine's
// catch tests, else in proportion.
func gateTry(test schemas.TestCatch, rateKgHa, wantKgHa float64, past []schemas.TestCatch) (*float64, error) {
	if !(test.GateMm > 0) {
		return nil, nil
	}
	mine := calibration.GateTestOf(test)
	curves, err := calibration.Curves([]calibration.GateTest{mine})
	if err != nil {
		return nil, err
	}
	key := curves[0].CurveKey
	tests := []calibration.GateTest{mine}
	for _, p := range past {
		g := calibration.GateTestOf(p)
		if _, err := calibration.MeasureFlow(g.CatchTest); err == nil && g.GateMm > 0 && p.CatchTest != test.CatchTest {
			tests = append(tests, g)
		}
	}
	if curves, err = calibration.Curves(tests); err != nil {
		return nil, err
	}
	i := slices.IndexFunc(curves, func(c calibration.Curve) bool { return c.CurveKey == key })
	want := calibration.GateWanted{RateKgHa: wantKgHa, BoutWidthM: test.BoutWidthM}
	if test.SpeedKmh != nil {
		want.SpeedKmh = *test.SpeedKmh
	}
	advice, err := curves[i].Gate(want)
	switch {
	case err != nil:
		return nil, err
	case advice.GateMm != nil:
		return advice.GateMm, nil
	case len(curves[i].Points) > 1:
		return nil, nil // beyond what was tested: no opening is named
	}
	first := calibration.LinearSetting(test.GateMm, rateKgHa, wantKgHa)
	return &first, nil
}

// Tray works out a tray test.
func (Rules) Tray(test schemas.TestTray, product *schemas.RegisterProduct) (tablet.TrayResult, error) {
	var o calibration.TrayOptions
	if product != nil {
		o.CVLimitPct = calibration.CVLimitFor(product.Analysis)
	}
	r, err := calibration.MeasureTrays(calibration.TraysOf(test), o)
	if err != nil {
		return tablet.TrayResult{}, err
	}
	out := tablet.TrayResult{RateKgHa: r.MeanKgHa, CVLimitPct: r.CVLimitPct, Void: !r.Valid, BoutWidthM: test.BoutWidthM, Findings: textsOf(r.Findings)}
	if r.Valid {
		out.WidestM = r.WidestBoutWidthM
	}
	if row := r.AtSet; row != nil {
		worst := calibration.ToAndFro
		if row.RoundAndRoundCVPct > row.ToAndFroCVPct {
			worst = calibration.RoundAndRound
		}
		cv := row.CVPct(worst)
		out.CVPct, out.DrivingOfWorst = &cv, string(worst)
	}
	if r.MeanKgHa != nil {
		// Each side as if both were like it, so that the two can be compared with the rate.
		left, right, off := *r.MeanKgHa*r.LeftPct/50, *r.MeanKgHa*r.RightPct/50, r.RightPct-r.LeftPct
		if !math.IsNaN(off) {
			out.MeanLeftKgHa, out.MeanRightKgHa, out.OffSidePct = &left, &right, &off
		}
	}
	for _, s := range r.Shapes {
		if s.Kind != calibration.Regular {
			out.Findings = append(out.Findings, s.Text)
		}
	}
	return out, nil
}

func textsOf(findings []calibration.Finding) []string {
	texts := []string{}
	for _, f := range findings {
		texts = append(texts, f.Text)
	}
	return texts
}
