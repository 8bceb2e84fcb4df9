package cause

import (
	"fmt"
	"math"
	"time"

	"hopperbook/schemas"
	"hopperbook/schemas/fault"
)

// BatchID names what product came together: a docket, or a stockpile since its
// last delivery. SettingID names all that a machine is set to. "" is not known.
type (
	BatchID   string
	SettingID string
)

// Interval is one closed balance interval: its flow ratio and what went with it.
type Interval struct {
	Load    int              // number of its first load, as the caller counts
	Refill  schemas.RefillID // where it starts
	Start   time.Time
	Ratio   float64 // true flow / calibrated flow, as measured
	Sd      float64 // standard uncertainty of Ratio, without what all intervals share
	CovNext float64 // covariance of that error with the next interval's: the residual between them
	MassKg  float64 // spread; tonnes are counted with it

	SpeedMS float64 // mean speed while spreading; 0: not known
	Batch   BatchID
	Setting SettingID
	Scales  []ScaleShare // what the loads were weighed on; empty: not known

	LevelKnown           bool
	StartLevel, EndLevel float64 // content at start and end as a share of the hopper

	WidthKnown  bool
	WidthShare  float64 // distance of neighbouring driving lines / bout width - 1
	SwitchShare float64 // distance truly spread / distance logged as spread - 1, as the ground tells it; 0: all is well, or not known
}

// ScaleShare is how much of an interval's load one scale weighed.
type ScaleShare struct {
	Scale schemas.ScaleID
	Share float64 // of the mass loaded, 0 to 1
}

// Series is one machine with one product since one calibration, intervals in
// order of time.
type Series struct {
	Machine   schemas.MachineID
	Product   schemas.ProductID
	Called    bool    // a recalibration is called: causes are ranked whatever the test here says
	LevelSd   float64 // standard uncertainty of the calibration; 0: DefaultLevelSd
	Intervals []Interval
}

// Options are the choices of the contractor; the zero value means the defaults.
type Options struct {
	FalseClaimShare float64 // largest share of series without a fault for which a cause is claimed; 0: 0.01
	NaturalSd       float64 // least natural standard deviation of the flow ratio from load to load; 0: 0.015
}

// DefaultLevelSd is the standard uncertainty of a calibration: a catch test of
// 1 % and a scale's bias of 0.5 % (common practice, no source).
const DefaultLevelSd = 0.0112

func (o Options) withDefaults() Options {
	if o.FalseClaimShare == 0 {
		o.FalseClaimShare = 0.01
	}
	if o.NaturalSd == 0 {
		o.NaturalSd = 0.015
	}
	return o
}

func (o Options) check() error {
	if !(o.FalseClaimShare > 0 && o.FalseClaimShare <= 1) || !(o.NaturalSd > 0 && o.NaturalSd <= 1) {
		return invalid(fmt.Sprintf("options %+v", o), "a share of false claims in (0, 1] and a natural standard deviation in (0, 1]")
	}
	return nil
}

// most is the largest size of a number taken for a ratio or a share; beyond it
// an interval says nothing of a machine.
const most = 1e6

func (s Series) check() error {
	if !(s.LevelSd >= 0 && s.LevelSd <= most) {
		return invalid(fmt.Sprintf("machine %s: standard uncertainty of the calibration %v", s.Machine, s.LevelSd), "a standard uncertainty that is finite and not negative")
	}
	for i := range s.Intervals {
		iv := &s.Intervals[i]
		ok := iv.Sd > 0 && iv.Sd <= most && iv.MassKg >= 0 && iv.MassKg <= 1e9 && iv.SpeedMS >= 0 && iv.SpeedMS <= most
		for _, v := range []float64{iv.Ratio, iv.CovNext, iv.StartLevel, iv.EndLevel, iv.WidthShare, iv.SwitchShare} {
			ok = ok && math.Abs(v) <= most
		}
		for _, sh := range iv.Scales {
			ok = ok && sh.Share >= 0 && sh.Share <= 1
		}
		if i > 0 && iv.Start.Before(s.Intervals[i-1].Start) {
			return invalid(fmt.Sprintf("machine %s: refill %s stands after one that came later", s.Machine, iv.Refill), "intervals in order of time")
		}
		if !ok {
			return invalid(fmt.Sprintf("machine %s, refill %s: %+v", s.Machine, iv.Refill, *iv), "finite numbers, a standard uncertainty above zero, masses and speeds not negative, shares of a load from 0 to 1")
		}
	}
	return nil
}

func invalid(cause, hint string) error {
	return fault.Newf("look for causes of drift", fault.Input, cause, hint)
}
