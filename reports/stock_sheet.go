package reports

import (
	"fmt"
	"time"

	"hopperbook/reconcile/stock"
)

// Sheet is the stock statement: a table a stockpile, then what they say together.
func (a StockAnswer) Sheet() Sheet {
	var from, to time.Time
	for _, r := range a.Rows {
		if from.IsZero() || r.From.Before(from) {
			from = r.From
		}
		if r.To.After(to) {
			to = r.To
		}
	}
	s := Sheet{Title: "Stock statement", Subject: "Nothing docketed or surveyed is in the book", Made: to, Remarks: stockNotes(a), AgainstTitle: "What does not agree",
		Foot: "Opening + docketed - loaded = closing. Reconciled: the masses that fit together best, given how exactly each was measured. Weights are good for keeping stock; trade needs a certified scale."}
	if len(a.Rows) == 0 {
		return s
	}
	s.Subject = day(from) + " to " + day(to) + " (UTC)"
	s.Status = "AGREES"
	if !a.Test.Passes {
		s.Status = "DISAGREES"
	}
	for _, x := range a.Suspects {
		s.Against = append(s.Against, x.Text)
	}
	for _, r := range a.Rows {
		s.Tables = append(s.Tables, pileTable(r))
	}
	return s
}

func pileTable(r stock.Row) Table {
	t := Table{Caption: fmt.Sprintf("%s: %s", r.Stockpile, r.Product), Columns: []Column{{"mass", "t", false}, {"measured_t", "Measured", true}, {"reconciled_t", "Reconciled", true},
		{"low_t", "95 % from", true}, {"high_t", "to", true}}}
	for _, m := range []struct {
		name string
		stock.Amount
	}{{"opening survey", r.Opening}, {"docketed in", r.Docketed}, {"loaded out", r.Loaded}, {"spread", r.Spread}, {"closing survey", r.Closing}} {
		t.Rows = append(t.Rows, append([]string{m.name}, amountCells(m.Amount)...))
	}
	v := verdictCells(r)
	if v[0] != "-" {
		t.Notes = []string{fmt.Sprintf("Left over: %s t (chi-square %s): it %s.", v[0], v[4], v[5])}
	}
	return t
}
