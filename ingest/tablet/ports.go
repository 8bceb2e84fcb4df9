package tablet

import (
	"time"

	"hopperbook/ingest"
	"hopperbook/schemas"
)

// Store is the tablet's disk as the agent needs it (ingest/outbox, adapted by
// cmd). Its methods are safe for concurrent use.
type Store interface {
	// Append makes events of entries, in their order and in one transaction, and
	// keeps in it what state gives for the events made. When it returns without
	// an error all of it is on the disk; with one, none of it is.
	Append(entries []Entry, state func(made []ingest.Outgoing) ([]byte, error)) ([]ingest.Outgoing, error)
	// Keep puts a snapshot in the place of the one that is kept.
	Keep(state []byte) error
	// State is the snapshot kept last; nil: none.
	State() ([]byte, error)
	// KeepPacket puts the office's copies in the place of those that are kept.
	// They are large and change seldom, so they are no part of the snapshot.
	KeepPacket(packet []byte) error
	// Packet is the office's copies kept last; nil: none.
	Packet() ([]byte, error)
	// Since is the events still on the disk whose sequence is above the one
	// given, in order: those a snapshot may not know.
	Since(sequence int64) ([]ingest.Outgoing, error)
	// Status is what the office has not confirmed yet. It is cheap.
	Status() Status
	// Changed gives a channel that is closed when Status is another.
	Changed() <-chan struct{}
}

// Entry is an event to be made.
type Entry struct {
	Type schemas.EventType
	At   time.Time
	Data any
	// Draft names the draft that the event stands for, which is dropped in the
	// same transaction; "": none.
	Draft string
}

// Status is how the store stands.
type Status struct {
	OutboxView
	Confirmed int64 // the book has every event up to this sequence
}

// Rules are the rules and the arithmetic of the trade, which the agent asks
// for and does not know (reconcile/calibration, adapted by cmd: ingest never
// imports reconcile). Pure: same arguments, same answer.
type Rules interface {
	// Checks is how every item of the machine check stands, in the order the
	// items are walked, those never checked as "unknown".
	Checks(checks []Checked, at time.Time) []CheckView
	// Start is why work must not begin (fault.Conflict), or nil.
	Start(checks []Checked, at time.Time, override *schemas.Override) error
	// Density works out a density test; registerKgM3 is the register's bulk
	// density, 0: not known.
	Density(test schemas.TestDensity, registerKgM3 float64) (DensityResult, error)
	// Catch works out a catch test against a set rate (0: none); past are the
	// machine's earlier catch tests.
	Catch(test schemas.TestCatch, setRateKgHa float64, past []schemas.TestCatch) (CatchResult, error)
	// Tray works out a tray test; product is nil where the register has none.
	Tray(test schemas.TestTray, product *schemas.RegisterProduct) (TrayResult, error)
}

// Checked is one machine check with the time it was made.
type Checked struct {
	At time.Time
	schemas.CheckMachine
}

// DensityResult is what a density test gave.
type DensityResult struct {
	DensityKgM3   float64  `json:"density_kg_m3"`
	U95KgM3       float64  `json:"u95_kg_m3"` // 95 % half-width
	RateChangePct *float64 `json:"rate_change_pct"`
	Findings      []string `json:"findings"`
}

// CatchResult is what a catch test gave.
type CatchResult struct {
	RateKgHa  *float64 `json:"rate_kg_ha"`  // real, at the test's speed and bout width
	U95Pct    *float64 `json:"u95_pct"`     // 95 % half-width
	SetKgHa   *float64 `json:"set_kg_ha"`   // what it is held against
	OffPct    *float64 `json:"off_pct"`     // real against set
	GateTryMm *float64 `json:"gate_try_mm"` // opening to set for the set rate
	Findings  []string `json:"findings"`
}

// TrayResult is what a tray test gave.
type TrayResult struct {
	RateKgHa       *float64 `json:"rate_kg_ha"`
	CVPct          *float64 `json:"cv_pct"` // at the test's bout width, the worse way of driving
	CVLimitPct     float64  `json:"cv_limit_pct"`
	WidestM        *float64 `json:"widest_m"` // widest bout width within the limit
	OffSidePct     *float64 `json:"off_side_pct"`
	Void           bool     `json:"void"` // the wind voids it
	Findings       []string `json:"findings"`
	MeanLeftKgHa   *float64 `json:"mean_left_kg_ha"`
	MeanRightKgHa  *float64 `json:"mean_right_kg_ha"`
	BoutWidthM     float64  `json:"bout_width_m"`
	DrivingOfWorst string   `json:"driving"` // to_and_fro, round_and_round
}

// Driving is what goes with the fixes from now on: what a pass log says of
// job, field, set rate and bout width, and how spreading is marked.
type Driving struct {
	Working     bool // a job is started
	Job         schemas.JobID
	Field       schemas.FieldID // that the operator picked
	InField     schemas.FieldID // that the position lies in, by its boundary; "": none known
	SetRateKgHa float64         // NaN: not known
	BoutWidthM  float64         // NaN: not known
	Hand        string          // on, off: the operator marks spreading; "": switch or rules
}
