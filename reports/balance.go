package reports

import (
	"fmt"
	"slices"
	"strconv"
	"strings"

	"hopperbook/reconcile"
	"hopperbook/reconcile/balance"
	"hopperbook/schemas"
	"hopperbook/schemas/fault"
	"hopperbook/schemas/unit"
)

// BalanceAnswer is what one machine spread, and what is in its hopper.
type BalanceAnswer struct {
	Schema    string               `json:"schema"` // "hopperbook.balance/1"
	Machine   schemas.MachineID    `json:"machine"`
	Hopper    reconcile.Hopper     `json:"hopper"`
	Intervals []reconcile.Interval `json:"intervals"`
	Findings  []reconcile.Finding  `json:"findings"` // what is odd about this machine's loads and readings
}

// SchemaBalance names the shape of BalanceAnswer's JSON.
const SchemaBalance = "hopperbook.balance/1"

// NewBalanceAnswer takes one machine's part of a result; fault.NotFound where
// the machine has neither refilled nor logged a pass.
func NewBalanceAnswer(res reconcile.Result, machine schemas.MachineID) (BalanceAnswer, error) {
	i := slices.IndexFunc(res.Hoppers, func(h reconcile.Hopper) bool { return h.Machine == machine })
	if i < 0 {
		names := make([]string, len(res.Hoppers))
		for k, h := range res.Hoppers {
			names[k] = string(h.Machine)
		}
		hint := "no machine has refilled or logged a pass yet"
		if len(names) > 0 {
			hint = "name one of: " + strings.Join(names, ", ")
		}
		return BalanceAnswer{}, fault.Newf("balance", fault.NotFound, fmt.Sprintf("the book holds no refill and no pass log of a machine %q", machine), hint)
	}
	a := BalanceAnswer{Schema: SchemaBalance, Machine: machine, Hopper: res.Hoppers[i], Intervals: []reconcile.Interval{}, Findings: []reconcile.Finding{}}
	for _, iv := range res.Intervals {
		if iv.Machine == machine {
			a.Intervals = append(a.Intervals, iv)
		}
	}
	for _, f := range res.Findings {
		if f.Machine == machine && balance.FindingCode(f.Kind).Known() {
			a.Findings = append(a.Findings, f)
		}
	}
	return a, nil
}

// Balance is the table of one machine's season: a row from each refill to the
// next, so that the rows sum to what was spread.
func Balance(a BalanceAnswer) Table {
	t := Table{Caption: "Balance of " + string(a.Machine) + ": what went out from each refill to the next, 95 % intervals",
		Columns: []Column{{"load", "Load", true}, {"refill", "Refill", false}, {"to_refill", "To", false}, {"from", "From", false}, {"product", "Product", false},
			{"loaded_t", "Loaded t", true}, {"mass_t", "Spread t", true}, {"mass_low_t", "95 % low", true}, {"mass_high_t", "high", true}, {"nominal_t", "Nominal t", true},
			{"flow_ratio", "Flow ratio", true}, {"flow_ratio_low", "95 % low", true}, {"flow_ratio_high", "high", true}, {"note", "Note", false}}}
	shared, open := false, false
	for _, iv := range a.Intervals {
		note := ""
		if iv.Open {
			note, open = "estimated", true
		}
		if len(iv.Parts) == 0 {
			t.Rows = append(t.Rows, balanceRow(iv, reconcile.Part{Load: iv.Load, Refill: iv.Refill, From: iv.From, LoadedKg: iv.LoadedKg,
				NominalKg: iv.NominalKg, MassKg: iv.MassKg, MassLowKg: iv.MassLowKg, MassHighKg: iv.MassHighKg}, iv.ToRefill, note))
			continue
		}
		shared = true
		for i, p := range iv.Parts {
			to := iv.ToRefill
			if i+1 < len(iv.Parts) {
				to = iv.Parts[i+1].Refill
			}
			t.Rows = append(t.Rows, balanceRow(iv, p, to, strings.TrimSpace(fmt.Sprintf("%s shared %d/%d", note, i+1, len(iv.Parts)))))
		}
	}
	t.Notes = append(t.Notes, hopperNotes(a.Hopper)...)
	if open {
		t.Notes = append(t.Notes, "Estimated: no reading closes it yet; nominal mass times the flow ratio that the readings before give.")
	}
	if shared {
		t.Notes = append(t.Notes, "Shared: the residual between these refills was not read; what they spread together is shared by nominal mass, and the flow ratio is that of all of them.")
	}
	for _, f := range a.Findings {
		t.Notes = append(t.Notes, f.Text+".")
	}
	return t
}

func balanceRow(iv reconcile.Interval, p reconcile.Part, to schemas.RefillID, note string) []string {
	row := []string{strconv.Itoa(p.Load), string(p.Refill), string(to), clock(p.From), string(iv.Product), tonnes(p.LoadedKg),
		tonnes(p.MassKg), tonnes(p.MassLowKg), tonnes(p.MassHighKg), tonnes(p.NominalKg), "-", "-", "-", note}
	if iv.FlowRatio != 0 {
		row[10], row[11], row[12] = number(iv.FlowRatio, 3), number(iv.FlowRatioLow, 3), number(iv.FlowRatioHigh, 3)
	}
	return row
}

func hopperNotes(h reconcile.Hopper) []string {
	now := fmt.Sprintf("Now in the hopper: %s t (95 %%: %s to %s t)", tonnes(h.HopperKg), tonnes(h.HopperLowKg), tonnes(h.HopperHighKg))
	if h.Product != "" {
		now += " of " + string(h.Product)
	}
	now += fmt.Sprintf("; flow ratio %s (%s to %s)", number(h.FlowRatio, 3), number(h.FlowRatioLow, 3), number(h.FlowRatioHigh, 3))
	switch {
	case h.LeftHa > 0:
		now += fmt.Sprintf("; enough for %s ha at the set rate of %s kg/ha.", number(h.LeftHa, 1), number(h.SetRateKgHa, rateDecimals(h.SetRateKgHa)))
	case h.SetRateKgHa == 0:
		now += "; the set rate is not known."
	default:
		now += "."
	}
	return []string{now, fmt.Sprintf("Loaded %s t + %s t at the start = spread %s t + %s t in the hopper.",
		number(h.LoadedKg/unit.KgPerTonne, 3), number(h.ResidualStartKg/unit.KgPerTonne, 3), number(h.SpreadKg/unit.KgPerTonne, 3), number(h.HopperKg/unit.KgPerTonne, 3))}
}
