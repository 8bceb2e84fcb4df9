package reports

import (
	"cmp"
	"fmt"

	"hopperbook/reconcile"
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
		notes = append(notes, fmt.Sprintf("  likely (%s %%): %s", number(100*c.Weight, 0), c.Seen), "    check: "+c.Check)
	}
	if len(notes) == 0 {
		return nil
	}
	head := "  Why? Likely causes and their weight among those that were tried; none is certain before it is checked."
	if d.State == string(drift.Holding) {
		head = fmt.Sprintf("%s holds its calibration with %s, but its loads follow something:", d.Machine, cmp.Or(string(d.Product), "its product"))
	}
	return append([]string{head}, notes...)
}
