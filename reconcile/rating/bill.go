package rating

import (
	"fmt"

	"github.com/shopspring/decimal"

	"hopperbook/schemas"
	"hopperbook/schemas/money"
)

// Line is one line of a bill. Amount = round(Quantity x Price) - Discount.
type Line struct {
	Text        string            `json:"text"`
	Kind        string            `json:"kind,omitempty"`
	Basis       string            `json:"basis,omitempty"`
	Product     schemas.ProductID `json:"product,omitempty"`
	N           int               `json:"agreement_line,omitempty"` // of the agreement, from 1; 0: not known
	Measured    string            `json:"measured,omitempty"`       // before it was rounded: "6120 kg"
	Source      string            `json:"source,omitempty"`
	Quantity    decimal.Decimal   `json:"quantity"`
	Unit        string            `json:"unit"` // to people: t, ha, km, h, each
	UnitCode    string            `json:"unit_code,omitempty"`
	Price       decimal.Decimal   `json:"price"`
	Discount    decimal.Decimal   `json:"discount"`
	DiscountPct decimal.Decimal   `json:"discount_pct"` // 0: none, or an amount
	Amount      decimal.Decimal   `json:"amount"`       // before tax
	Tax         Tax               `json:"tax"`
}

// Discount is taken off all lines of one tax category and rate, but off no
// minimum charge.
type Discount struct {
	Text   string          `json:"text"`
	Base   decimal.Decimal `json:"base"`
	Pct    decimal.Decimal `json:"pct"`
	Amount decimal.Decimal `json:"amount"`
	Tax    Tax             `json:"tax"`
}

// TaxSum is the tax of one category and rate.
type TaxSum struct {
	Tax
	Base   decimal.Decimal `json:"base"` // lines less discounts
	Amount decimal.Decimal `json:"amount"`
}

// Totals closes a bill.
type Totals struct {
	Lines     decimal.Decimal `json:"lines"`
	Discounts decimal.Decimal `json:"discounts"`
	Net       decimal.Decimal `json:"net"` // lines - discounts
	Tax       decimal.Decimal `json:"tax"`
	Gross     decimal.Decimal `json:"gross"` // net + tax
}

// Bill is what is owed, or with all signs turned what is given back.
type Bill struct {
	Agreement schemas.AgreementID `json:"agreement"`
	Customer  schemas.CustomerID  `json:"customer"`
	Currency  money.Currency      `json:"currency"`
	Rounding  money.Rounding      `json:"rounding"`
	Decimals  int32               `json:"quantity_decimals"`
	Lines     []Line              `json:"lines"`
	Discounts []Discount          `json:"discounts"`
	Taxes     []TaxSum            `json:"taxes"`
	Totals    Totals              `json:"totals"`
	Unsure    []Unsure            `json:"unsure"`
	Roundings []string            `json:"roundings"` // the named steps, for people
}

// roundings names the steps of rounding.
func roundings(r money.Rounding, decimals int32, c money.Currency, discount bool) []string {
	rule := "half away from zero"
	if r == money.HalfEven {
		rule = "half to even"
	}
	digits, _ := c.Digits()
	all := []string{
		fmt.Sprintf("Quantities are rounded once a line, to %d decimals of t, ha, km or h (%s).", decimals, rule),
		fmt.Sprintf("Amounts are rounded once a line, to %d decimals of %s (%s).", digits, c, rule),
	}
	if discount {
		all = append(all, "The discount is rounded once a tax rate, on the sum of its lines.")
	}
	return append(all, "Tax is rounded once a rate, on the sum of its lines less discounts.")
}

// close makes discounts, taxes and totals of the lines.
func (b *Bill) close(pct decimal.Decimal) {
	b.Discounts, b.Taxes, b.Totals = nil, nil, Totals{}
	digits, _ := b.Currency.Digits()
	if pct.IsPositive() {
		b.discount(pct, digits)
	}
	for i := range b.Lines {
		b.taxSum(b.Lines[i].Tax).Base = b.taxSum(b.Lines[i].Tax).Base.Add(b.Lines[i].Amount)
		b.Totals.Lines = b.Totals.Lines.Add(b.Lines[i].Amount)
	}
	for _, d := range b.Discounts {
		b.taxSum(d.Tax).Base = b.taxSum(d.Tax).Base.Sub(d.Amount)
		b.Totals.Discounts = b.Totals.Discounts.Add(d.Amount)
	}
	for i := range b.Taxes {
		t := &b.Taxes[i]
		t.Amount = b.Rounding.Round(t.Base.Mul(t.Pct).Shift(-2), digits)
		b.Totals.Tax = b.Totals.Tax.Add(t.Amount)
	}
	b.Totals.Net = b.Totals.Lines.Sub(b.Totals.Discounts)
	b.Totals.Gross = b.Totals.Net.Add(b.Totals.Tax)
}

func (b *Bill) discount(pct decimal.Decimal, digits int32) {
	for i := range b.Lines {
		l := &b.Lines[i]
		if l.Kind == schemas.LineMinimum {
			continue
		}
		at := -1
		for k := range b.Discounts {
			if b.Discounts[k].Tax.same(l.Tax) {
				at = k
			}
		}
		if at < 0 {
			at = len(b.Discounts)
			b.Discounts = append(b.Discounts, Discount{Text: "Discount " + pct.String() + " %", Pct: pct, Tax: l.Tax})
		}
		b.Discounts[at].Base = b.Discounts[at].Base.Add(l.Amount)
	}
	for k := range b.Discounts {
		d := &b.Discounts[k]
		d.Amount = b.Rounding.Round(d.Base.Mul(pct).Shift(-2), digits)
	}
}

// taxSum finds the row of a tax, or makes it; rows stand in the order of the
// first line that has them.
func (b *Bill) taxSum(t Tax) *TaxSum {
	for i := range b.Taxes {
		if b.Taxes[i].same(t) {
			return &b.Taxes[i]
		}
	}
	b.Taxes = append(b.Taxes, TaxSum{Tax: t})
	return &b.Taxes[len(b.Taxes)-1]
}
