package desk

import (
	"cmp"
	"slices"
	"strings"

	"hopperbook/reports"
	"hopperbook/schemas"
)

// whyEvents are those events and what amends them, by time.
func (l *ledger) whyEvents(uses map[schemas.EventID]bool) []reports.WhyEvent {
	out := []reports.WhyEvent{}
	l.evidenceOf(uses) // what amends them joins
	for id := range uses {
		for _, e := range l.lines[id] {
			out = append(out, reports.WhyEvent{ID: id, Type: e.kind, Time: e.at, Source: e.identity.Source, Sequence: e.identity.Sequence})
		}
	}
	slices.SortFunc(out, func(x, y reports.WhyEvent) int {
		return cmp.Or(x.Time.Compare(y.Time), strings.Compare(string(x.ID), string(y.ID)))
	})
	return out
}
