package reconcile

import (
	"time"

	"hopperbook/reconcile/stock"
	"hopperbook/schemas"
)

// Result is what a reconciliation found. Every list is sorted; the JSON of
// two results of the same events is the same bytes.
type Result struct {
	Schema    string     `json:"schema"` // "hopperbook.result/2"
	Fields    []Field    `json:"fields"`
	Intervals []Interval `json:"intervals"`
	Hoppers   []Hopper   `json:"hoppers"`
	Drifts    []Drift    `json:"drifts"`
	Totals    Totals     `json:"totals"`
	Findings  []Finding  `json:"findings"`
	// Stock is left out where no docket and no survey is in the book.
	Stock *stock.Result `json:"stock,omitempty"`
}

// SchemaResult names the shape of Result's JSON.
const SchemaResult = "hopperbook.result/2"

// Field is what went on one field of one product.
type Field struct {
	Field           schemas.FieldID    `json:"field"`
	Name            string             `json:"name"`
	Customer        schemas.CustomerID `json:"customer"`
	Product         schemas.ProductID  `json:"product"`
	BoundaryM2      float64            `json:"boundary_m2"`
	CoveredM2       float64            `json:"covered_m2"`
	CoveredErrorM2  float64            `json:"covered_error_m2"`
	SwathM2         float64            `json:"swath_m2"`
	Overlap2M2      float64            `json:"overlap2_m2"`
	Overlap3M2      float64            `json:"overlap3_m2"`
	MissedM2        float64            `json:"missed_m2"`
	OutsideM2       float64            `json:"outside_m2"`
	ExclusionM2     float64            `json:"exclusion_m2"` // what exclusion areas take of the boundary
	ExcludedM2      float64            `json:"excluded_m2"`  // what of them was spread on
	MassKg          float64            `json:"mass_kg"`      // inside the boundary, outside exclusion areas
	MassSdKg        float64            `json:"mass_sd_kg"`
	ThrownOutsideKg float64            `json:"thrown_outside_kg"` // over the boundary, by swaths driven inside it
	ExcludedKg      float64            `json:"excluded_kg"`       // in exclusion areas
	NominalKg       float64            `json:"nominal_kg"`
	SetRateKgHa     float64            `json:"set_rate_kg_ha"`        // nominal mass / swath area
	FieldRateKgHa   float64            `json:"field_rate_kg_ha"`      // mass / covered area
	FieldRateLow    float64            `json:"field_rate_low_kg_ha"`  // 95 %
	FieldRateHigh   float64            `json:"field_rate_high_kg_ha"` // 95 %
	MachineRateKgHa float64            `json:"machine_rate_kg_ha"`    // mass / swath area
	Open            bool               `json:"open"`                  // part of the mass is of a balance interval not closed yet
}

// Interval is one balance interval of one machine: from one refill to the
// next reading of the residual.
type Interval struct {
	Machine     schemas.MachineID `json:"machine"`
	Load        int               `json:"load"` // number of the machine's refill that opened it, from 1
	Refill      schemas.RefillID  `json:"refill"`
	Product     schemas.ProductID `json:"product"`
	From        time.Time         `json:"from,omitzero"`
	To          time.Time         `json:"to,omitzero"` // half-open; left out while open
	LoadedKg    float64           `json:"loaded_kg"`
	MassKg      float64           `json:"mass_kg"` // spread
	MassSdKg    float64           `json:"mass_sd_kg"`
	NominalKg   float64           `json:"nominal_kg"`
	FlowRatio   float64           `json:"flow_ratio"` // 0 where nothing was spread
	FlowRatioSd float64           `json:"flow_ratio_sd"`
	Merged      int               `json:"merged"` // refills taken together because a residual between them is unknown
	Open        bool              `json:"open"`   // no reading closes it: mass_kg is estimated from the flow ratio before

	ToRefill      schemas.RefillID `json:"to_refill"`           // "" while open
	MassLowKg     float64          `json:"mass_low_kg"`         // 95 %
	MassHighKg    float64          `json:"mass_high_kg"`        // 95 %
	FlowRatioLow  float64          `json:"flow_ratio_low"`      // 95 %; 0 where flow_ratio is
	FlowRatioHigh float64          `json:"flow_ratio_high"`     // 95 %
	Smoothed      float64          `json:"flow_ratio_smoothed"` // at the end of the interval, as all readings before and after say
	SmoothedSd    float64          `json:"flow_ratio_smoothed_sd"`
	Innovation    float64          `json:"innovation"`      // of the closing reading, in standard deviations: above zero, more was left than expected; 0: it said nothing of the flow
	Parts         []Part           `json:"parts,omitempty"` // of a merged interval, one a refill; they sum to mass_kg
	SwathM2       float64          `json:"swath_m2"`        // mass_kg over it is the machine rate
}

// Part is what went out between two refills of a merged interval: its mass by
// nominal mass.
type Part struct {
	Load       int              `json:"load"`
	Refill     schemas.RefillID `json:"refill"`
	From       time.Time        `json:"from"`
	LoadedKg   float64          `json:"loaded_kg"`
	LeftKg     float64          `json:"left_kg"` // in the hopper just before the refill
	LeftSdKg   float64          `json:"left_sd_kg"`
	LeftUnread bool             `json:"left_unread"` // left_kg is an estimate, between empty and full
	NominalKg  float64          `json:"nominal_kg"`
	MassKg     float64          `json:"mass_kg"`
	MassLowKg  float64          `json:"mass_low_kg"`  // 95 %
	MassHighKg float64          `json:"mass_high_kg"` // 95 %
}

// Drift is the verdict on one machine with one product under one calibration.
type Drift struct {
	Machine        schemas.MachineID `json:"machine"`
	Product        schemas.ProductID `json:"product"`
	CatchTest      schemas.TestID    `json:"catch_test"`      // the calibration; "": none
	Since          time.Time         `json:"since,omitzero"`  // of the catch test
	Loads          int               `json:"loads"`           // balance intervals in the series
	State          string            `json:"state"`           // holding, watch, recalibrate
	Superseded     bool              `json:"superseded"`      // another catch test is in force now: the state is of the past
	FlowRatio      float64           `json:"flow_ratio"`      // of the whole series, weighted
	SmoothedRatio  float64           `json:"smoothed_ratio"`  // lately
	AlarmLoad      int               `json:"alarm_load"`      // first load from the change on at which the test called, or without a change now since the catch test; 0: none
	ChangeLoad     int               `json:"change_load"`     // most likely first load after the change; 0: none
	ChangeLoadLow  int               `json:"change_load_low"` // it lies between these, in at least 90 of 100 cases
	ChangeLoadHigh int               `json:"change_load_high"`
	ChangeRefill   schemas.RefillID  `json:"change_refill"`
	SizePct        float64           `json:"size_pct"`           // change of flow against the calibration, percent
	SizeLowPct     float64           `json:"size_low_pct"`       // 95 %
	SizeHighPct    float64           `json:"size_high_pct"`      // 95 %
	FlowFactor     float64           `json:"flow_factor"`        // to set against it: 1 / (1 + size); 0: none
	GateTry        *GateTry          `json:"gate_try,omitempty"` // to recalibrate; left out where the tested openings name none
	TolerancePct   float64           `json:"tolerance_pct"`      // practical tolerance the verdict was made with
	Causes         []Cause           `json:"causes"`             // likely ones, likeliest first; see reconcile/cause
	Points         []DriftPoint      `json:"points,omitempty"`   // the series, for a chart
}

// GateTry is an opening to try against a drift, inside the openings that were
// tested with the machine, product, belt gear and PTO speed. It must be
// confirmed by a catch test.
type GateTry struct {
	NowMm        float64 `json:"now_mm"`
	TryMm        float64 `json:"try_mm"`
	TestedFromMm float64 `json:"tested_from_mm"`
	TestedToMm   float64 `json:"tested_to_mm"`
}

// DriftPoint is one balance interval of a series.
type DriftPoint struct {
	Load         int              `json:"load"`
	Refill       schemas.RefillID `json:"refill"`
	At           time.Time        `json:"at,omitzero"`   // of the refill
	Ratio        float64          `json:"ratio"`         // flow ratio
	RatioLow     float64          `json:"ratio_low"`     // 95 %, of the measurement without what all loads share
	RatioHigh    float64          `json:"ratio_high"`    // 95 %
	EvidenceHigh float64          `json:"evidence_high"` // that too much flows, as a share of what calls: above 1 calls
	EvidenceLow  float64          `json:"evidence_low"`  // that too little flows
}

// Totals closes the book: loaded = spread on fields + spread elsewhere +
// change of residuals.
type Totals struct {
	LoadedKg         float64 `json:"loaded_kg"`
	OnFieldsKg       float64 `json:"on_fields_kg"`
	ElsewhereKg      float64 `json:"elsewhere_kg"`
	ResidualChangeKg float64 `json:"residual_change_kg"`
	Fixes            int     `json:"fixes"`
	PassLogs         int     `json:"pass_logs"`
	Loads            int     `json:"loads"`
}

// Finding is something a person should know: what, where, how much.
type Finding struct {
	Kind    string            `json:"kind"`
	Machine schemas.MachineID `json:"machine,omitempty"`
	Field   schemas.FieldID   `json:"field,omitempty"`
	Event   schemas.EventID   `json:"event,omitempty"`
	At      time.Time         `json:"at,omitzero"`
	Count   int               `json:"count"`
	Amount  float64           `json:"amount"`
	Unit    string            `json:"unit,omitempty"` // of amount
	Text    string            `json:"text"`
}
