package paper

import (
	"bytes"
	"context"
	"fmt"
	"io"
	"path/filepath"

	"hopperbook/cmd/internal/desk"
	"hopperbook/cmd/internal/office"
	"hopperbook/reconcile"
	"hopperbook/reports"
	"hopperbook/reports/invoice"
	"hopperbook/reports/render"
	"hopperbook/schemas"
	"hopperbook/schemas/fault"
)

// Ask fetches an issued document, as the book holds it and ready to be drawn.
// draw: with all that only a drawn one shows.
func Ask(ctx context.Context, asker office.Asker, number schemas.InvoiceNo, draw bool) (reports.DocumentAnswer, invoice.Document, error) {
	var a reports.DocumentAnswer
	ask := struct {
		Number schemas.InvoiceNo `json:"number"`
		Draw   bool              `json:"draw"`
	}{number, draw}
	if err := office.AskJSON(ctx, asker, desk.Document, ask, &a); err != nil {
		return a, invoice.Document{}, err
	}
	if a.Credit != nil {
		doc, err := invoice.FromCredited(a.Credit)
		return a, doc, err
	}
	doc, err := invoice.FromIssued(a.Invoice)
	return a, doc, err
}

// Document draws an issued document from the book in every form, named by its
// number, and returns the files. UBL is left out, and said to logf, where
// EN 16931 asks for more than the registers hold.
func Document(ctx context.Context, asker office.Asker, number schemas.InvoiceNo, dir string, size render.Paper, logf func(string, ...any)) (files []string, err error) {
	a, doc, err := Ask(ctx, asker, number, true)
	if err != nil {
		return nil, err
	}
	if err := Ready(dir, size); err != nil {
		return nil, err
	}
	if breaches := invoice.CheckUBL(&doc); len(breaches) > 0 {
		logf("no UBL for %s: %s (%s)", number, breaches[0].Text, breaches[0].Rule)
	}
	for _, f := range formsOf(ctx, asker, &a, &doc, size) {
		name := filepath.Join(dir, string(number)+f.ext)
		if err := Write(name, f.draw); err != nil {
			return files, err
		}
		files = append(files, name)
	}
	return files, nil
}

// form is one of the forms that a document is drawn in.
type form struct {
	ext  string
	draw func(io.Writer) error
}

// formsOf are all forms of a document that was asked for to be drawn, a PDF of each size.
func formsOf(ctx context.Context, asker office.Asker, a *reports.DocumentAnswer, doc *invoice.Document, sizes ...render.Paper) (forms []form) {
	maps, lacking := Maps(ctx, asker, a.Proof.Fields, a.AsOf())
	sheet := doc.Sheet(a.Proof, a.AsIssued, maps, lacking)
	for _, size := range sizes {
		forms = append(forms, form{".pdf", func(w io.Writer) error { return render.SheetPDF(w, sheet, size) }})
	}
	forms = append(forms,
		form{".html", func(w io.Writer) error { return render.SheetHTML(w, sheet) }},
		form{".csv", func(w io.Writer) error { return render.CSV(w, invoice.Ledger(*doc)) }})
	if len(invoice.CheckUBL(doc)) > 0 {
		return forms
	}
	return append(forms, form{".xml", func(w io.Writer) error {
		raw, err := invoice.UBL(doc)
		if err != nil {
			return err
		}
		_, err = w.Write(raw)
		return err
	}})
}

// Same reports whether raw is one of the forms that the document is drawn in, byte for byte. a was asked for to be drawn.
func Same(ctx context.Context, asker office.Asker, a *reports.DocumentAnswer, doc *invoice.Document, raw []byte) (bool, error) {
	for _, f := range formsOf(ctx, asker, a, doc, render.A4, render.Letter) {
		var b bytes.Buffer
		if err := f.draw(&b); err != nil {
			return false, fault.Wrap("draw the document again", err)
		}
		if bytes.Equal(b.Bytes(), raw) {
			return true, nil
		}
	}
	return false, nil
}

// mapCellM is the side of a cell in maps of a few centimetres.
const mapCellM = 2.0

// Maps draws where the product of each application landed, one map a field and
// product, from the events that the marks of asOf hold (nil: all). lacking says which could not be drawn, and why.
func Maps(ctx context.Context, asker office.Asker, done []reconcile.Application, asOf []string) (maps []reports.Picture, lacking []string) {
	type drawn struct {
		field   schemas.FieldID
		product schemas.ProductID
	}
	seen := map[drawn]bool{}
	for _, d := range done {
		key := drawn{d.Field.Field, d.Product}
		if seen[key] {
			continue
		}
		seen[key] = true
		ask := desk.MapParams{Field: d.Field.Field, Product: d.Product, CellM: mapCellM, Cells: true, AsOf: asOf}
		var a reports.MapAnswer
		err := office.AskJSON(ctx, asker, desk.Map, ask, &a)
		if err == nil {
			_, err = a.Rates()
		}
		name := d.Name
		if name == "" {
			name = string(d.Field.Field)
		}
		if err != nil {
			lacking = append(lacking, fmt.Sprintf("No map of %s with %s: %s", name, d.Product, err))
			continue
		}
		maps = append(maps, reports.Picture{Map: a, Caption: fmt.Sprintf("%s on %s, as it landed", d.Product, name),
			Words: fmt.Sprintf("Map of %s: %s in kg/ha where it landed", name, d.Product)})
	}
	return maps, lacking
}

// Sheet draws a sheet as PDF and as HTML into the files that are named; "": none.
func Sheet(s reports.Sheet, pdf, html string, size render.Paper) error {
	if pdf != "" {
		if err := Write(pdf, func(w io.Writer) error { return render.SheetPDF(w, s, size) }); err != nil {
			return err
		}
	}
	if html != "" {
		return Write(html, func(w io.Writer) error { return render.SheetHTML(w, s) })
	}
	return nil
}
