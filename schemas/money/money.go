package money

import (
	"fmt"

	"github.com/shopspring/decimal"

	"hopperbook/schemas/fault"
)

// Currency is an ISO 4217 code.
type Currency string

// minorDigits holds the ISO 4217 exponents that are not 2.
func minorDigits(c Currency) int32 {
	switch c {
	case "BHD", "IQD", "JOD", "KWD", "LYD", "OMR", "TND":
		return 3
	case "BIF", "CLP", "DJF", "GNF", "ISK", "JPY", "KMF", "KRW", "PYG", "RWF", "UGX", "VND", "VUV", "XAF", "XOF", "XPF":
		return 0
	}
	return 2
}

// Rounding says how half a minor unit is rounded.
type Rounding uint8

// The two roundings an agreement may name.
const (
	HalfUp   Rounding = iota // half away from zero
	HalfEven                 // half to even
)

// Amount is so much of a currency; the zero value is nothing of no currency.
type Amount struct {
	value    decimal.Decimal
	currency Currency
}

// Parse reads "12.50" as an amount of the currency. More digits than the
// currency has are an error: rounding is a decision of the caller.
func Parse(text string, c Currency) (Amount, error) {
	v, err := decimal.NewFromString(text)
	if err != nil {
		return Amount{}, fault.New("read an amount", fault.Input, err, "write the amount as digits with a point, like 12.50")
	}
	if !v.Equal(v.Round(minorDigits(c))) {
		return Amount{}, fault.Newf("read an amount", fault.Input, fmt.Sprintf("%s has more than %d decimals", text, minorDigits(c)), "round it first")
	}
	return Amount{v, c}, nil
}

// Of rounds quantity x price to the currency's minor unit, once.
func Of(quantity, price decimal.Decimal, c Currency, r Rounding) Amount {
	v := quantity.Mul(price)
	if r == HalfEven {
		return Amount{v.RoundBank(minorDigits(c)), c}
	}
	return Amount{v.Round(minorDigits(c)), c}
}

// Currency is the amount's ISO 4217 code.
func (a Amount) Currency() Currency { return a.currency }

// Decimal is the amount's value in major units.
func (a Amount) Decimal() decimal.Decimal { return a.value }

// String writes the amount with its currency's minor digits: "12.50 NZD".
func (a Amount) String() string {
	return a.value.StringFixed(minorDigits(a.currency)) + " " + string(a.currency)
}

// Sum adds amounts of one currency; no amounts give the zero Amount.
func Sum(amounts ...Amount) (Amount, error) {
	var total Amount
	for i, a := range amounts {
		if i == 0 {
			total = a
			continue
		}
		if a.currency != total.currency {
			return Amount{}, fault.Newf("add amounts", fault.Input, fmt.Sprintf("%s and %s do not add", total.currency, a.currency), "bill one currency at a time")
		}
		total.value = total.value.Add(a.value)
	}
	return total, nil
}
