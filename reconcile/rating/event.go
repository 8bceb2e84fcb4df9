package rating

import (
	"fmt"

	"github.com/shopspring/decimal"

	"hopperbook/schemas"
	"hopperbook/schemas/fault"
	"hopperbook/schemas/money"
)

// Fill writes the bill into an invoice's event: currency, lines, discounts,
// taxes, totals, how they were rounded, and what was unsure. Number, dates,
// parties and evidence are the caller's.
func (b *Bill) Fill(e *schemas.InvoiceIssued) {
	decimals := int64(b.Decimals)
	e.Currency, e.Customer, e.Agreement = string(b.Currency), b.Customer, b.Agreement
	e.Rounding, e.QuantityDecimals = b.Rounding.String(), &decimals
	e.Lines, e.Totals, e.Discounts, e.Tax, e.Cautions = nil, b.totals(), nil, nil, nil
	for i := range b.Lines {
		e.Lines = append(e.Lines, b.line(&b.Lines[i]))
	}
	text := b.Currency.Text
	for i := range b.Discounts {
		d := &b.Discounts[i]
		e.Discounts = append(e.Discounts, schemas.BillDiscount{Text: d.Text, Base: text(d.Base), Pct: d.Pct.String(), Amount: text(d.Amount),
			TaxCategory: d.Tax.Category, TaxPct: d.Tax.Pct.String()})
	}
	for i := range b.Taxes {
		t := &b.Taxes[i]
		e.Tax = append(e.Tax, schemas.BillTax{Category: t.Category, Pct: t.Pct.String(), Base: text(t.Base), Amount: text(t.Amount),
			ExemptCode: t.ExemptCode, ExemptReason: t.ExemptReason})
	}
	for _, u := range b.Unsure {
		e.Cautions = append(e.Cautions, schemas.BillCaution(u))
	}
}

func (b *Bill) totals() schemas.BillTotals {
	t, text := &b.Totals, b.Currency.Text
	return schemas.BillTotals{Net: text(t.Net), Tax: text(t.Tax), Gross: text(t.Gross), Lines: text(t.Lines), Discounts: text(t.Discounts)}
}

func (b *Bill) line(l *Line) schemas.BillLine {
	out := schemas.BillLine{
		Text: l.Text, Quantity: l.Quantity.String(), Unit: l.Unit, Price: b.PriceText(l.Price), Amount: b.Currency.Text(l.Amount),
		Kind: l.Kind, Basis: l.Basis, Product: l.Product, UnitCode: l.UnitCode, Measured: l.Measured, Source: l.Source,
		TaxCategory: l.Tax.Category,
	}
	if l.Tax.Category != "" {
		out.TaxPct = l.Tax.Pct.String()
	}
	if l.UnitCode != CodeEach {
		out.Quantity = l.Quantity.StringFixed(b.Decimals)
	}
	if !l.Discount.IsZero() {
		out.Discount = b.Currency.Text(l.Discount)
	}
	if l.DiscountPct.IsPositive() {
		out.DiscountPct = l.DiscountPct.String()
	}
	if n := int64(l.N); n > 0 {
		out.AgreementLine = &n
	}
	return out
}

// PriceText writes a price with at least the currency's minor digits, and all
// of its own.
func (b *Bill) PriceText(price decimal.Decimal) string {
	digits, _ := b.Currency.Digits()
	if price.Equal(price.Truncate(digits)) {
		return price.StringFixed(digits)
	}
	return price.String()
}

// Issued reads the bill of an issued invoice back. An invoice of the first
// version of the contract has no taxes by line; its bill breaks the rules of
// Check that are about them.
func Issued(e *schemas.InvoiceIssued) (Bill, error) {
	r := reader{}
	b := Bill{Agreement: e.Agreement, Customer: e.Customer, Currency: money.Currency(e.Currency), Decimals: defaultDecimals}
	b.Rounding, r.err = money.ParseRounding(e.Rounding)
	if e.QuantityDecimals != nil {
		b.Decimals = int32(*e.QuantityDecimals)
	}
	for i := range e.Lines {
		b.Lines = append(b.Lines, r.line(&e.Lines[i]))
	}
	for i := range e.Discounts {
		d := &e.Discounts[i]
		b.Discounts = append(b.Discounts, Discount{Text: d.Text, Base: r.number(d.Base), Pct: r.number(d.Pct), Amount: r.number(d.Amount),
			Tax: Tax{Category: d.TaxCategory, Pct: r.number(d.TaxPct)}})
	}
	for i := range e.Tax {
		t := &e.Tax[i]
		b.Taxes = append(b.Taxes, TaxSum{Tax: Tax{t.Category, r.number(t.Pct), t.ExemptCode, t.ExemptReason}, Base: r.number(t.Base), Amount: r.number(t.Amount)})
	}
	b.restoreReasons()
	b.Totals = Totals{Lines: r.number(e.Totals.Lines), Discounts: r.number(e.Totals.Discounts), Net: r.number(e.Totals.Net), Tax: r.number(e.Totals.Tax), Gross: r.number(e.Totals.Gross)}
	if e.Totals.Lines == "" {
		b.Totals.Lines = b.Totals.Net
	}
	for _, c := range e.Cautions {
		b.Unsure = append(b.Unsure, Unsure(c))
	}
	b.Roundings = roundings(b.Rounding, b.Decimals, b.Currency, len(b.Discounts) > 0)
	if r.err != nil {
		return Bill{}, fault.Wrap(fmt.Sprintf("read invoice %s", e.Number), r.err)
	}
	return b, nil
}

// restoreReasons gives lines and discounts the reason of exemption that stands
// once, beside their category.
func (b *Bill) restoreReasons() {
	for i := range b.Lines {
		for _, t := range b.Taxes {
			if t.same(b.Lines[i].Tax) {
				b.Lines[i].Tax = t.Tax
			}
		}
	}
	for i := range b.Discounts {
		for _, t := range b.Taxes {
			if t.same(b.Discounts[i].Tax) {
				b.Discounts[i].Tax = t.Tax
			}
		}
	}
}

// reader keeps the first error.
type reader struct{ err error }

// number reads decimal text; "" is 0.
func (r *reader) number(text string) decimal.Decimal {
	if text == "" || r.err != nil {
		return decimal.Zero
	}
	var v decimal.Decimal
	v, r.err = money.Number(text)
	return v
}

func (r *reader) line(e *schemas.BillLine) Line {
	l := Line{
		Text: e.Text, Kind: e.Kind, Basis: e.Basis, Product: e.Product, Measured: e.Measured, Source: e.Source,
		Quantity: r.number(e.Quantity), Unit: e.Unit, UnitCode: e.UnitCode, Price: r.number(e.Price), Discount: r.number(e.Discount),
		DiscountPct: r.number(e.DiscountPct), Amount: r.number(e.Amount), Tax: Tax{Category: e.TaxCategory, Pct: r.number(e.TaxPct)},
	}
	if e.AgreementLine != nil {
		l.N = int(*e.AgreementLine)
	}
	return l
}

// CreditOf makes the credit note that takes an issued invoice back: the exact
// negative of all its amounts, with its parties, jobs, period and evidence.
// How it is paid out and the document's own digest are left to whoever issues
// it.
func CreditOf(e *schemas.InvoiceIssued, number schemas.InvoiceNo, issuedOn, reason string) (schemas.InvoiceCredited, error) {
	b, err := Issued(e)
	if err != nil {
		return schemas.InvoiceCredited{}, err
	}
	if len(e.Tax) > 0 { // of the first version of the contract, the totals alone are known
		if err := b.checked("credit invoice "+string(e.Number), fault.Input); err != nil {
			return schemas.InvoiceCredited{}, err
		}
	}
	var n schemas.InvoiceIssued
	c := Credit(b)
	c.Fill(&n)
	return schemas.InvoiceCredited{
		Number: number, Credits: e.Number, CreditsIssuedOn: e.IssuedOn, IssuedOn: issuedOn, Reason: reason,
		Currency: n.Currency, Lines: n.Lines, Totals: n.Totals, Discounts: n.Discounts, Tax: n.Tax, Rounding: n.Rounding, QuantityDecimals: n.QuantityDecimals,
		Digest: e.Digest, Agreement: e.Agreement, Jobs: e.Jobs, Seller: e.Seller, Buyer: e.Buyer, Evidence: e.Evidence, Cautions: e.Cautions,
		Customer: e.Customer, Job: e.Job, From: e.From, To: e.To,
	}, nil
}

// Credited reads the bill of a credit note back; its amounts are negative.
func Credited(e *schemas.InvoiceCredited) (Bill, error) {
	return Issued(&schemas.InvoiceIssued{
		Number: e.Number, Customer: e.Customer, Currency: e.Currency, Lines: e.Lines, Totals: e.Totals, Agreement: e.Agreement,
		Discounts: e.Discounts, Tax: e.Tax, Rounding: e.Rounding, QuantityDecimals: e.QuantityDecimals, Cautions: e.Cautions,
	})
}
