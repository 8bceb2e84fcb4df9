package demo

import (
	"cmp"
	"context"
	"path/filepath"
	"slices"
	"time"

	"hopperbook/cmd/internal/desk"
	"hopperbook/cmd/internal/office"
	"hopperbook/cmd/internal/paper"
	"hopperbook/ingest"
	"hopperbook/ingest/hub"
	"hopperbook/ingest/season"
	"hopperbook/reports"
	"hopperbook/reports/render"
	"hopperbook/schemas"
	"hopperbook/schemas/fault"
)

// billed plays the office after the week: two jobs are billed, one of them at a
// price that was noted wrongly; the agreement is registered again, the invoice
// taken back and the job billed anew. Then the documents and a stock statement
// are written beside the book.
func billed(ctx context.Context, bus *hub.Hub, asker office.Asker, week *season.Season, report *reports.Demo, dir string) error {
	jobs := twoJobs(report.Fields, week)
	day := week.Config.Start.Add(time.Duration(week.Config.Days+2) * 24 * time.Hour).Format(time.DateOnly)
	var numbers []schemas.InvoiceNo
	issue := func(job schemas.JobID) error {
		var a reports.BillAnswer
		err := office.AskJSON(ctx, asker, desk.Bill, desk.BillParams{Job: job, Issue: true, AcceptGaps: true, Day: day}, &a)
		numbers = append(numbers, a.Invoice.Number)
		return err
	}
	for _, job := range jobs {
		if err := issue(job); err != nil {
			return err
		}
	}
	if len(jobs) > 0 {
		if err := reprice(ctx, bus, week, jobs[0]); err != nil {
			return err
		}
		report.Published++
		var c reports.DocumentAnswer
		ask := desk.CreditParams{Number: numbers[0], Reason: "The price was noted wrongly; the job is billed again.", Issue: true, Day: day}
		if err := office.AskJSON(ctx, asker, desk.Credit, ask, &c); err != nil {
			return err
		}
		numbers = append(numbers, c.Credit.Number)
		if err := issue(jobs[0]); err != nil {
			return err
		}
	}
	report.Issued = len(numbers)
	var counts reports.CountsAnswer
	if err := office.AskJSON(ctx, asker, desk.Counts, nil, &counts); err != nil {
		return err
	}
	report.Booked, report.Kept = counts.Events, counts.Kept
	return write(ctx, asker, numbers, filepath.Join(dir, "documents"), report)
}

// twoJobs are jobs of two customers that were done on the fewest fields.
func twoJobs(done []reports.DemoField, week *season.Season) (out []schemas.JobID) {
	spread := map[schemas.FieldID]map[schemas.ProductID]bool{}
	for _, f := range done {
		if spread[f.Field.Field] == nil {
			spread[f.Field.Field] = map[schemas.ProductID]bool{}
		}
		spread[f.Field.Field][f.Product] = true
	}
	var rows []schemas.RegisterJob
	for _, e := range registered(week, schemas.TypeRegisterJob) {
		job, err := schemas.DecodeData[schemas.RegisterJob](&e)
		if err == nil && !slices.ContainsFunc(job.Fields, func(f schemas.FieldID) bool { return !spread[f][job.Product] }) {
			rows = append(rows, job)
		}
	}
	slices.SortStableFunc(rows, func(a, b schemas.RegisterJob) int { return cmp.Compare(len(a.Fields), len(b.Fields)) })
	for _, r := range rows {
		if len(out) == 0 || len(out) == 1 && r.Customer != rows[0].Customer {
			out = append(out, r.Job)
		}
	}
	return out
}

// registered are the office's events of a type.
func registered(week *season.Season, t schemas.EventType) (out []schemas.Event) {
	for _, d := range week.Devices {
		for _, e := range d.Events {
			if e.Type != t {
				continue
			}
			if read, bad := schemas.Read(e.Raw); bad == nil {
				out = append(out, read)
			}
		}
	}
	return out
}

// reprice registers the agreement of a job's customer again at another price.
func reprice(ctx context.Context, bus *hub.Hub, week *season.Season, job schemas.JobID) error {
	var customer schemas.CustomerID
	for _, e := range registered(week, schemas.TypeRegisterJob) {
		if j, err := schemas.DecodeData[schemas.RegisterJob](&e); err == nil && j.Job == job {
			customer = j.Customer
		}
	}
	for _, e := range registered(week, schemas.TypeRegisterAgreement) {
		a, err := schemas.DecodeData[schemas.RegisterAgreement](&e)
		if err != nil || a.Customer != customer {
			continue
		}
		a.Lines[0].Price = "25.50"
		id := schemas.Identity{Source: "/office/corrections", Sequence: 1}
		at := week.Config.Start.Add(time.Duration(week.Config.Days+2) * 24 * time.Hour)
		raw, err := schemas.Write(id, "01KK0000000000000000000001", schemas.TypeRegisterAgreement, at, a)
		if err != nil {
			return err
		}
		client, err := bus.Dial("office")
		if err != nil {
			return err
		}
		defer client.Close()
		_, err = client.Publish(ctx, ingest.Each([]ingest.Outgoing{{Identity: id, Type: schemas.TypeRegisterAgreement, Raw: raw}}), patience, func(int, int) {})
		return err
	}
	return fault.Newf("bill the demo", fault.Internal, "there is no agreement of "+string(customer), "")
}

func write(ctx context.Context, asker office.Asker, numbers []schemas.InvoiceNo, dir string, report *reports.Demo) error {
	for _, n := range numbers {
		files, err := paper.Document(ctx, asker, n, dir, render.A4, func(string, ...any) {})
		if err != nil {
			return err
		}
		report.Files = append(report.Files, files...)
	}
	var stock reports.StockAnswer
	if err := office.AskJSON(ctx, asker, desk.Stock, nil, &stock); err != nil {
		return err
	}
	pdf, html := filepath.Join(dir, "stock.pdf"), filepath.Join(dir, "stock.html")
	if len(numbers) == 0 {
		return nil
	}
	if err := paper.Sheet(stock.Sheet(), pdf, html, render.A4); err != nil {
		return err
	}
	report.Files = append(report.Files, pdf, html)
	return nil
}
