package reports

import (
	"cmp"
	"fmt"

	"hopperbook/reconcile"
	"hopperbook/reconcile/cause"
	"hopperbook/reconcile/drift"
)

// Causes of at least this weight are shown, and no more than this many.
const (
	shownWeight = 0.05
	mostShown   = 3
)

// causeNotes are the likely causes of a drift, likeliest first, each with what
// was seen and what to check.
func causeNotes(d reconcile.Drift) (notes []string) {
	for i, c := range d.Causes {
		if i > 0 && c.Weight < shownWeight || i == mostShown {
			break
		}
		what := "likely"
		if c.Kind == string(cause.Step) {
			what = "cause unknown"
		}
		notes = append(notes, fmt.Sprintf("  %s (weight %s): %s", what, weight(c.Weight), c.Seen), "    check: "+c.Check)
	}
	if len(notes) == 0 {
		return nil
	}
	head := "  What it may be, with its weight among what was tried; nothing is certain before it is checked:"
	if d.State == string(drift.Holding) {
		head = fmt.Sprintf("%s holds its calibration with %s, but its loads follow something:", d.Machine, cmp.Or(string(d.Product), "its product"))
	}
	return append([]string{head}, notes...)
}

// weight never says 1: nothing is certain.
func weight(w float64) string {
	if w > 0.99 {
		return "> 0.99"
	}
	return number(w, 2)
}
