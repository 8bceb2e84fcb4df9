package calibration

import (
	"math"

	"hopperbook/schemas/unit"
)

// GateWanted is what the gate is asked for.
type GateWanted struct {
	RateKgHa   float64 `json:"rate_kg_ha"`
	SpeedKmh   float64 `json:"speed_kmh"`
	BoutWidthM float64 `json:"bout_width_m"`
}

// GateAdvice is the gate to set on one curve.
type GateAdvice struct {
	CurveKey
	GateWanted
	Flow         float64   `json:"flow"` // wanted, in the curve's flow unit
	FlowUnit     string    `json:"flow_unit"`
	GateMm       *float64  `json:"gate_mm"`              // null: none can be named
	GateSEMm     *float64  `json:"gate_se_mm,omitempty"` // from the catches on both sides
	Extrapolated bool      `json:"extrapolated"`
	TestedFromMm float64   `json:"tested_from_mm"`
	TestedToMm   float64   `json:"tested_to_mm"`
	LowestKgHa   float64   `json:"lowest_kg_ha"`  // rates the tested openings reach at this
	HighestKgHa  float64   `json:"highest_kg_ha"` // speed and bout width
	Findings     []Finding `json:"findings"`
}

// Gate names the opening for a rate at a speed and a bout width. Between the
// tested openings it inverts the curve (the middle of a level stretch); beyond
// them it goes on straight, through the origin where one opening alone was
// tested, up to 20 % of the nearest opening (common practice, no source), and
// says so; further out it names none. A ground-driven curve does not depend on
// the speed. Refused: a rate, bout width or (by time) speed not above zero.
// O(n).
func (c Curve) Gate(w GateWanted) (GateAdvice, error) {
	const op = "gate for a rate"
	if !positive(w.RateKgHa) || !positive(w.BoutWidthM) {
		return GateAdvice{}, inputError(op, "give both above zero", "a rate of %v kg/ha and a bout width of %v m", w.RateKgHa, w.BoutWidthM)
	}
	if !notNegative(w.SpeedKmh) || (c.Drive == ByTime && w.SpeedKmh == 0) {
		return GateAdvice{}, inputError(op, "give the speed: the belt of these tests runs on its own", "a speed of %v km/h", w.SpeedKmh)
	}
	if len(c.Points) == 0 {
		return GateAdvice{}, inputError(op, "make a catch test", "the curve has no tested opening")
	}
	perFlow := w.kgHaPerFlow(c.Drive)
	first, last := c.Points[0], c.Points[len(c.Points)-1]
	a := GateAdvice{CurveKey: c.CurveKey, GateWanted: w, Flow: w.RateKgHa / perFlow, FlowUnit: c.FlowUnit, TestedFromMm: first.GateMm, TestedToMm: last.GateMm,
		LowestKgHa: first.Fitted * perFlow, HighestKgHa: last.Fitted * perFlow}
	for _, end := range []GatePoint{first, last} {
		if math.Abs(a.Flow-end.Fitted) <= 1e-9*end.Fitted { // the rate of a tested opening, up to rounding
			a.Flow = end.Fitted
		}
	}
	var f findings
	switch {
	case a.Flow < first.Fitted:
		a.beyond(&f, first, c.slope(first, 0), "under")
	case a.Flow > last.Fitted:
		a.beyond(&f, last, c.slope(last, len(c.Points)-1), "over")
	default:
		a.GateMm, a.GateSEMm = c.invert(a.Flow)
	}
	a.Findings = f.list()
	return a, nil
}

// kgHaPerFlow is the rate that one unit of the drive's constant gives.
func (w GateWanted) kgHaPerFlow(d Drive) float64 {
	if d == ByTime {
		return unit.M2PerHa / (w.SpeedKmh * mPerMinPerKmh * w.BoutWidthM)
	}
	return unit.M2PerHa / w.BoutWidthM
}

// slope is flow per mm at an end of the curve: to the nearest point of another
// fitted flow, or to the origin where there is none.
func (c Curve) slope(end GatePoint, i int) float64 {
	step := 1
	if i > 0 {
		step = -1
	}
	for k := i + step; k >= 0 && k < len(c.Points); k += step {
		if p := c.Points[k]; p.Fitted != end.Fitted {
			return (p.Fitted - end.Fitted) / (p.GateMm - end.GateMm)
		}
	}
	return end.Fitted / end.GateMm
}

// beyond goes on from the nearest tested opening, as far as that may be.
func (a *GateAdvice) beyond(f *findings, end GatePoint, slope float64, side string) {
	a.Extrapolated = true
	gate := end.GateMm + (a.Flow-end.Fitted)/slope
	if math.Abs(gate-end.GateMm) > reachPct/100.0*end.GateMm {
		f.add(OutOfRange, "%s kg/ha is %s what the tested openings (%g to %g mm) give, %s to %s kg/ha, by too much to name a gate: make a catch test nearer to it",
			unit.Plain(a.RateKgHa, 4), side, a.TestedFromMm, a.TestedToMm, unit.Plain(a.LowestKgHa, 4), unit.Plain(a.HighestKgHa, 4))
		return
	}
	a.GateMm = &gate
	f.add(Extrapolated, "%.1f mm lies beyond the tested openings (%g to %g mm): the curve is only continued there; confirm it by a catch test before you spread",
		gate, a.TestedFromMm, a.TestedToMm)
}

// invert gives the opening of a flow within the fitted ones.
func (c Curve) invert(flow float64) (gateMm, seMm *float64) {
	low, high := -1, -1 // last point at or under the flow, first at or over it
	for i, p := range c.Points {
		if p.Fitted <= flow {
			low = i
		}
		if p.Fitted >= flow && high < 0 {
			high = i
		}
	}
	a, b := c.Points[low], c.Points[high]
	if low >= high {
		middle := (a.GateMm + b.GateMm) / 2
		return &middle, c.openingSE(low)
	}
	t := (flow - a.Fitted) / (b.Fitted - a.Fitted)
	gate := a.GateMm + t*(b.GateMm-a.GateMm)
	if a.FlowSE == nil || b.FlowSE == nil {
		return &gate, nil
	}
	se := math.Hypot((1-t)**a.FlowSE, t**b.FlowSE) * (b.GateMm - a.GateMm) / (b.Fitted - a.Fitted)
	return &gate, &se
}

// openingSE is the standard error of a tested opening by the slope beside it.
func (c Curve) openingSE(i int) *float64 {
	p := c.Points[i]
	if p.FlowSE == nil {
		return nil
	}
	return known(*p.FlowSE / c.slope(p, i))
}
