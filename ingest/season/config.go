package season

import (
	"fmt"
	"time"

	"hopperbook/schemas"
	"hopperbook/schemas/fault"
)

// Config says what to play. A zero field means the default beside it.
type Config struct {
	Seed       uint64
	Contractor schemas.ContractorID // "tussock"
	Days       int                  // 5
	Spreaders  int                  // 3; at most 99
	Loaders    int                  // 1; at most one a spreader
	FixHz      int                  // 1; 1, 2, 4, 5, 8 or 10
	Start      time.Time            // midnight of the first day in UTC+10: 2026-03-01T14:00:00Z
	DayHours   float64              // 3.3: driving planned for a machine and day; fields begun are finished
	BoutWidthM float64              // each machine's own (12, 18 or 24 m)
	Noise      Noise
	Faults     []Fault // nil: faults for a demo, chosen by the seed; empty: none
}

// Noise is how large the errors are; a zero field means the default beside it.
type Noise struct {
	GNSSSdM         float64 // 0.3 m in each axis, correlated over two minutes; 0.02 is an RTK receiver
	SteerSdM        float64 // 0.25 m off the driving line
	ScaleSdShare    float64 // 0.006 of each load, independent
	ScaleBiasShare  float64 // 0.003: sd of the bias a loader's scale keeps
	CatchSdShare    float64 // 0.01: standard error of a catch test
	WalkSdShare     float64 // 0.0005 for the first tonne, growing by its root
	EmptySdKg       float64 // 15 kg stick in an empty hopper (root mean square)
	UnknownShare    float64 // 0.05 of residuals are not read
	SurveySdShare   float64 // 0.03 of a stockpile
	WeighbridgeSdKg float64 // 35 kg
	PaceSdShare     float64 // 0: sd of the working speed from field to field
}

// Kind is a kind of fault.
type Kind string

// The faults; From counts from 1.
const (
	// Slip: Machine's flow changes by the share Size from its From-th load on.
	Slip Kind = "slip"
	// WetBatch: density and flow of Product change by Size from the From-th
	// load on of Machine, or of each machine when it is "".
	WetBatch Kind = "wet_batch"
	// ScaleOff: the scale of the loader Machine reads Size too much from its
	// From-th load on.
	ScaleOff Kind = "scale_off"
	// SpeedSlip: from its From-th load on Machine's flow changes by Size times the
	// share by which it drives faster than the product's working speed.
	SpeedSlip Kind = "speed_slip"
	// Wear: from its From-th load on Machine's flow changes by Size with every
	// 100 t it spreads; a catch test finds what has come of it.
	Wear Kind = "wear"
	// Bridging: from its From-th load on Machine's flow changes by Size while
	// less than a quarter of the hopper is full.
	Bridging Kind = "bridging"
	// GateOff: at its From-th load Machine is set to another gate opening, at
	// which the flow is off by Size.
	GateOff Kind = "gate_off"
	// WidthOff: from its From-th load on the bout width that is noted is wider by
	// Size than the one Machine is driven and calibrated for.
	WidthOff Kind = "width_off"
	// SwitchStuck: from its From-th load on spreading is logged wherever Machine
	// drives.
	SwitchStuck Kind = "switch_stuck"
	// MissingDocket: the From-th docket never reaches the office.
	MissingDocket Kind = "missing_docket"
	// ForgetJobChange: the operator of Machine does not change to its From-th
	// job: no start is noted and pass logs keep the job and field before.
	ForgetJobChange Kind = "forget_job_change"
	// LateTablet: what Machine's tablet makes on day From arrives a day late.
	LateTablet Kind = "late_tablet"
)

// Fault is something that goes wrong.
type Fault struct {
	Kind    Kind
	Machine schemas.MachineID
	Product schemas.ProductID // WetBatch; "": every product
	From    int
	Size    float64 // a share: -0.12 is 12 % less
}

// NoFaults is c with nothing going wrong.
func (c Config) NoFaults() Config {
	c.Faults = []Fault{}
	return c
}

func orDefault[T comparable](v *T, def T) {
	var zero T
	if *v == zero {
		*v = def
	}
}

func (c Config) withDefaults() Config {
	orDefault(&c.Contractor, "tussock")
	orDefault(&c.Days, 5)
	orDefault(&c.Spreaders, 3)
	orDefault(&c.Loaders, 1)
	orDefault(&c.FixHz, 1)
	if c.Start.IsZero() {
		c.Start = time.Date(2026, 3, 1, 14, 0, 0, 0, time.UTC)
	}
	orDefault(&c.DayHours, 3.3)
	n := &c.Noise
	orDefault(&n.GNSSSdM, 0.3)
	orDefault(&n.SteerSdM, 0.25)
	orDefault(&n.ScaleSdShare, 0.006)
	orDefault(&n.ScaleBiasShare, 0.003)
	orDefault(&n.CatchSdShare, 0.01)
	orDefault(&n.WalkSdShare, 0.0005)
	orDefault(&n.EmptySdKg, 15)
	orDefault(&n.UnknownShare, 0.05)
	orDefault(&n.SurveySdShare, 0.03)
	orDefault(&n.WeighbridgeSdKg, 35)
	return c
}

// check runs after withDefaults.
func (c Config) check() error {
	n := c.Noise
	switch {
	case !schemas.ValidToken(string(c.Contractor)):
		return usage("contractor %q is not a token", c.Contractor)
	case c.Days < 1 || c.Days > 366:
		return usage("%d days; 1 to 366 are possible", c.Days)
	case c.Spreaders < 1 || c.Spreaders > 99 || c.Loaders < 1 || c.Loaders > c.Spreaders:
		return usage("%d spreaders and %d loaders; 1 to 99 spreaders and at most as many loaders are possible", c.Spreaders, c.Loaders)
	case c.FixHz < 1 || c.FixHz > 10 || 1000%(c.FixHz*c.ticks()) != 0:
		return usage("%d fixes a second; 1, 2, 4, 5, 8 or 10 are possible", c.FixHz)
	case c.DayHours < 0 || c.DayHours > 14:
		return usage("%v hours a day; 14 at most", c.DayHours)
	case c.BoutWidthM != 0 && !(c.BoutWidthM >= 6 && c.BoutWidthM <= 30):
		return usage("bout width %v m; 6 to 30 m are possible", c.BoutWidthM)
	}
	for _, v := range []float64{n.GNSSSdM, n.SteerSdM, n.EmptySdKg / 50, n.WeighbridgeSdKg / 200} {
		if !(v >= 0 && v <= 5) {
			return usage("noise %+v is out of range", n)
		}
	}
	for _, v := range []float64{n.ScaleSdShare, n.ScaleBiasShare, n.CatchSdShare, n.WalkSdShare, n.SurveySdShare, n.PaceSdShare / 2} {
		if !(v >= 0 && v <= 0.1) {
			return usage("noise %+v is out of range", n)
		}
	}
	if !(n.UnknownShare >= 0 && n.UnknownShare <= 1) {
		return usage("noise %+v is out of range", n)
	}
	return nil
}

// ticks is how many steps of motion lie between two fixes: at least four a
// second.
func (c Config) ticks() int { return max(1, 5/c.FixHz) }

func usage(format string, args ...any) error {
	return fault.Newf("play a season", fault.Usage, fmt.Sprintf(format, args...), "correct the configuration of the season")
}
