package reports

import (
	"fmt"
	"slices"

	"hopperbook/schemas"
	"hopperbook/schemas/money"
)

// SchemaLedger is the schema name of a LedgerAnswer.
const SchemaLedger = "hopperbook.ledger/1"

// LedgerAnswer is a file of ledger rows held against the documents in the book.
type LedgerAnswer struct {
	Schema    string           `json:"schema"`
	Documents []LedgerDocument `json:"documents"` // in the file's order
	Missing   int              `json:"missing"`   // documents of the book that are not in the file
}

// Agrees reports whether every row in the file is the book's.
func (a *LedgerAnswer) Agrees() bool {
	return !slices.ContainsFunc(a.Documents, func(d LedgerDocument) bool { return !d.Same })
}

// LedgerDocument is one document's rows.
type LedgerDocument struct {
	Document schemas.InvoiceNo `json:"document"`
	Rows     int               `json:"rows"` // in the file
	Same     bool              `json:"same"`
	Changes  []string          `json:"changes"` // in words
}

// LedgerRows are the rows of a ledger file by document, the header left out, and the
// documents in the file's order.
func LedgerRows(records [][]string) (order []schemas.InvoiceNo, rows map[schemas.InvoiceNo][][]string) {
	rows = map[schemas.InvoiceNo][][]string{}
	for _, row := range records[min(1, len(records)):] {
		number := schemas.InvoiceNo(row[0])
		if _, ok := rows[number]; !ok {
			order = append(order, number)
		}
		rows[number] = append(rows[number], row)
	}
	return order, rows
}

// HoldLedgerRows holds a document's rows in a file against those of the book, both
// under the same header; nil of the book: it has no such document.
func HoldLedgerRows(number schemas.InvoiceNo, header []string, file, book [][]string) LedgerDocument {
	d := LedgerDocument{Document: number, Rows: len(file), Changes: []string{}}
	switch {
	case book == nil:
		d.Changes = append(d.Changes, "no such document was issued")
	case len(file) != len(book):
		d.Changes = append(d.Changes, fmt.Sprintf("%d rows here, %d in the book", len(file), len(book)))
	}
	for i := range min(len(file), len(book)) {
		for k, key := range header {
			if file[i][k] != book[i][k] && !sameNumber(file[i][k], book[i][k]) {
				d.Changes = append(d.Changes, fmt.Sprintf("row %d, %s: %q here, %q in the book", i+1, key, file[i][k], book[i][k]))
			}
		}
	}
	d.Same = len(d.Changes) == 0
	return d
}

// sameNumber takes 10.5 for 10.50: a spreadsheet writes it so.
func sameNumber(a, b string) bool {
	x, err := money.Number(a)
	if err != nil {
		return false
	}
	y, err := money.Number(b)
	return err == nil && x.Equal(y)
}

// Ledger is the table of a ledger file held against the book.
func Ledger(a LedgerAnswer) Table {
	t := Table{Caption: "Rows of the ledger", Columns: []Column{{"document", "Document", false}, {"rows", "Rows", true}, {"same", "As in the book", false}}}
	for _, d := range a.Documents {
		same := "yes"
		if !d.Same {
			same = "NO"
		}
		t.Rows = append(t.Rows, []string{string(d.Document), fmt.Sprint(d.Rows), same})
		for _, change := range d.Changes {
			t.Notes = append(t.Notes, string(d.Document)+": "+change)
		}
	}
	if a.Missing > 0 {
		t.Notes = append(t.Notes, fmt.Sprintf("%d issued documents of the book are not in the file", a.Missing))
	}
	return t
}
