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
	"hopperbook/reports/invoice"
	"hopperbook/schemas"
	"hopperbook/schemas/fault"
	"hopperbook/schemas/money"
)

// worked is what bills need of the field work, and the digest of every event it
// may come from.
type worked struct {
	in      reconcile.Input
	divided reconcile.Divided
	lines   map[schemas.EventID][]evidenceLine
}

type evidenceLine struct {
	kind     schemas.EventType
	identity schemas.Identity
	at       time.Time
	text     string // identity and SHA-256
}

// defaultKeptFixes is up to how many fixes the work is kept whole between questions;
// of more, each pass log keeps its first and its last fix.
const defaultKeptFixes = 1_000_000

// ledger is all that bills are made from, of one state of the book. It is not
// changed once it is made: questions share it.
type ledger struct {
	*worked
	registry
	head      int64
	marks     []string // what the book held, as documents carry it
	ended     bool     // in.Passes are reconcile.Ends
	documents []issuedEvent
	foreign   []schemas.Event // documents that were not issued here
	invoices  []issued
	credits   []schemas.InvoiceCredited
	unsure    []trouble
}

// registry is what the office entered.
type registry struct {
	contractor *schemas.RegisterContractor // nil: not registered
	customers  map[schemas.CustomerID]schemas.RegisterCustomer
	agreements []schemas.RegisterAgreement             // each as registered last
	priced     map[schemas.AgreementID]schemas.EventID // the event each was registered by
	amended    []schemas.Event
}

// issuedEvent is a document with its event's place among others.
type issuedEvent struct {
	schemas.Identity
	at      time.Time
	invoice *schemas.InvoiceIssued
	credit  *schemas.InvoiceCredited
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

// readLedger reads it in one snapshot of the book. whole: with every fix.
func (d *Desk) readLedger(ctx context.Context, whole bool) (*ledger, error) {
	d.working.Lock()
	defer d.working.Unlock()
	return d.readLedgerAlone(ctx, whole)
}

// readLedgerAlone is readLedger for a holder of d.working.
func (d *Desk) readLedgerAlone(ctx context.Context, whole bool) (*ledger, error) {
	kept := d.kept
	if kept != nil && kept.ended && whole {
		kept = nil
	}
	d.kept = nil // is not to be had twice in memory
	var l *ledger
	err := d.book.Read(ctx, func(v *book.View) (err error) {
		l, err = nextLedger(ctx, v, kept)
		return err
	})
	if err != nil {
		return nil, err
	}
	d.kept = l.lean(d.keptFixes)
	return l, nil
}

// nextLedger is the ledger of a state of the book. What was read before (nil:
// nothing) is taken over where no event came since that could change it; head
// and events are read from the same state, so that nothing is taken for newer or
// older than it is.
func nextLedger(ctx context.Context, v *book.View, was *ledger) (*ledger, error) {
	head, err := v.Head(ctx)
	if err != nil {
		return nil, err
	}
	l := &ledger{head: head}
	if was == nil {
		was = &ledger{}
	} else if was.head == head {
		return was, nil
	}
	same := func(types []schemas.EventType) bool {
		if was.worked == nil || err != nil {
			return false
		}
		var later int64
		later, err = v.Later(ctx, was.head, types)
		return later == 0 && err == nil
	}
	if same(evidenceTypes()) {
		l.worked, l.ended = was.worked, was.ended
	} else if err == nil {
		l.worked, err = readWork(ctx, v, nil)
	}
	if same(registryTypes()) {
		l.registry = was.registry
	} else if err == nil {
		l.registry, err = readRegistry(ctx, v, nil)
	}
	if err == nil {
		l.marks, err = marksOf(ctx, v)
	}
	if err != nil {
		return nil, err
	}
	if err := l.readDocuments(ctx, v, was); err != nil {
		return nil, err
	}
	return l, l.troubles(ctx, v)
}

// lean is the ledger without the fixes where there are more than most.
func (l *ledger) lean(most int) *ledger {
	fixes := 0
	for _, p := range l.in.Passes {
		fixes += len(p.Fixes)
	}
	if fixes <= most || l.ended {
		return l
	}
	lean, work := *l, *l.worked
	work.in.Passes = reconcile.Ends(work.in.Passes)
	lean.worked, lean.ended = &work, true
	return &lean
}

func readWork(ctx context.Context, v *book.View, only asOf) (*worked, error) {
	w := &worked{lines: map[schemas.EventID][]evidenceLine{}}
	var err error
	if w.in, err = inputOf(ctx, v, only); err != nil {
		return nil, err
	}
	err = v.Events(ctx, evidenceTypes(), func(e *schemas.Event) error {
		if !only.holds(e.Identity) {
			return nil
		}
		sum := sha256.Sum256(e.Raw)
		w.lines[e.ID] = append(w.lines[e.ID], evidenceLine{e.Type, e.Identity, e.Time, e.Identity.String() + " " + hex.EncodeToString(sum[:]) + "\n"})
		return nil
	})
	if err != nil {
		return nil, err
	}
	w.divided, err = reconcile.Divide(w.in)
	return w, err
}

// registryTypes are the events of a registry.
func registryTypes() []schemas.EventType {
	return []schemas.EventType{schemas.TypeRegisterContractor, schemas.TypeRegisterCustomer, schemas.TypeRegisterAgreement, schemas.TypeEventAmended}
}

// readRegistry takes the office's events, in their order: a later entry of a
// register replaces an earlier one.
func readRegistry(ctx context.Context, v *book.View, only asOf) (registry, error) {
	l := registry{customers: map[schemas.CustomerID]schemas.RegisterCustomer{}, priced: map[schemas.AgreementID]schemas.EventID{}}
	r := reading{only: only}
	agreements := map[schemas.AgreementID]schemas.RegisterAgreement{}
	err := v.Events(ctx, []schemas.EventType{schemas.TypeEventAmended}, func(e *schemas.Event) error {
		if only.holds(e.Identity) {
			l.amended = append(l.amended, *e)
		}
		return r.amendment(e)
	})
	if err != nil {
		return l, err
	}
	err = v.Events(ctx, registryTypes(), func(raw *schemas.Event) error {
		if !only.holds(raw.Identity) {
			return nil
		}
		e, keep := r.apply(*raw)
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
		}
		return nil
	})
	for _, a := range agreements {
		l.agreements = append(l.agreements, a)
	}
	slices.SortFunc(l.agreements, func(a, b schemas.RegisterAgreement) int { return cmp.Compare(a.Agreement, b.Agreement) })
	return l, err
}

// readDocuments adds to what was issued by an earlier head what was since: an
// issued document never changes. Only what was issued where the book is counts:
// anybody else's is kept, numbers and credits nothing, and is a finding.
func (l *ledger) readDocuments(ctx context.Context, v *book.View, was *ledger) error {
	l.documents, l.foreign = slices.Clone(was.documents), slices.Clone(was.foreign)
	err := v.EventsAfter(ctx, was.head, []schemas.EventType{schemas.TypeInvoiceIssued, schemas.TypeInvoiceCredited}, func(e *schemas.Event) error {
		if e.Source != billing {
			name := *e
			name.Raw, name.Data = nil, ""
			l.foreign = append(l.foreign, name)
			return nil
		}
		at := issuedEvent{Identity: e.Identity, at: e.Time}
		var err error
		if e.Type == schemas.TypeInvoiceIssued {
			at.invoice = new(schemas.InvoiceIssued)
			*at.invoice, err = schemas.DecodeData[schemas.InvoiceIssued](e)
		} else {
			at.credit = new(schemas.InvoiceCredited)
			*at.credit, err = schemas.DecodeData[schemas.InvoiceCredited](e)
		}
		l.documents = append(l.documents, at)
		return err
	})
	slices.SortFunc(l.documents, func(a, b issuedEvent) int {
		return cmp.Or(a.at.Compare(b.at), cmp.Compare(a.Source, b.Source), cmp.Compare(a.Sequence, b.Sequence))
	})
	creditedBy := map[schemas.InvoiceNo]schemas.InvoiceNo{}
	for _, e := range l.documents {
		if e.credit != nil {
			l.credits = append(l.credits, *e.credit)
			creditedBy[e.credit.Credits] = e.credit.Number
		}
	}
	for _, e := range l.documents {
		if e.invoice != nil {
			l.invoices = append(l.invoices, issued{*e.invoice, creditedBy[e.invoice.Number]})
		}
	}
	return err
}

// troubles are the known gaps and what a device sent that is kept without being
// booked. Who published a file was told at once what is not booked of it.
func (l *ledger) troubles(ctx context.Context, v *book.View) error {
	gaps, err := v.Gaps(ctx)
	if err != nil {
		return err
	}
	for _, g := range gaps {
		text := fmt.Sprintf("%d events of %s are missing (sequence %d to %d)", g.To-g.From+1, g.Source, g.From, g.To)
		l.unsure = append(l.unsure, trouble{schemas.PublishDevice(g.Source), rating.Unsure{Kind: rating.UnsureGap, Text: text}})
	}
	kept, err := v.Troubles(ctx, false)
	for _, t := range kept {
		device, _ := t.Source.Device()
		if d, ok := schemas.SubjectDevice(t.Subject); ok {
			device = d
		}
		if t.Kind == book.TroubleClock || t.Repaired || strings.HasPrefix(string(device), "_") {
			continue
		}
		l.unsure = append(l.unsure, trouble{device, rating.Unsure{Kind: rating.UnsureRejected, Text: fmt.Sprintf("an event of %s could not be booked", cmp.Or(string(device), "an unknown device"))}})
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

// dayOf is the day in the contractor's time zone; UTC where it names none.
func (l *ledger) dayOf(at time.Time) (string, error) {
	name := "UTC"
	if l.contractor != nil {
		name = cmp.Or(l.contractor.TimeZone, name)
	}
	zone, err := time.LoadLocation(name)
	if err != nil {
		return "", fault.New("read the contractor's time zone", fault.Input, err, "register the contractor again with an IANA name, like Europe/Vienna")
	}
	return at.In(zone).Format(time.DateOnly), nil
}

// The years that documents are dated in.
const firstYear, lastYear = 2000, 2999

// day is the one asked for; "": today.
func (l *ledger) day(op, asked string) (time.Time, error) {
	if asked == "" {
		var err error
		if asked, err = l.dayOf(time.Now()); err != nil {
			return time.Time{}, err
		}
	}
	at, err := time.Parse(time.DateOnly, asked)
	if err != nil || at.Year() < firstYear || at.Year() > lastYear {
		return at, fault.Newf(op, fault.Usage, asked+" is no day of a document", "write it like 2026-03-01")
	}
	return at, nil
}
