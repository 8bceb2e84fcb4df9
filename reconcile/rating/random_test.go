package rating

import (
	"fmt"
	"math/rand/v2"

	"hopperbook/schemas"
)

// randomAgreement makes a seeded agreement that Rate takes: every kind of
// line, basis, step, discount, tax, rounding and currency; many prices end in
// 5 beyond the currency's digits, where the roundings differ.
func randomAgreement(rng *rand.Rand) schemas.RegisterAgreement {
	pick := func(all ...string) string { return all[rng.IntN(len(all))] }
	decimals := rng.Int64N(5)
	a := schemas.RegisterAgreement{
		Agreement: "A", Customer: "C", Currency: pick("EUR", "NZD", "JPY", "KWD"), Rounding: pick("", "half_up", "half_even"), QuantityDecimals: &decimals,
	}
	digits := map[string]int{"EUR": 2, "NZD": 2, "JPY": 0, "KWD": 3}[a.Currency]
	a.TaxCategory, a.TaxPct, a.ExemptReason = randomTax(rng)
	if rng.IntN(3) == 0 {
		a.DiscountPct = pick("1", "2.5", "33.3333", "100", "0")
	}
	for range 1 + rng.IntN(4) {
		a.Lines = append(a.Lines, randomLine(rng, digits, int(decimals)))
	}
	if rng.IntN(3) == 0 {
		a.Lines = append(a.Lines, schemas.AgreementLine{Kind: schemas.LineMinimum, Price: number(rng, 9_000, 0)})
	}
	return a
}

func randomTax(rng *rand.Rand) (category, pct, reason string) {
	if rng.IntN(3) > 0 {
		return "S", []string{"15", "20", "7.5", "19.6", "0.5", "5.25"}[rng.IntN(6)], ""
	}
	category = []string{"Z", "E", "AE", "O"}[rng.IntN(4)]
	if category != "Z" {
		reason = "because"
	}
	return category, "", reason
}

// number is a random decimal of so many digits below a bound, half of the time
// with a 5 behind them.
func number(rng *rand.Rand, below int64, digits int) string {
	s := fmt.Sprint(rng.Int64N(below))
	if digits > 0 {
		s += fmt.Sprintf(".%0*d", digits, rng.Int64N(pow10(digits)))
	}
	return s
}

func pow10(n int) int64 {
	p := int64(1)
	for range n {
		p *= 10
	}
	return p
}

func randomLine(rng *rand.Rand, digits, decimals int) schemas.AgreementLine {
	kinds := [][2]string{{"per_tonne", "docket"}, {"per_tonne", "loaded"}, {"per_tonne", "spread"}, {"product", "loaded"}, {"per_hectare", "boundary"},
		{"per_hectare", "covered"}, {"per_km"}, {"per_hour"}, {"fixed"}}
	kind := kinds[rng.IntN(len(kinds))]
	price := func() string {
		s := number(rng, 200, digits)
		if rng.IntN(2) == 0 {
			if digits == 0 {
				s += "."
			}
			s += "5"
		}
		return s
	}
	l := schemas.AgreementLine{Kind: kind[0], Basis: kind[1], Price: price()}
	if l.Kind == schemas.LineProduct || kind[1] != "" && rng.IntN(3) == 0 {
		l.Product = []schemas.ProductID{"urea", "lime", "other"}[rng.IntN(3)]
	}
	if l.Kind != schemas.LineFixed && rng.IntN(2) == 0 {
		l.StepsRule = []string{"stepped", "tiered"}[rng.IntN(2)]
		from := int64(0)
		for range 1 + rng.IntN(3) {
			from += 1 + rng.Int64N(8*pow10(decimals))
			l.Steps = append(l.Steps, schemas.PriceStep{From: decimalText(from, decimals), Price: price()})
		}
	}
	switch rng.IntN(5) {
	case 0:
		l.DiscountPct = []string{"5", "12.5", "0.125", "100", "66.6667"}[rng.IntN(5)]
	case 1:
		l.DiscountAmount = number(rng, 100, digits)
	}
	if rng.IntN(3) == 0 {
		l.TaxCategory, l.TaxPct, l.ExemptReason = randomTax(rng)
	}
	return l
}

func decimalText(v int64, digits int) string {
	if digits == 0 {
		return fmt.Sprint(v)
	}
	return fmt.Sprintf("%d.%0*d", v/pow10(digits), digits, v%pow10(digits))
}

// randomQuantities has every measure; values lie on grams and square
// decimetres, often where a quantity's rounding is half way, often on a step.
func randomQuantities(rng *rand.Rand) Quantities {
	value := func(most int64, scale float64) Measure {
		v := rng.Int64N(most)
		switch rng.IntN(4) {
		case 0:
			v -= v % 1000
		case 1:
			v += 500 - v%1000
		}
		return Measure{float64(v) / scale, fmt.Sprintf("from %d", rng.IntN(3))}
	}
	q := Quantities{DistanceKm: value(40_000, 1000), TimeH: value(40_000, 1000)}
	for _, p := range []schemas.ProductID{"urea", "lime", "urea"}[:1+rng.IntN(3)] {
		q.Masses = append(q.Masses, Mass{p, value(30_000_000, 1000), value(30_000_000, 1000), value(30_000_000, 1000)})
	}
	for _, f := range []schemas.FieldID{"F-1", "F-2", "F-1"}[:1+rng.IntN(3)] {
		q.Areas = append(q.Areas, Area{f, []schemas.ProductID{"urea", "lime"}[rng.IntN(2)], value(20_000_000, 100), value(20_000_000, 100)})
	}
	return q
}
