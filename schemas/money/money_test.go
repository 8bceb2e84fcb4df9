package money

import (
	"math/big"
	"math/rand/v2"
	"strings"
	"testing"

	"github.com/shopspring/decimal"
)

// Each row is rounded by both rules; its negative gives the negatives.
func TestRoundings(t *testing.T) {
	for _, r := range []struct{ exact, halfUp, halfEven string }{
		{"0.125", "0.13", "0.12"}, {"0.135", "0.14", "0.14"}, {"0.1250001", "0.13", "0.13"},
		{"0.1249999", "0.12", "0.12"}, {"2.5", "2.50", "2.50"}, {"0.005", "0.01", "0.00"}, {"0.015", "0.02", "0.02"}, {"0", "0.00", "0.00"},
	} {
		v := decimal.RequireFromString(r.exact)
		for rule, want := range map[Rounding]string{HalfUp: r.halfUp, HalfEven: r.halfEven} {
			if got := rule.Round(v, 2).StringFixed(2); got != want {
				t.Errorf("%s %s = %s, want %s", rule, r.exact, got, want)
			}
			if got := rule.Round(v.Neg(), 2); !got.Equal(decimal.RequireFromString(want).Neg()) {
				t.Errorf("%s -%s = %s, want -%s", rule, r.exact, got, want)
			}
		}
	}
}

// Oracle: quotient and rest of whole numbers.
func TestRoundingAgreesWithIntegers(t *testing.T) {
	rng := rand.New(rand.NewPCG(7, 7))
	for range 20_000 {
		units, places := rng.Int64N(2_000_001)-1_000_000, rng.Int32N(4)
		step := new(big.Int).Exp(big.NewInt(10), big.NewInt(int64(4-places)), nil).Int64() // v = units / 10^4
		size := max(units, -units)
		down, rest := size/step, size%step
		up, even := down, down
		if 2*rest >= step {
			up++
		}
		if 2*rest > step || 2*rest == step && down%2 == 1 {
			even++
		}
		if units < 0 {
			up, even = -up, -even
		}
		v := decimal.New(units, -4)
		if got := HalfUp.Round(v, places); !got.Equal(decimal.New(up, -places)) {
			t.Fatalf("half_up %s to %d = %s", v, places, got)
		}
		if got := HalfEven.Round(v, places); !got.Equal(decimal.New(even, -places)) {
			t.Fatalf("half_even %s to %d = %s", v, places, got)
		}
	}
}

func TestCurrencies(t *testing.T) {
	for code, want := range map[Currency]string{"EUR": "12.50", "NZD": "12.50", "JPY": "13", "KWD": "12.500", "TND": "12.500"} {
		digits, known := code.Digits()
		if got := code.Text(HalfUp.Round(decimal.RequireFromString("12.5"), digits)); got != want || !known {
			t.Errorf("%s: %s, want %s; known %v", code, got, want, known)
		}
	}
	for _, code := range []Currency{"", "eur", "XXX", "XTS", "XAU", "EU", "ABC", "A B", "R E"} {
		if digits, known := code.Digits(); known || digits != 2 {
			t.Errorf("%q: %d digits, known %v", code, digits, known)
		}
	}
	seen := map[string]bool{}
	for _, code := range strings.Fields(noDigits + threeDigits + twoDigits) {
		if seen[code] || len(code) != 3 {
			t.Errorf("%s stands twice or is no code", code)
		}
		seen[code] = true
	}
}

func TestReading(t *testing.T) {
	for text, want := range map[string]string{"1.50": "1.5", "-1.50": "-1.5", "0": "0", "999999999999999.99": "999999999999999.99"} {
		if v, err := Currency("NZD").Parse(text); err != nil || v.String() != want {
			t.Errorf("%q = %s, %v", text, v, err)
		}
	}
	for _, text := range []string{"", "-", "1.", ".5", "1,50", "+1", "1e3", "1e999999999", "--1", "1 ", "NaN", "1.123456789", "1234567890123456", "١"} {
		if v, err := Number(text); err == nil {
			t.Errorf("%q is read as %s", text, v)
		}
	}
	if _, err := Currency("NZD").Parse("1.005"); err == nil {
		t.Error("three decimals of a two-digit currency must be refused")
	}
	if v, err := Currency("JPY").Parse("100.00"); err != nil || Currency("JPY").Text(v) != "100" {
		t.Errorf("100.00 JPY = %s, %v", v, err)
	}
	for _, r := range []Rounding{HalfUp, HalfEven} {
		if got, err := ParseRounding(r.String()); got != r || err != nil {
			t.Errorf("%s reads back as %s, %v", r, got, err)
		}
	}
	if r, err := ParseRounding(""); r != HalfUp || err != nil {
		t.Error("no rule named is half_up")
	}
	if _, err := ParseRounding("up"); err == nil {
		t.Error("up is no rule")
	}
}
