package rating

import (
	"fmt"
	"slices"

	"github.com/shopspring/decimal"

	"hopperbook/schemas/fault"
)

// Parts is a bill split over two invoices.
type Parts struct {
	First       Bill         `json:"first"`
	Second      Bill         `json:"second"`
	Differences []Difference `json:"differences"`
}

// Difference is where two invoices come to other than the one would have.
type Difference struct {
	What string          `json:"what"` // "line 3", "net", "tax", "total"
	By   decimal.Decimal `json:"by"`   // two invoices less the one
	Text string          `json:"text"`
}

// Split divides a bill between two invoices, the first with the share (above 0
// and below 1) of every line, as where two pay for one job. Quantities are
// divided, so that they add up, to as many decimals as the parts have, at most
// six; prices stay, also those of steps and of a
// minimum that the whole reached. Amounts are then rounded on each invoice,
// whence each line's two amounts differ from the one by at most one minor
// unit; Differences says where, also what becomes of net, tax and total.
func Split(whole Bill, share decimal.Decimal) (Parts, error) {
	const op = "split a bill"
	if !share.IsPositive() || !share.LessThan(decimal.New(1, 0)) {
		return Parts{}, fault.Newf(op, fault.Usage, "the share is "+share.String(), "a share lies between 0 and 1")
	}
	if err := whole.checked(op, fault.Input); err != nil {
		return Parts{}, err
	}
	p := Parts{First: part(&whole), Second: part(&whole)}
	p.First.Decimals = partDecimals(&whole, share)
	p.Second.Decimals = p.First.Decimals
	for _, b := range []*Bill{&p.First, &p.Second} {
		b.Roundings = roundings(b.Rounding, b.Decimals, b.Currency, len(b.Discounts) > 0)
	}
	for i := range whole.Lines {
		p.line(&whole, &whole.Lines[i], share)
	}
	pct := decimal.Zero
	if len(whole.Discounts) > 0 {
		pct = whole.Discounts[0].Pct
	}
	p.First.close(pct)
	p.Second.close(pct)
	p.compare(&whole)
	for _, b := range []*Bill{&p.First, &p.Second} {
		if err := b.checked(op, fault.Internal); err != nil {
			return Parts{}, err
		}
	}
	return p, nil
}

func part(whole *Bill) Bill {
	b := *whole
	b.Lines = make([]Line, 0, len(whole.Lines))
	b.Unsure = slices.Clone(whole.Unsure)
	return b
}

// mostDecimals is as many as the contract has for quantities.
const mostDecimals = 6

// partDecimals are the least that the parts of all quantities need: a third of one
// fixed charge is not 0 of it.
func partDecimals(whole *Bill, share decimal.Decimal) int32 {
	digits := whole.Decimals
	for i := range whole.Lines {
		part := whole.Lines[i].Quantity.Mul(share)
		for digits < mostDecimals && !part.Equal(part.Truncate(digits)) {
			digits++
		}
	}
	return digits
}

// line divides one line. A discount in percent stays one; an amount is divided
// as the amounts are.
func (p *Parts) line(whole *Bill, l *Line, share decimal.Decimal) {
	digits, _ := whole.Currency.Digits()
	round := func(v decimal.Decimal) decimal.Decimal { return whole.Rounding.Round(v, digits) }
	first, second := *l, *l
	first.Quantity = whole.Rounding.Round(l.Quantity.Mul(share), p.First.Decimals)
	second.Quantity = l.Quantity.Sub(first.Quantity)
	first.Amount, second.Amount = round(first.Quantity.Mul(l.Price)), round(second.Quantity.Mul(l.Price))
	if l.DiscountPct.IsPositive() {
		rest := decimal.New(100, 0).Sub(l.DiscountPct)
		for _, x := range []*Line{&first, &second} {
			amount := x.Amount
			x.Amount = round(x.Quantity.Mul(x.Price).Mul(rest).Shift(-2))
			x.Discount = amount.Sub(x.Amount)
		}
	} else {
		both := first.Amount.Add(second.Amount)
		first.Discount = decimal.Zero
		if !both.IsZero() {
			first.Discount = closer(l.Discount.Mul(first.Amount).DivRound(both, digits), first.Amount)
		}
		second.Discount = closer(l.Discount.Sub(first.Discount), second.Amount)
		first.Amount, second.Amount = first.Amount.Sub(first.Discount), second.Amount.Sub(second.Discount)
	}
	p.First.Lines, p.Second.Lines = append(p.First.Lines, first), append(p.Second.Lines, second)
	p.differ(whole, fmt.Sprintf("line %d", len(p.First.Lines)), first.Amount.Add(second.Amount), l.Amount)
}

// closer is the one of the two that is closer to 0.
func closer(a, b decimal.Decimal) decimal.Decimal {
	if a.Abs().LessThan(b.Abs()) {
		return a
	}
	return b
}

func (p *Parts) compare(whole *Bill) {
	f, s, w := &p.First.Totals, &p.Second.Totals, &whole.Totals
	p.differ(whole, "net", f.Net.Add(s.Net), w.Net)
	p.differ(whole, "tax", f.Tax.Add(s.Tax), w.Tax)
	p.differ(whole, "total", f.Gross.Add(s.Gross), w.Gross)
}

func (p *Parts) differ(whole *Bill, what string, two, one decimal.Decimal) {
	if two.Equal(one) {
		return
	}
	c := whole.Currency
	text := fmt.Sprintf("%s: the two invoices come to %s %s, one invoice to %s", what, c.Text(two), c, c.Text(one))
	p.Differences = append(p.Differences, Difference{what, two.Sub(one), text})
}

// Credit is the exact negative of a bill: quantities, amounts, taxes and
// totals with their signs turned, prices and rates as they are. Crediting a
// credit gives the bill back.
func Credit(b Bill) Bill {
	c := b
	c.Lines, c.Discounts, c.Taxes = slices.Clone(b.Lines), slices.Clone(b.Discounts), slices.Clone(b.Taxes)
	c.Unsure, c.Roundings = slices.Clone(b.Unsure), slices.Clone(b.Roundings)
	turn := func(all ...*decimal.Decimal) {
		for _, v := range all {
			*v = v.Neg()
		}
	}
	for i := range c.Lines {
		turn(&c.Lines[i].Quantity, &c.Lines[i].Discount, &c.Lines[i].Amount)
	}
	for i := range c.Discounts {
		turn(&c.Discounts[i].Base, &c.Discounts[i].Amount)
	}
	for i := range c.Taxes {
		turn(&c.Taxes[i].Base, &c.Taxes[i].Amount)
	}
	turn(&c.Totals.Lines, &c.Totals.Discounts, &c.Totals.Net, &c.Totals.Tax, &c.Totals.Gross)
	return c
}
