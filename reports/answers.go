package reports

import (
	"time"

	"hopperbook/reconcile"
	"hopperbook/schemas"
)

// The answers to the office's questions, as JSON and as the source of tables.
// Each names its shape in schema.
type (
	// FieldsAnswer is what went on each field.
	FieldsAnswer struct {
		Schema string            `json:"schema"` // "hopperbook.fields/1"
		Fields []reconcile.Field `json:"fields"`
	}

	// DriftAnswer is the verdict on each machine.
	DriftAnswer struct {
		Schema string            `json:"schema"` // "hopperbook.drift/1"
		Drifts []reconcile.Drift `json:"drifts"`
	}

	// GapsAnswer is what is known to be missing.
	GapsAnswer struct {
		Schema string `json:"schema"` // "hopperbook.gaps/1"
		Gaps   []Gap  `json:"gaps"`
	}

	// Gap is a range of sequences of one source that the book does not hold
	// while it holds later ones.
	Gap struct {
		Source schemas.Source `json:"source"`
		From   int64          `json:"from"` // first missing sequence
		To     int64          `json:"to"`   // last missing sequence
	}

	// RejectsAnswer is what was kept and not booked, and what was booked
	// with an odd clock.
	RejectsAnswer struct {
		Schema  string   `json:"schema"` // "hopperbook.rejects/1"
		Rejects []Reject `json:"rejects"`
	}

	// Reject is one message kept with its reason.
	Reject struct {
		Kind     string         `json:"kind"` // rejected, contradicting, clock
		Source   schemas.Source `json:"source"`
		Sequence int64          `json:"sequence"`          // 0: could not be read
		Subject  string         `json:"subject,omitempty"` // of rejects: the NATS subject it came on
		Received time.Time      `json:"received"`
		Pointer  string         `json:"pointer"`
		Rule     string         `json:"rule"`
		Detail   string         `json:"detail"`
		Hint     string         `json:"hint"`
		Repaired bool           `json:"repaired"`
		Raw      string         `json:"raw"` // the message; base64 where it is not UTF-8
		Base64   bool           `json:"base64,omitempty"`
	}
)

// NotBooked reports whether the message is not in the book as an event.
func (r Reject) NotBooked() bool { return r.Kind != "clock" && !r.Repaired }

// The schema names of the answers.
const (
	SchemaFields  = "hopperbook.fields/1"
	SchemaDrift   = "hopperbook.drift/1"
	SchemaGaps    = "hopperbook.gaps/1"
	SchemaRejects = "hopperbook.rejects/1"
)
