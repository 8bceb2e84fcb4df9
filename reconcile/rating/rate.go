package rating

import (
	"fmt"
	"slices"
	"strings"

	"github.com/shopspring/decimal"

	"hopperbook/schemas"
	"hopperbook/schemas/fault"
)

// Rate bills the quantities by the agreement. tax stands for lines where
// neither they nor the agreement say one; the zero Tax stands for none, and
// then such a line is refused. A line of a product that the job has not is
// left out; a line that counts 0 of what was measured stays, at amount 0.
//
// Degenerate cases: a quantity that a line needs and nothing measured, an
// agreement whose lines are inconsistent, a currency not in ISO 4217 and an
// amount over 15 digits are errors; a bill without any line is one too.
func Rate(a schemas.RegisterAgreement, q Quantities, tax Tax) (Bill, error) {
	op := "bill by agreement " + string(a.Agreement)
	ts, err := read(&a, tax)
	if err != nil {
		return Bill{}, fault.Wrap(op, err)
	}
	b := Bill{Agreement: a.Agreement, Customer: a.Customer, Currency: ts.currency, Rounding: ts.rounding, Decimals: ts.decimals, Unsure: slices.Clone(q.Unsure)}
	slices.SortFunc(b.Unsure, func(u, v Unsure) int { return strings.Compare(u.Kind+"\x00"+u.Text, v.Kind+"\x00"+v.Text) })
	b.Unsure = slices.Compact(b.Unsure)
	for i := range ts.lines {
		if err := b.add(ts, &ts.lines[i], &q); err != nil {
			return Bill{}, fault.Wrap(op, err)
		}
	}
	b.close(ts.discountPct)
	if b.minimum(ts) {
		b.close(ts.discountPct)
	}
	b.Roundings = roundings(b.Rounding, b.Decimals, b.Currency, len(b.Discounts) > 0)
	switch {
	case len(b.Lines) == 0:
		return Bill{}, fault.Newf(op, fault.Input, "nothing that was done has a price in it", "check the products its lines name")
	case len(b.Lines) > maxLines:
		return Bill{}, fault.Newf(op, fault.Input, fmt.Sprintf("it gives %d lines, a document holds %d", len(b.Lines), maxLines), "bill shorter periods")
	}
	if err := b.oneReason(); err != nil {
		return Bill{}, fault.Wrap(op, err)
	}
	if err := b.sized(); err != nil {
		return Bill{}, fault.Wrap(op, err)
	}
	return b, b.checked(op, fault.Internal)
}

// maxLines of an issued document, as in the contract.
const maxLines = 2000

// add makes a term's lines: one, or one a slice.
func (b *Bill) add(ts *terms, t *term, q *Quantities) error {
	m := measured{exact: decimal.New(1, 0)}
	if t.line.Kind != schemas.LineFixed {
		var err error
		if m, err = q.of(t); err != nil {
			return err
		}
		if m.none {
			return nil
		}
		m.exact = ts.rounding.Round(m.exact, ts.decimals)
	}
	left := t.discount
	for _, s := range t.slices(m.exact) {
		l := t.start(m)
		l.Text += s.text
		l.Quantity, l.Price = s.quantity, s.price
		exact := l.Quantity.Mul(l.Price)
		amount := ts.rounding.Round(exact, ts.digits)
		if t.discountPct.IsPositive() {
			l.Amount = ts.rounding.Round(exact.Mul(decimal.New(100, 0).Sub(t.discountPct)).Shift(-2), ts.digits)
			l.Discount = amount.Sub(l.Amount)
		} else {
			l.Discount = decimal.Min(left, amount)
			l.Amount = amount.Sub(l.Discount)
			left = left.Sub(l.Discount)
		}
		b.Lines = append(b.Lines, l)
	}
	return nil
}

// start is a line with all but quantity, price and amounts.
func (t *term) start(m measured) Line {
	u := t.unit()
	text := t.line.Text
	if text == "" {
		text = defaultText(&t.line)
	}
	return Line{Text: text, Kind: t.line.Kind, Basis: t.line.Basis, Product: t.line.Product, N: t.n, Measured: m.text, Source: m.from,
		Unit: u.name, UnitCode: u.code, DiscountPct: t.discountPct, Tax: t.tax}
}

// slice is a quantity at one price.
type slice struct {
	text            string
	quantity, price decimal.Decimal
}

// slices prices a rounded quantity: whole, or by tiers.
func (t *term) slices(quantity decimal.Decimal) []slice {
	u := t.unit().name
	if t.line.StepsRule != schemas.StepsTiered || len(t.steps) == 0 {
		s := slice{quantity: quantity, price: t.price}
		for _, step := range t.steps {
			if quantity.GreaterThanOrEqual(step.from) {
				s.price, s.text = step.price, fmt.Sprintf(", from %s %s", step.from, u)
			}
		}
		return []slice{s}
	}
	var all []slice
	from, price := decimal.Zero, t.price
	for i := 0; i <= len(t.steps); i++ {
		if i > 0 && !quantity.GreaterThan(from) {
			break
		}
		to, next := quantity, decimal.Zero
		if i < len(t.steps) {
			to, next = decimal.Min(quantity, t.steps[i].from), t.steps[i].price
		}
		all = append(all, slice{fmt.Sprintf(", %s to %s %s", from, to, u), to.Sub(from), price})
		from, price = to, next
	}
	return all
}

// minimum adds what is missing to the minimum charge; false where nothing is.
func (b *Bill) minimum(ts *terms) bool {
	if ts.minimum == nil || !b.Totals.Net.LessThan(ts.minimum.price) {
		return false
	}
	l := ts.minimum.start(measured{})
	l.Text = fmt.Sprintf("%s of %s %s: what is missing", l.Text, b.Currency.Text(ts.minimum.price), b.Currency)
	l.Quantity, l.Price = decimal.New(1, 0), ts.minimum.price.Sub(b.Totals.Net)
	l.Amount = l.Price
	b.Lines = append(b.Lines, l)
	return true
}

// oneReason refuses two reasons of exemption under one category: a document
// has one row, with one reason, for each.
func (b *Bill) oneReason() error {
	for i := range b.Lines {
		t, row := b.Lines[i].Tax, b.taxSum(b.Lines[i].Tax)
		if t.ExemptCode != row.ExemptCode || t.ExemptReason != row.ExemptReason {
			return fault.Newf("sum taxes of category "+t.Category, fault.Input, "its lines give different reasons of exemption", "give them one reason, or bill them apart")
		}
	}
	return nil
}

// sized refuses amounts that no document holds, before they are called a fault.
func (b *Bill) sized() error {
	limit := decimal.New(tooLarge, 0)
	all := []decimal.Decimal{b.Totals.Lines, b.Totals.Gross}
	for i := range b.Lines {
		all = append(all, b.Lines[i].Amount.Add(b.Lines[i].Discount))
	}
	for _, v := range all {
		if v.GreaterThanOrEqual(limit) {
			return fault.Newf("bill", fault.Input, fmt.Sprintf("an amount of %s", v), "check prices and quantities")
		}
	}
	return nil
}
