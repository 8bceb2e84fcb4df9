package rating

import (
	"math"
	"strings"
	"testing"

	"github.com/shopspring/decimal"

	"hopperbook/schemas"
	"hopperbook/schemas/fault"
)

// What is not billed, and why.
func TestRefusals(t *testing.T) {
	for _, r := range []struct{ agreement, quantities, says string }{
		{"EUR | docket 28.50", "s6120", "no docket quantity is known"},
		{"EUR | spread 28.50", "", "no spread quantity is known"},
		{"EUR | boundary 9", "c100", "no boundary quantity"},
		{"EUR | km 2", "s1", "no km quantity"},
		{"EUR | h 2", "km3", "no h quantity"},
		{"EUR | docket 1", "d100 lime s100", "no docket quantity"}, // one product of two
		{"EUR | spread 10 of lime", "s100", "nothing that was done has a price"},
		{"XXX | fixed 1", "", "no currency"},
		{"ABC | fixed 1", "", "no currency"},
		{"EUR | fixed -1", "", "negative"},
		{"EUR | fixed 1e3", "", "no decimal number"},
		{"EUR | fixed x", "", "no decimal number"},
		{"EUR | min 250 | min 260", "", "line 1 is a minimum charge as well"},
		{"EUR | min 250.001", "", "more than the 2 decimals of EUR"},
		{"JPY | min 250.5", "", "more than the 0 decimals of JPY"},
		{"EUR | min 250 -5", "", "has no discount"},
		{"EUR | fixed 40 -0.001", "", "more than the 2 decimals"},
		{"EUR | fixed 40 -101%", "", "more than 100"},
		{"EUR -101% | fixed 40", "", "more than 100"},
		{"EUR | fixed 40 -5% -5", "", "given twice"},
		{"EUR | fixed 40 step 1:2", "", "cannot have steps"},
		{"EUR | spread 30 step 50:26,50:24", "s1", "begins at 50, not above 50"},
		{"EUR | spread 30 tier 0:26", "s1", "not above 0"},
		{"EUR q2 | spread 30 tier 5.125:26", "s1", "quantities have 2 decimals"},
		{"EUR | spread 30 tier 5:-1", "s1", "negative"},
		{"EUR | spread 30 tier -5:1", "s1", "negative"},
		{"EUR q7 | fixed 1", "", "quantity_decimals is 7"},
		{"EUR S0 | fixed 1", "", "rate above 0"},
		{"EUR S120 | fixed 1", "", "more than 100"},
		{"EUR Q | fixed 1", "", "no tax category"},
		{"EUR | fixed 1 S0", "", "rate above 0"},
		{"EUR | spread 999999999999999 ", "s1000000", "an amount of"},
	} {
		_, err := Rate(agreement(t, r.agreement), quantities(t, r.quantities), Tax{})
		if err == nil || !strings.Contains(err.Error(), r.says) || fault.CodeOf(err) != fault.Input {
			t.Errorf("%s x %s: %v, want %q", r.agreement, r.quantities, err, r.says)
		}
	}
}

// What cannot be written in one line of the tests.
func TestOddAgreements(t *testing.T) {
	for says, change := range map[string]func(a *schemas.RegisterAgreement){
		"its basis is":         func(a *schemas.RegisterAgreement) { a.Lines[0].Basis = "" },
		"docket, loaded":       func(a *schemas.RegisterAgreement) { a.Lines[0].Basis = "boundary" },
		"boundary or covered":  func(a *schemas.RegisterAgreement) { a.Lines[0].Kind = "per_hectare" },
		"names no product":     func(a *schemas.RegisterAgreement) { a.Lines[0].Kind = "product" },
		"kind is not known":    func(a *schemas.RegisterAgreement) { a.Lines[0].Kind = "per_moon" },
		"has no lines":         func(a *schemas.RegisterAgreement) { a.Lines = nil },
		"no rounding rule":     func(a *schemas.RegisterAgreement) { a.Rounding = "down" },
		"needs a reason":       func(a *schemas.RegisterAgreement) { a.TaxCategory, a.TaxPct = "E", "" },
		"different reasons":    func(a *schemas.RegisterAgreement) { twoReasons(a) },
		"no tax category is":   func(a *schemas.RegisterAgreement) { a.TaxCategory, a.TaxPct = "", "" },
		"no reason of exempti": func(a *schemas.RegisterAgreement) { a.TaxCategory, a.TaxPct, a.ExemptCode = "Z", "0", "x" },
		"discount is negative": func(a *schemas.RegisterAgreement) { a.Lines[0].DiscountAmount = "-5" },
		"cannot have steps": func(a *schemas.RegisterAgreement) {
			a.Lines[0].Steps = []schemas.PriceStep{{From: "1", Price: "1"}}
			a.Lines[0].StepsRule = "sloped"
		},
	} {
		a := agreement(t, "EUR | spread 28.50")
		change(&a)
		_, err := Rate(a, quantities(t, "s6120"), Tax{})
		if err == nil || !strings.Contains(err.Error()+fault.HintOf(err), says) {
			t.Errorf("%v, want %q", err, says)
		}
	}
	a := agreement(t, "EUR | spread 28.50")
	for _, v := range []float64{math.NaN(), math.Inf(1), math.Inf(-1), -0.001, 1e13} {
		if _, err := Rate(a, Quantities{Masses: []Mass{{SpreadKg: Measure{v, "x"}}}}, Tax{}); fault.CodeOf(err) != fault.Input {
			t.Errorf("%v kg: %v", v, err)
		}
	}
}

func twoReasons(a *schemas.RegisterAgreement) {
	a.Lines[0].TaxCategory, a.Lines[0].ExemptReason = "E", "one"
	a.Lines = append(a.Lines, a.Lines[0])
	a.Lines[1].ExemptReason = "two"
}

// The tax of the caller stands where the agreement says none, and only there.
func TestDefaultTax(t *testing.T) {
	a := agreement(t, "EUR | fixed 100 | fixed 10 S5")
	a.TaxCategory, a.TaxPct = "", ""
	b, err := Rate(a, Quantities{}, Tax{Category: "S", Pct: dec("15")})
	if err != nil || show(&b) != "1x100.00=100.00 | 1x10.00=10.00 | 110.00+15.50=125.50" {
		t.Errorf("%s, %v", show(&b), err)
	}
	a.TaxCategory, a.TaxPct = "S", "20"
	if b, err = Rate(a, Quantities{}, Tax{Category: "S", Pct: dec("15")}); err != nil || show(&b) != "1x100.00=100.00 | 1x10.00=10.00 | 110.00+20.50=130.50" {
		t.Errorf("%s, %v", show(&b), err)
	}
}

// A bill says what its quantities come from, what was unsure and how it was
// rounded.
func TestABillExplainsItself(t *testing.T) {
	q := quantities(t, "s4000.25 s2000")
	q.Masses[0].SpreadKg.From, q.Masses[1].SpreadKg.From = "Long by sp2", "Flat by sp1"
	q.Unsure = []Unsure{{UnsureScale, "loader"}, {UnsureGap, "sp1 misses 3 events"}, {UnsureScale, "loader"}}
	b, err := Rate(agreement(t, "EUR -1% | spread 28.50 tier 5:20"), q, Tax{})
	if err != nil {
		t.Fatal(err)
	}
	first, second := b.Lines[0], b.Lines[1]
	if first.Measured != "6000.25 kg" || first.Source != "Flat by sp1; Long by sp2" || first.N != 1 || first.UnitCode != "TNE" ||
		first.Text != "Spreading per tonne (as spread), 0 to 5 t" || second.Text != "Spreading per tonne (as spread), 5 to 6 t" {
		t.Errorf("%+v\n%+v", first, second)
	}
	if len(b.Unsure) != 2 || b.Unsure[0].Kind != UnsureGap {
		t.Errorf("unsure %v", b.Unsure)
	}
	if len(b.Roundings) != 4 || b.Roundings[0] != "Quantities are rounded once a line, to 3 decimals of t, ha, km or h (half away from zero)." {
		t.Errorf("%q", b.Roundings)
	}
	var many []string
	for range 400 {
		many = append(many, strings.Repeat("x", 10)+decimal.New(int64(len(many)), 0).String())
	}
	if s := together(many); strings.Count(s, "; ") != 3 || !strings.HasSuffix(s, "; and 397 more") {
		t.Error(s)
	}
	if s := together([]string{"d", "b", "a", "c", "a"}); s != "a; b; c; d" {
		t.Error(s)
	}
}

// Check sees each kind of damage, by name.
func TestCheckSees(t *testing.T) {
	for rule, damage := range map[string]func(b *Bill){
		"LINE":     func(b *Bill) { b.Lines[0].Quantity = dec("6.121") },
		"BR-27":    func(b *Bill) { b.Lines[0].Price = dec("-28.5") },
		"BR-DEC":   func(b *Bill) { b.Lines[0].Amount = b.Lines[0].Amount.Add(dec("0.001")) },
		"BR-CO-10": func(b *Bill) { b.Totals.Lines = dec("1") },
		"BR-CO-11": func(b *Bill) { b.Discounts[0].Amount = dec("1") },
		"BR-CO-13": func(b *Bill) { b.Totals.Net = dec("1") },
		"BR-CO-14": func(b *Bill) { b.Totals.Tax = dec("1") },
		"BR-CO-15": func(b *Bill) { b.Totals.Gross = dec("1") },
		"BR-CO-17": func(b *Bill) { b.Taxes[0].Amount = b.Taxes[0].Amount.Add(dec("0.01")) },
		"BR-CO-18": func(b *Bill) { b.Taxes[0].Base = dec("1") },
		"SIZE":     func(b *Bill) { b.Totals.Gross = dec("1000000000000000") },
	} {
		b, err := Rate(agreement(t, "EUR -1% | spread 28.50 | covered 9 E"), quantities(t, "s6120 c39000"), Tax{})
		if err != nil {
			t.Fatal(err)
		}
		damage(&b)
		found := false
		for _, x := range b.Check() {
			found = found || x.Rule == rule
		}
		if !found {
			t.Errorf("%s is not seen: %v", rule, b.Check())
		}
		if fault.CodeOf(b.checked("x", fault.Conflict)) != fault.Conflict {
			t.Error("a broken bill is no fault")
		}
	}
	b, _ := Rate(agreement(t, "EUR | spread 28.50 | covered 9 E"), quantities(t, "s6120 c39000"), Tax{})
	b.Taxes = append(b.Taxes, TaxSum{Tax: b.Taxes[0].Tax, Base: b.Taxes[0].Base, Amount: b.Taxes[0].Amount})
	if len(b.Check()) == 0 {
		t.Error("a tax row that stands twice is not seen")
	}
	free, _ := Rate(agreement(t, "EUR | fixed 0"), Quantities{}, Tax{})
	free.Taxes = nil
	if len(free.Check()) == 0 {
		t.Error("a tax row of 0 that is missing is not seen")
	}
	b.Taxes = b.Taxes[:1]
	if len(b.Check()) == 0 {
		t.Error("a tax row that is missing is not seen")
	}
}

// An invoice of the first version of the contract knows no taxes by line; it
// can be read and credited by what it has.
func TestInvoicesOfVersionOne(t *testing.T) {
	e := schemas.InvoiceIssued{Number: "2026-0031", Currency: "EUR",
		Lines:  []schemas.BillLine{{Text: "urea", Quantity: "6.12", Unit: "t", Price: "28.50", Amount: "174.42"}},
		Totals: schemas.BillTotals{Net: "174.42", Tax: "26.16", Gross: "200.58"}}
	c, err := CreditOf(&e, "2026-0032", "2026-03-05", "wrong field")
	if err != nil || c.Totals.Gross != "-200.58" || c.Lines[0].Amount != "-174.42" || c.Lines[0].Quantity != "-6.120" || c.Tax != nil || c.Lines[0].TaxPct != "" || c.Credits != "2026-0031" {
		t.Errorf("%+v, %v", c, err)
	}
	e.Totals.Net = "1e2"
	if _, err := CreditOf(&e, "2026-0032", "", ""); fault.CodeOf(err) != fault.Input {
		t.Errorf("%v", err)
	}
	e.Totals.Net = "174.43"
	e.Tax = []schemas.BillTax{{Category: "S", Pct: "15", Base: "174.42", Amount: "26.16"}}
	if _, err := CreditOf(&e, "2026-0032", "", ""); fault.CodeOf(err) != fault.Input {
		t.Errorf("an invoice that does not add up is credited: %v", err)
	}
}
