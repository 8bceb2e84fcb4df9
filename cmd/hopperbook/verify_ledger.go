package main

import (
	"bytes"
	"context"
	"encoding/csv"
	"slices"

	"github.com/urfave/cli/v2"

	"hopperbook/cmd/internal/desk"
	"hopperbook/cmd/internal/office"
	"hopperbook/cmd/internal/paper"
	"hopperbook/reports"
	"hopperbook/reports/invoice"
	"hopperbook/reports/render"
	"hopperbook/schemas/fault"
)

// ledgerRecords reads a table of ledger rows, of one document or of many, by
// whatever program it was written last: with commas, semicolons or tabs; false: it
// is none.
func ledgerRecords(raw []byte) ([][]string, bool) {
	raw = bytes.TrimPrefix(raw, []byte("\ufeff"))
	var header []string
	for _, c := range invoice.Ledger().Columns {
		header = append(header, c.Key)
	}
	for _, comma := range ",;\t" {
		in := csv.NewReader(bytes.NewReader(bytes.TrimLeft(bytes.TrimPrefix(raw, []byte("sep="+string(comma))), "\r\n")))
		in.Comma = comma
		if records, err := in.ReadAll(); err == nil && len(records) > 0 && slices.Equal(records[0], header) {
			return records, true
		}
	}
	return nil, false
}

// verifyLedger holds each document's rows against the book.
func verifyLedger(c *cli.Context, name string, records [][]string) error {
	return withAsker(c, func(ctx context.Context, asker office.Asker) error {
		var issued reports.DocumentsAnswer
		if err := office.AskJSON(ctx, asker, desk.Documents, nil, &issued); err != nil {
			return err
		}
		order, rows := reports.LedgerRows(records)
		a := reports.LedgerAnswer{Schema: reports.SchemaLedger, Documents: []reports.LedgerDocument{}, Missing: len(issued.Documents)}
		for _, number := range order {
			var book [][]string
			if slices.ContainsFunc(issued.Documents, func(d reports.DocumentRow) bool { return d.Number == number }) {
				a.Missing--
				_, doc, err := paper.Ask(ctx, asker, number, false)
				if err != nil {
					return err
				}
				if book, err = written(invoice.Ledger(doc)); err != nil {
					return err
				}
			}
			a.Documents = append(a.Documents, reports.HoldLedgerRows(number, records[0], rows[number], book))
		}
		if err := answerOrTable(c, a, reports.Ledger); err != nil {
			return err
		}
		if !a.Agrees() {
			return fault.Newf("verify "+name, fault.Conflict, "it does not agree with the book", "what differs stands above; hopperbook documents --ledger FILE writes it again")
		}
		return nil
	})
}

// written are a table's rows as they stand in a CSV.
func written(t reports.Table) ([][]string, error) {
	var b bytes.Buffer
	if err := render.CSV(&b, t); err != nil {
		return nil, fault.Wrap("write the ledger", err)
	}
	records, err := csv.NewReader(&b).ReadAll()
	if err != nil {
		return nil, fault.Wrap("read the ledger", err)
	}
	return records[1:], nil
}
