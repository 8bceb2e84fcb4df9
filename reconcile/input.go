package reconcile

import (
	"time"

	"hopperbook/reconcile/calibration"
	"hopperbook/schemas"
)

// Input is everything a reconciliation looks at. It is plain data: the same
// Input gives the same Result, whatever order its slices are in.
type Input struct {
	Policy    Policy
	Fields    []At[schemas.RegisterField]
	Machines  []At[schemas.RegisterMachine]
	Products  []At[schemas.RegisterProduct]
	Jobs      []At[schemas.RegisterJob]
	Settings  []At[schemas.SettingChanged]
	Loads     []At[schemas.LoadWeighed]
	Refills   []At[schemas.HopperRefilled]
	Catches   []At[schemas.TestCatch]
	Trays     []At[schemas.TestTray] // for maps
	Densities []At[schemas.TestDensity]
	Overlaps  []At[schemas.TestOverlap]
	Starts    []At[schemas.JobStarted]
	Finishes  []At[schemas.JobFinished]
	Weather   []At[schemas.WeatherNoted] // for nutrients
	Checks    []At[schemas.CheckMachine]
	Dockets   []At[schemas.DocketReceived]
	Surveys   []At[schemas.StockSurveyed]
	Passes    []Pass
	Voided    []Voided  // what amendments took out of the book, for evidence
	Findings  []Finding // what was met while reading the events; they join the result's
}

// Voided is an event that an amendment took out of the book.
type Voided struct {
	ID      schemas.EventID
	Machine schemas.MachineID
	Time    time.Time
	Load    schemas.LoadID // of a load
}

// At is an event's data with where, when and on what machine it happened.
type At[T any] struct {
	schemas.Identity
	ID      schemas.EventID
	Machine schemas.MachineID
	Time    time.Time
	Data    T
}

// Pass is one pass log: fixes of one machine in the order they were logged.
type Pass struct {
	schemas.Identity
	ID      schemas.EventID
	Machine schemas.MachineID
	Job     schemas.JobID   // what the operator picked; may be ""
	Field   schemas.FieldID // what the operator picked; may be ""
	Fixes   []schemas.Fix
}

// Policy holds the choices of the contractor; a zero field means the default
// named beside it.
type Policy struct {
	ToleranceShare float64                  // practical tolerance of the flow ratio; 0: 0.05
	ARLLoads       float64                  // in-control average run length of the drift test; 0: 400 loads
	MaxGapS        float64                  // fixes further apart are not joined; 0: 5 s
	BoutWidthM     float64                  // for logs and settings that name none; 0: none
	CheckLimits    []calibration.CheckLimit // of machine checks; nil: calibration.DefaultCheckLimits
}

// start is the time of the first fix, which orders pass logs.
func (p Pass) start() time.Time {
	if len(p.Fixes) == 0 {
		return time.Time{}
	}
	return time.UnixMilli(p.Fixes[0].UnixMilli).UTC()
}
