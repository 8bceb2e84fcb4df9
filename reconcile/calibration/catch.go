package calibration

import (
	"math"

	"hopperbook/schemas/unit"
)

// Drive says what the metering belt follows.
type Drive string

// The drives.
const (
	// ByGround: the belt follows the ground speed, so kg per metre of travel is
	// the machine's constant.
	ByGround Drive = "ground"
	// ByTime: the belt runs on its own, so kg per minute is the constant.
	ByTime Drive = "time"
)

// FlowUnit is the unit of the drive's constant.
func (d Drive) FlowUnit() string {
	if d == ByTime {
		return "kg/min"
	}
	return "kg/m"
}

const mPerMinPerKmh = 1000.0 / 60 // metres a minute at 1 km/h

// CatchTest is everything the setting delivered over a distance, or over a
// time, caught and weighed one or more times.
type CatchTest struct {
	CollectedKg []float64 // gross, of each repeat
	TareKg      float64   // of bucket or sheet
	DistanceM   float64   // driven in each repeat; 0: the test is by time
	TimeS       float64   // of each repeat; 0: the test is by distance
	SpeedKmh    float64   // worked at (by time: the belt ran as at that speed); 0: not known, allowed by distance
	BoutWidthM  float64   // 0: no rate is given
	Revolutions float64   // of the metering shaft in each repeat; 0: not counted
	// GroundDriven says of a test by time that the belt follows the ground
	// speed, so that it stands for kg per metre at SpeedKmh.
	GroundDriven bool
}

// Flow is a calibrated flow: what a setting delivers.
type Flow struct {
	Drive    Drive     `json:"drive"`
	Repeats  int       `json:"repeats"`
	MassKg   float64   `json:"mass_kg"` // net, mean of the repeats
	MassSD   *float64  `json:"mass_sd_kg,omitempty"`
	SEPct    *float64  `json:"se_pct,omitempty"`  // relative standard error of every figure below
	U95Pct   *float64  `json:"u95_pct,omitempty"` // relative 95 % half-width of every figure below
	KgPerM   *float64  `json:"kg_per_m,omitempty"`
	KgPerMSE *float64  `json:"kg_per_m_se,omitempty"`
	KgMin    *float64  `json:"kg_per_min,omitempty"`
	KgMinSE  *float64  `json:"kg_per_min_se,omitempty"`
	KgRev    *float64  `json:"kg_per_rev,omitempty"`
	KgRevSE  *float64  `json:"kg_per_rev_se,omitempty"`
	RateKgHa *float64  `json:"rate_kg_ha,omitempty"` // at the test's bout width and speed
	RateSE   *float64  `json:"rate_se_kg_ha,omitempty"`
	Findings []Finding `json:"findings"`
}

// MeasureFlow gives the calibrated flow of a catch test. By distance the mass
// is kg per metre of travel, by time kg per minute; a speed turns one into the
// other. Every figure is linear in the net mass and shares its relative
// standard error. Refused: no catch, a net mass not above zero, a test both or
// neither by distance and by time, quantities that are negative or not
// finite. O(n).
func MeasureFlow(t CatchTest) (Flow, error) {
	if err := t.check(); err != nil {
		return Flow{}, err
	}
	net := make([]float64, len(t.CollectedKg))
	for i, gross := range t.CollectedKg {
		net[i] = gross - t.TareKg
	}
	r := newRepeats(net)
	f := Flow{Drive: t.drive(), Repeats: r.n, MassKg: r.mean, MassSD: known(r.sd), SEPct: known(100 * r.se / r.mean), U95Pct: known(100 * r.u95 / r.mean)}
	give := func(value, se **float64, perKg float64) {
		*value, *se = known(r.mean*perKg), known(r.se*perKg)
	}
	metres, minutes := t.DistanceM, t.TimeS/60
	if t.SpeedKmh > 0 {
		if t.TimeS > 0 {
			metres = t.SpeedKmh * mPerMinPerKmh * minutes
		} else {
			minutes = metres / (t.SpeedKmh * mPerMinPerKmh)
		}
	}
	if metres > 0 {
		give(&f.KgPerM, &f.KgPerMSE, 1/metres)
	}
	if minutes > 0 {
		give(&f.KgMin, &f.KgMinSE, 1/minutes)
	}
	if t.Revolutions > 0 {
		give(&f.KgRev, &f.KgRevSE, 1/t.Revolutions)
	}
	if t.BoutWidthM > 0 && metres > 0 {
		give(&f.RateKgHa, &f.RateSE, unit.NominalRate(1, metres*t.BoutWidthM))
	}
	var found findings
	r.judge(&found, "catch")
	f.Findings = found.list()
	return f, nil
}

func (t CatchTest) drive() Drive {
	if t.DistanceM > 0 || t.GroundDriven {
		return ByGround
	}
	return ByTime
}

func (t CatchTest) check() error {
	const op = "catch test"
	if len(t.CollectedKg) == 0 {
		return inputError(op, "weigh what was caught", "no catch")
	}
	for _, q := range []struct {
		what  string
		value float64
	}{{"tare", t.TareKg}, {"distance", t.DistanceM}, {"time", t.TimeS}, {"speed", t.SpeedKmh}, {"bout width", t.BoutWidthM}, {"number of revolutions", t.Revolutions}} {
		if !notNegative(q.value) {
			return inputError(op, "it must be a number not below zero", "a %s of %v", q.what, q.value)
		}
	}
	for i, gross := range t.CollectedKg {
		if !notNegative(gross) {
			return inputError(op, "weigh again", "catch %d: %v kg", i+1, gross)
		}
		if gross <= t.TareKg {
			return inputError(op, "the mass is gross: product and bucket; nothing caught is no calibration", "catch %d: %v kg is not above the tare of %v kg", i+1, gross, t.TareKg)
		}
	}
	switch {
	case t.DistanceM == 0 && t.TimeS == 0:
		return inputError(op, "give the distance driven, or the time and the speed", "neither distance nor time")
	case t.DistanceM > 0 && t.TimeS > 0:
		return inputError(op, "give one of them", "both distance and time")
	case t.GroundDriven && t.SpeedKmh == 0:
		return inputError(op, "give the speed the belt ran at", "a ground-driven belt timed without a speed")
	}
	return nil
}

// RateAt is the rate [kg/ha] the calibrated flow gives at another bout width
// [m] and speed [km/h]. A ground-driven belt keeps kg per metre and ignores the
// speed; one on its own keeps kg per minute.
func (f Flow) RateAt(boutWidthM, speedKmh float64) (rateKgHa float64, err error) {
	if f.Drive == ByTime {
		return unit.RateFromFlow(*f.KgMin, speedKmh, boutWidthM)
	}
	return unit.RateFromDistance(*f.KgPerM, 1, boutWidthM)
}

// LinearSetting is the setting of a linear meter (a belt's gear or gate whose
// flow is in proportion to it) that turns the rate measured at setting into
// the one wanted: setting x wanted / measured. It is a first try near the
// tested point, to be confirmed by another catch. NaN unless all are above zero.
func LinearSetting(setting, measuredKgHa, wantedKgHa float64) float64 {
	if !positive(setting) || !positive(measuredKgHa) || !positive(wantedKgHa) {
		return math.NaN()
	}
	return setting * wantedKgHa / measuredKgHa
}

// StatedMean is a finding when the mass a test states is not the mean of the
// repeats it lists, by more than half a per cent; the repeats count.
func StatedMean(statedKg float64, repeatsKg []float64) []Finding {
	var f findings
	if mean := newRepeats(repeatsKg).mean; len(repeatsKg) > 0 && math.Abs(statedKg-mean) > 0.005*mean {
		f.add(MeanDisagrees, "the test states %s kg, its repeats have a mean of %s kg: the repeats are used", unit.Plain(statedKg, 4), unit.Plain(mean, 4))
	}
	return f
}
