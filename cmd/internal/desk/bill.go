package desk

import (
	"cmp"
	"context"
	"fmt"
	"io"
	"strings"
	"time"

	"hopperbook/reconcile"
	"hopperbook/reconcile/rating"
	"hopperbook/reports"
	"hopperbook/reports/invoice"
	"hopperbook/schemas"
	"hopperbook/schemas/fault"
)

// BillParams says what to bill. A day is like 2026-03-01 and in the contractor's
// time zone.
type BillParams struct {
	Job      schemas.JobID      `json:"job,omitempty"`
	Customer schemas.CustomerID `json:"customer,omitempty"`
	From     time.Time          `json:"from,omitzero"` // half-open
	To       time.Time          `json:"to,omitzero"`
	Issue    bool               `json:"issue,omitempty"`
	// AcceptGaps issues though events are known to be missing or kept unbooked.
	AcceptGaps bool   `json:"accept_gaps,omitempty"`
	Expect     string `json:"expect,omitempty"` // the plan that was shown; "": whatever it is now
	Series     string `json:"series,omitempty"` // before the number; "": the year
	Day        string `json:"day,omitempty"`    // on the document; "": today
	// ShareWith pays SharePct of every line, in percent, on an invoice of its own.
	ShareWith schemas.CustomerID `json:"share_with,omitempty"`
	SharePct  string             `json:"share_pct,omitempty"`
}

// bill plans, and where asked issues what it planned.
func (d *Desk) bill(ctx context.Context, params []byte, w io.Writer) error {
	return onLedger(ctx, d, Bill, params, w, func(l *ledger, p BillParams) (a reports.BillAnswer, err error) {
		if a, err = l.plan(p); err != nil || !p.Issue {
			return a, err
		}
		if err = issuable(&a, p); err == nil {
			err = bookDocuments(ctx, d, schemas.TypeInvoiceIssued, a.Invoices()...)
		}
		a.Issued = err == nil
		return a, err
	})
}

func (l *ledger) plan(p BillParams) (reports.BillAnswer, error) {
	a := reports.BillAnswer{Schema: reports.SchemaBill, Skipped: []string{}}
	tax, err := l.tax()
	if err != nil {
		return a, err
	}
	ask := reconcile.BillAsk{Job: p.Job, Customer: p.Customer, From: p.From, To: p.To, Billed: l.billed(), Agreements: l.agreements, Tax: tax}
	ask.Unsure = l.unsureOf
	plan, err := l.divided.PlanBill(ask)
	if err != nil {
		return a, err
	}
	e := l.evidence(&plan.Work, plan.Agreement.Agreement)
	a.Skipped = append(a.Skipped, plan.Skipped...)
	a.Proof = proofOf(&plan.Work, e)
	i := &a.Invoice
	plan.Bill.Fill(i)
	i.Customer, i.Digest, i.Evidence = plan.Customer, e.digest, e.kinds
	i.Seller, i.Buyer = l.seller(), l.buyer(plan.Customer)
	if l.contractor != nil {
		i.PaymentNote = l.contractor.PaymentNote
	}
	if jobs := plan.Work.Jobs; len(jobs) == 1 {
		i.Job = jobs[0]
	} else {
		i.Jobs = jobs
		i.From, i.To = plan.Work.From.Format(time.RFC3339), plan.Work.To.Add(time.Second).Truncate(time.Second).Format(time.RFC3339)
	}
	if p.ShareWith != "" || p.SharePct != "" {
		if err := l.share(&a, &plan.Bill, p); err != nil {
			return a, err
		}
	}
	for _, i := range a.Invoices() {
		a.Plan += invoice.IssuedDigest(i)
	}
	return a, l.date(&a, p, &plan)
}

// date gives each invoice number, days and its own digest.
func (l *ledger) date(a *reports.BillAnswer, p BillParams, plan *reconcile.BillPlan) error {
	const op = "date the invoice"
	day, err := l.day(op, p.Day)
	if err != nil {
		return err
	}
	ended, err := l.dayOf(plan.Work.To)
	if err != nil {
		return err
	}
	if day.Format(time.DateOnly) < ended {
		return fault.Newf(op, fault.Usage, fmt.Sprintf("the work ended on %s, after %s", ended, day.Format(time.DateOnly)), "date it on that day or later")
	}
	days := plan.Agreement.PaymentDays
	both := []*schemas.InvoiceIssued{&a.Invoice}
	if a.Shared != nil {
		both = append(both, a.Shared)
	}
	for k, i := range both {
		i.IssuedOn, i.AsOf = day.Format(time.DateOnly), l.marks
		if days != nil {
			i.DueOn = day.AddDate(0, 0, int(*days)).Format(time.DateOnly)
		}
		if i.Number, err = l.next(p.Series, i.IssuedOn, "", k+1); err != nil {
			return err
		}
	}
	if a.Shared != nil {
		a.Invoice.SharedWith, a.Shared.SharedWith = a.Shared.Number, a.Invoice.Number
	}
	for _, i := range both {
		i.DocumentDigest = invoice.IssuedDigest(*i)
	}
	return nil
}

// next is the number so many after the highest of its series, credit notes in a
// series of their own. The days of a series go up with its numbers.
func (l *ledger) next(series, day, mark string, ahead int) (schemas.InvoiceNo, error) {
	const op = "number the document"
	if series = cmp.Or(series, day[:4]); !validSeries(series) {
		return "", fault.Newf(op, fault.Usage, fmt.Sprintf("%q is no series", series), "use up to 20 letters and digits, the last of them no "+creditMark+", which marks credit notes")
	}
	prefix, last, lastDay := series+mark+"-", 0, ""
	take := func(n schemas.InvoiceNo, on string) {
		var k int
		if rest, ok := strings.CutPrefix(string(n), prefix); ok {
			if _, err := fmt.Sscanf(rest, "%d", &k); err == nil && fmt.Sprintf("%04d", k) == rest {
				last, lastDay = max(last, k), max(lastDay, on)
			}
		}
	}
	for _, i := range l.invoices {
		take(i.Number, i.IssuedOn)
	}
	for _, c := range l.credits {
		take(c.Number, c.IssuedOn)
	}
	if day < lastDay {
		return "", fault.Newf(op, fault.Usage, fmt.Sprintf("%s%04d is of %s, after %s", prefix, last, lastDay, day), "date it on that day or later, or give it another --series")
	}
	return schemas.InvoiceNo(fmt.Sprintf("%s%04d", prefix, last+ahead)), nil
}

func validSeries(s string) bool {
	ok := len(s) > 0 && len(s) <= 20 && !strings.HasSuffix(s, creditMark)
	for _, r := range s {
		ok = ok && (r >= '0' && r <= '9' || r >= 'A' && r <= 'Z' || r >= 'a' && r <= 'z')
	}
	return ok
}

// issuable refuses what must not become a document.
func issuable(a *reports.BillAnswer, p BillParams) error {
	if p.Expect != "" && p.Expect != a.Plan {
		return fault.Newf("issue the invoice", fault.Conflict, "it is another one than was shown: the book has changed since", "look at the plan again")
	}
	if a.Invoice.Seller == nil {
		return fault.Newf("issue the invoice", fault.Input, "the book does not say who sends it", "publish a register.contractor event with name, address and tax_id")
	}
	for _, i := range a.Invoices() {
		doc, err := invoice.FromIssued(&i)
		if err != nil {
			return err
		}
		if breaches := invoice.Check(&doc); len(breaches) > 0 {
			return fault.Newf("issue the invoice", fault.Input, breaches[0].Rule+": "+breaches[0].Text, "correct the contractor's, the customer's or the agreement's register entry")
		}
	}
	for _, c := range a.Invoice.Cautions {
		if (c.Kind == rating.UnsureGap || c.Kind == rating.UnsureRejected) && !p.AcceptGaps {
			return fault.Newf("issue the invoice", fault.Conflict, c.Text, "let the device send them (hopperbook gaps, hopperbook rejects), or issue all the same with --accept-gaps: the document says so")
		}
	}
	return nil
}

func (l *ledger) seller() *schemas.BillParty {
	c := l.contractor
	if c == nil {
		return nil
	}
	return &schemas.BillParty{Name: c.Name, Address: c.Address, Country: c.Country, TaxID: c.TaxID, Email: c.Email, Phone: c.Phone, LegalID: c.LegalID}
}

func (l *ledger) buyer(id schemas.CustomerID) *schemas.BillParty {
	c, ok := l.customers[id]
	if !ok {
		return &schemas.BillParty{Name: string(id)}
	}
	return &schemas.BillParty{Name: c.Name, Address: c.Address, Country: c.Country, TaxID: c.TaxID, Email: c.Email}
}

func proofOf(w *reconcile.Work, e evidence) reports.Proof {
	return reports.Proof{Fields: orEmpty(w.Done), Loads: orEmpty(w.Loads), Hours: w.Hours, DrivenKm: w.DrivenKm, Machines: orEmpty(w.Machines), Amendments: orEmpty(e.amendments)}
}
