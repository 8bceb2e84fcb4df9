package calibration

import (
	"cmp"
	"math"
	"slices"
	"strings"

	"hopperbook/schemas"
	"hopperbook/schemas/unit"
)

// reachPct is how far beyond the tested openings, in percent of the nearest
// one, a gate is still named (common practice, no source).
const reachPct = 20

// CurveKey tells gate curves apart: only tests that agree in all of it belong
// to one curve.
type CurveKey struct {
	Product  schemas.ProductID `json:"product"`
	DiscSet  string            `json:"disc_set,omitempty"`
	BeltGear string            `json:"belt_gear,omitempty"`
	PTORpm   float64           `json:"pto_rpm,omitempty"`
	Drive    Drive             `json:"drive"`
}

// GateTest is a catch test at a gate opening.
type GateTest struct {
	ID       schemas.TestID
	Product  schemas.ProductID
	DiscSet  string
	BeltGear string
	PTORpm   float64
	GateMm   float64
	CatchTest
}

// GatePoint is one tested opening of a curve.
type GatePoint struct {
	GateMm  float64          `json:"gate_mm"`
	Flow    float64          `json:"flow"`              // in the curve's flow unit, as caught
	FlowSE  *float64         `json:"flow_se,omitempty"` // its standard error
	Fitted  float64          `json:"fitted"`            // flow of the monotone fit
	Catches int              `json:"catches"`
	Tests   []schemas.TestID `json:"tests"`
}

// Curve is the gate scale's curve: flow over gate opening, never falling.
type Curve struct {
	CurveKey
	FlowUnit string      `json:"flow_unit"` // kg/m or kg/min, by the drive
	Points   []GatePoint `json:"points"`    // by gate, each opening once
	Findings []Finding   `json:"findings"`
}

// Curves makes one curve for each product, disc set, belt gear, PTO speed and
// drive. Catches at one opening are pooled; the fit is isotonic least squares
// (pool adjacent violators), weighted by the number of catches, so that a
// wider gate never gives less; between the fitted openings the curve is
// straight. Which neighbours had to be pooled is a finding. The result is
// sorted by key and does not depend on the order of the tests. O(n log n).
func Curves(tests []GateTest) ([]Curve, error) {
	if len(tests) == 0 {
		return nil, inputError("gate curve", "make a catch test at two or more openings", "no catch test")
	}
	groups := map[CurveKey][]GateTest{}
	for i, t := range tests {
		if !positive(t.GateMm) {
			return nil, inputError("gate curve", "give the opening in mm", "test %d %s: a gate opening of %v mm", i+1, t.ID, t.GateMm)
		}
		if err := t.CatchTest.check(); err != nil {
			return nil, err
		}
		key := CurveKey{t.Product, t.DiscSet, t.BeltGear, t.PTORpm, t.drive()}
		groups[key] = append(groups[key], t)
	}
	curves := make([]Curve, 0, len(groups))
	for key, group := range groups {
		c, err := newCurve(key, group)
		if err != nil {
			return nil, err
		}
		curves = append(curves, c)
	}
	slices.SortFunc(curves, func(a, b Curve) int {
		return cmp.Or(strings.Compare(string(a.Product), string(b.Product)), strings.Compare(a.DiscSet, b.DiscSet), strings.Compare(a.BeltGear, b.BeltGear),
			cmp.Compare(a.PTORpm, b.PTORpm), strings.Compare(string(a.Drive), string(b.Drive)))
	})
	return curves, nil
}

func newCurve(key CurveKey, tests []GateTest) (Curve, error) {
	type opening struct {
		flows []float64
		tests []schemas.TestID
	}
	at := map[float64]*opening{}
	for _, t := range tests {
		o := at[t.GateMm]
		if o == nil {
			o = &opening{tests: []schemas.TestID{}}
			at[t.GateMm] = o
		}
		for _, gross := range t.CollectedKg {
			o.flows = append(o.flows, (gross-t.TareKg)*t.flowPerKg())
		}
		if t.ID != "" {
			o.tests = append(o.tests, t.ID)
		}
	}
	c := Curve{CurveKey: key, FlowUnit: key.Drive.FlowUnit()}
	var flows, weights []float64
	for gate, o := range at {
		slices.Sort(o.flows)
		slices.Sort(o.tests)
		r := newRepeats(o.flows)
		c.Points = append(c.Points, GatePoint{GateMm: gate, Flow: r.mean, FlowSE: known(r.se), Catches: r.n, Tests: slices.Compact(o.tests)})
	}
	slices.SortFunc(c.Points, func(a, b GatePoint) int { return cmp.Compare(a.GateMm, b.GateMm) })
	for _, p := range c.Points {
		flows, weights = append(flows, p.Flow), append(weights, float64(p.Catches))
	}
	var f findings
	for i, fitted := range isotonic(flows, weights) {
		c.Points[i].Fitted = fitted
		if i > 0 && c.Points[i].Flow < c.Points[i-1].Flow {
			f.add(GateNotMonotone, "%g mm gave less than %g mm (%s and %s %s): one of the two catches is off, repeat both; until then the curve takes them together",
				c.Points[i].GateMm, c.Points[i-1].GateMm, unit.Plain(c.Points[i].Flow, 4), unit.Plain(c.Points[i-1].Flow, 4), c.FlowUnit)
		}
	}
	if len(c.Points) == 1 {
		f.add(OneOpening, "only %g mm was tested: near it the flow is taken in proportion to the opening; test a second opening", c.Points[0].GateMm)
	}
	c.Findings = f.list()
	return c, nil
}

// flowPerKg turns a net mass into the drive's constant.
func (t CatchTest) flowPerKg() float64 {
	switch {
	case t.DistanceM > 0:
		return 1 / t.DistanceM
	case t.GroundDriven:
		return 60 / (t.TimeS * t.SpeedKmh * mPerMinPerKmh)
	}
	return 60 / t.TimeS
}

// isotonic is the weighted least-squares fit to y that never falls: pool
// adjacent violators. O(n).
func isotonic(y, weights []float64) []float64 {
	type block struct {
		mean, weight float64
		n            int
	}
	var blocks []block
	for i, v := range y {
		b := block{v, weights[i], 1}
		for len(blocks) > 0 && blocks[len(blocks)-1].mean >= b.mean {
			a := blocks[len(blocks)-1]
			blocks = blocks[:len(blocks)-1]
			w := a.weight + b.weight
			b = block{(a.mean*a.weight + b.mean*b.weight) / w, w, a.n + b.n}
		}
		blocks = append(blocks, b)
	}
	fit := make([]float64, 0, len(y))
	for _, b := range blocks {
		for range b.n {
			fit = append(fit, b.mean)
		}
	}
	return fit
}

// At is the flow of the curve at an opening within the tested ones; ok is
// false outside them.
func (c Curve) At(gateMm float64) (flow float64, ok bool) {
	n := len(c.Points)
	if n == 0 || !(gateMm >= c.Points[0].GateMm && gateMm <= c.Points[n-1].GateMm) {
		return math.NaN(), false
	}
	i, _ := slices.BinarySearchFunc(c.Points, gateMm, func(p GatePoint, g float64) int { return cmp.Compare(p.GateMm, g) })
	if b := c.Points[i]; b.GateMm == gateMm {
		return b.Fitted, true
	}
	a, b := c.Points[i-1], c.Points[i]
	return a.Fitted + (b.Fitted-a.Fitted)*(gateMm-a.GateMm)/(b.GateMm-a.GateMm), true
}
