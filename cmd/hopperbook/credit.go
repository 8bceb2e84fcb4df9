package main

import (
	"context"
	"strings"

	"github.com/urfave/cli/v2"

	"hopperbook/cmd/internal/desk"
	"hopperbook/cmd/internal/office"
	"hopperbook/reports"
	"hopperbook/reports/invoice"
	"hopperbook/reports/render"
	"hopperbook/schemas"
	"hopperbook/schemas/fault"
)

func creditCommand() *cli.Command {
	return &cli.Command{
		Name:      "credit",
		ArgsUsage: "NUMBER",
		Usage:     "take an issued invoice back, whole, by a credit note",
		Description: "The credit note is the exact negative of the invoice and gets a number of its own series. The jobs can be billed again afterwards.\n\n" +
			"Example:\n  hopperbook credit 2026-0004 --reason \"load L17 was misread\" --yes",
		Flags: append(tableFlags(),
			&cli.StringFlag{Name: "reason", Usage: "`WHY`, as it stands on the document", Required: true},
			&cli.BoolFlag{Name: "dry-run", Usage: "show it and issue nothing"},
			&cli.BoolFlag{Name: "yes", Usage: "issue without asking"},
			&cli.StringFlag{Name: "series", Usage: "`SERIES` of the number", DefaultText: "the year"},
			&cli.StringFlag{Name: "day", Usage: "`DAY` on the credit note", DefaultText: "today where the contractor is"},
			outFlag(), paperFlag()),
		Action: creditAction,
	}
}

func creditAction(c *cli.Context) error {
	number, err := oneArgument(c, "NUMBER")
	if err != nil {
		return err
	}
	if strings.TrimSpace(c.String("reason")) == "" {
		return fault.Newf("", fault.Usage, "no reason is given", "say why in --reason: it stands on the document")
	}
	ask := desk.CreditParams{Number: schemas.InvoiceNo(number), Reason: c.String("reason"), Series: c.String("series"), Day: c.String("day")}
	var a reports.DocumentAnswer
	return issue(c, issuing{
		ask: func(ctx context.Context, asker office.Asker, really bool) error {
			ask.Issue = really
			return office.AskJSON(ctx, asker, desk.Credit, ask, &a)
		},
		show: func() error { return showCredit(c, a) },
		documents: func() ([]invoice.Document, error) {
			doc, err := invoice.FromCredited(a.Credit)
			return []invoice.Document{doc}, err
		},
	})
}

func showCredit(c *cli.Context, a reports.DocumentAnswer) error {
	if c.Bool("json") {
		return printJSON(c, a)
	}
	doc, err := invoice.FromCredited(a.Credit)
	if err != nil {
		return err
	}
	if c.Bool("csv") {
		return fault.Wrap("print", render.CSV(c.App.Writer, invoice.Ledger(doc)))
	}
	for _, t := range []reports.Table{doc.LineTable(), doc.TotalTable()} {
		if err := render.Text(c.App.Writer, t); err != nil {
			return fault.Wrap("print", err)
		}
	}
	return nil
}
