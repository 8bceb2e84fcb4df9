package desk

import (
	"context"
	"fmt"
	"io"
	"maps"
	"slices"
	"time"

	"github.com/oklog/ulid/v2"

	"hopperbook/ingest"
	"hopperbook/reconcile"
	"hopperbook/reports"
	"hopperbook/reports/invoice"
	"hopperbook/schemas"
	"hopperbook/schemas/fault"
)

// billing is the source of issued documents: events made where the book is.
const billing schemas.Source = "/office/billing"

// onLedger answers from the ledger of now: one question at a time, so that what is
// numbered in it is booked before another is, two issuers cannot take one number
// and a kill leaves either the whole document or none.
func onLedger[P, A any](ctx context.Context, d *Desk, question string, params []byte, w io.Writer, do func(*ledger, P) (A, error)) error {
	p, err := paramsOf[P](question, params)
	if err != nil {
		return err
	}
	d.issuing.Lock()
	defer d.issuing.Unlock()
	l, err := d.readLedger(ctx, false)
	if err != nil {
		return err
	}
	a, err := do(l, p)
	return writeUnless(err, w, a)
}

// bookDocuments makes an event of the billing source of each and commits them
// together; the caller holds d.issuing, so that the next sequences are theirs.
func bookDocuments[D schemas.InvoiceIssued | schemas.InvoiceCredited](ctx context.Context, d *Desk, t schemas.EventType, documents ...D) error {
	op := "book the " + string(t)
	marks, err := d.book.Marks(ctx)
	if err != nil {
		return err
	}
	id := schemas.Identity{Source: billing}
	if i := slices.IndexFunc(marks, func(m schemas.Mark) bool { return m.Source == billing }); i >= 0 {
		id.Sequence = marks[i].UpTo
		if len(marks[i].Above) > 0 {
			return fault.Newf(op, fault.Conflict, fmt.Sprintf("events of %s are missing: the numbers given are not known", billing), "publish the whole export of the book they were issued in first")
		}
	}
	now := time.Now().UTC()
	var batch ingest.Batch
	for _, data := range documents {
		id.Sequence++
		raw, err := schemas.Write(id, schemas.EventID(ulid.MustNew(ulid.Timestamp(now), ulid.DefaultEntropy()).String()), t, now, data)
		if err != nil {
			return err
		}
		e, bad := schemas.Read(raw)
		if bad != nil {
			return fault.New(op, fault.Input, bad, "correct the register or agreement it comes from")
		}
		batch.Events = append(batch.Events, ingest.Received{Event: e, At: now})
	}
	receipt, err := d.book.Commit(ctx, batch)
	if err == nil && receipt.Stored != len(documents) {
		err = fault.Newf(op, fault.Conflict, fmt.Sprintf("%s was in the book already", id), "try again")
	}
	return err
}

// document finds an issued document and holds it against the book as it is now.
func (d *Desk) document(ctx context.Context, params []byte, w io.Writer) error {
	p, err := paramsOf[struct {
		Number schemas.InvoiceNo `json:"number"`
		Draw   bool              `json:"draw"` // with all that is drawn of it
	}]("document", params)
	if err != nil {
		return err
	}
	l, err := d.readLedger(ctx, p.Draw)
	if err != nil {
		return err
	}
	a := reports.DocumentAnswer{Schema: reports.SchemaDocument, Changes: []string{}}
	if i := l.invoice(p.Number); i != nil {
		a.Kind, a.Invoice, a.CreditedBy = "invoice", &i.InvoiceIssued, i.creditedBy
		a.Whole = invoice.IssuedDigest(i.InvoiceIssued) == i.DocumentDigest
	} else if k := slices.IndexFunc(l.credits, func(c schemas.InvoiceCredited) bool { return c.Number == p.Number }); k >= 0 {
		a.Kind, a.Credit = "credit_note", &l.credits[k]
		a.Whole = invoice.CreditedDigest(*a.Credit) == a.Credit.DocumentDigest
	} else {
		return fault.Newf("find document "+string(p.Number), fault.NotFound, "no such document was issued", "hopperbook documents lists them")
	}
	l.holdAgainst(&a)
	if p.Draw {
		if err := d.draw(ctx, l, &a); err != nil {
			return err
		}
	}
	return write(w, a)
}

// draw makes the proof that the document was issued with: from the events that
// the book held then, so that it is drawn to the same bytes ever after.
func (d *Desk) draw(ctx context.Context, l *ledger, a *reports.DocumentAnswer) error {
	on := l.billedBy(a)
	if on == nil {
		return nil
	}
	only, err := asOfMarks(a.AsOf())
	if err != nil {
		return err
	}
	if only != nil {
		if l, err = d.ledgerAt(ctx, l, only); err != nil {
			return err
		}
	}
	_, e := l.prove(a, on)
	a.AsIssued = e.digest == on.Digest
	a.Proof.Calibrations = calibrations(l.in, a.Proof.Fields)
	return nil
}

// prove gives the answer the proof of an invoice in this state of the book.
func (l *ledger) prove(a *reports.DocumentAnswer, on *schemas.InvoiceIssued) (*reconcile.Work, evidence) {
	work := l.divided.Work(invoice.Jobs(on.Job, on.Jobs))
	e := l.evidence(&work, on.Agreement)
	a.Proof = proofOf(&work, e)
	return &work, e
}

// billedBy is the invoice of the document: itself, or the one it takes back;
// nil where the book does not hold it.
func (l *ledger) billedBy(a *reports.DocumentAnswer) *schemas.InvoiceIssued {
	if a.Credit == nil {
		return a.Invoice
	}
	if i := l.invoice(a.Credit.Credits); i != nil {
		return &i.InvoiceIssued
	}
	return nil
}

func (l *ledger) invoice(n schemas.InvoiceNo) *issued {
	if i := slices.IndexFunc(l.invoices, func(i issued) bool { return i.Number == n }); i >= 0 {
		return &l.invoices[i]
	}
	return nil
}

// holdAgainst compares the evidence on the document with that in the book.
func (l *ledger) holdAgainst(a *reports.DocumentAnswer) {
	on := l.billedBy(a)
	if on == nil {
		a.Changes = append(a.Changes, "the invoice it takes back is not in the book")
		return
	}
	work, e := l.prove(a, on)
	a.Now, a.Unchanged = e.digest, e.digest == on.Digest
	a.AsIssued = a.Unchanged
	if a.Unchanged {
		a.GrossNow = on.Totals.Gross
		return
	}
	a.Changes = append(a.Changes, changed(on.Evidence, e.kinds)...)
	if gross, err := l.grossNow(on, work); err != nil {
		a.Changes = append(a.Changes, "it cannot be worked out anew: "+fault.Message(err))
	} else {
		a.GrossNow = gross
	}
}

// changed says which kinds of event there are more or fewer of.
func changed(was, is []schemas.BillEvidence) (out []string) {
	count := func(list []schemas.BillEvidence, kind string) int64 {
		for _, e := range list {
			if e.Kind == kind {
				return e.Count
			}
		}
		return 0
	}
	kinds := map[string]bool{}
	for _, e := range slices.Concat(was, is) {
		kinds[e.Kind] = true
	}
	for _, kind := range slices.Sorted(maps.Keys(kinds)) {
		if a, b := count(was, kind), count(is, kind); a != b {
			out = append(out, fmt.Sprintf("%s: %d then, %d now", kind, a, b))
		}
	}
	if len(out) == 0 {
		out = append(out, "as many events of each kind as then, but not the same ones")
	}
	return out
}

func (d *Desk) documents(ctx context.Context, w io.Writer) error {
	l, err := d.readLedger(ctx, false)
	if err != nil {
		return err
	}
	answer := reports.DocumentsAnswer{Schema: reports.SchemaDocuments, Documents: []reports.DocumentRow{}}
	for i := range l.invoices {
		answer.Documents = append(answer.Documents, l.row(&l.invoices[i]))
	}
	for i := range l.credits {
		c := &l.credits[i]
		answer.Documents = append(answer.Documents, reports.DocumentRow{Number: c.Number, Kind: "credit_note", IssuedOn: c.IssuedOn, Customer: c.Customer,
			Jobs: invoice.Jobs(c.Job, c.Jobs), Currency: c.Currency, Gross: c.Totals.Gross, Credits: c.Credits, State: "credit_note"})
	}
	return write(w, answer)
}

// row is an invoice's row; one that stands is held against the book.
func (l *ledger) row(i *issued) reports.DocumentRow {
	row := reports.DocumentRow{Number: i.Number, Kind: "invoice", IssuedOn: i.IssuedOn, Customer: i.Customer, Jobs: invoice.Jobs(i.Job, i.Jobs),
		Currency: i.Currency, Gross: i.Totals.Gross, CreditedBy: i.creditedBy, State: "open"}
	switch {
	case i.DocumentDigest != "" && invoice.IssuedDigest(i.InvoiceIssued) != i.DocumentDigest:
		row.State = "altered"
		return row
	case i.creditedBy != "":
		row.State = "credited"
		return row
	}
	work := l.divided.Work(row.Jobs)
	if l.evidence(&work, i.Agreement).digest != i.Digest {
		row.State = "changed"
	}
	return row
}

// inputAndInvoices is the input of a reconciliation, the findings of invoices
// whose evidence is another by now, and the head of both. Where nothing was
// issued no bill's work is divided. The caller holds d.working.
func (d *Desk) inputAndInvoices(ctx context.Context) (reconcile.Input, []reconcile.Finding, int64, error) {
	count, err := d.book.Count(ctx)
	if err != nil {
		return reconcile.Input{}, nil, 0, err
	}
	if count[schemas.TypeInvoiceIssued]+count[schemas.TypeInvoiceCredited] == 0 {
		in, head, err := d.input(ctx)
		return in, nil, head, err
	}
	l, err := d.readLedgerAlone(ctx, true)
	if err != nil {
		return reconcile.Input{}, nil, 0, err
	}
	return l.in, l.findings(), l.head, nil
}

// findings are invoices whose evidence is another by now, and documents that were
// issued elsewhere.
func (l *ledger) findings() (found []reconcile.Finding) {
	for i := range l.invoices {
		if row := l.row(&l.invoices[i]); row.State == "changed" {
			found = append(found, reconcile.Finding{Kind: "invoice_evidence_changed", Text: fmt.Sprintf(
				"the events that invoice %s comes from are not the same any more: hopperbook verify %s says which; if the amounts differ, hopperbook credit %s and bill again", row.Number, row.Number, row.Number)})
		}
	}
	for _, e := range l.foreign {
		found = append(found, reconcile.Finding{Kind: "document_issued_elsewhere", Event: e.ID, At: e.Time, Count: 1, Text: fmt.Sprintf(
			"%s is an %s event, but documents are issued where the book is: it bills and credits nothing; ask who sent it", e.Identity, e.Type)})
	}
	return found
}

// grossNow is what the work on an invoice would come to now.
func (l *ledger) grossNow(on *schemas.InvoiceIssued, work *reconcile.Work) (string, error) {
	tax, err := l.tax()
	if err != nil {
		return "", err
	}
	b, err := l.divided.Rebill(work, reconcile.BillAsk{Agreements: l.agreements, Tax: tax})
	if err == nil && on.SharePct != "" {
		b, err = shareOf(b, on)
	}
	if err != nil {
		return "", err
	}
	return b.Currency.Text(b.Totals.Gross), nil
}
