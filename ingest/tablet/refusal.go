package tablet

import (
	"errors"
	"fmt"

	"hopperbook/schemas/fault"
)

// Refusal is why a command was not carried out; it left no trace. It is the
// cause inside the fault.Error that Do returns.
type Refusal struct {
	Key     string             // for the page's catalogue; see the constants
	Confirm bool               // the same body with "confirm": true is carried out
	Text    string             // in English
	Values  map[string]float64 // for the catalogue's text: kg, limit_kg
}

// Error is the refusal in one line of English.
func (r *Refusal) Error() string { return r.Text }

// RefusalOf finds the refusal in an error of Do.
func RefusalOf(err error) (*Refusal, bool) {
	var r *Refusal
	ok := errors.As(err, &r)
	return r, ok
}

// The keys of refusals: stable, the page's catalogue has a text for each.
const (
	KeyBody         = "body"          // the command or its body cannot be read
	KeyContract     = "contract"      // the event would break the contract
	KeyRole         = "role"          // not for this machine: a loader does not spread
	KeyNoJob        = "no_job"        // no such job, or none picked
	KeyNoField      = "no_field"      // the field is none of the job's
	KeyFinishFirst  = "finish_first"  // another job is started
	KeyStarted      = "started"       // the job is started already
	KeyNotStarted   = "not_started"   // no job is started
	KeySafety       = "safety"        // a safety check has failed: override needed
	KeyNoOperator   = "no_operator"   // an override needs a name
	KeyNoProduct    = "no_product"    // no such product, or none known
	KeyNoMass       = "no_mass"       // neither lifts nor net mass nor volume
	KeyNegative     = "negative"      // a mass below zero, a lift below its tare
	KeyNoDensity    = "no_density"    // a volume needs a bulk density
	KeyNoHopper     = "no_hopper"     // a level needs hopper volume and bulk density
	KeyLoadZero     = "load_zero"     // confirm: a load of nothing
	KeyLoadTooBig   = "load_too_big"  // confirm: more than the hopper holds
	KeyOverFull     = "over_full"     // confirm: residual and loads are more than the hopper holds
	KeyNoLoad       = "no_load"       // no such load waits
	KeyMixed        = "mixed"         // loads of several products
	KeyNoReading    = "no_reading"    // neither loads nor a reading
	KeyResidual     = "residual"      // the residual's method or number is missing or off
	KeyNoSpreader   = "no_spreader"   // a loader's load or refill needs the spreader
	KeyUndoNothing  = "undo_nothing"  // nothing to take back
	KeyUndoUnknown  = "undo_unknown"  // not an entry of this tablet, or not one to take back
	KeyUndoOld      = "undo_old"      // older than a day
	KeyUndoTwice    = "undo_twice"    // taken back already
	KeyNoNotice     = "no_notice"     // no such notice
	KeyTest         = "test"          // the test cannot be worked out
	KeyDiskFull     = "disk_full"     // no room on the tablet's disk
	KeyDisk         = "disk"          // the tablet's disk does not take it
	KeyUsed         = "used"          // the command's key stands for other figures, which were booked
	KeyOtherProduct = "other_product" // confirm: not the product of the job in hand
)

func refuse(key string, code fault.Code, hint, format string, args ...any) error {
	return refusal(&Refusal{Key: key, Text: fmt.Sprintf(format, args...)}, code, hint)
}

// ask refuses until it is confirmed.
func ask(key string, values map[string]float64, hint, format string, args ...any) error {
	return refusal(&Refusal{Key: key, Confirm: true, Values: values, Text: fmt.Sprintf(format, args...)}, fault.Conflict, hint)
}

func refusal(r *Refusal, code fault.Code, hint string) error {
	return fault.New("", code, r, hint)
}
