package invoice

import (
	"fmt"
	"regexp"
	"strings"

	"hopperbook/reconcile/rating"
	"hopperbook/schemas"
)

// Check holds a document against the rules every one of ours keeps before it
// is issued: the arithmetic of its bill (rating.Bill.Check), and that it has a
// number (BR-02), a day (BR-03), a seller and a buyer (BR-06, BR-07) and a line
// (BR-16); a credit note names what it takes back (BR-55).
func Check(d *Document) []rating.Breach {
	c := checker{d: d, broken: d.Bill.Check()}
	c.need("BR-02", d.Number != "", "the document has no number")
	c.need("BR-03", d.IssuedOn != "", "the document has no day of issue")
	c.need("BR-06", d.Seller.Name != "", "the seller has no name")
	c.need("BR-07", d.Buyer.Name != "", "the buyer has no name")
	c.need("BR-16", len(d.Bill.Lines) > 0, "the document has no line")
	c.need("BR-55", !d.Credit || d.Credits != "", "the credit note does not say which invoice it takes back")
	for i := range d.Bill.Lines {
		c.need("BR-CO-04", d.Bill.Lines[i].Tax.Category != "", "line %d has no tax category", i+1)
	}
	return c.broken
}

// CheckUBL holds a document against Check and what EN 16931 asks beyond it:
//
//   - BR-CL-04 the currency is one of ISO 4217; BR-DEC: amounts have at most
//     two decimals, which three-decimal currencies do not keep
//   - BR-09, BR-11, BR-CL-14: the parties' countries, of ISO 3166-1
//   - BR-CL-17, BR-CL-18: tax categories; BR-CL-23: unit codes
//   - BR-CL-22: a code of exemption has the form of the VATEX list, which grows
//   - BR-CO-09: tax numbers begin with a country's code (or EL)
//   - BR-CO-25: what is to be paid has a due day or terms
//   - BR-CO-26: the seller has a tax number or a number in a register; outside
//     the scope of tax the latter, as tax numbers must not stand there
//   - BR-S-02 and its like: taxed, zero-rated and exempt lines need the
//     seller's tax number; BR-AE-02: reverse charge the buyer's too
//   - BR-E-10, BR-AE-10, BR-O-10: a reason of exemption
//   - BR-O-02, BR-O-11: outside the scope stands alone, without tax numbers
func CheckUBL(d *Document) []rating.Breach {
	c := checker{d: d, broken: Check(d)}
	digits, known := d.Bill.Currency.Digits()
	c.need("BR-CL-04", known, "%q is no currency of ISO 4217", d.Bill.Currency)
	c.need("BR-DEC", digits <= 2, "amounts in %s have %d decimals, EN 16931 allows 2", d.Bill.Currency, digits)
	c.need("BR-09", d.Seller.Country != "", "the seller has no country")
	c.need("BR-11", d.Buyer.Country != "", "the buyer has no country")
	for _, p := range []schemas.BillParty{d.Seller, d.Buyer} {
		c.need("BR-CL-14", p.Country == "" || country(p.Country), "%q is no country of ISO 3166-1", p.Country)
		c.need("BR-CO-09", p.TaxID == "" || prefixed(p.TaxID), "the tax number %q of %s does not begin with a country's code", p.TaxID, p.Name)
	}
	c.need("BR-CO-25", d.Credit || !d.Bill.Totals.Gross.IsPositive() || d.DueOn != "" || d.PaymentNote != "", "the document says neither when it is due nor how it is paid")
	c.need("BR-CO-26", taxNumbers(&d.Bill) && d.Seller.TaxID != "" || d.Seller.LegalID != "", "the seller has no number in a register (legal_id) and no tax number that may stand on it")
	for i := range d.Bill.Lines {
		code := d.Bill.Lines[i].UnitCode
		c.need("BR-CL-23", known23(code), "line %d has unit code %q", i+1, code)
	}
	for _, t := range d.Bill.Taxes {
		c.tax(t.Tax)
	}
	return c.broken
}

type checker struct {
	d      *Document
	broken []rating.Breach
}

func (c *checker) need(rule string, ok bool, format string, args ...any) {
	if !ok {
		c.broken = append(c.broken, rating.Breach{Rule: rule, Text: fmt.Sprintf(format, args...)})
	}
}

func (c *checker) tax(t rating.Tax) {
	seller, buyer := c.d.Seller.TaxID != "", c.d.Buyer.TaxID != "" || c.d.Buyer.LegalID != ""
	reason := t.ExemptCode != "" || t.ExemptReason != ""
	c.need("BR-CL-22", t.ExemptCode == "" || vatex.MatchString(t.ExemptCode), "%q is no code of exemption: they are like VATEX-EU-132; words belong into exempt_reason", t.ExemptCode)
	switch t.Category {
	case schemas.TaxStandard, schemas.TaxZero:
		c.need("BR-"+t.Category+"-02", seller, "tax category %s needs the seller's tax number", t.Category)
	case schemas.TaxExempt:
		c.need("BR-E-02", seller, "tax category E needs the seller's tax number")
		c.need("BR-E-10", reason, "tax category E needs a reason")
	case schemas.TaxReverseCharge:
		c.need("BR-AE-02", seller && buyer, "reverse charge needs the seller's tax number and a number of the buyer")
		c.need("BR-AE-10", reason, "tax category AE needs a reason")
	case schemas.TaxOutOfScope:
		c.need("BR-O-10", reason, "tax category O needs a reason")
		c.need("BR-O-11", len(c.d.Bill.Taxes) == 1, "tax category O cannot stand with others in one document")
	default:
		c.need("BR-CL-18", false, "%q is no tax category", t.Category)
	}
}

var vatex = regexp.MustCompile(`^VATEX-[A-Z]{2}-[0-9A-Z]+(-[0-9A-Z]+)*$`)

// taxNumbers reports whether a document of the bill may bear tax numbers (BR-O-02 and
// its like).
func taxNumbers(b *rating.Bill) bool {
	return len(b.Taxes) == 0 || b.Taxes[0].Category != schemas.TaxOutOfScope
}

func known23(code string) bool {
	switch code {
	case rating.CodeTonne, rating.CodeHectare, rating.CodeKm, rating.CodeHour, rating.CodeEach:
		return true
	}
	return false
}

func prefixed(taxID string) bool {
	return len(taxID) > 2 && (country(taxID[:2]) || strings.HasPrefix(taxID, "EL"))
}
