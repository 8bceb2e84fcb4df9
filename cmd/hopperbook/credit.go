package main

import (
	"context"
	"fmt"

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
	ask := desk.CreditParams{Number: schemas.InvoiceNo(number), Reason: c.String("reason"), Series: c.String("series"), Day: c.String("day")}
	return withAsker(c, func(ctx context.Context, asker office.Asker) error {
		var a reports.DocumentAnswer
		if err := office.AskJSON(ctx, asker, desk.Credit, ask, &a); err != nil {
			return err
		}
		if c.Bool("dry-run") {
			return showCredit(c, a)
		}
		if !c.Bool("json") && !c.Bool("csv") {
			if err := showCredit(c, a); err != nil {
				return err
			}
		}
		if err := confirm(c, "Issue this credit note? It cannot be changed afterwards."); err != nil {
			return err
		}
		ask.Issue = true
		if err := office.AskJSON(ctx, asker, desk.Credit, ask, &a); err != nil {
			return err
		}
		if dir := c.String("out"); dir != "" {
			if _, err := paper.Document(ctx, asker, a.Credit.Number, dir, render.Paper(c.String("paper")), logf); err != nil {
				return err
			}
		}
		if c.Bool("json") || c.Bool("csv") {
			return showCredit(c, a)
		}
		_, err := fmt.Fprintf(c.App.Writer, "\nIssued: credit note %s of %s\n", a.Credit.Number, a.Credit.IssuedOn)
		return fault.Wrap("print", err)
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
