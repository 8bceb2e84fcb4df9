package desk

import (
	"context"
	"fmt"
	"io"
	"time"

	"hopperbook/reconcile/rating"
	"hopperbook/reports"
	"hopperbook/reports/invoice"
	"hopperbook/schemas"
	"hopperbook/schemas/fault"
)

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
	return onLedger(ctx, d, Credit, params, w, func(l *ledger, p CreditParams) (a reports.DocumentAnswer, err error) {
		c, err := l.creditNote(p)
		if err == nil && p.Issue {
			err = bookDocuments(ctx, d, schemas.TypeInvoiceCredited, c)
		}
		return reports.DocumentAnswer{Schema: reports.SchemaDocument, Kind: "credit_note", Credit: &c, Whole: true, Unchanged: true, Now: c.Digest, Changes: []string{}}, err
	})
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
	if day < i.IssuedOn {
		return schemas.InvoiceCredited{}, fault.Newf(op, fault.Usage, fmt.Sprintf("the invoice is of %s, after %s", i.IssuedOn, day), "date the credit note on that day or later")
	}
	number, err := l.next(p.Series, day, creditMark, 1)
	if err != nil {
		return schemas.InvoiceCredited{}, err
	}
	c, err := rating.CreditOf(&i.InvoiceIssued, number, day, p.Reason)
	c.AsOf = l.marks
	c.DocumentDigest = invoice.CreditedDigest(c)
	return c, err
}
