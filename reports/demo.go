package reports

import (
	"fmt"
	"strconv"

	"hopperbook/reconcile"
	"hopperbook/schemas"
)

// SchemaDemo names the shape of Demo's JSON, SchemaCounts that of CountsAnswer's.
const (
	SchemaDemo   = "hopperbook.demo/1"
	SchemaCounts = "hopperbook.counts/1"
)

type (
	// CountsAnswer is how much the book holds.
	CountsAnswer struct {
		Schema string                      `json:"schema"`
		Events int64                       `json:"events"`
		Kept   int                         `json:"kept"` // messages kept and not booked
		Types  map[schemas.EventType]int64 `json:"types"`
	}

	// Demo is a simulated week beside its truth. All of it is invented.
	Demo struct {
		Schema       string              `json:"schema"`
		Seed         uint64              `json:"seed"`
		Dir          string              `json:"dir"`
		Published    int                 `json:"published"`
		Issued       int                 `json:"issued"` // documents, events of the book too
		Booked       int64               `json:"booked"`
		Kept         int                 `json:"kept"`
		Fields       []DemoField         `json:"fields"`
		FieldsInside int                 `json:"fields_inside"` // truth inside the 95 % interval
		Faults       []DemoFault         `json:"faults"`
		Drifts       []reconcile.Drift   `json:"drifts"`
		Named        bool                `json:"named"` // the drift, or that there is none, was named rightly
		Totals       reconcile.Totals    `json:"totals"`
		Findings     []reconcile.Finding `json:"findings"`
		Files        []string            `json:"files"` // documents that were written
	}

	// DemoField is a field's result beside the truth.
	DemoField struct {
		reconcile.Field
		TrueRateKgHa float64 `json:"true_rate_kg_ha"`
		Inside       bool    `json:"inside"` // the truth lies inside the 95 % interval
	}

	// DemoFault is something that was made to go wrong.
	DemoFault struct {
		Kind    string            `json:"kind"`
		Machine schemas.MachineID `json:"machine,omitempty"`
		Load    int               `json:"load,omitempty"`
		SizePct float64           `json:"size_pct,omitempty"`
		// OffCalibrationPct is how far off its last catch test the machine
		// truly was from the fault on: the fault and the test's own error.
		OffCalibrationPct float64 `json:"off_calibration_pct,omitempty"`
		Text              string  `json:"text"`
	}
)

// DemoTables are the pages of the demo, in reading order.
func DemoTables(d Demo) []Table {
	fields := Table{Caption: "What went on each field, beside the truth only the simulation knows",
		Columns: []Column{{"field", "Field", false}, {"name", "Name", false}, {"product", "Product", false}, {"covered_ha", "Covered ha", true}, {"mass_t", "Spread t", true},
			{"set_rate_kg_ha", "Set kg/ha", true}, {"field_rate_kg_ha", "Real kg/ha", true}, {"interval_kg_ha", "95 % interval", true}, {"true_rate_kg_ha", "Truth", true}, {"inside", "Inside", false}}}
	for _, f := range d.Fields {
		n := rateDecimals(f.SetRateKgHa)
		inside := "yes"
		if !f.Inside {
			inside = "NO"
		}
		fields.Rows = append(fields.Rows, []string{string(f.Field.Field), f.Name, string(f.Product), ha(f.CoveredM2), tonnes(f.MassKg), number(f.SetRateKgHa, n),
			number(f.FieldRateKgHa, n), number(f.FieldRateLow, n) + " to " + number(f.FieldRateHigh, n), number(f.TrueRateKgHa, n), inside})
	}
	fields.Notes = []string{fmt.Sprintf("The truth lies inside the interval of %d of %d fields.", d.FieldsInside, len(d.Fields))}

	faults := Table{Caption: "What was made to go wrong", Columns: []Column{{"fault", "", false}}}
	for _, f := range d.Faults {
		faults.Notes = append(faults.Notes, "  "+f.Text)
	}
	if len(d.Faults) == 0 {
		faults.Notes = []string{"  nothing"}
	}
	events := Table{Caption: "Events", Columns: []Column{{"what", "", false}, {"n", "", true}},
		Rows: [][]string{{"published", strconv.Itoa(d.Published)}, {"documents issued", strconv.Itoa(d.Issued)}, {"booked", strconv.FormatInt(d.Booked, 10)}, {"kept as rejects", strconv.Itoa(d.Kept)},
			{"fixes", strconv.Itoa(d.Totals.Fixes)}, {"loads", strconv.Itoa(d.Totals.Loads)}}}
	findings := Table{Caption: "Findings"}
	for _, f := range d.Findings {
		findings.Notes = append(findings.Notes, "  "+findingLine(f))
	}
	return []Table{events, fields, faults, Drift(DriftAnswer{Drifts: d.Drifts}), findings}
}
