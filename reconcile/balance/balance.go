package balance

import (
	"fmt"
	"math"
	"time"

	"hopperbook/schemas"
	"hopperbook/schemas/fault"
)

// Result is the balance of one machine.
type Result struct {
	Machine   schemas.MachineID
	Intervals []Interval  // in time order; the last one is open when there is any refill
	Fields    []FieldMass // sorted by field, then product; field "" is outside all fields
	InitialKg float64     // in the hopper at the start, as read or as implied by passes before the first refill
	LoadedKg  float64     // all loads
	FinalKg   float64     // in the hopper now
	FinalSdKg float64     // standard uncertainty of FinalKg
	Findings  []Finding
}

// Interval is one balance interval, or several merged over unknown residuals.
type Interval struct {
	From, To   schemas.RefillID // From "": before the first refill; To "": open
	Start, End time.Time        // zero where From or To is ""
	Product    schemas.ProductID
	Open       bool // no residual closes it; MassKg is estimated from other intervals
	Merged     int  // refills inside it whose residual is unknown
	Loads      int
	LoadedKg   float64
	MassKg     float64 // spread
	SdKg       float64 // standard uncertainty of MassKg, scale bias included
	NominalKg  float64

	RatioKnown   bool    // closed and NominalKg above zero
	FlowRatio    float64 // MassKg / NominalKg; 0 unless RatioKnown
	FlowRatioSd  float64 // of the measurement, scale bias included
	NoiseSd      float64 // of the measurement without scale bias: what differs from load to load
	NoiseCovNext float64 // covariance of the noise with that of the next interval: they share a residual
	Form         Form    // error of MassKg

	pieces []Piece // one a field, sorted
}

// gramKg is how exactly mass must be conserved.
const gramKg = 0.001

// Run balances one machine. It fails (fault.Input) on numbers that can't be
// masses and on a refill given twice; everything else that is odd is a
// Finding. Cost O(n log n) in refills and loads.
func Run(m Machine, o Options) (Result, error) {
	o = o.withDefaults()
	if bad(o.ScaleBiasShare) || bad(o.NaturalSdShare) {
		return Result{}, invalid("options %+v", o)
	}
	refills, findings, err := prepare(m)
	if err != nil {
		return Result{}, err
	}
	c := chain{machine: m, refills: refills, o: o, findings: findings}
	c.build()
	c.estimateOpen()
	c.rate()
	res := c.result()
	return res, res.conserved()
}

// conserved asserts that no gram came or went by arithmetic.
func (r Result) conserved() error {
	var intervals, fields float64
	for _, iv := range r.Intervals {
		intervals += iv.MassKg
	}
	for _, f := range r.Fields {
		fields += f.MassKg
	}
	flow := r.InitialKg + r.LoadedKg - r.FinalKg
	if !(math.Abs(intervals-flow) <= gramKg) || !(math.Abs(fields-flow) <= gramKg) {
		return fault.Newf("balance", fault.Internal,
			fmt.Sprintf("machine %s: mass not conserved: loads and residuals %.4f kg, intervals %.4f kg, fields %.4f kg", r.Machine, flow, intervals, fields),
			"this is a fault of the program, please report it with the events of this machine")
	}
	return nil
}

func (c *chain) result() Result {
	res := Result{Machine: c.machine.ID, Intervals: c.intervals, Fields: c.fields()}
	res.Findings = c.findings
	for _, r := range c.refills {
		for _, l := range r.Loads {
			res.LoadedKg += l.NetKg
		}
	}
	if len(c.refills) > 0 {
		res.InitialKg = c.residual(0).kg
	}
	if len(c.intervals) > 0 && c.intervals[0].From == "" {
		res.InitialKg += c.intervals[0].MassKg
	}
	res.FinalKg, res.FinalSdKg = c.final.kg, c.final.form.Sd()
	return res
}

// rate fills in flow ratios and what neighbours share.
func (c *chain) rate() {
	for i := range c.intervals {
		iv := &c.intervals[i]
		iv.SdKg = iv.Form.Sd()
		iv.RatioKnown = !iv.Open && iv.NominalKg > 0
		if !iv.RatioKnown {
			continue
		}
		iv.FlowRatio = iv.MassKg / iv.NominalKg
		iv.FlowRatioSd = iv.SdKg / iv.NominalKg
		iv.NoiseSd = iv.Form.withoutScales().Sd() / iv.NominalKg
	}
	for i := 0; i+1 < len(c.intervals); i++ {
		a, b := &c.intervals[i], c.intervals[i+1]
		if a.RatioKnown && b.RatioKnown {
			a.NoiseCovNext = Cov(a.Form.withoutScales(), b.Form) / a.NominalKg / b.NominalKg
		}
	}
}
