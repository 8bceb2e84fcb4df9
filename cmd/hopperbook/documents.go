package main

import (
	"context"
	"fmt"
	"io"
	"path/filepath"
	"strings"

	"github.com/urfave/cli/v2"

	"hopperbook/cmd/internal/desk"
	"hopperbook/cmd/internal/office"
	"hopperbook/cmd/internal/paper"
	"hopperbook/reports"
	"hopperbook/reports/invoice"
	"hopperbook/reports/render"
	"hopperbook/schemas"
	"hopperbook/schemas/fault"
)

func documentsCommand() *cli.Command {
	return &cli.Command{
		Name:      "documents",
		ArgsUsage: "[NUMBER]",
		Usage:     "issued invoices and credit notes; one of them as PDF, HTML, CSV and UBL; the ledger",
		Description: "Lists what was issued and whether its evidence is still the same. With a NUMBER and --out it draws that document from the book.\n" +
			"--ledger FILE writes one line per charge and tax, for an accounting program; the columns are described in README.\n\n" +
			"Examples:\n  hopperbook documents\n  hopperbook documents 2026-0004 --out bills\n  hopperbook documents --ledger ledger.csv",
		Flags:  append(tableFlags(), outFlag(), paperFlag(), &cli.StringFlag{Name: "ledger", Usage: "write the ledger lines of every document into `FILE`, CSV or, named .xlsx, a workbook"}),
		Action: documentsAction,
	}
}

func paperFlag() cli.Flag {
	return &cli.StringFlag{Name: "paper", Usage: "`SIZE` of the PDF: a4 or letter", Value: string(render.A4)}
}

func documentsAction(c *cli.Context) error {
	if c.Args().Present() {
		number, err := oneArgument(c, "NUMBER")
		if err != nil {
			return err
		}
		if c.String("out") == "" {
			return fault.Newf("", fault.Usage, "no folder is named", "add --out DIR, or look at it with: hopperbook verify "+number)
		}
		return withAsker(c, func(ctx context.Context, asker office.Asker) error {
			files, err := paper.Document(ctx, asker, schemas.InvoiceNo(number), c.String("out"), render.Paper(c.String("paper")), logf)
			for _, f := range files {
				fmt.Fprintln(c.App.Writer, f)
			}
			return err
		})
	}
	if c.String("out") != "" {
		return fault.Newf("", fault.Usage, "--out without a document", "name its NUMBER")
	}
	return withAsker(c, func(ctx context.Context, asker office.Asker) error {
		var a reports.DocumentsAnswer
		if err := office.AskJSON(ctx, asker, desk.Documents, nil, &a); err != nil {
			return err
		}
		if name := c.String("ledger"); name != "" {
			return writeLedger(ctx, asker, a, name)
		}
		return answerOrTable(c, a, reports.Documents)
	})
}

// writeLedger writes the lines of every document, in order of number.
func writeLedger(ctx context.Context, asker office.Asker, a reports.DocumentsAnswer, name string) error {
	docs := make([]invoice.Document, 0, len(a.Documents))
	for _, row := range a.Documents {
		_, doc, err := paper.Ask(ctx, asker, row.Number, false)
		if err != nil {
			return err
		}
		docs = append(docs, doc)
	}
	ledger := invoice.Ledger(docs...)
	return paper.Write(name, func(w io.Writer) error {
		if strings.EqualFold(filepath.Ext(name), ".xlsx") {
			return render.XLSX(w, []string{"ledger"}, []reports.Table{ledger})
		}
		return render.CSV(w, ledger)
	})
}
