package season

import (
	"time"

	"hopperbook/schemas"
)

// Truth is what really happened.
type Truth struct {
	Fields    []FieldTruth    // sorted by field, then product
	Intervals []IntervalTruth // by machine, then time
	Loads     []LoadTruth     // by time
	Faults    []FaultTruth    // in the order of the configuration
	Stock     []StockTruth    // sorted by product
	Scales    []ScaleTruth    // by loader
	Catches   []CatchTruth    // by machine, then time

	LoadedKg  float64
	SpreadKg  float64 // on fields and thrown outside
	OutsideKg float64 // thrown outside all fields; part of SpreadKg
	LeftKg    float64 // in the hoppers at the end
	Fixes     int
}

// FieldTruth is what one product did on one field.
type FieldTruth struct {
	Field       schemas.FieldID
	Product     schemas.ProductID
	Machine     schemas.MachineID
	SetRateKgHa float64
	BoutWidthM  float64
	MassKg      float64 // landed inside the boundary
	OutsideKg   float64 // left the machine over this field and landed beyond the boundary or in its hole
	BoundaryM2  float64
	// CoveredM2 is the area inside the boundary that the true swaths cover,
	// counted in cells of 0.5 m. CoveredSdM2 is its standard uncertainty:
	// each cell at an edge is off by up to half of itself, independently.
	CoveredM2   float64
	CoveredSdM2 float64
	SwathM2     float64 // true distance spread x bout width, overlaps counted twice
	RateKgHa    float64 // MassKg / CoveredM2
}

// IntervalTruth is one balance interval: from one hopper.refilled of a machine
// to its next; the last of each machine begins at its closing reading and is
// empty, so it is left out.
type IntervalTruth struct {
	Machine     schemas.MachineID
	Product     schemas.ProductID
	From, To    schemas.RefillID
	Refill      int // number of the machine's hopper.refilled that opened it, from 1
	Load        int // number of refills that brought a load up to and with it
	Start, End  time.Time
	LoadedKg    float64 // at its start
	ResidualKg  float64 // left at its end
	MassKg      float64 // spread
	NominalKg   float64 // set rate x bout width x true distance
	Ratio       float64 // MassKg / NominalKg; 0 when nothing was spread
	CatchTest   schemas.TestID
	FaultFactor float64 // what the faults make of the flow; 1: none
}

// LoadTruth is one load as it truly was.
type LoadTruth struct {
	Load      schemas.LoadID
	Loader    schemas.MachineID
	Spreader  schemas.MachineID
	Refill    schemas.RefillID
	Product   schemas.ProductID
	Time      time.Time
	MassKg    float64
	StatedKg  float64
	StatedSd  float64
	ScaleRead float64 // what scale bias and faults make of MassKg on average
}

// FaultTruth says where a fault began.
type FaultTruth struct {
	Fault
	At     time.Time
	Load   int              // refills with a load up to and with the first one touched; of the loader for ScaleOff
	Refill schemas.RefillID // that refill
	Job    schemas.JobID    // ForgetJobChange: the job not changed to
	Docket schemas.DocketID // MissingDocket
	NetKg  float64          // MissingDocket: what stands on it
}

// StockTruth is one stockpile over the season: Opening + Delivered = Loaded + Closing.
type StockTruth struct {
	Stockpile   schemas.StockpileID
	Product     schemas.ProductID
	OpeningKg   float64
	DeliveredKg float64
	LoadedKg    float64
	ClosingKg   float64
}

// ScaleTruth is the bias of a loader's scale, as a share of the mass.
type ScaleTruth struct {
	Scale  schemas.ScaleID
	Loader schemas.MachineID
	Bias   float64
}

// CatchTruth is the true flow over the flow a catch test found.
type CatchTruth struct {
	CatchTest schemas.TestID
	Machine   schemas.MachineID
	Product   schemas.ProductID
	Ratio     float64
}
