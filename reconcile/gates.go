package reconcile

import (
	"slices"

	"hopperbook/reconcile/calibration"
	"hopperbook/schemas"
	"hopperbook/schemas/unit"
)

// gateTry is the opening that gives the calibrated flow again where the flow is
// off by size: on the curve of the machine's catch tests up to the end of the
// series, from the opening now set to the one with 1 / (1 + size) of its flow.
// nil unless the curve has two openings at least and both lie within them.
func (m *machine) gateTry(s series, size float64) *GateTry {
	last := s.starts[len(s.starts)-1]
	setting, _ := m.settingAt(last.UnixMilli())
	now := s.catch.Data.GateMm
	if setting.Product == s.product && setting.GateMm != nil {
		now = *setting.GateMm
	}
	var tests []calibration.GateTest
	for _, c := range m.catches {
		if c.Data.Product == s.product && !c.Time.After(last) {
			tests = append(tests, calibration.GateTestOf(c.Data))
		}
	}
	tests = slices.DeleteFunc(tests, func(t calibration.GateTest) bool {
		_, err := calibration.MeasureFlow(t.CatchTest)
		return err != nil || !(t.GateMm > 0)
	})
	if len(tests) == 0 {
		return nil
	}
	curves, err := calibration.Curves(tests)
	if err != nil {
		return nil // every test was looked at: no curve, no advice
	}
	for _, c := range curves {
		if onCurve(c, s.catch.Data.CatchTest) && sameDrive(c, setting) {
			return tryOn(c, now, size)
		}
	}
	return nil
}

func onCurve(c calibration.Curve, test schemas.TestID) bool {
	return slices.ContainsFunc(c.Points, func(p calibration.GatePoint) bool { return slices.Contains(p.Tests, test) })
}

// sameDrive reports whether the setting does not contradict the tests: what
// either leaves out is taken as the same.
func sameDrive(c calibration.Curve, s schemas.SettingChanged) bool {
	gear := c.BeltGear == "" || s.BeltGear == "" || c.BeltGear == s.BeltGear
	pto := c.PTORpm == 0 || s.PTORpm == nil || c.PTORpm == *s.PTORpm
	return gear && pto
}

func tryOn(c calibration.Curve, nowMm, size float64) *GateTry {
	flow, ok := c.At(nowMm)
	if !ok || len(c.Points) < 2 || size <= -1 {
		return nil
	}
	// Bout width and speed only turn the flow into a rate and back.
	const boutM, speedKmh = 10, 10
	want := calibration.GateWanted{BoutWidthM: boutM, SpeedKmh: speedKmh}
	var err error
	if c.Drive == calibration.ByTime {
		want.RateKgHa, err = unit.RateFromFlow(flow/(1+size), speedKmh, boutM)
	} else {
		want.RateKgHa, err = unit.RateFromDistance(flow/(1+size), 1, boutM)
	}
	if err != nil {
		return nil
	}
	advice, err := c.Gate(want)
	if err != nil || advice.GateMm == nil || advice.Extrapolated {
		return nil
	}
	return &GateTry{NowMm: nowMm, TryMm: rounded(*advice.GateMm, 1), TestedFromMm: advice.TestedFromMm, TestedToMm: advice.TestedToMm}
}
