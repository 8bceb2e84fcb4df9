package reports

import (
	"fmt"
	"math"
	"strings"
	"testing"
	"time"

	"hopperbook/reconcile"
	"hopperbook/schemas"
)

func TestNumbers(t *testing.T) {
	for _, r := range []struct {
		v        float64
		decimals int
		want     string
	}{
		{1.005, 2, "1.00"}, {2617.6, 0, "2618"}, {-0.0001, 1, "0.0"}, {math.NaN(), 1, "-"}, {math.Inf(1), 1, "-"}, {0, 2, "0.00"},
	} {
		if got := number(r.v, r.decimals); got != r.want {
			t.Errorf("number(%v, %d) = %s, want %s", r.v, r.decimals, got, r.want)
		}
	}
	for v, want := range map[float64]string{1.26: "+1.3", -1.26: "-1.3", 0: "+0.0", -0.01: "+0.0"} {
		if got := signed(v, 1); got != want {
			t.Errorf("signed(%v) = %s, want %s", v, got, want)
		}
	}
	if got := signed(math.NaN(), 1); got != "-" {
		t.Errorf("signed(NaN) = %s", got)
	}
}

func cell(t *testing.T, table Table, row int, key string) string {
	t.Helper()
	for i, c := range table.Columns {
		if c.Key == key {
			return table.Rows[row][i]
		}
	}
	t.Fatalf("no column %s", key)
	return ""
}

// A merged interval is a row a refill, and the rows sum to what was spread.
func TestBalanceTable(t *testing.T) {
	res := reconcile.Result{
		Hoppers: []reconcile.Hopper{{Machine: "sp1", Product: "lime", HopperKg: 1200, HopperLowKg: 1100, HopperHighKg: 1300, FlowRatio: 0.96, FlowRatioLow: 0.94, FlowRatioHigh: 0.98,
			SetRateKgHa: 2500, LeftHa: 0.5, LoadedKg: 15_000, SpreadKg: 13_800}, {Machine: "sp2"}},
		Intervals: []reconcile.Interval{
			{Machine: "sp1", Load: 1, Refill: "r1", ToRefill: "r3", Product: "lime", LoadedKg: 10_000, MassKg: 9900, FlowRatio: 0.99, FlowRatioLow: 0.97, FlowRatioHigh: 1.01, Merged: 1,
				Parts: []reconcile.Part{{Load: 1, Refill: "r1", LoadedKg: 6000, MassKg: 5400}, {Load: 2, Refill: "r2", LoadedKg: 4000, MassKg: 4500}}},
			{Machine: "sp1", Load: 3, Refill: "r3", Product: "lime", LoadedKg: 5000, MassKg: 3900, MassLowKg: 3800, MassHighKg: 4000, Open: true},
			{Machine: "sp2", Load: 1, Refill: "x1"},
		},
		Findings: []reconcile.Finding{{Kind: "merged_intervals", Machine: "sp1", Text: "balanced together"}, {Kind: "gap", Machine: "sp1", Text: "a gap"}, {Kind: "merged_intervals", Machine: "sp2", Text: "not mine"}},
	}
	a, err := NewBalanceAnswer(res, "sp1")
	if err != nil || len(a.Intervals) != 2 || len(a.Findings) != 1 {
		t.Fatalf("%v %+v", err, a)
	}
	table := Balance(a)
	for row, want := range []map[string]string{
		{"refill": "r1", "to_refill": "r2", "loaded_t": "6.00", "mass_t": "5.40", "flow_ratio": "0.990", "note": "shared 1/2"},
		{"refill": "r2", "to_refill": "r3", "loaded_t": "4.00", "mass_t": "4.50", "flow_ratio": "0.990", "note": "shared 2/2"},
		{"refill": "r3", "to_refill": "", "mass_t": "3.90", "mass_low_t": "3.80", "flow_ratio": "-", "note": "estimated"},
	} {
		for key, text := range want {
			if got := cell(t, table, row, key); got != text {
				t.Errorf("row %d: %s = %s, want %s", row, key, got, text)
			}
		}
	}
	for i, want := range []string{"1.20 t (95 %: 1.10 to 1.30 t) of lime; flow ratio 0.960 (0.940 to 0.980); enough for 0.5 ha at the set rate of 2500 kg/ha.",
		"Loaded 15.000 t + 0.000 t at the start = spread 13.800 t + 1.200 t", "Estimated", "Shared", "balanced together."} {
		if !strings.Contains(table.Notes[i], want) {
			t.Errorf("note %d: %s, want %s", i, table.Notes[i], want)
		}
	}
	if _, err := NewBalanceAnswer(res, "sp3"); err == nil {
		t.Error("a machine that is not there has a balance")
	}
}

func TestFieldsTable(t *testing.T) {
	table := Fields(FieldsAnswer{Fields: []reconcile.Field{{Field: "f01", Name: "Gull paddock", Product: "lime", CoveredM2: 149_800, MassKg: 39_230,
		SetRateKgHa: 2500, FieldRateKgHa: 2618.4, FieldRateLow: 2586, FieldRateHigh: 2651, Overlap2M2: 6000, Overlap3M2: 892, Open: true}}})
	for key, want := range map[string]string{"covered_ha": "14.98", "mass_t": "39.23", "set_rate_kg_ha": "2500", "field_rate_kg_ha": "2618",
		"off_pct": "+4.7", "overlap_pct": "4.6", "open": "yes"} {
		if got := cell(t, table, 0, key); got != want {
			t.Errorf("%s = %s, want %s", key, got, want)
		}
	}
	if len(table.Notes) != 1 || !strings.Contains(table.Notes[0], "Open") {
		t.Errorf("notes %v", table.Notes)
	}
	if empty := Fields(FieldsAnswer{}); len(empty.Notes) != 1 {
		t.Errorf("an empty book must say why there is nothing: %v", empty.Notes)
	}
	nothing := Fields(FieldsAnswer{Fields: []reconcile.Field{{Field: "f02"}}})
	for _, c := range nothing.Rows[0] {
		if strings.Contains(c, "NaN") || strings.Contains(c, "Inf") {
			t.Errorf("a field nothing was spread on: %v", nothing.Rows[0])
		}
	}
}

func TestDriftTableSaysWhatToDo(t *testing.T) {
	table := Drift(DriftAnswer{Drifts: []reconcile.Drift{
		{Machine: "sp1", Product: "lime", State: "holding", Loads: 40, FlowRatio: 0.998, Since: time.Date(2026, 3, 1, 21, 23, 0, 0, time.UTC)},
		{Machine: "sp2", Product: "super", State: "recalibrate", Loads: 20, FlowRatio: 0.93, ChangeLoad: 9, ChangeLoadLow: 8, ChangeLoadHigh: 11, SizePct: -13.4, SizeLowPct: -14.9, SizeHighPct: -11.9, FlowFactor: 1.155,
			GateTry: &reconcile.GateTry{NowMm: 60, TryMm: 69.3, TestedFromMm: 40, TestedToMm: 80}},
		{Machine: "sp3", State: "watch", Loads: 9, ChangeLoad: 4, SizePct: 3.1},
	}})
	if cell(t, table, 0, "size_pct") != "-" || cell(t, table, 1, "size_pct") != "-13.4" || cell(t, table, 0, "since") != "2026-03-01 21:23" || cell(t, table, 1, "since") != "-" {
		t.Errorf("rows %v", table.Rows)
	}
	if len(table.Notes) != 2 {
		t.Fatalf("notes %v", table.Notes)
	}
	for _, want := range []string{"RECALIBRATE sp2", "since load 9 (or one of 8 to 11)", "a gate of 69.3 mm in place of 60.0 mm (tested: 40.0 to 80.0 mm), or a flow factor", "13.4 % less super than it is set to", "-14.9", "1.155", "catch test", "Stop the machine"} {
		if !strings.Contains(table.Notes[0], want) {
			t.Errorf("%q does not say %q", table.Notes[0], want)
		}
	}
	if !strings.Contains(table.Notes[1], "Watch sp3") {
		t.Errorf("note %q", table.Notes[1])
	}
}

func TestRejectsTableGivesEachHintOnce(t *testing.T) {
	table := Rejects(RejectsAnswer{Rejects: []Reject{
		{Kind: "rejected", Source: "/files/309881df31d295777d6253776a54fa4c5725e2e51c52232b7b8fedf4a53baba3", Sequence: 3, Pointer: "/data/net_kg", Detail: "must be at most 200000", Hint: "repair it"},
		{Kind: "rejected", Detail: "is not a JSON object", Hint: "repair it"},
	}})
	if table.Rows[0][1] != "/files/309881df31d2..." || table.Rows[1][1] != "-" || table.Rows[1][2] != "-" {
		t.Errorf("rows %v", table.Rows)
	}
	if len(table.Notes) != 2 {
		t.Errorf("notes %v", table.Notes)
	}
}

func TestDemoTellsInsideFromOutside(t *testing.T) {
	d := Demo{Fields: []DemoField{{Field: reconcile.Field{Field: "f01"}, Inside: true}, {Field: reconcile.Field{Field: "f02"}}}, FieldsInside: 1}
	tables := DemoTables(d)
	if got := tables[1].Rows[0][9] + tables[1].Rows[1][9]; got != "yesNO" {
		t.Errorf("inside column %s", got)
	}
	if !strings.Contains(tables[1].Notes[0], "1 of 2") || !strings.Contains(tables[2].Notes[0], "nothing") {
		t.Errorf("notes %v %v", tables[1].Notes, tables[2].Notes)
	}
}

// Series of one machine and product share a chart, in order; the change point's
// points are found by load, and each series begins with its catch test.
func TestDriftCharts(t *testing.T) {
	points := func(from, n int) (out []reconcile.DriftPoint) {
		for i := range n {
			out = append(out, reconcile.DriftPoint{Load: from + i, Refill: schemas.RefillID(fmt.Sprint("r", from+i)), Ratio: 0.99, RatioLow: 0.97, RatioHigh: 1.01, EvidenceLow: 0.5})
		}
		return out
	}
	charts := DriftCharts(DriftAnswer{Drifts: []reconcile.Drift{
		{Machine: "sp1", Product: "lime", State: "recalibrate", CatchTest: "c-1", TolerancePct: 5, Points: points(1, 10), ChangeLoad: 6, ChangeLoadLow: 5, ChangeLoadHigh: 8, ChangeRefill: "r6", SizePct: -12, SizeLowPct: -13, SizeHighPct: -11},
		{Machine: "sp1", Product: "urea", State: "watch", TolerancePct: 5, Points: points(11, 3), ChangeLoad: 11, ChangeLoadLow: 11, ChangeLoadHigh: 11, ChangeRefill: "r11"},
		{Machine: "sp1", Product: "lime", State: "holding", CatchTest: "c-2", TolerancePct: 5, Points: points(14, 4)},
		{Machine: "sp2", Product: "lime", State: "holding"}, // an older hub sends no points
	}})
	if len(charts) != 2 || charts[0].Product != "lime" || charts[1].Product != "urea" {
		t.Fatalf("%d charts: %+v", len(charts), charts)
	}
	c := charts[0]
	if len(c.Points) != 14 || c.Points[13].Load != "17" || c.Points[0].FlowPct != 99 || c.Points[0].LowPct != 97 || c.Points[0].EvidenceLow != 0.5 {
		t.Errorf("points %+v", c.Points)
	}
	for i, p := range c.Points {
		if p.Changed != (i >= 5 && i < 10) {
			t.Errorf("point %d: changed %v", i, p.Changed)
		}
	}
	if len(c.Resets) != 2 || c.Resets[1].Index != 10 || c.Resets[1].Mark != "B" || !strings.Contains(c.Resets[0].Words, "c-1") || charts[1].Resets[0].Words != "no catch test" {
		t.Errorf("resets %+v, %+v", c.Resets, charts[1].Resets)
	}
	want := ChartChange{Index: 5, IndexLow: 4, IndexHigh: 7, End: 10, FlowPct: 88, LowPct: 87, HighPct: 89, Words: "Load 6 (5 to 8): -12.0 % (-13.0 to -11.0)"}
	if len(c.Changes) != 1 || c.Changes[0] != want {
		t.Errorf("changes %+v, want %+v", c.Changes, want)
	}
	if u := charts[1]; !u.Points[0].Changed || len(u.Changes) != 1 || u.Changes[0].Index != 0 || u.Changes[0].End != 3 {
		t.Errorf("off from its first load on: %+v", u)
	}
	if !strings.HasPrefix(c.State, "Holding") || c.Title != "sp1 with lime: flow against the calibration, load by load" {
		t.Errorf("%q, %q", c.State, c.Title)
	}
}

// A job's sheet holds what was given against what the job asked for.
func TestAJobSheetHoldsAgainstTheJobsRate(t *testing.T) {
	d := reconcile.Application{AskedKgHa: 200, Field: reconcile.Field{SetRateKgHa: 100, FieldRateKgHa: 200, FieldRateLow: 195, FieldRateHigh: 205}}
	for asked, want := range map[float64]string{200: "as asked for, as far as can be told", 160: "25.0 % more than asked for", 250: "20.0 % less than asked for", 0: "no rate was asked for"} {
		d.AskedKgHa = asked
		if got := againstAsked(d); got != want {
			t.Errorf("asked %v: %q", asked, got)
		}
	}
}
