package rating

import (
	"fmt"
	"slices"
	"strings"

	"github.com/shopspring/decimal"

	"hopperbook/schemas"
	"hopperbook/schemas/fault"
)

// Breach is a rule that a bill breaks. Rules that EN 16931 has too carry its
// name.
type Breach struct {
	Rule string `json:"rule"`
	Text string `json:"text"`
}

// Check holds a bill against its own arithmetic, from the lines up, and lists
// every rule it breaks. It works on invoices and credit notes alike.
//
//   - LINE: a line is round(quantity x price) less its discount
//   - BR-27: no price is negative
//   - BR-DEC: no amount has more digits than its currency
//   - BR-CO-10: the sum of lines; BR-CO-11: the sum of discounts
//   - BR-CO-13: net = lines - discounts
//   - BR-CO-14: tax = sum over rates; BR-CO-15: gross = net + tax
//   - BR-CO-17: a rate's tax = round(base x rate)
//   - BR-CO-18: every line's and discount's tax has its row, which sums them
//   - SIZE: no amount of more than 15 digits before the point
func (b *Bill) Check() []Breach {
	c := bill{Bill: b}
	c.digits, _ = b.Currency.Digits()
	c.lines()
	c.discounts()
	c.rows()
	c.taxes()
	t := &b.Totals
	c.equal("BR-CO-13", "net", t.Net, t.Lines.Sub(t.Discounts))
	c.equal("BR-CO-15", "total with tax", t.Gross, t.Net.Add(t.Tax))
	c.amounts("total", t.Lines, t.Discounts, t.Net, t.Tax, t.Gross)
	return c.broken
}

// checked is Check as an error: nothing that breaks a rule leaves the package.
func (b *Bill) checked(op string, code fault.Code) error {
	broken := b.Check()
	if len(broken) == 0 {
		return nil
	}
	all := make([]string, len(broken))
	for i, x := range broken {
		all[i] = x.Rule + ": " + x.Text
	}
	return fault.Newf(op, code, strings.Join(all, "; "), "nothing is billed")
}

type bill struct {
	*Bill
	digits int32
	broken []Breach
}

func (c *bill) fail(rule, format string, args ...any) {
	c.broken = append(c.broken, Breach{rule, fmt.Sprintf(format, args...)})
}

func (c *bill) equal(rule, what string, got, want decimal.Decimal) {
	if !got.Equal(want) {
		c.fail(rule, "%s is %s, must be %s", what, got, want)
	}
}

// tooLarge is the first amount that the contract's decimals cannot hold.
const tooLarge = 1_000_000_000_000_000

func (c *bill) amounts(what string, all ...decimal.Decimal) {
	for _, v := range all {
		if !v.Equal(v.Truncate(c.digits)) {
			c.fail("BR-DEC", "%s %s has more than %d decimals", what, v, c.digits)
		}
		if v.Abs().GreaterThanOrEqual(decimal.New(tooLarge, 0)) {
			c.fail("SIZE", "%s %s has more than 15 digits", what, v)
		}
	}
}

func (c *bill) lines() {
	sum := decimal.Zero
	for i := range c.Lines {
		l := &c.Lines[i]
		what := fmt.Sprintf("line %d", i+1)
		c.equal("LINE", what, l.Amount, c.Rounding.Round(l.Quantity.Mul(l.Price), c.digits).Sub(l.Discount))
		if l.Price.IsNegative() {
			c.fail("BR-27", "%s has price %s", what, l.Price)
		}
		if l.Amount.Sign()*l.Quantity.Sign() < 0 || l.Discount.Sign()*l.Quantity.Sign() < 0 {
			c.fail("LINE", "%s: amount %s or discount %s against quantity %s", what, l.Amount, l.Discount, l.Quantity)
		}
		c.amounts(what, l.Amount, l.Discount)
		sum = sum.Add(l.Amount)
	}
	c.equal("BR-CO-10", "sum of lines", c.Totals.Lines, sum)
}

func (c *bill) discounts() {
	sum := decimal.Zero
	for i := range c.Discounts {
		d := &c.Discounts[i]
		base := decimal.Zero
		for k := range c.Lines {
			if l := &c.Lines[k]; l.Tax.same(d.Tax) && l.Kind != schemas.LineMinimum {
				base = base.Add(l.Amount)
			}
		}
		c.equal("BR-CO-11", "base of the discount", d.Base, base)
		c.equal("BR-CO-11", "discount", d.Amount, c.Rounding.Round(d.Base.Mul(d.Pct).Shift(-2), c.digits))
		c.amounts("discount", d.Amount, d.Base)
		sum = sum.Add(d.Amount)
	}
	c.equal("BR-CO-11", "sum of discounts", c.Totals.Discounts, sum)
}

// rows holds that what is taxed has its row.
func (c *bill) rows() {
	has := func(t Tax) bool {
		return slices.ContainsFunc(c.Taxes, func(row TaxSum) bool { return row.same(t) })
	}
	for i := range c.Lines {
		if !has(c.Lines[i].Tax) {
			c.fail("BR-CO-18", "the tax of line %d has no row", i+1)
		}
	}
	for i := range c.Discounts {
		if !has(c.Discounts[i].Tax) {
			c.fail("BR-CO-18", "the tax of discount %d has no row", i+1)
		}
	}
}

func (c *bill) taxes() {
	sum, bases := decimal.Zero, decimal.Zero
	for i := range c.Taxes {
		t := &c.Taxes[i]
		what := "tax " + t.Category + " " + t.Pct.String() + " %"
		base := decimal.Zero
		for k := range c.Lines {
			if c.Lines[k].Tax.same(t.Tax) {
				base = base.Add(c.Lines[k].Amount)
			}
		}
		for k := range c.Discounts {
			if c.Discounts[k].Tax.same(t.Tax) {
				base = base.Sub(c.Discounts[k].Amount)
			}
		}
		for k := range c.Taxes[:i] {
			if c.Taxes[k].same(t.Tax) {
				c.fail("BR-CO-18", "%s stands twice", what)
			}
		}
		c.equal("BR-CO-18", "base of "+what, t.Base, base)
		c.equal("BR-CO-17", what, t.Amount, c.Rounding.Round(t.Base.Mul(t.Pct).Shift(-2), c.digits))
		c.amounts(what, t.Base, t.Amount)
		sum, bases = sum.Add(t.Amount), bases.Add(t.Base)
	}
	c.equal("BR-CO-14", "tax", c.Totals.Tax, sum)
	c.equal("BR-CO-18", "sum of what is taxed", bases, c.Totals.Net)
}
