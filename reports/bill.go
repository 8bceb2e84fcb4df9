package reports

import (
	"strings"
	"time"

	"hopperbook/reconcile"
	"hopperbook/schemas"
)

// The schema names of answers about bills.
const (
	SchemaBill      = "hopperbook.bill/1"
	SchemaDocument  = "hopperbook.document/1"
	SchemaDocuments = "hopperbook.documents/1"
)

// BillAnswer is a bill that would be, or has just been, issued.
type BillAnswer struct {
	Schema  string                `json:"schema"`
	Issued  bool                  `json:"issued"`
	Invoice schemas.InvoiceIssued `json:"invoice"` // while not issued, its number is the next one
	// Shared is the invoice of the other customer, where two share the bill.
	Shared  *schemas.InvoiceIssued `json:"shared,omitempty"`
	Skipped []string               `json:"skipped"` // jobs left out and why
	Proof   Proof                  `json:"proof"`
	// Plan says what would be issued, numbers and days left out: issuing can be
	// held to it.
	Plan string `json:"plan"`
}

// Invoices are the one, or the two that share the bill.
func (a *BillAnswer) Invoices() []schemas.InvoiceIssued {
	if a.Shared == nil {
		return []schemas.InvoiceIssued{a.Invoice}
	}
	return []schemas.InvoiceIssued{a.Invoice, *a.Shared}
}

// Proof is what a document's quantities come from.
type Proof struct {
	Fields     []reconcile.Application `json:"fields"`
	Loads      []reconcile.WorkLoad    `json:"loads"`
	Hours      *float64                `json:"hours"`
	DrivenKm   float64                 `json:"driven_km"`
	Machines   []schemas.MachineID     `json:"machines"`
	Amendments []Amendment             `json:"amendments"`
	// Calibrations in force, of documents that are to be drawn.
	Calibrations []Calibration `json:"calibrations,omitempty"`
}

// Calibration is how a machine stood with a product when the work ended.
type Calibration struct {
	Machine   schemas.MachineID `json:"machine"`
	Product   schemas.ProductID `json:"product"`
	CatchTest schemas.TestID    `json:"catch_test"` // the last; "": none
	At        time.Time         `json:"at,omitzero"`
	Valid     bool              `json:"valid"`
	Reasons   []string          `json:"reasons"` // why not, or why there is none
}

// Calibrations is the table of them.
func Calibrations(list []Calibration) Table {
	t := Table{Caption: "Calibration in force", Columns: []Column{{"machine", "Machine", false}, {"product", "Product", false}, {"catch_test", "Catch test", false}, {"at", "Of", false}, {"state", "Holds", false}}}
	for _, c := range list {
		test, state := "-", "yes"
		if c.CatchTest != "" {
			test = string(c.CatchTest)
		}
		if !c.Valid {
			state = "NO: " + strings.Join(c.Reasons, "; ")
		}
		t.Rows = append(t.Rows, []string{string(c.Machine), string(c.Product), test, day(c.At), state})
	}
	return t
}

// Amendment is a correction that the evidence carries.
type Amendment struct {
	At     time.Time         `json:"at"`
	Amends schemas.EventID   `json:"amends"`
	Type   schemas.EventType `json:"type"` // of the event amended
	Action string            `json:"action"`
	Reason string            `json:"reason"`
}

// DocumentAnswer is an issued document beside the book as it is now.
type DocumentAnswer struct {
	Schema  string                   `json:"schema"`
	Kind    string                   `json:"kind"` // invoice, credit_note
	Invoice *schemas.InvoiceIssued   `json:"invoice,omitempty"`
	Credit  *schemas.InvoiceCredited `json:"credit,omitempty"`
	// CreditedBy is the credit note that took the invoice back; "": none.
	CreditedBy schemas.InvoiceNo `json:"credited_by,omitempty"`
	// Whole: the document's own digest is that of its data.
	Whole bool `json:"whole"`
	// Unchanged: the evidence in the book has the digest on the document.
	Unchanged bool     `json:"unchanged"`
	Now       string   `json:"evidence_now"` // digest
	Changes   []string `json:"changes"`      // in words
	GrossNow  string   `json:"gross_now"`    // what the same jobs would come to now; "": cannot be worked out
	Proof     Proof    `json:"proof"`        // as the book is now; drawn, as it was when the document was issued
	// AsIssued: the proof's events have the digest on the document.
	AsIssued bool `json:"as_issued"`
	// File says how a file of it compares with what is drawn; "": none was compared.
	File string `json:"file,omitempty"`
}

// AsOf is what the book held when the document was issued; nil: that is not
// known.
func (a *DocumentAnswer) AsOf() []string {
	switch {
	case a.Credit != nil:
		return a.Credit.AsOf
	case a.Invoice != nil:
		return a.Invoice.AsOf
	}
	return nil
}

// Agrees reports whether nothing about it asks for something to be done. The
// evidence of what was taken back may change.
func (a *DocumentAnswer) Agrees() bool {
	back := a.CreditedBy != "" || a.Credit != nil
	return a.Whole && (a.Unchanged || back) && a.File != FileDiffers
}

// DocumentsAnswer lists the issued documents.
type DocumentsAnswer struct {
	Schema    string        `json:"schema"`
	Documents []DocumentRow `json:"documents"`
}

// DocumentRow is one issued document.
type DocumentRow struct {
	Number     schemas.InvoiceNo  `json:"number"`
	Kind       string             `json:"kind"` // invoice, credit_note
	IssuedOn   string             `json:"issued_on"`
	Customer   schemas.CustomerID `json:"customer"`
	Jobs       []schemas.JobID    `json:"jobs"`
	Currency   string             `json:"currency"`
	Gross      string             `json:"gross"`
	Credits    schemas.InvoiceNo  `json:"credits,omitempty"`
	CreditedBy schemas.InvoiceNo  `json:"credited_by,omitempty"`
	// State: open, credited, changed (the evidence is another now), altered (it is not
	// what was issued), credit_note.
	State string `json:"state"`
}
