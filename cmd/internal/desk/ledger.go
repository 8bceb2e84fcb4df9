package desk

import (
	"cmp"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"slices"
	"strings"
	"time"

	"hopperbook/ingest/book"
	"hopperbook/reconcile"
	"hopperbook/reconcile/rating"
	"hopperbook/reports"
	"hopperbook/reports/invoice"
	"hopperbook/schemas"
	"hopperbook/schemas/fault"
	"hopperbook/schemas/money"
)

// keptFixes is up to how many fixes the work is kept between questions: issuing
// many invoices in a row then reads it once.
const keptFixes = 1_000_000

// ledger is all that bills are made from, of one state of the book.
type ledger struct {
	*worked
	contractor *schemas.RegisterContractor // nil: not registered
	customers  map[schemas.CustomerID]schemas.RegisterCustomer
	agreements []schemas.RegisterAgreement             // each as registered last
	priced     map[schemas.AgreementID]schemas.EventID // the event each was registered by
	invoices   []issued
	credits    []schemas.InvoiceCredited
	amended    []schemas.Event
	unsure     []trouble
	head       int64    // of the state it was read from
	marks      []string // of that state
}

// issued is an invoice and who took it back.
type issued struct {
	schemas.InvoiceIssued
	creditedBy schemas.InvoiceNo
}

// trouble is what the book lacks of one device.
type trouble struct {
	device schemas.DeviceID
	rating.Unsure
}

// readLedger reads it in one snapshot of the book.
func (d *Desk) readLedger(ctx context.Context) (*ledger, error) {
	d.working.Lock()
	defer d.working.Unlock()
	return d.readLedgerAlone(ctx)
}

// readLedgerAlone is readLedger for a holder of d.working.
func (d *Desk) readLedgerAlone(ctx context.Context) (*ledger, error) {
	l := &ledger{}
	err := d.book.Read(ctx, func(v *book.View) (err error) {
		count, err := v.Count(ctx)
		if err != nil {
			return err
		}
		events := ""
		for _, t := range evidenceTypes() {
			events += fmt.Sprintf("%s %d,", t, count[t])
		}
		if d.work == nil || d.work.events != events {
			if d.work, err = readWork(ctx, v, events, nil); err != nil {
				return err
			}
		}
		l.worked = d.work
		return l.read(ctx, v, nil)
	})
	fixes := 0
	if d.work != nil {
		for _, p := range d.work.in.Passes {
			fixes += len(p.Fixes)
		}
	}
	if err != nil || fixes > keptFixes {
		d.work = nil
	}
	if err != nil {
		return nil, err
	}
	return l, l.troubles(ctx, d.book)
}

// read takes the office's events, in their order: a later entry of a register
// replaces an earlier one.
func (l *ledger) read(ctx context.Context, v *book.View, only asOf) (err error) {
	if l.head, err = v.Head(ctx); err != nil {
		return err
	}
	if l.marks, err = marksOf(ctx, v); err != nil {
		return err
	}
	r := reading{only: only}
	l.customers, l.priced = map[schemas.CustomerID]schemas.RegisterCustomer{}, map[schemas.AgreementID]schemas.EventID{}
	agreements := map[schemas.AgreementID]schemas.RegisterAgreement{}
	err = v.Events(ctx, []schemas.EventType{schemas.TypeEventAmended}, func(e *schemas.Event) error {
		if only.holds(e.Identity) {
			l.amended = append(l.amended, *e)
		}
		return r.amendment(e)
	})
	if err != nil {
		return err
	}
	types := []schemas.EventType{schemas.TypeRegisterContractor, schemas.TypeRegisterCustomer, schemas.TypeRegisterAgreement, schemas.TypeInvoiceIssued, schemas.TypeInvoiceCredited}
	err = v.Events(ctx, types, func(raw *schemas.Event) error {
		if !only.holds(raw.Identity) {
			return nil
		}
		e, keep := r.apply(*raw)
		if raw.Type == schemas.TypeInvoiceIssued || raw.Type == schemas.TypeInvoiceCredited {
			e, keep = *raw, true // an issued document never changes
		}
		if !keep {
			return nil
		}
		switch e.Type {
		case schemas.TypeRegisterContractor:
			c, err := schemas.DecodeData[schemas.RegisterContractor](&e)
			l.contractor = &c
			return err
		case schemas.TypeRegisterCustomer:
			c, err := schemas.DecodeData[schemas.RegisterCustomer](&e)
			l.customers[c.Customer] = c
			return err
		case schemas.TypeRegisterAgreement:
			a, err := schemas.DecodeData[schemas.RegisterAgreement](&e)
			agreements[a.Agreement] = a
			l.priced[a.Agreement] = e.ID
			return err
		case schemas.TypeInvoiceIssued:
			i, err := schemas.DecodeData[schemas.InvoiceIssued](&e)
			l.invoices = append(l.invoices, issued{InvoiceIssued: i})
			return err
		}
		c, err := schemas.DecodeData[schemas.InvoiceCredited](&e)
		l.credits = append(l.credits, c)
		return err
	})
	for _, a := range agreements {
		l.agreements = append(l.agreements, a)
	}
	slices.SortFunc(l.agreements, func(a, b schemas.RegisterAgreement) int { return cmp.Compare(a.Agreement, b.Agreement) })
	for i := range l.invoices {
		for _, c := range l.credits {
			if c.Credits == l.invoices[i].Number {
				l.invoices[i].creditedBy = c.Number
			}
		}
	}
	return err
}

// troubles are the known gaps and what was kept without being booked.
func (l *ledger) troubles(ctx context.Context, b *book.Book) error {
	gaps, err := b.Gaps(ctx)
	if err != nil {
		return err
	}
	for _, g := range gaps {
		text := fmt.Sprintf("%d events of %s are missing (sequence %d to %d)", g.To-g.From+1, g.Source, g.From, g.To)
		l.unsure = append(l.unsure, trouble{schemas.PublishDevice(g.Source), rating.Unsure{Kind: rating.UnsureGap, Text: text}})
	}
	kept, err := b.Troubles(ctx, false)
	for _, t := range kept {
		if t.Kind == book.TroubleClock || t.Repaired {
			continue
		}
		device, _ := t.Source.Device()
		if d, ok := schemas.SubjectDevice(t.Subject); ok {
			device = d
		}
		l.unsure = append(l.unsure, trouble{device, rating.Unsure{Kind: rating.UnsureRejected, Text: fmt.Sprintf("an event of %s is kept and not booked: %s", cmp.Or(string(device), "an unknown device"), t.Detail)}})
	}
	return err
}

// billed are the jobs that stand on an invoice.
func (l *ledger) billed() map[schemas.JobID]schemas.InvoiceNo {
	out := map[schemas.JobID]schemas.InvoiceNo{}
	for _, i := range l.invoices {
		if i.creditedBy != "" {
			continue
		}
		for _, j := range invoice.Jobs(i.Job, i.Jobs) {
			out[j] = i.Number
		}
	}
	return out
}

// tax of lines whose agreement says none: the contractor's.
func (l *ledger) tax() (rating.Tax, error) {
	c := l.contractor
	if c == nil || c.TaxCategory == "" {
		return rating.Tax{}, nil
	}
	pct, err := money.Number(cmp.Or(c.TaxPct, "0"))
	return rating.Tax{Category: c.TaxCategory, Pct: pct, ExemptCode: c.ExemptCode, ExemptReason: c.ExemptReason}, err
}

// unsureOf is what the book lacks of the devices that the work's events come from.
func (l *ledger) unsureOf(w *reconcile.Work) (out []rating.Unsure) {
	devices := map[schemas.DeviceID]bool{}
	for _, m := range w.Machines {
		devices[schemas.DeviceID(m)] = true
	}
	for _, load := range l.in.Loads {
		if slices.ContainsFunc(w.Loads, func(x reconcile.WorkLoad) bool { return x.Load == load.Data.Load }) {
			devices[schemas.PublishDevice(load.Source)] = true
		}
	}
	for _, t := range l.unsure {
		if devices[t.device] || t.device == "" {
			out = append(out, t.Unsure)
		}
	}
	return out
}

// evidence is what a document's digest covers: the events a bill comes from, the
// registers it is priced by, and what amends any of them, each with its bytes.
type evidence struct {
	digest     string
	kinds      []schemas.BillEvidence
	amendments []reports.Amendment
}

func (l *ledger) evidence(w *reconcile.Work, agreement schemas.AgreementID) evidence {
	uses := map[schemas.EventID]bool{}
	for _, id := range w.Uses {
		uses[id] = true
	}
	uses[l.priced[agreement]] = true
	return l.evidenceOf(uses)
}

// evidenceOf adds to some events what amends them, and digests them.
func (l *ledger) evidenceOf(uses map[schemas.EventID]bool) evidence {
	var e evidence
	for i := range l.amended {
		a := &l.amended[i]
		data, err := schemas.DecodeData[schemas.EventAmended](a)
		if err != nil || !uses[data.Amends] && !uses[a.ID] {
			continue
		}
		uses[a.ID] = true
		was := reports.Amendment{At: a.Time, Amends: data.Amends, Action: data.Action, Reason: data.Reason}
		for _, line := range l.lines[data.Amends] {
			was.Type = line.kind
		}
		e.amendments = append(e.amendments, was)
	}
	var lines []string
	count := map[schemas.EventType]int64{}
	for id := range uses {
		for _, line := range l.lines[id] {
			lines = append(lines, line.text)
			count[line.kind]++
		}
	}
	slices.Sort(lines)
	sum := sha256.Sum256([]byte(strings.Join(lines, "")))
	e.digest = hex.EncodeToString(sum[:])
	for t, n := range count {
		e.kinds = append(e.kinds, schemas.BillEvidence{Kind: string(t), Count: n})
	}
	slices.SortFunc(e.kinds, func(a, b schemas.BillEvidence) int { return cmp.Compare(a.Kind, b.Kind) })
	return e
}

// evidenceTypes are all types that evidence can be of.
func evidenceTypes() []schemas.EventType {
	return append(slices.Clone(inputTypes[:]), schemas.TypePassLogged, schemas.TypeRegisterAgreement, schemas.TypeEventAmended)
}

// today is the day in the contractor's time zone; UTC where it names none.
func (l *ledger) today(now time.Time) (string, error) {
	name := "UTC"
	if l.contractor != nil {
		name = cmp.Or(l.contractor.TimeZone, name)
	}
	zone, err := time.LoadLocation(name)
	if err != nil {
		return "", fault.New("read the contractor's time zone", fault.Input, err, "register the contractor again with an IANA name, like Europe/Vienna")
	}
	return now.In(zone).Format(time.DateOnly), nil
}

// day is the one asked for; "": today.
func (l *ledger) day(op, asked string) (time.Time, error) {
	if asked == "" {
		var err error
		if asked, err = l.today(time.Now()); err != nil {
			return time.Time{}, err
		}
	}
	at, err := time.Parse(time.DateOnly, asked)
	if err != nil {
		return at, fault.Newf(op, fault.Usage, asked+" is no day", "write it like 2026-03-01")
	}
	return at, nil
}

// creditNote takes an invoice back whole.
func (l *ledger) creditNote(p CreditParams) (schemas.InvoiceCredited, error) {
	op := "credit " + string(p.Number)
	i := l.invoice(p.Number)
	switch {
	case i == nil:
		return schemas.InvoiceCredited{}, fault.Newf(op, fault.NotFound, "no such invoice was issued", "hopperbook documents lists them")
	case i.creditedBy != "":
		return schemas.InvoiceCredited{}, fault.Newf(op, fault.Conflict, "it was taken back by "+string(i.creditedBy), "nothing is left to credit")
	}
	at, err := l.day(op, p.Day)
	if err != nil {
		return schemas.InvoiceCredited{}, err
	}
	day := at.Format(time.DateOnly)
	number, err := l.next(p.Series, day, creditMark)
	if err != nil {
		return schemas.InvoiceCredited{}, err
	}
	c, err := rating.CreditOf(&i.InvoiceIssued, number, day, p.Reason)
	c.AsOf = l.marks
	c.DocumentDigest = invoice.CreditedDigest(c)
	return c, err
}

// grossNow is what the work on an invoice would come to now.
func (l *ledger) grossNow(on *schemas.InvoiceIssued, work *reconcile.Work) (string, error) {
	tax, err := l.tax()
	if err != nil {
		return "", err
	}
	agreement := slices.IndexFunc(l.agreements, func(a schemas.RegisterAgreement) bool { return a.Agreement == on.Agreement })
	if agreement < 0 {
		return "", fault.Newf("work it out anew", fault.NotFound, "agreement "+string(on.Agreement)+" is not registered", "")
	}
	b, err := rating.Rate(l.agreements[agreement], work.Quantities(l.in, nil), tax)
	if err != nil {
		return "", err
	}
	return b.Currency.Text(b.Totals.Gross), nil
}
