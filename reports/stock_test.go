package reports

import (
	"encoding/json"
	"strings"
	"testing"
	"time"

	"hopperbook/reconcile/stock"
)

func TestStockTable(t *testing.T) {
	amount := stock.Amount{Measured: true, MeasuredKg: 104_000, Known: true, Kg: 103_500, LowKg: 102_000, HighKg: 105_000}
	answer := NewStockAnswer(&stock.Result{
		Rows: []stock.Row{
			{Stockpile: "pile-lime", Product: "lime", From: time.Date(2026, 3, 2, 6, 0, 0, 0, time.UTC), Docketed: amount, Checked: true, ImbalanceKg: -26_030, ChiSquare: 412.5},
			{Stockpile: "pile-urea", Product: "urea", Spread: stock.Amount{Known: true, Kg: 4000, LowKg: 3900, HighKg: 4100}, Passes: true},
		},
		Test:     stock.Test{ChiSquare: 412.5, Dof: 3, Critical: 7.81},
		After:    stock.Test{ChiSquare: 1.2, Dof: 2, Critical: 5.99, Passes: true},
		Suspects: []stock.Suspect{{Text: "a docket is missing.", OrElse: []string{"the survey says too little"}}},
		Findings: []stock.Finding{{Kind: stock.DocketGap, Text: "docket 3 is not in the book"}},
	})
	table := Stock(answer)
	if len(table.Rows) != 12 {
		t.Fatalf("%d rows", len(table.Rows))
	}
	for _, c := range []struct {
		row       int
		key, want string
	}{
		{1, "mass", "docketed"}, {1, "measured_t", "104.00"}, {1, "reconciled_t", "103.50"}, {1, "low_t", "102.00"}, {1, "high_t", "105.00"}, {1, "from", "2026-03-02"}, {1, "to", "-"},
		{5, "mass", "left over"}, {5, "measured_t", "-26.03"}, {5, "chi_square", "412.50"}, {5, "verdict", "DISAGREES"},
		{9, "measured_t", "-"}, {9, "reconciled_t", "4.00"}, {11, "verdict", "not checked"}, {11, "measured_t", "-"},
	} {
		if got := cell(t, table, c.row, c.key); got != c.want {
			t.Errorf("row %d, %s: %q, want %q", c.row, c.key, got, c.want)
		}
	}
	notes := strings.Join(table.Notes, "\n")
	for _, want := range []string{"do NOT agree", "412.50 with 3 degrees", "SUSPECT 1: a docket is missing.", "or else: the survey", "With that taken out: the figures agree", "docket_gap: docket 3"} {
		if !strings.Contains(notes, want) {
			t.Errorf("the notes do not say %q:\n%s", want, notes)
		}
	}
}

func TestABookWithoutStockpilesSaysSo(t *testing.T) {
	answer := NewStockAnswer(nil)
	if notes := Stock(answer).Notes; len(notes) != 1 || !strings.Contains(notes[0], "no docket and no stock survey") {
		t.Errorf("notes %q", notes)
	}
	raw, err := json.Marshal(answer)
	if err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{`"schema":"hopperbook.stock/1"`, `"rows":[]`, `"suspects":[]`, `"findings":[]`} {
		if !strings.Contains(string(raw), want) {
			t.Errorf("%s lacks %s", raw, want)
		}
	}
	if notes := Stock(StockAnswer{Result: stock.Result{Rows: []stock.Row{{}}}}).Notes; !strings.Contains(notes[0], "Nothing can be checked") {
		t.Errorf("notes %q", notes)
	}
}
