package desk

import (
	"context"
	"encoding/json"
	"fmt"
	"io"
	"maps"
	"slices"
	"time"

	"github.com/oklog/ulid/v2"

	"hopperbook/ingest"
	"hopperbook/reports"
	"hopperbook/schemas"
	"hopperbook/schemas/fault"
)

// billing is the source of issued documents: events made where the book is.
const billing schemas.Source = "/office/billing"

// bookDocument makes one event of the billing source and commits it; the caller holds
// d.issuing, so that its sequence is the next one.
func (d *Desk) bookDocument(ctx context.Context, t schemas.EventType, data any) error {
	op := "book the " + string(t)
	marks, err := d.book.Marks(ctx)
	if err != nil {
		return err
	}
	id := schemas.Identity{Source: billing, Sequence: 1}
	if i := slices.IndexFunc(marks, func(m schemas.Mark) bool { return m.Source == billing }); i >= 0 {
		id.Sequence = marks[i].UpTo + 1
		if len(marks[i].Above) > 0 {
			return fault.Newf(op, fault.Conflict, fmt.Sprintf("events of %s are missing: the numbers given are not known", billing), "publish the whole export of the book they were issued in first")
		}
	}
	now := time.Now().UTC()
	raw, err := schemas.Write(id, schemas.EventID(ulid.MustNew(ulid.Timestamp(now), ulid.DefaultEntropy()).String()), t, now, data)
	if err != nil {
		return err
	}
	e, bad := schemas.Read(raw)
	if bad != nil {
		return fault.New(op, fault.Input, bad, "correct the register or agreement it comes from")
	}
	receipt, err := d.book.Commit(ctx, ingest.Batch{Events: []ingest.Received{{Event: e, At: now}}})
	if err == nil && receipt.Stored != 1 {
		err = fault.Newf(op, fault.Conflict, fmt.Sprintf("%s was in the book already", id), "try again")
	}
	return err
}

// CreditParams says what to take back, and why.
type CreditParams struct {
	Number schemas.InvoiceNo `json:"number"`
	Reason string            `json:"reason,omitempty"`
	Issue  bool              `json:"issue,omitempty"`
	Series string            `json:"series,omitempty"`
	Day    string            `json:"day,omitempty"`
}

// creditMark stands after the series of credit notes.
const creditMark = "C"

func (d *Desk) credit(ctx context.Context, params []byte, w io.Writer) error {
	var p CreditParams
	if err := json.Unmarshal(params, &p); err != nil {
		return fault.New("answer credit", fault.Usage, err, "")
	}
	d.issuing.Lock()
	defer d.issuing.Unlock()
	l, err := d.readLedger(ctx)
	if err != nil {
		return err
	}
	c, err := l.creditNote(p)
	if err == nil && p.Issue {
		err = d.bookDocument(ctx, schemas.TypeInvoiceCredited, c)
	}
	if err != nil {
		return err
	}
	return write(w, reports.DocumentAnswer{Schema: reports.SchemaDocument, Kind: "credit_note", Credit: &c, Whole: true, Unchanged: true, Now: c.Digest, Changes: []string{}})
}

// document finds an issued document and holds it against the book as it is now.
func (d *Desk) document(ctx context.Context, params []byte, w io.Writer) error {
	var p struct {
		Number schemas.InvoiceNo `json:"number"`
	}
	if err := json.Unmarshal(params, &p); err != nil {
		return fault.New("answer document", fault.Usage, err, "")
	}
	l, err := d.readLedger(ctx)
	if err != nil {
		return err
	}
	a := reports.DocumentAnswer{Schema: reports.SchemaDocument, Changes: []string{}}
	own, err := "", error(nil)
	if i := l.invoice(p.Number); i != nil {
		a.Kind, a.Invoice, a.CreditedBy = "invoice", &i.InvoiceIssued, i.creditedBy
		own, err = digestOf(a.Invoice)
		a.Whole = own == i.DocumentDigest
	} else if k := slices.IndexFunc(l.credits, func(c schemas.InvoiceCredited) bool { return c.Number == p.Number }); k >= 0 {
		a.Kind, a.Credit = "credit_note", &l.credits[k]
		own, err = digestOf(a.Credit)
		a.Whole = own == a.Credit.DocumentDigest
	} else {
		return fault.Newf("find document "+string(p.Number), fault.NotFound, "no such document was issued", "hopperbook documents lists them")
	}
	if err != nil {
		return err
	}
	return writeUnless(d.holdAgainst(ctx, l, &a), w, a)
}

func (l *ledger) invoice(n schemas.InvoiceNo) *issued {
	if i := slices.IndexFunc(l.invoices, func(i issued) bool { return i.Number == n }); i >= 0 {
		return &l.invoices[i]
	}
	return nil
}

// holdAgainst compares the evidence on the document with that in the book.
func (d *Desk) holdAgainst(ctx context.Context, l *ledger, a *reports.DocumentAnswer) error {
	on := a.Invoice
	if a.Credit != nil {
		if i := l.invoice(a.Credit.Credits); i != nil {
			on = &i.InvoiceIssued
		}
	}
	if on == nil {
		a.Changes = append(a.Changes, "the invoice it takes back is not in the book")
		return nil
	}
	work := l.divided.Work(jobsOn(on))
	work.Customer = on.Customer
	e, err := d.evidence(ctx, l, &work, on.Agreement)
	if err != nil {
		return err
	}
	a.Now, a.Unchanged, a.Proof = e.digest, e.digest == on.Digest, proofOf(&work, e)
	if a.Unchanged {
		a.GrossNow = on.Totals.Gross
		return nil
	}
	a.Changes = append(a.Changes, changed(on.Evidence, e.kinds)...)
	if gross, err := l.grossNow(on); err != nil {
		a.Changes = append(a.Changes, "it cannot be worked out anew: "+fault.Message(err))
	} else {
		a.GrossNow = gross
	}
	return nil
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
	l, err := d.readLedger(ctx)
	if err != nil {
		return err
	}
	answer := reports.DocumentsAnswer{Schema: reports.SchemaDocuments, Documents: []reports.DocumentRow{}}
	for i := range l.invoices {
		row, err := d.row(ctx, l, &l.invoices[i])
		if err != nil {
			return err
		}
		answer.Documents = append(answer.Documents, row)
	}
	for i := range l.credits {
		c := &l.credits[i]
		answer.Documents = append(answer.Documents, reports.DocumentRow{Number: c.Number, Kind: "credit_note", IssuedOn: c.IssuedOn, Customer: c.Customer,
			Jobs: jobsOn(&schemas.InvoiceIssued{Job: c.Job, Jobs: c.Jobs}), Currency: c.Currency, Gross: c.Totals.Gross, Credits: c.Credits, State: "credit_note"})
	}
	return write(w, answer)
}

// row is an invoice's row; one that stands is held against the book.
func (d *Desk) row(ctx context.Context, l *ledger, i *issued) (reports.DocumentRow, error) {
	row := reports.DocumentRow{Number: i.Number, Kind: "invoice", IssuedOn: i.IssuedOn, Customer: i.Customer, Jobs: jobsOn(&i.InvoiceIssued),
		Currency: i.Currency, Gross: i.Totals.Gross, CreditedBy: i.creditedBy, State: "open"}
	if i.creditedBy != "" {
		row.State = "credited"
		return row, nil
	}
	work := l.divided.Work(row.Jobs)
	e, err := d.evidence(ctx, l, &work, i.Agreement)
	if e.digest != i.Digest {
		row.State = "changed"
	}
	return row, err
}
