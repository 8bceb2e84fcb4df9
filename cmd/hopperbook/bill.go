package main

import (
	"context"
	"strings"
	"time"

	"github.com/urfave/cli/v2"

	"hopperbook/cmd/internal/desk"
	"hopperbook/cmd/internal/office"
	"hopperbook/reports"
	"hopperbook/reports/invoice"
	"hopperbook/reports/render"
	"hopperbook/schemas"
	"hopperbook/schemas/fault"
)

func billCommand() *cli.Command {
	return &cli.Command{
		Name:      "bill",
		ArgsUsage: "[JOB]",
		Usage:     "what a job, or a customer's jobs of a period, come to; issues the invoice",
		Description: "Shows the plan first: lines, totals, and what is unsure (missing or rejected events, overlaps, rates off, scales not certified).\n" +
			"Then, unless --dry-run is given, it asks, and issues: the invoice gets the next number of its series and becomes an event with a\n" +
			"digest of its evidence. It never changes after that; hopperbook credit takes it back. A job is billed once.\n" +
			"Fixed lines, the minimum charge and steps count once an invoice, not once a job.\n" +
			"Where two customers share it, each gets an invoice of its part of every line, both issued together or none.\n" +
			"The contractor (register.contractor), the customer and the agreement are register events.\n\n" +
			"Examples:\n  hopperbook bill J17 --dry-run\n  hopperbook bill --customer C3 --from 2026-03-01 --to 2026-04-01 --yes --out bills\n  hopperbook bill J17 --share-with C9 --share 40",
		Flags: append(tableFlags(),
			&cli.StringFlag{Name: "customer", Usage: "bill all jobs of `CUSTOMER` whose work ended in the period"},
			&cli.StringFlag{Name: "from", Usage: "first `DAY` (or RFC 3339 instant) of the period; UTC"},
			&cli.StringFlag{Name: "to", Usage: "`DAY` after the last one"},
			&cli.BoolFlag{Name: "dry-run", Usage: "show the plan and issue nothing"},
			&cli.BoolFlag{Name: "yes", Usage: "issue without asking"},
			&cli.BoolFlag{Name: "accept-gaps", Usage: "issue though events are known to be missing or not booked; the document says so"},
			&cli.StringFlag{Name: "series", Usage: "`SERIES` of the number", DefaultText: "the year"},
			&cli.StringFlag{Name: "day", Usage: "`DAY` on the invoice", DefaultText: "today where the contractor is"},
			&cli.StringFlag{Name: "share-with", Usage: "`CUSTOMER` who pays a part of every line, on an invoice of its own"},
			&cli.StringFlag{Name: "share", Usage: "that part, in `PERCENT`"},
			outFlag(), paperFlag()),
		Action: billAction,
	}
}

func outFlag() cli.Flag {
	return &cli.StringFlag{Name: "out", Usage: "write the document as PDF, HTML, CSV and UBL into the folder `DIR`"}
}

func billAction(c *cli.Context) error {
	ask, err := billParams(c)
	if err != nil {
		return err
	}
	var a reports.BillAnswer
	return issue(c, issuing{
		ask: func(ctx context.Context, asker office.Asker, really bool) error {
			ask.Issue, ask.Expect = really, a.Plan
			return office.AskJSON(ctx, asker, desk.Bill, ask, &a)
		},
		show:      func() error { return showBill(c, a) },
		documents: func() ([]invoice.Document, error) { return billed(a) },
	})
}

func billParams(c *cli.Context) (p desk.BillParams, err error) {
	p = desk.BillParams{Customer: schemas.CustomerID(c.String("customer")), AcceptGaps: c.Bool("accept-gaps"), Series: c.String("series"), Day: c.String("day"),
		ShareWith: schemas.CustomerID(c.String("share-with")), SharePct: c.String("share")}
	if p.Customer == "" {
		job, err := oneArgument(c, "JOB (or name --customer)")
		if err != nil {
			return p, err
		}
		p.Job = schemas.JobID(job)
	} else if err := noArguments(c); err != nil {
		return p, err
	}
	if p.From, err = instant(c, "from"); err != nil {
		return p, err
	}
	if p.To, err = instant(c, "to"); err != nil {
		return p, err
	}
	if p.Job != "" && !(p.From.IsZero() && p.To.IsZero()) {
		return p, fault.Newf("", fault.Usage, "a period and a job together", "bill the job whole, or the customer's jobs of a period with --customer")
	}
	return p, nil
}

// instant reads a day or an instant; zero where the flag is not given.
func instant(c *cli.Context, flag string) (time.Time, error) {
	text := strings.TrimSpace(c.String(flag))
	if text == "" {
		return time.Time{}, nil
	}
	for _, layout := range []string{time.DateOnly, time.RFC3339} {
		if at, err := time.Parse(layout, text); err == nil {
			return at.UTC(), nil
		}
	}
	return time.Time{}, fault.Newf("--"+flag, fault.Usage, text+" is no day", "write it like 2026-03-01 or 2026-03-01T08:00:00Z")
}

func showBill(c *cli.Context, a reports.BillAnswer) error {
	if c.Bool("json") {
		return printJSON(c, a)
	}
	docs, err := billed(a)
	if err != nil {
		return err
	}
	if c.Bool("csv") {
		return fault.Wrap("print", render.CSV(c.App.Writer, invoice.Ledger(docs...)))
	}
	for i := range docs {
		doc := &docs[i]
		tables := []reports.Table{doc.LineTable()}
		if sources := doc.SourceTable(); len(sources.Rows) > 0 {
			tables = append(tables, sources)
		}
		tables = append(tables, doc.TotalTable())
		tables[0].Caption = "What it comes to: " + strings.Join(texts(doc.Jobs), ", ") + " for " + doc.Buyer.Name
		last := &tables[len(tables)-1]
		last.Notes = append(last.Notes, doc.Notes()...)
		if i == len(docs)-1 {
			for _, s := range a.Skipped {
				last.Notes = append(last.Notes, "Left out: "+s)
			}
		}
		for _, t := range tables {
			if err := render.Text(c.App.Writer, t); err != nil {
				return fault.Wrap("print", err)
			}
		}
	}
	return nil
}

// billed are the documents of a bill: one, or two that share it.
func billed(a reports.BillAnswer) ([]invoice.Document, error) {
	var docs []invoice.Document
	for _, i := range a.Invoices() {
		doc, err := invoice.FromIssued(&i)
		if err != nil {
			return nil, err
		}
		docs = append(docs, doc)
	}
	return docs, nil
}

func texts[T ~string](list []T) []string {
	out := make([]string, len(list))
	for i, v := range list {
		out[i] = string(v)
	}
	return out
}
