package reports

import (
	"fmt"
	"slices"
	"strconv"
	"time"

	"hopperbook/reconcile/stock"
	"hopperbook/schemas/unit"
)

// StockAnswer is what the stockpiles come to.
type StockAnswer struct {
	Schema string `json:"schema"` // "hopperbook.stock/1"
	stock.Result
}

// SchemaStock names the shape of StockAnswer's JSON.
const SchemaStock = "hopperbook.stock/1"

// NewStockAnswer takes what was reconciled; nil is a book without stockpiles.
func NewStockAnswer(r *stock.Result) StockAnswer {
	a := StockAnswer{Schema: SchemaStock}
	if r == nil {
		a.Test.P, a.Test.Passes, a.After = 1, true, stock.Test{P: 1, Passes: true}
	} else {
		a.Result = *r
	}
	a.Rows, a.Suspects, a.Findings = orEmpty(a.Rows), orEmpty(a.Suspects), orEmpty(a.Findings)
	for i := range a.Suspects {
		a.Suspects[i].OrElse = orEmpty(a.Suspects[i].OrElse)
	}
	return a
}

func orEmpty[T any](list []T) []T {
	if list == nil {
		return []T{}
	}
	return list
}

// Stock is the table of the stockpiles: a row for each mass as measured and as
// reconciled, and one for what is left over.
func Stock(a StockAnswer) Table {
	t := Table{Caption: "Stockpiles: opening + docketed - loaded = closing; as measured and as reconciled with 95 % interval",
		Columns: []Column{{"stockpile", "Stockpile", false}, {"product", "Product", false}, {"from", "From", false}, {"to", "To", false}, {"mass", "Mass", false},
			{"measured_t", "Measured t", true}, {"reconciled_t", "Reconciled t", true}, {"low_t", "low", true}, {"high_t", "high", true},
			{"chi_square", "Chi-square", true}, {"verdict", "Verdict", false}}}
	for _, r := range a.Rows {
		for _, m := range []struct {
			name string
			stock.Amount
		}{{"opening", r.Opening}, {"docketed", r.Docketed}, {"loaded", r.Loaded}, {"spread", r.Spread}, {"closing", r.Closing}} {
			t.Rows = append(t.Rows, slices.Concat(stockCells(r, m.name), amountCells(m.Amount), []string{"", ""}))
		}
		t.Rows = append(t.Rows, slices.Concat(stockCells(r, "left over"), verdictCells(r)))
	}
	t.Notes = stockNotes(a)
	return t
}

func stockCells(r stock.Row, mass string) []string {
	return []string{string(r.Stockpile), string(r.Product), day(r.From), day(r.To), mass}
}

func day(at time.Time) string {
	if at.IsZero() {
		return "-"
	}
	return at.UTC().Format(time.DateOnly)
}

func amountCells(m stock.Amount) []string {
	cells := []string{"-", "-", "-", "-"}
	if m.Measured {
		cells[0] = tonnes(m.MeasuredKg)
	}
	if m.Known {
		cells[1], cells[2], cells[3] = tonnes(m.Kg), tonnes(m.LowKg), tonnes(m.HighKg)
	}
	return cells
}

func verdictCells(r stock.Row) []string {
	if !r.Checked {
		return []string{"-", "", "", "", "-", "not checked"}
	}
	verdict := "agrees"
	if !r.Passes {
		verdict = "DISAGREES"
	}
	return []string{signed(r.ImbalanceKg/unit.KgPerTonne, 2), "", "", "", number(r.ChiSquare, 2), verdict}
}

func stockNotes(a StockAnswer) (notes []string) {
	switch {
	case len(a.Rows) == 0:
		notes = append(notes, "The book holds no docket and no stock survey.")
	case a.Test.Dof == 0:
		notes = append(notes, "Nothing can be checked: a stockpile needs two surveys, a machine a catch test.")
	default:
		notes = append(notes, "All together: "+testWords(a.Test)+".")
	}
	if slices.ContainsFunc(a.Rows, func(r stock.Row) bool { return r.Spread.Measured }) {
		notes = append(notes, "Spread as measured is what settings behind a catch test should have delivered (nominal mass).")
	}
	for i, s := range a.Suspects {
		notes = append(notes, fmt.Sprintf("SUSPECT %d: %s", i+1, s.Text))
		for _, other := range s.OrElse {
			notes = append(notes, "  or else: "+other)
		}
	}
	if len(a.Suspects) > 0 {
		notes = append(notes, "With that taken out: "+testWords(a.After)+"; the reconciled masses are those.")
	}
	for _, f := range a.Findings {
		notes = append(notes, string(f.Kind)+": "+f.Text)
	}
	return notes
}

func testWords(t stock.Test) string {
	if t.Dof == 0 {
		return "nothing is left to check"
	}
	word := "the figures agree within their uncertainties"
	if !t.Passes {
		word = "the figures do NOT agree within their uncertainties"
	}
	return fmt.Sprintf("%s (chi-square %s with %s degrees of freedom, limit %s)", word, number(t.ChiSquare, 2), strconv.Itoa(t.Dof), number(t.Critical, 2))
}
