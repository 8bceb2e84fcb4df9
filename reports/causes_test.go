package reports

import (
	"fmt"
	"slices"
	"strings"
	"testing"

	"hopperbook/reconcile"
)

func TestCausesStandUnderTheirMachine(t *testing.T) {
	cause := func(w float64) reconcile.Cause {
		return reconcile.Cause{Kind: "batch", Weight: w, Load: 9, Seen: fmt.Sprintf("seen %g", w), Check: fmt.Sprintf("check %g", w)}
	}
	table := Drift(DriftAnswer{Drifts: []reconcile.Drift{
		{Machine: "s1", Product: "lime", State: "recalibrate", ChangeLoad: 9, SizePct: -10, FlowFactor: 1.1, Causes: []reconcile.Cause{cause(0.6), cause(0.2), cause(0.1), cause(0.07)}},
		{Machine: "s2", Product: "lime", State: "holding", FlowRatio: 1, Causes: []reconcile.Cause{cause(0.04), cause(0.03)}},
		{Machine: "s3", Product: "lime", State: "holding", FlowRatio: 1},
	}})
	at := func(text string) int {
		return slices.IndexFunc(table.Notes, func(n string) bool { return strings.Contains(n, text) })
	}
	if at("RECALIBRATE s1") != 0 || at("What it may be") != 1 || at("likely (weight 0.60): seen 0.6") != 2 || at("check: check 0.6") != 3 || at("seen 0.1") != 6 {
		t.Errorf("notes %q", table.Notes)
	}
	if at("seen 0.07") >= 0 || at("seen 0.03") >= 0 {
		t.Errorf("more than three causes, or a light one, in %q", table.Notes)
	}
	if weight(0.999) != "> 0.99" {
		t.Errorf("a weight of 0.999 is shown as %q: nothing is certain", weight(0.999))
	}
	if i := at("s2 holds its calibration with lime, but"); i != 8 || at("seen 0.04") != 9 || len(table.Notes) != 11 {
		t.Errorf("a holding machine's cause is not told as such in %q", table.Notes)
	}
}

// A flow factor mends no scale: the check comes first.
func TestWhatAnotherFlowWouldNotMend(t *testing.T) {
	d := reconcile.Drift{Machine: "s1", Product: "lime", State: "recalibrate", ChangeLoad: 9, SizePct: -10, FlowFactor: 1.1}
	for kind, factor := range map[string]bool{"scale": false, "bout_width": false, "spreading_switch": false, "one_load": false, "step": true, "trend": false} {
		d.Causes = []reconcile.Cause{{Kind: kind, Weight: 0.8}}
		if note := driftNote(d); strings.Contains(note, "flow factor") != factor {
			t.Errorf("%s: %s", kind, note)
		}
	}
	d.Superseded = true
	if note := driftNote(d); strings.Contains(note, "RECALIBRATE") || !strings.HasPrefix(note, "Past, s1: ") {
		t.Errorf("calibrated again since: %s", note)
	}
	d.Superseded = false
	d.Causes = []reconcile.Cause{{Kind: "scale", Weight: 0.3}}
	if note := driftNote(d); !strings.Contains(note, "flow factor") {
		t.Errorf("a weak cause: %s", note)
	}
}
