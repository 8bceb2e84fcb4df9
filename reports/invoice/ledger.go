package invoice

import (
	"fmt"
	"strings"

	"hopperbook/reports"
	"hopperbook/schemas"
)

// Ledger is the documents as ledger lines for accounting programs, in the
// order given: a row a line, a document's discount and a tax. Signed: what is
// owed is above zero, what is credited below; a document's rows sum to its
// total with tax. The layout is our own and plain; README describes it.
func Ledger(docs ...Document) reports.Table {
	t := reports.Table{Columns: []reports.Column{
		{Key: "document", Title: "Document"}, {Key: "type", Title: "Type"}, {Key: "credits", Title: "Credits"}, {Key: "issued_on", Title: "Issued"}, {Key: "due_on", Title: "Due"},
		{Key: "customer", Title: "Customer"}, {Key: "customer_name", Title: "Name"}, {Key: "jobs", Title: "Jobs"},
		{Key: "row", Title: "Row"}, {Key: "line", Title: "Line", Right: true}, {Key: "kind", Title: "Kind"}, {Key: "product", Title: "Product"}, {Key: "text", Title: "Text"},
		{Key: "quantity", Title: "Quantity", Right: true}, {Key: "unit", Title: "Unit"}, {Key: "price", Title: "Price", Right: true},
		{Key: "amount", Title: "Amount", Right: true}, {Key: "currency", Title: "Currency"}, {Key: "tax_category", Title: "Tax category"}, {Key: "tax_pct", Title: "Tax percent", Right: true},
	}}
	for i := range docs {
		t.Rows = append(t.Rows, docs[i].ledger()...)
	}
	return t
}

func (d *Document) ledger() (rows [][]string) {
	var e schemas.InvoiceIssued
	d.Bill.Fill(&e)
	kind := "invoice"
	if d.Credit {
		kind = "credit_note"
	}
	jobs := make([]string, len(d.Jobs))
	for i, job := range d.Jobs {
		jobs[i] = string(job)
	}
	row := func(of, line, kindOf, product, text, quantity, unit, price, amount, category, pct string) {
		rows = append(rows, []string{
			string(d.Number), kind, orNone(string(d.Credits)), orNone(d.IssuedOn), orNone(d.DueOn), orNone(string(d.Customer)), orNone(d.Buyer.Name), orNone(strings.Join(jobs, " ")),
			of, line, orNone(kindOf), orNone(product), text, quantity, unit, price, amount, e.Currency, orNone(category), orNone(pct),
		})
	}
	for i, l := range e.Lines {
		row("line", fmt.Sprint(i+1), l.Kind, string(l.Product), l.Text, l.Quantity, l.Unit, l.Price, l.Amount, l.TaxCategory, l.TaxPct)
	}
	for _, x := range e.Discounts {
		row("discount", "-", "", "", x.Text, "-", "-", "-", minus(x.Amount), x.TaxCategory, x.TaxPct)
	}
	for _, x := range e.Tax {
		row("tax", "-", "", "", "Tax "+taxName(x.Category, x.Pct), "-", "-", "-", x.Amount, x.Category, x.Pct)
	}
	if len(e.Tax) == 0 { // of the first version of the contract
		row("tax", "-", "", "", "Tax", "-", "-", "-", e.Totals.Tax, "", "")
	}
	return rows
}
