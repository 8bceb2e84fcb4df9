package rating

import (
	"fmt"
	"strconv"
	"strings"
	"testing"

	"github.com/shopspring/decimal"

	"hopperbook/schemas"
)

// The tests write agreements, quantities and bills in one line each.
//
//	EUR even q2 -1% S20 | spread 28.50 step 50:26,200:24.75 -2.5% of urea E | min 250
//
// currency, rounding (up where none), decimals of quantities (3), discount,
// tax (S20); then lines: kind or basis, price, steps or tiers, discount,
// product, tax.

func agreement(t testing.TB, text string) schemas.RegisterAgreement {
	t.Helper()
	parts := strings.Split(text, "|")
	a := schemas.RegisterAgreement{Agreement: "A-1", Customer: "C-1", TaxCategory: "S", TaxPct: "20"}
	for i, word := range strings.Fields(parts[0]) {
		switch {
		case i == 0:
			a.Currency = word
		case word == "even":
			a.Rounding = "half_even"
		case word == "up":
			a.Rounding = "half_up"
		case word[0] == 'q':
			n, err := strconv.ParseInt(word[1:], 10, 64)
			if err != nil {
				t.Fatal(err)
			}
			a.QuantityDecimals = &n
		case word[0] == '-':
			a.DiscountPct = strings.Trim(word, "-%")
		default:
			a.TaxCategory, a.TaxPct, a.ExemptReason = taxWord(word)
		}
	}
	for _, part := range parts[1:] {
		a.Lines = append(a.Lines, line(t, strings.Fields(part)))
	}
	return a
}

func taxWord(word string) (category, pct, reason string) {
	if pct, ok := strings.CutPrefix(word, "S"); ok {
		return "S", pct, ""
	}
	if word == "Z" {
		return "Z", "", ""
	}
	return word, "", "because"
}

func line(t testing.TB, words []string) schemas.AgreementLine {
	t.Helper()
	kinds := map[string][2]string{
		"docket": {"per_tonne", "docket"}, "loaded": {"per_tonne", "loaded"}, "spread": {"per_tonne", "spread"},
		"boundary": {"per_hectare", "boundary"}, "covered": {"per_hectare", "covered"},
		"km": {"per_km"}, "h": {"per_hour"}, "fixed": {"fixed"}, "min": {"minimum"}, "product": {"product", "loaded"},
	}
	kind, ok := kinds[words[0]]
	if !ok {
		t.Fatalf("no kind %q", words[0])
	}
	l := schemas.AgreementLine{Kind: kind[0], Basis: kind[1], Price: words[1]}
	for i := 2; i < len(words); i++ {
		switch word := words[i]; {
		case word == "of":
			i++
			l.Product = schemas.ProductID(words[i])
		case word == "step" || word == "tier":
			i++
			l.StepsRule = map[string]string{"step": "stepped", "tier": "tiered"}[word]
			for s := range strings.SplitSeq(words[i], ",") {
				from, price, _ := strings.Cut(s, ":")
				l.Steps = append(l.Steps, schemas.PriceStep{From: from, Price: price})
			}
		case word[0] == '-' && strings.HasSuffix(word, "%"):
			l.DiscountPct = strings.Trim(word, "-%")
		case word[0] == '-':
			l.DiscountAmount = word[1:]
		default:
			l.TaxCategory, l.TaxPct, l.ExemptReason = taxWord(word)
		}
	}
	return l
}

// quantities reads "s6120 c39000 km12.5 h3", kg and m2: docketed, loaded,
// spread, boundary, covered; "urea s100" begins another product.
func quantities(t testing.TB, text string) Quantities {
	t.Helper()
	q := Quantities{}
	product := schemas.ProductID("urea")
	for word := range strings.FieldsSeq(text) {
		letters := strings.TrimRight(word, "0123456789.")
		if letters == word {
			product = schemas.ProductID(word)
			continue
		}
		v, err := strconv.ParseFloat(word[len(letters):], 64)
		if err != nil {
			t.Fatal(err)
		}
		m := Measure{v, "seen"}
		switch letters {
		case "d", "l", "s":
			addMass(&q, product, letters, m)
		case "b":
			q.Areas = append(q.Areas, Area{Field: "F", Product: product, BoundaryM2: m})
		case "c":
			q.Areas = append(q.Areas, Area{Field: "F", Product: product, CoveredM2: m})
		case "km":
			q.DistanceKm = m
		case "h":
			q.TimeH = m
		default:
			t.Fatalf("no quantity %q", word)
		}
	}
	return q
}

// addMass begins another mass of the product where the last one has the
// measure already.
func addMass(q *Quantities, product schemas.ProductID, letter string, m Measure) {
	place := func(of *Mass) *Measure {
		return map[string]*Measure{"d": &of.DocketKg, "l": &of.LoadedKg, "s": &of.SpreadKg}[letter]
	}
	n := len(q.Masses)
	if n == 0 || q.Masses[n-1].Product != product || place(&q.Masses[n-1]).From != "" {
		q.Masses = append(q.Masses, Mass{Product: product})
		n++
	}
	*place(&q.Masses[n-1]) = m
}

// show writes a bill: "6.120x28.50-4.36=170.06 | -1.70 | 168.36+33.67=202.03":
// lines, the document's discounts, net + tax = total.
func show(b *Bill) string {
	var out []string
	for i := range b.Lines {
		l := b.line(&b.Lines[i])
		s := l.Quantity + "x" + l.Price
		if l.Discount != "" {
			s += "-" + l.Discount
		}
		out = append(out, s+"="+l.Amount)
	}
	for _, d := range b.Discounts {
		out = append(out, "-"+b.Currency.Text(d.Amount))
	}
	return fmt.Sprintf("%s | %s+%s=%s", strings.Join(out, " | "), b.Currency.Text(b.Totals.Net), b.Currency.Text(b.Totals.Tax), b.Currency.Text(b.Totals.Gross))
}

func dec(text string) decimal.Decimal { return decimal.RequireFromString(text) }
