package calibration

import (
	"cmp"

	"hopperbook/schemas"
)

// standardTrayM is the side of a tray where a file does not say
// (EN 13739-2:2011: trays of 500 mm by 500 mm).
const standardTrayM = 0.5

func value(v *float64) float64 {
	if v == nil {
		return 0
	}
	return *v
}

// Samples is the data of a density test: its repeats, or the one filling.
func Samples(d schemas.TestDensity) []DensitySample {
	masses := d.Repeats
	if len(masses) == 0 {
		masses = []float64{d.MassKg}
	}
	out := make([]DensitySample, len(masses))
	for i, kg := range masses {
		out[i] = DensitySample{MassKg: kg, VolumeL: d.VolumeL, TareKg: value(d.TareKg)}
	}
	return out
}

// CatchOf is the data of a catch test. One that notes both distance and time
// is by distance; the time is left out.
func CatchOf(d schemas.TestCatch) CatchTest {
	t := CatchTest{CollectedKg: d.Repeats, TareKg: value(d.TareKg), DistanceM: value(d.DistanceM), TimeS: value(d.TimeS), SpeedKmh: value(d.SpeedKmh),
		BoutWidthM: d.BoutWidthM, Revolutions: value(d.Revolutions), GroundDriven: d.GroundDriven}
	if len(d.Repeats) == 0 {
		t.CollectedKg = []float64{d.CollectedKg}
	}
	if d.DistanceM != nil && d.TimeS != nil {
		t.TimeS = 0
	}
	return t
}

// GateTestOf is the data of a catch test at its opening.
func GateTestOf(d schemas.TestCatch) GateTest {
	return GateTest{ID: d.CatchTest, Product: d.Product, DiscSet: d.DiscSet, BeltGear: d.BeltGear, PTORpm: value(d.PTORpm), GateMm: d.GateMm, CatchTest: CatchOf(d)}
}

// TraysOf is the data of a tray test; trays of a size that is not given are
// of 0.5 m by 0.5 m.
func TraysOf(d schemas.TestTray) TrayTest {
	return TrayTest{MassesG: d.MassesG, PositionsM: d.PositionsM, SpacingM: d.TraySpacingM, TrayWidthM: cmp.Or(d.TrayWidthM, standardTrayM),
		TrayLengthM: cmp.Or(d.TrayLengthM, standardTrayM), Passes: int(d.Passes), BoutWidthM: d.BoutWidthM, WindMS: d.WindMS, CatchRateKgHa: value(d.CatchRateKgHa)}
}

// OverlapOf is the data of an overlap test.
func OverlapOf(d schemas.TestOverlap) OverlapTest {
	return OverlapTest{AtLineG: d.AtDrivingLineG, BetweenG: d.BetweenLinesG}
}

// Void reports whether the wind voids the test; an unknown wind does not.
func (t TrayTest) Void() bool { return t.WindMS != nil && *t.WindMS > DefaultWindLimitMS }

// Whole is the tray test's row as it can be laid over ground: every tray with a
// mass (a missing one as the mean of its neighbours), equally spaced. Refused:
// as MeasureTrays does.
func Whole(d schemas.TestTray) (schemas.TestTray, error) {
	var f findings
	p, err := TraysOf(d).pattern(&f)
	if err != nil {
		return d, err
	}
	d.MassesG, d.TraySpacingM = p.MassesG, p.SpacingM
	return d, nil
}
