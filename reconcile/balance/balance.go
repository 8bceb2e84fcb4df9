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
	Fields    []FieldMass // sorted by field, part, product; field "" is outside all fields
	InitialKg float64     // in the hopper at the start, as read or as implied by passes before the first refill
	LoadedKg  float64     // all loads
	FinalKg   float64     // in the hopper now
	FinalSdKg float64     // standard uncertainty of FinalKg
	Ratio     float64     // flow ratio now, as the filter has it; 1 before anything is known
	RatioSd   float64     // standard uncertainty of Ratio, scale bias included

	NaturalSdShare float64 // how the flow wanders: stated, learned or default, as in Options
	WalkSdShare    float64
	Findings       []Finding
}

// Interval is one balance interval, or several merged over unknown residuals.
type Interval struct {
	From, To   schemas.RefillID // From "": before the first refill; To "": open
	Start, End time.Time        // zero where From or To is ""
	Product    schemas.ProductID
	Open       bool // no residual closes it; MassKg is estimated from other intervals
	Mixed      bool // another product lay under this one: its flow ratio is of neither
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

	Level      float64 // flow ratio at the end of the interval, as all readings before and after it say
	LevelSd    float64 // standard uncertainty of Level, scale bias included
	Innovation float64 // of the closing reading, in standard deviations: above zero, more was left than expected; 0: it said nothing of the flow
	Parts      []Part  // of a merged interval: one a refill, in order; they sum to MassKg

	pieces     []Piece // in the order they were driven
	first, end int     // refills: first <= i < end are in it
}

// Part is what went out between two refills of a merged interval.
type Part struct {
	Refill     schemas.RefillID
	Start      time.Time
	Loads      int
	LoadedKg   float64
	LeftKg     float64 // in the hopper just before the refill: read, or estimated between empty and full
	LeftSdKg   float64
	NominalKg  float64
	MassKg     float64 // the interval's mass by nominal mass
	SdKg       float64
	LeftUnread bool // LeftKg is an estimate
}

// SwathM2 is the swath area driven with spreading on.
func (iv Interval) SwathM2() (m2 float64) {
	for _, p := range iv.pieces {
		m2 += p.SwathM2
	}
	return m2
}

// gramKg is how exactly mass must be conserved.
const gramKg = 0.001

// Run balances one machine. It fails (fault.Input) on numbers that can't be
// masses and on a refill given twice; everything else that is odd is a
// Finding. Cost O(n log n) in refills and loads, times (fields + 1)^2 of one
// interval and (scales + 4)^2.
func Run(m Machine, o Options) (Result, error) {
	o = o.withDefaults()
	if bad(o.ScaleBiasShare) || bad(o.NaturalSdShare) || bad(o.WalkSdShare) {
		return Result{}, invalid("options %+v", o)
	}
	refills, findings, err := prepare(m)
	if err != nil {
		return Result{}, err
	}
	c := chain{machine: m, refills: refills, o: o, findings: findings, hopperKg: mostHeld(m.HopperKg, refills)}
	c.build()
	c.rate()
	c.follow()
	c.estimateOpen()
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
	res.Ratio, res.RatioSd = c.live.final.x[atRatio], c.live.final.sd(atRatio)
	res.NaturalSdShare, res.WalkSdShare = c.o.NaturalSdShare, c.o.WalkSdShare
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
		if !iv.tells() && iv.MassKg >= -3*iv.SdKg {
			c.find(NothingSpread, iv.From, "driven for %.0f kg, but %.0f kg left the hopper: a load is missing, a reading is wrong or product did not flow", iv.NominalKg, iv.MassKg)
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
