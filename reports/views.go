package reports

import (
	"cmp"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"

	"hopperbook/reconcile"
	"hopperbook/reconcile/cause"
	"hopperbook/reconcile/drift"
	"hopperbook/schemas"
	"hopperbook/schemas/unit"
)

func ha(m2 float64) string     { return number(m2/unit.M2PerHa, 2) }
func tonnes(kg float64) string { return number(kg/unit.KgPerTonne, 2) }
func clock(t time.Time) string {
	if t.IsZero() {
		return "-"
	}
	return t.UTC().Format("2006-01-02 15:04")
}

// rateDecimals keeps about four digits of a rate: 61.25, 187.5, 2480.
func rateDecimals(kgHa float64) int {
	switch {
	case kgHa < 100:
		return 2
	case kgHa < 1000:
		return 1
	}
	return 0
}

// covered is a figure of covered ground; a dash where none was covered.
func covered(f reconcile.Field, figure string) string {
	if f.CoveredM2 <= 0 {
		return "-"
	}
	return figure
}

// Fields is the table of real rates.
func Fields(a FieldsAnswer) Table {
	t := Table{Caption: "Real rate of each field (mass spread / covered area), 95 % interval",
		Columns: []Column{{"field", "Field", false}, {"name", "Name", false}, {"product", "Product", false}, {"covered_ha", "Covered ha", true}, {"mass_t", "Spread t", true},
			{"set_rate_kg_ha", "Set kg/ha", true}, {"field_rate_kg_ha", "Real kg/ha", true}, {"field_rate_low_kg_ha", "95 % low", true}, {"field_rate_high_kg_ha", "high", true},
			{"off_pct", "Off %", true}, {"overlap_pct", "Overlap %", true}, {"open", "Open", false}}}
	for _, f := range a.Fields {
		d := rateDecimals(f.SetRateKgHa)
		t.Rows = append(t.Rows, []string{string(f.Field), f.Name, string(f.Product), ha(f.CoveredM2), tonnes(f.MassKg),
			number(f.SetRateKgHa, d), covered(f, number(f.FieldRateKgHa, d)), covered(f, number(f.FieldRateLow, d)), covered(f, number(f.FieldRateHigh, d)),
			covered(f, signed(100*(f.FieldRateKgHa/f.SetRateKgHa-1), 1)), covered(f, number(100*(f.Overlap2M2+f.Overlap3M2)/f.CoveredM2, 1)), yes(f.Open)})
	}
	if len(a.Fields) == 0 {
		t.Notes = append(t.Notes, "No field has been spread yet: the book holds no pass log inside a field's boundary, or no refill.")
	}
	if openAny(a.Fields) {
		t.Notes = append(t.Notes, "Open: a part of the mass is estimated, because no reading of the residual closes the last load yet.")
	}
	return t
}

func openAny(fields []reconcile.Field) bool {
	for _, f := range fields {
		if f.Open {
			return true
		}
	}
	return false
}

func yes(b bool) string {
	if b {
		return "yes"
	}
	return ""
}

// Drift is the table of verdicts, with one sentence for each machine that
// calls for something.
func Drift(a DriftAnswer) Table {
	t := Table{Caption: "Calibration of each machine",
		Columns: []Column{{"machine", "Machine", false}, {"product", "Product", false}, {"since", "Calibrated", false}, {"loads", "Loads", true}, {"state", "State", false},
			{"flow_ratio", "Flow ratio", true}, {"change_load", "Since load", true}, {"change_load_low", "from", true}, {"change_load_high", "to", true}, {"size_pct", "Off %", true}, {"size_low_pct", "95 % low", true}, {"size_high_pct", "high", true}}}
	for _, d := range a.Drifts {
		row := []string{string(d.Machine), string(d.Product), clock(d.Since), strconv.Itoa(d.Loads), d.State, number(d.FlowRatio, 3), "-", "-", "-", "-", "-", "-"}
		if d.ChangeLoad > 0 {
			row[6], row[7], row[8] = strconv.Itoa(d.ChangeLoad), strconv.Itoa(d.ChangeLoadLow), strconv.Itoa(d.ChangeLoadHigh)
			row[9], row[10], row[11] = signed(d.SizePct, 1), signed(d.SizeLowPct, 1), signed(d.SizeHighPct, 1)
		}
		t.Rows = append(t.Rows, row)
		if note := driftNote(d); note != "" {
			t.Notes = append(t.Notes, note)
		}
		t.Notes = append(t.Notes, causeNotes(d)...)
	}
	if len(a.Drifts) == 0 {
		t.Notes = append(t.Notes, "No machine has a closed balance interval yet: refills with a residual reading make them.")
	}
	return t
}

// likeliest tells whether the likeliest cause of a drift is one of these, by more than half.
func likeliest(d reconcile.Drift, kinds ...cause.Kind) bool {
	return len(d.Causes) > 0 && d.Causes[0].Weight >= 0.5 && slices.Contains(kinds, cause.Kind(d.Causes[0].Kind))
}

func driftNote(d reconcile.Drift) string {
	switch state := drift.State(d.State); {
	case d.Superseded && state != drift.Holding:
		return fmt.Sprintf("Past, %s: %s it spread %s %s than it was set to (95 %%: %s to %s %%); it has been calibrated again since.",
			d.Machine, sinceLoad(d), moreOrLess(d.SizePct), cmp.Or(string(d.Product), "product"), signed(d.SizeLowPct, 1), signed(d.SizeHighPct, 1))
	case state == drift.Recalibrate:
		advice := "try " + whatToTry(d) + " and confirm it by a catch test"
		if likeliest(d, cause.Trend) {
			advice = "its flow still changes: make the first check below, then calibrate again"
		} else if likeliest(d, cause.Scale, cause.Width, cause.Switch, cause.OneLoad) {
			advice = "make the first check below before you change the setting: the flow itself may be right"
		}
		return fmt.Sprintf("RECALIBRATE %s: %s it spreads %s %s than it is set to (95 %%: %s to %s %%). Stop the machine before you look at it; %s.",
			d.Machine, sinceLoad(d), moreOrLess(d.SizePct), cmp.Or(string(d.Product), "product"), signed(d.SizeLowPct, 1), signed(d.SizeHighPct, 1), advice)
	case state == drift.Watch:
		return fmt.Sprintf("Watch %s: %s it seems to spread %s than it is set to; too few loads yet, or not surely beyond the tolerance.", d.Machine, sinceLoad(d), moreOrLess(d.SizePct))
	}
	return ""
}

// sinceLoad is the change point in words: "since load 9 (or one of 8 to 11)".
func sinceLoad(d reconcile.Drift) string {
	words := "since load " + strconv.Itoa(d.ChangeLoad)
	if d.ChangeLoadLow < d.ChangeLoadHigh {
		words += fmt.Sprintf(" (or one of %d to %d)", d.ChangeLoadLow, d.ChangeLoadHigh)
	}
	return words
}

// whatToTry is the gate inside the tested openings, and the flow factor.
func whatToTry(d reconcile.Drift) string {
	words := "a flow factor of " + number(d.FlowFactor, 3)
	if g := d.GateTry; g != nil {
		words = fmt.Sprintf("a gate of %s mm in place of %s mm (tested: %s to %s mm), or %s", number(g.TryMm, 1), number(g.NowMm, 1), number(g.TestedFromMm, 1), number(g.TestedToMm, 1), words)
	}
	return words
}

// moreOrLess is a change in words: "11.7 % less".
func moreOrLess(pct float64) string {
	if pct < 0 {
		return number(-pct, 1) + " % less"
	}
	return number(pct, 1) + " % more"
}

// Gaps is the table of missing events.
func Gaps(a GapsAnswer) Table {
	t := Table{Caption: "Events known to be missing", Columns: []Column{{"source", "Source", false}, {"from", "From", true}, {"to", "To", true}, {"count", "Events", true}}}
	for _, g := range a.Gaps {
		t.Rows = append(t.Rows, []string{shortSource(g.Source), strconv.FormatInt(g.From, 10), strconv.FormatInt(g.To, 10), strconv.FormatInt(g.To-g.From+1, 10)})
	}
	if len(a.Gaps) == 0 {
		t.Notes = append(t.Notes, "None: of every source the book holds all events up to the last one it knows.")
	} else {
		t.Notes = append(t.Notes, "They are still on a tablet or on their way; let the tablet reach the hub.")
	}
	return t
}

// Rejects is the table of what was kept with a reason.
func Rejects(a RejectsAnswer) Table {
	t := Table{Caption: "Kept, and why",
		Columns: []Column{{"kind", "Kind", false}, {"source", "Source", false}, {"sequence", "Sequence", true}, {"received", "Received", false}, {"reason", "What is wrong", false}, {"repaired", "Repaired", false}}}
	seen := map[string]bool{}
	for _, r := range groupClocks(a.Rejects) {
		sequence := "-"
		if r.Sequence > 0 {
			sequence = strconv.FormatInt(r.Sequence, 10)
		}
		reason := strings.TrimSpace(r.Pointer + " " + r.Detail)
		t.Rows = append(t.Rows, []string{r.Kind, cmp.Or(shortSource(r.Source), r.Subject, "-"), sequence, clock(r.Received), reason, yes(r.Repaired)})
		if r.Hint != "" && !seen[r.Hint] {
			seen[r.Hint] = true
			t.Notes = append(t.Notes, r.Kind+": "+r.Hint)
		}
	}
	if len(a.Rejects) == 0 {
		t.Notes = append(t.Notes, "None.")
	} else {
		t.Notes = append(t.Notes, "hopperbook rejects --json prints the messages themselves.")
	}
	return t
}

// groupClocks joins the clock flags of one source that follow each other: an
// old import would fill the page with them.
func groupClocks(rejects []Reject) []Reject {
	var out []Reject
	more := 0
	for i, r := range rejects {
		if i > 0 && r.Kind == "clock" && rejects[i-1].Kind == "clock" && r.Source == rejects[i-1].Source {
			more++
			out[len(out)-1].Detail = fmt.Sprintf("%s (and %d more of this source)", rejects[i-more].Detail, more)
			continue
		}
		more = 0
		out = append(out, r)
	}
	return out
}

// shortSource cuts a file's digest to what tells files apart.
func shortSource(s schemas.Source) string {
	const shown = len("/files/") + 12
	if text := string(s); strings.HasPrefix(text, "/files/") && len(text) > shown {
		return text[:shown] + "..."
	}
	return string(s)
}

// Summary is the overview of a whole result.
func Summary(r reconcile.Result) Table {
	t := Table{Caption: "Reconciled", Columns: []Column{{"what", "What", false}, {"value", "Value", true}}}
	row := func(what, value string) { t.Rows = append(t.Rows, []string{what, value}) }
	row("fields", strconv.Itoa(len(r.Fields)))
	row("balance intervals", strconv.Itoa(len(r.Intervals)))
	row("loads", strconv.Itoa(r.Totals.Loads))
	row("fixes", strconv.Itoa(r.Totals.Fixes))
	row("loaded t", tonnes(r.Totals.LoadedKg))
	row("spread on fields t", tonnes(r.Totals.OnFieldsKg))
	row("spread elsewhere t", tonnes(r.Totals.ElsewhereKg))
	row("more in the hoppers than at the start t", tonnes(r.Totals.ResidualChangeKg))
	for _, d := range r.Drifts {
		if note := driftNote(d); note != "" {
			t.Notes = append(t.Notes, note)
		}
	}
	for _, f := range r.Findings {
		t.Notes = append(t.Notes, findingLine(f))
	}
	return t
}

// findingLine is a finding in one line: kind, where, what.
func findingLine(f reconcile.Finding) string {
	words := f.Kind
	for _, where := range []string{string(f.Machine), string(f.Field)} {
		if where != "" {
			words += " " + where
		}
	}
	return words + ": " + f.Text
}
