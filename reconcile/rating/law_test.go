package rating

import (
	"encoding/json"
	"math/big"
	"math/rand/v2"
	"reflect"
	"slices"
	"testing"

	"github.com/shopspring/decimal"

	"hopperbook/schemas"
	"hopperbook/schemas/fault"
)

// bills rates n seeded random agreements; those that price nothing that was
// done are left out.
func bills(t testing.TB, seed uint64, n int, do func(a schemas.RegisterAgreement, q Quantities, b Bill)) {
	t.Helper()
	rng := rand.New(rand.NewPCG(seed, 7))
	for made := 0; made < n; {
		a, q := randomAgreement(rng), randomQuantities(rng)
		b, err := Rate(a, q, Tax{})
		if fault.CodeOf(err) == fault.Input && len(b.Lines) == 0 && err != nil {
			continue
		}
		if err != nil {
			t.Fatalf("%+v: %v", a, err)
		}
		do(a, q, b)
		made++
	}
}

// minor adds texts as whole numbers of the minor unit.
func minor(t *testing.T, b *Bill, texts ...string) *big.Int {
	t.Helper()
	digits, _ := b.Currency.Digits()
	sum := new(big.Int)
	for _, text := range texts {
		v, ok := new(big.Rat).SetString(text)
		if !ok {
			t.Fatalf("%q", text)
		}
		v.Mul(v, new(big.Rat).SetInt64(pow10(int(digits))))
		if !v.IsInt() {
			t.Fatalf("%s has digits below the minor unit of %s", text, b.Currency)
		}
		sum.Add(sum, v.Num())
	}
	return sum
}

// Money is conserved in what is printed, counted in whole minor units.
func TestLinesAndTaxAreTheTotal(t *testing.T) {
	bills(t, 1, 2_000, func(a schemas.RegisterAgreement, _ Quantities, b Bill) {
		var e schemas.InvoiceIssued
		b.Fill(&e)
		sum := new(big.Int)
		for _, l := range e.Lines {
			sum.Add(sum, minor(t, &b, l.Amount))
		}
		for _, d := range e.Discounts {
			sum.Sub(sum, minor(t, &b, d.Amount))
		}
		if sum.Cmp(minor(t, &b, e.Totals.Net)) != 0 {
			t.Fatalf("%s: net", show(&b))
		}
		for _, x := range e.Tax {
			sum.Add(sum, minor(t, &b, x.Amount))
		}
		if sum.Cmp(minor(t, &b, e.Totals.Gross)) != 0 {
			t.Fatalf("%s: total", show(&b))
		}
	})
}

// Neither the order of what was measured nor how it was cut shows in a bill.
func TestOrderAndCutsDoNotShow(t *testing.T) {
	rng := rand.New(rand.NewPCG(2, 2))
	bills(t, 2, 500, func(a schemas.RegisterAgreement, q Quantities, b Bill) {
		cut := Quantities{DistanceKm: q.DistanceKm, TimeH: q.TimeH, Unsure: q.Unsure}
		halves := func(m Measure) (Measure, Measure) { // on whole grams
			one := float64(int64(m.Value / 3))
			rest := decimal.NewFromFloat(m.Value).Sub(decimal.NewFromFloat(one)).InexactFloat64()
			return Measure{one, m.From}, Measure{rest, m.From}
		}
		for _, m := range q.Masses {
			x, y := m, m
			x.DocketKg, y.DocketKg = halves(m.DocketKg)
			x.LoadedKg, y.LoadedKg = halves(m.LoadedKg)
			x.SpreadKg, y.SpreadKg = halves(m.SpreadKg)
			cut.Masses = append(cut.Masses, x, y)
		}
		cut.Areas = slices.Clone(q.Areas)
		rng.Shuffle(len(cut.Masses), func(i, k int) { cut.Masses[i], cut.Masses[k] = cut.Masses[k], cut.Masses[i] })
		rng.Shuffle(len(cut.Areas), func(i, k int) { cut.Areas[i], cut.Areas[k] = cut.Areas[k], cut.Areas[i] })
		again, err := Rate(a, cut, Tax{})
		if err != nil || !sameJSON(t, again, b) {
			t.Fatalf("%s became %s, %v", show(&b), show(&again), err)
		}
	})
}

func sameJSON(t *testing.T, a, b any) bool {
	t.Helper()
	x, err := json.Marshal(a)
	if err != nil {
		t.Fatal(err)
	}
	y, err := json.Marshal(b)
	if err != nil {
		t.Fatal(err)
	}
	return string(x) == string(y)
}

// Steps that begin above what was measured, of either rule, change nothing; a
// line at price 0 adds nothing; the minimum is kept.
func TestWhatChangesNothing(t *testing.T) {
	zero := schemas.AgreementLine{Kind: schemas.LineFixed, Price: "0"}
	bills(t, 3, 500, func(a schemas.RegisterAgreement, q Quantities, b Bill) {
		plain, stepped := a, a
		plain.Lines, stepped.Lines = slices.Clone(a.Lines), slices.Clone(a.Lines)
		for i := range a.Lines {
			plain.Lines[i].Steps, plain.Lines[i].StepsRule = nil, ""
			if l := &stepped.Lines[i]; unitOf(l.Kind).code != CodeEach {
				l.Steps = []schemas.PriceStep{{From: "99999999", Price: "1"}}
				l.StepsRule = []string{"stepped", "tiered"}[i%2]
			}
		}
		x, err1 := Rate(plain, q, Tax{})
		y, err2 := Rate(stepped, q, Tax{})
		if err1 != nil || err2 != nil || show(&x) != show(&y) {
			t.Fatalf("%s with far steps %s, %v, %v", show(&x), show(&y), err1, err2)
		}
		a.Lines = append(slices.Clone(a.Lines), zero)
		z, err := Rate(a, q, Tax{})
		if err != nil || !z.Totals.Gross.Equal(b.Totals.Gross) {
			t.Fatalf("%s with a line at 0: %s, %v", show(&b), show(&z), err)
		}
		if last := a.Lines[len(a.Lines)-2]; last.Kind == schemas.LineMinimum && b.Totals.Net.LessThan(dec(last.Price)) {
			t.Fatalf("%s is under the minimum %s", show(&b), last.Price)
		}
	})
}

// A tiered line is at most half a minor unit a slice off the exact integral of
// its prices.
func TestTiersAreTheIntegralOfPrices(t *testing.T) {
	rng := rand.New(rand.NewPCG(4, 4))
	for range 500 {
		l := schemas.AgreementLine{Kind: "per_km", Price: number(rng, 200, 4), StepsRule: "tiered"}
		from := int64(0)
		for range 1 + rng.IntN(4) {
			from += 1 + rng.Int64N(8000)
			l.Steps = append(l.Steps, schemas.PriceStep{From: decimalText(from, 3), Price: number(rng, 200, 4)})
		}
		a := schemas.RegisterAgreement{Currency: "EUR", TaxCategory: "Z", Lines: []schemas.AgreementLine{l}}
		metres := rng.Int64N(40_000)
		b, err := Rate(a, Quantities{DistanceKm: Measure{float64(metres) / 1000, "x"}}, Tax{})
		if err != nil {
			t.Fatal(err)
		}
		exact := new(big.Rat) // metre by metre would be the same sum
		for i := -1; i < len(l.Steps); i++ {
			start, price, end := new(big.Rat), rat(l.Price), rat(decimalText(metres, 3))
			if i >= 0 {
				start, price = rat(l.Steps[i].From), rat(l.Steps[i].Price)
			}
			if i+1 < len(l.Steps) && rat(l.Steps[i+1].From).Cmp(end) < 0 {
				end = rat(l.Steps[i+1].From)
			}
			if width := new(big.Rat).Sub(end, start); width.Sign() > 0 {
				exact.Add(exact, width.Mul(width, price))
			}
		}
		off := new(big.Rat).Sub(b.Totals.Net.Rat(), exact)
		if off.Abs(off).Cmp(big.NewRat(int64(len(b.Lines)), 200)) > 0 {
			t.Fatalf("%s is %s off", show(&b), off.FloatString(6))
		}
	}
}

func rat(text string) *big.Rat {
	v, ok := new(big.Rat).SetString(text)
	if !ok {
		panic(text)
	}
	return v
}

// A credit undoes its invoice to the last digit, as bills and as events.
func TestCreditsUndo(t *testing.T) {
	bills(t, 5, 500, func(a schemas.RegisterAgreement, _ Quantities, b Bill) {
		c := Credit(b)
		if broken := c.Check(); len(broken) > 0 {
			t.Fatalf("%s: %v", show(&c), broken)
		}
		if !sameJSON(t, Credit(c), b) || !c.Totals.Gross.Add(b.Totals.Gross).IsZero() || !c.Totals.Tax.Add(b.Totals.Tax).IsZero() {
			t.Fatalf("%s is not undone by %s", show(&b), show(&c))
		}
		e := schemas.InvoiceIssued{Number: "1"}
		b.Fill(&e)
		note, err := CreditOf(&e, "2", "2026-03-05", "wrong")
		if err != nil {
			t.Fatal(err)
		}
		read, err := Credited(&note)
		if err != nil || show(&read) != show(&c) || len(read.Check()) > 0 {
			t.Fatalf("%s as an event reads back as %s: %v, %v", show(&c), show(&read), read.Check(), err)
		}
	})
}

// What an event holds is the whole bill.
func TestEventsReadBack(t *testing.T) {
	bills(t, 6, 500, func(a schemas.RegisterAgreement, _ Quantities, b Bill) {
		b.Unsure = []Unsure{{UnsureScale, "not certified"}}
		var e schemas.InvoiceIssued
		b.Fill(&e)
		back, err := Issued(&e)
		if err != nil || !sameJSON(t, back, b) || !reflect.DeepEqual(back.Unsure, b.Unsure) {
			t.Fatalf("%s reads back as %s, %v", show(&b), show(&back), err)
		}
	})
}

// Two invoices differ from one by a minor unit a line at most, and every
// difference is told; quantities add up to the last digit.
func TestSplit(t *testing.T) {
	rng := rand.New(rand.NewPCG(8, 8))
	told := 0
	bills(t, 7, 1_000, func(a schemas.RegisterAgreement, _ Quantities, b Bill) {
		share := decimal.New(1+rng.Int64N(999), -3)
		p, err := Split(b, share)
		if err != nil {
			t.Fatalf("%s: %v", show(&b), err)
		}
		digits, _ := b.Currency.Digits()
		unit := decimal.New(1, -digits)
		byName := map[string]decimal.Decimal{}
		for _, d := range p.Differences {
			byName[d.What] = d.By
		}
		for i, l := range b.Lines {
			f, s := p.First.Lines[i], p.Second.Lines[i]
			by := f.Amount.Add(s.Amount).Sub(l.Amount)
			name := "line " + decimal.New(int64(i+1), 0).String()
			if by.Abs().GreaterThan(unit) || !f.Quantity.Add(s.Quantity).Equal(l.Quantity) || !byName[name].Equal(by) {
				t.Fatalf("%s at %s:\n%s\n%s\n%v", show(&b), share, show(&p.First), show(&p.Second), p.Differences)
			}
			if !by.IsZero() {
				told++
			}
		}
		by := p.First.Totals.Gross.Add(p.Second.Totals.Gross).Sub(b.Totals.Gross)
		if !byName["total"].Equal(by) || len(p.First.Check())+len(p.Second.Check()) > 0 {
			t.Fatalf("%s at %s: %v", show(&b), share, p.Differences)
		}
	})
	if told < 100 {
		t.Errorf("only %d lines differ: the test does not reach the roundings", told)
	}
}

func TestSplitByHand(t *testing.T) {
	for _, r := range []struct{ agreement, quantities, share, first, second string }{
		{"EUR | spread 28.50", "s6120", "0.5", "3.060x28.50=87.21 | 87.21+17.44=104.65", "3.060x28.50=87.21 | 87.21+17.44=104.65"},       // 17.442 twice: tax 34.88 as of one
		{"EUR | spread 0.15", "s1000", "0.5", "0.500x0.15=0.08 | 0.08+0.02=0.10", "0.500x0.15=0.08 | 0.08+0.02=0.10"},                    // 0.075 up twice: a cent more
		{"EUR even | spread 0.125", "s2000", "0.5", "1.000x0.125=0.12 | 0.12+0.02=0.14", "1.000x0.125=0.12 | 0.12+0.02=0.14"},            // 0.25 of one: a cent less
		{"EUR | spread 30 step 5:20", "s6000", "0.25", "1.500x20.00=30.00 | 30.00+6.00=36.00", "4.500x20.00=90.00 | 90.00+18.00=108.00"}, // at the price of the whole
		{"EUR | fixed 10 -4 | min 9", "", "0.4", "0.4x10.00-1.60=2.40 | 0.4x3.00=1.20 | 3.60+0.72=4.32", "0.6x10.00-2.40=3.60 | 0.6x3.00=1.80 | 5.40+1.08=6.48"},
		{"EUR q0 | fixed 10 -4", "", "0.5", "0.5x10.00-2.00=3.00 | 3.00+0.60=3.60", "0.5x10.00-2.00=3.00 | 3.00+0.60=3.60"}, // as many decimals as a half needs
		{"EUR | fixed 10000", "", "0.33333333", "0.333333x10000.00=3333.33 | 3333.33+666.67=4000.00", "0.666667x10000.00=6666.67 | 6666.67+1333.33=8000.00"},
	} {
		b, err := Rate(agreement(t, r.agreement), quantities(t, r.quantities), Tax{})
		if err != nil {
			t.Fatal(err)
		}
		p, err := Split(b, dec(r.share))
		if err != nil || show(&p.First) != r.first || show(&p.Second) != r.second {
			t.Errorf("%s x %s at %s:\n%s\n%s\n%v", r.agreement, r.quantities, r.share, show(&p.First), show(&p.Second), err)
		}
	}
	for _, share := range []string{"0", "1", "-0.5", "1.5"} {
		if _, err := Split(Bill{Currency: "EUR"}, dec(share)); fault.CodeOf(err) != fault.Usage {
			t.Errorf("share %s: %v", share, err)
		}
	}
	if _, err := Split(Bill{Currency: "EUR", Totals: Totals{Gross: dec("1")}}, dec("0.5")); err == nil {
		t.Error("a bill that breaks its rules is split")
	}
}
