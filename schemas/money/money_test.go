package money

import (
	"math/big"
	"math/rand/v2"
	"testing"

	"github.com/shopspring/decimal"
)

func TestOfRoundsOnceAsTheAgreementSays(t *testing.T) {
	for _, r := range []struct {
		quantity, price string
		c               Currency
		rounding        Rounding
		want            string
	}{
		{"0.125", "1", "NZD", HalfUp, "0.13 NZD"}, {"0.125", "1", "NZD", HalfEven, "0.12 NZD"},
		{"0.135", "1", "NZD", HalfEven, "0.14 NZD"}, {"-0.125", "1", "NZD", HalfUp, "-0.13 NZD"},
		{"12.36", "49.48", "AUD", HalfUp, "611.57 AUD"}, {"3", "99.5", "JPY", HalfUp, "299 JPY"},
		{"1.0005", "1", "TND", HalfEven, "1.000 TND"},
	} {
		got := Of(decimal.RequireFromString(r.quantity), decimal.RequireFromString(r.price), r.c, r.rounding)
		if got.String() != r.want {
			t.Errorf("%s x %s = %s, want %s", r.quantity, r.price, got, r.want)
		}
	}
}

// Oracle: math/big integers of the minor unit.
func TestSumAgreesWithIntegers(t *testing.T) {
	rng := rand.New(rand.NewPCG(7, 7))
	want, amounts := new(big.Int), []Amount{}
	for range 500 {
		cents := rng.Int64N(2_000_000_00) - 1_000_000_00
		want.Add(want, big.NewInt(cents))
		amounts = append(amounts, Amount{decimal.New(cents, -2), "NZD"})
	}
	got, err := Sum(amounts...)
	if err != nil || got.Decimal().Shift(2).BigInt().Cmp(want) != 0 {
		t.Errorf("sum %s, want %s minor units, err %v", got, want, err)
	}
}

func TestRefusals(t *testing.T) {
	if _, err := Parse("1.005", "NZD"); err == nil {
		t.Error("three decimals of a two-digit currency must be refused")
	}
	if _, err := Parse("1,50", "NZD"); err == nil {
		t.Error("a comma must be refused")
	}
	a, err := Parse("1.50", "NZD")
	if err != nil || a.String() != "1.50 NZD" || a.Currency() != "NZD" {
		t.Errorf("got %v, %v", a, err)
	}
	b, _ := Parse("1.50", "AUD")
	if _, err := Sum(a, b); err == nil {
		t.Error("two currencies must not add")
	}
}
