package main

import (
	"context"
	"io"
	"os"
	"path/filepath"

	"hopperbook/cmd/internal/office"
	"hopperbook/reports/invoice"
	"hopperbook/reports/render"
	"hopperbook/schemas"
	"hopperbook/schemas/fault"
)

// writeDocument draws an issued document from the book in every form, named by
// its number. UBL is left out, and said, where EN 16931 asks for more than the
// registers hold.
func writeDocument(ctx context.Context, asker office.Asker, number schemas.InvoiceNo, dir, paper string) error {
	a, doc, err := askDocument(ctx, asker, number)
	if err != nil {
		return err
	}
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return fault.New("write the document", fault.Usage, err, "name a folder that can be made and written to")
	}
	base := filepath.Join(dir, string(number))
	sheet := doc.Sheet(a.Proof, a.Unchanged, nil)
	forms := []struct {
		ext  string
		draw func(io.Writer) error
	}{
		{".pdf", func(w io.Writer) error { return render.SheetPDF(w, sheet, render.Paper(paper)) }},
		{".html", func(w io.Writer) error { return render.SheetHTML(w, sheet) }},
		{".csv", func(w io.Writer) error { return render.CSV(w, invoice.Ledger(doc)) }},
	}
	for _, f := range forms {
		if err := writeDrawn(base+f.ext, f.draw); err != nil {
			return err
		}
	}
	if breaches := invoice.CheckUBL(&doc); len(breaches) > 0 {
		logf("no UBL for %s: %s (%s)", number, breaches[0].Text, breaches[0].Rule)
		return nil
	}
	return writeDrawn(base+".xml", func(w io.Writer) error {
		raw, err := invoice.UBL(&doc)
		if err != nil {
			return err
		}
		_, err = w.Write(raw)
		return err
	})
}
