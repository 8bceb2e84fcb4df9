package desk

import (
	"fmt"

	"github.com/shopspring/decimal"

	"hopperbook/reconcile/rating"
	"hopperbook/reports"
	"hopperbook/schemas"
	"hopperbook/schemas/fault"
	"hopperbook/schemas/money"
)

// share divides a planned bill between its customer and one that pays a part of
// every line.
func (l *ledger) share(a *reports.BillAnswer, whole *rating.Bill, p BillParams) error {
	const op = "share the bill"
	pct, err := money.Number(p.SharePct)
	switch _, known := l.customers[p.ShareWith]; {
	case p.ShareWith == "" || err != nil:
		return fault.Newf(op, fault.Usage, "a share takes a customer and a part in percent", "name both: --share-with CUSTOMER --share 40")
	case !known:
		return fault.Newf(op, fault.NotFound, "customer "+string(p.ShareWith)+" is not registered", "publish a register.customer event")
	case p.ShareWith == whole.Customer:
		return fault.Newf(op, fault.Usage, string(p.ShareWith)+" is the customer of the agreement, who pays the rest anyway", "name the other one")
	case !pct.IsPositive() || !pct.LessThan(decimal.New(100, 0)):
		return fault.Newf(op, fault.Usage, "the share is "+pct.String()+" %", "a share lies between 0 and 100")
	}
	parts, err := rating.Split(*whole, rest(pct))
	if err != nil {
		return err
	}
	second := a.Invoice
	parts.First.Fill(&a.Invoice)
	parts.Second.Fill(&second)
	second.Customer, second.Buyer = p.ShareWith, l.buyer(p.ShareWith)
	a.Invoice.SharePct, second.SharePct = decimal.New(100, 0).Sub(pct).String(), pct.String()
	for _, d := range parts.Differences {
		a.Invoice.ShareNotes = append(a.Invoice.ShareNotes, d.Text)
	}
	second.ShareNotes = a.Invoice.ShareNotes
	a.Shared = &second
	return nil
}

// rest is the first's share of one, where the second's is given in percent.
func rest(pct decimal.Decimal) decimal.Decimal { return decimal.New(100, 0).Sub(pct).Shift(-2) }

// shareOf is the part of a bill that a shared invoice is for.
func shareOf(whole rating.Bill, on *schemas.InvoiceIssued) (rating.Bill, error) {
	pct, err := money.Number(on.SharePct)
	if err != nil {
		return rating.Bill{}, fault.Wrap(fmt.Sprintf("read invoice %s", on.Number), err)
	}
	if on.Customer == whole.Customer {
		parts, err := rating.Split(whole, pct.Shift(-2))
		return parts.First, err
	}
	parts, err := rating.Split(whole, rest(pct))
	return parts.Second, err
}
