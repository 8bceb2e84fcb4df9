package stock

import (
	"math"
	"time"

	"hopperbook/schemas"
)

// Input is what is known of the stockpiles and of where their product went.
type Input struct {
	Surveys []Survey
	Dockets []Docket
	Loads   []Load
	Spreads []Spread
	Choices Choices
}

// Survey is what a survey found in a stockpile.
type Survey struct {
	Stockpile    schemas.StockpileID
	Product      schemas.ProductID
	Time         time.Time
	MassKg, SdKg float64 // SdKg 0: 10 %, at least 200 kg, and a finding
}

// Docket is one delivery into a stockpile.
type Docket struct {
	ID           schemas.DocketID
	Stockpile    schemas.StockpileID
	Product      schemas.ProductID
	Supplier     string // dockets of one supplier share a weighbridge, and a row of numbers
	Time         time.Time
	NetKg, SdKg  float64 // SdKg without what all dockets of a weighbridge share
	SdUnstatedKg float64 // used where SdKg is 0, with a finding
}

// Load is product weighed out of a stockpile.
type Load struct {
	ID           schemas.LoadID
	Stockpile    schemas.StockpileID // "": the only one of its product, else none
	Product      schemas.ProductID
	Scale        schemas.ScaleID
	Time         time.Time
	NetKg, SdKg  float64 // SdKg without the bias of the scale
	SdUnstatedKg float64 // used where SdKg is 0, with a finding
	Spread       int     // index into Input.Spreads; -1: it went into no hopper
}

// Spread is what one machine spread of one product since one calibration: a
// run of balance intervals.
type Spread struct {
	Machine          schemas.MachineID
	Product          schemas.ProductID
	Since            time.Time // of the calibration; zero: none
	ResidualChangeKg float64   // left in the hopper at the end, less what was there at the start
	ResidualSdKg     float64
	// Calibrated says that a catch test stands behind NominalKg, so that it is
	// a measurement of the mass spread that no scale of the loads has a part in.
	Calibrated bool
	NominalKg  float64 // set rate x bout width x distance
	NaturalKg  float64 // standard uncertainty of it but for the calibration
}

// Choices of the contractor; a zero field means the default beside it.
type Choices struct {
	Level           float64 // chance of naming any suspect where there is none; 0: 0.05
	ScaleBiasShare  float64 // standard uncertainty of a scale's relative bias; 0: 0.005
	BridgeBiasShare float64 // of a weighbridge's; 0: 0.001
	CalibratedShare float64 // of what a calibrated machine may be off; 0: 0.05/1.96
}

const (
	defaultScaleBias = 0.005 // as in balance; common practice, no source
	// A class III weighbridge in service may be off by 40 kg at a gross mass
	// of 24 t (UK S.I. 1995/1907 Sch. 2 Table 3, doubled in service): 40 kg /
	// sqrt 3 / 24 t.
	defaultBridgeBias = 0.001
	// A machine within the tolerance of 5 % is in order, so that is what a
	// 95 % interval of its calibration must hold.
	defaultCalibrated = 0.05 / 1.96
)

func (c Choices) withDefaults() Choices {
	def := func(v *float64, d float64) {
		if *v == 0 {
			*v = d
		}
	}
	def(&c.Level, defaultLevel)
	def(&c.ScaleBiasShare, defaultScaleBias)
	def(&c.BridgeBiasShare, defaultBridgeBias)
	def(&c.CalibratedShare, defaultCalibrated)
	return c
}

// check refuses what is no mass. Residual changes alone may be negative.
func (in Input) check() error {
	bad := func(vs ...float64) bool {
		for _, v := range vs {
			if !(v >= 0) || math.IsInf(v, 1) {
				return true
			}
		}
		return false
	}
	for _, s := range in.Surveys {
		if bad(s.MassKg, s.SdKg) {
			return invalid("survey of %s: %v kg, standard uncertainty %v kg", s.Stockpile, s.MassKg, s.SdKg)
		}
	}
	for _, d := range in.Dockets {
		if bad(d.NetKg, d.SdKg, d.SdUnstatedKg) {
			return invalid("docket %s: net %v kg, standard uncertainty %v kg", d.ID, d.NetKg, d.SdKg)
		}
	}
	for _, l := range in.Loads {
		if bad(l.NetKg, l.SdKg, l.SdUnstatedKg) || l.Spread < -1 || l.Spread >= len(in.Spreads) {
			return invalid("load %s: net %v kg, standard uncertainty %v kg, spread %d", l.ID, l.NetKg, l.SdKg, l.Spread)
		}
	}
	for _, s := range in.Spreads {
		if bad(math.Abs(s.ResidualChangeKg), s.ResidualSdKg, s.NominalKg, s.NaturalKg) {
			return invalid("spread of %s: %+v", s.Machine, s)
		}
	}
	c := in.Choices
	if bad(c.ScaleBiasShare, c.BridgeBiasShare, c.CalibratedShare) {
		return invalid("choices %+v", c)
	}
	return nil
}
