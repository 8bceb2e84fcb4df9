package reconcile

import (
	"time"

	"hopperbook/reconcile/stock"
	"hopperbook/schemas"
)

// Result is what a reconciliation found. Every list is sorted; the JSON of
// two results of the same events is the same bytes.
type Result struct {
	Schema    string     `json:"schema"` // "hopperbook.result/1"
	Fields    []Field    `json:"fields"`
	Intervals []Interval `json:"intervals"`
	Drifts    []Drift    `json:"drifts"`
	Totals    Totals     `json:"totals"`
	Findings  []Finding  `json:"findings"`
	// Stock is left out where no docket and no survey is in the book.
	Stock *stock.Result `json:"stock,omitempty"`
}

// SchemaResult names the shape of Result's JSON.
const SchemaResult = "hopperbook.result/1"

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
	MassKg          float64            `json:"mass_kg"`
	MassSdKg        float64            `json:"mass_sd_kg"`
	ThrownOutsideKg float64            `json:"thrown_outside_kg"` // over the boundary, by swaths driven inside it
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
	Open        bool              `json:"open"`
}

// Drift is the verdict on one machine with one product since its last
// calibration.
type Drift struct {
	Machine       schemas.MachineID `json:"machine"`
	Product       schemas.ProductID `json:"product"`
	Since         time.Time         `json:"since,omitzero"` // the calibration or product change the series begins at
	Loads         int               `json:"loads"`          // balance intervals in the series
	State         string            `json:"state"`          // holding, watch, recalibrate
	FlowRatio     float64           `json:"flow_ratio"`     // of the whole series, weighted
	SmoothedRatio float64           `json:"smoothed_ratio"` // lately
	AlarmLoad     int               `json:"alarm_load"`     // load at which the test called; 0: it did not
	ChangeLoad    int               `json:"change_load"`    // first load after the change; 0: none
	ChangeRefill  schemas.RefillID  `json:"change_refill"`
	SizePct       float64           `json:"size_pct"`      // change of flow against the calibration, percent
	SizeLowPct    float64           `json:"size_low_pct"`  // 95 %
	SizeHighPct   float64           `json:"size_high_pct"` // 95 %
	FlowFactor    float64           `json:"flow_factor"`   // to set against it: 1 / (1 + size); 0: none
	Causes        []Cause           `json:"causes"`        // likely ones, likeliest first; see reconcile/cause
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
