package reports

import (
	"cmp"
	"fmt"
	"strconv"

	"hopperbook/reconcile"
	"hopperbook/reconcile/drift"
	"hopperbook/schemas"
)

type (
	// DriftChart is the control chart of one machine with one product: every
	// series of theirs in order of loads.
	DriftChart struct {
		Machine      schemas.MachineID
		Product      schemas.ProductID
		Title        string
		State        string // what the last series says, in a sentence
		TolerancePct float64
		Points       []ChartPoint
		Resets       []ChartReset
		Changes      []ChartChange
	}

	// ChartPoint is one load, in percent of the calibrated flow.
	ChartPoint struct {
		Load                      string
		FlowPct, LowPct, HighPct  float64 // 95 %
		EvidenceHigh, EvidenceLow float64 // as shares of what calls
		Changed                   bool    // after the change point of its series
	}

	// ChartReset is where a series begins.
	ChartReset struct {
		Index int // of its first point
		Mark  string
		Words string
	}

	// ChartChange is the change point of a series and the flow after it.
	ChartChange struct {
		Index, IndexLow, IndexHigh int // of points: most likely first one after the change, and between which
		End                        int // one past the last point of the series
		FlowPct, LowPct, HighPct   float64
		Words                      string
	}
)

// DriftCharts makes one chart of each machine and product, in the order of the
// answer. Verdicts without points, of an older hub, make none.
func DriftCharts(a DriftAnswer) []DriftChart {
	var charts []DriftChart
	at := map[[2]string]int{}
	for _, d := range a.Drifts {
		if len(d.Points) == 0 {
			continue
		}
		key := [2]string{string(d.Machine), string(d.Product)}
		i, ok := at[key]
		if !ok {
			i = len(charts)
			at[key] = i
			charts = append(charts, DriftChart{Machine: d.Machine, Product: d.Product,
				Title: fmt.Sprintf("%s with %s: flow against the calibration, load by load", cmp.Or(string(d.Machine), "Machine without a name"), cmp.Or(string(d.Product), "product"))})
		}
		charts[i].add(d)
	}
	return charts
}

// add appends a series.
func (c *DriftChart) add(d reconcile.Drift) {
	c.Resets = append(c.Resets, ChartReset{Index: len(c.Points), Mark: mark(len(c.Resets)), Words: reset(d)})
	c.TolerancePct, c.State = d.TolerancePct, chartState(d)
	change := ChartChange{Index: -1, FlowPct: 100 + d.SizePct, LowPct: 100 + d.SizeLowPct, HighPct: 100 + d.SizeHighPct, Words: changeWords(d)}
	for _, p := range d.Points {
		i := len(c.Points)
		if d.ChangeLoad > 0 {
			if p.Refill == d.ChangeRefill {
				change.Index = i
			}
			if p.Load <= d.ChangeLoadLow {
				change.IndexLow = i
			}
			if p.Load <= d.ChangeLoadHigh {
				change.IndexHigh = i
			}
		}
		c.Points = append(c.Points, ChartPoint{Load: strconv.Itoa(p.Load), FlowPct: 100 * p.Ratio, LowPct: 100 * p.RatioLow, HighPct: 100 * p.RatioHigh,
			EvidenceHigh: p.EvidenceHigh, EvidenceLow: p.EvidenceLow, Changed: change.Index >= 0})
	}
	if change.End = len(c.Points); change.Index >= 0 {
		c.Changes = append(c.Changes, change)
	}
}

// mark names the resets A to Z, then by number.
func mark(i int) string {
	if i < 26 {
		return string(rune('A' + i))
	}
	return strconv.Itoa(i + 1)
}

func reset(d reconcile.Drift) string {
	if d.CatchTest == "" {
		return "no catch test"
	}
	return "catch test " + string(d.CatchTest) + ", " + clock(d.Since)
}

func changeWords(d reconcile.Drift) string {
	words := "Load " + strconv.Itoa(d.ChangeLoad)
	if d.ChangeLoadLow < d.ChangeLoadHigh {
		words += fmt.Sprintf(" (%d to %d)", d.ChangeLoadLow, d.ChangeLoadHigh)
	}
	return words + fmt.Sprintf(": %s %% (%s to %s)", signed(d.SizePct, 1), signed(d.SizeLowPct, 1), signed(d.SizeHighPct, 1))
}

func chartState(d reconcile.Drift) string {
	if note := driftNote(d); note != "" {
		return note
	}
	if drift.State(d.State) == drift.Holding {
		return "Holding: no sign that the machine has left its calibration."
	}
	return d.State
}
