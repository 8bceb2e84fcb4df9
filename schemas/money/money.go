package money

import (
	"fmt"
	"strings"

	"github.com/shopspring/decimal"

	"hopperbook/schemas/fault"
)

// Currency is an ISO 4217 code.
type Currency string

// The active codes of ISO 4217 by their minor digits, without funds, metals
// and test codes (codes: Debian iso-codes 4.15, with XCG and ZWG added since).
const (
	noDigits    = " BIF CLP DJF GNF ISK JPY KMF KRW PYG RWF UGX VND VUV XAF XOF XPF "
	threeDigits = " BHD IQD JOD KWD LYD OMR TND "
	twoDigits   = " AED AFN ALL AMD ANG AOA ARS AUD AWG AZN BAM BBD BDT BGN BMD BND BOB BRL BSD BTN BWP BYN BZD CAD CDF CHF CNY COP" +
		" CRC CUC CUP CVE CZK DKK DOP DZD EGP ERN ETB EUR FJD FKP GBP GEL GHS GIP GMD GTQ GYD HKD HNL HTG HUF IDR ILS INR IRR" +
		" JMD KES KGS KHR KPW KYD KZT LAK LBP LKR LRD LSL MAD MDL MGA MKD MMK MNT MOP MRU MUR MVR MWK MXN MYR MZN NAD NGN NIO" +
		" NOK NPR NZD PAB PEN PGK PHP PKR PLN QAR RON RSD RUB SAR SBD SCR SDG SEK SGD SHP SLE SLL SOS SRD SSP STN SVC SYP SZL" +
		" THB TJS TMT TOP TRY TTD TWD TZS UAH USD UYU UZS VED VES WST XCD XCG YER ZAR ZMW ZWG ZWL "
)

// Digits is how many minor digits the currency has; known is false, and the
// digits 2, for a code that is none of ISO 4217's.
func (c Currency) Digits() (digits int32, known bool) {
	code := " " + string(c) + " "
	switch {
	case len(c) != 3:
		return 2, false
	case strings.Contains(noDigits, code):
		return 0, true
	case strings.Contains(threeDigits, code):
		return 3, true
	}
	return 2, strings.Contains(twoDigits, code)
}

// Text writes an amount with the currency's minor digits: "12.50". The amount
// must have been rounded to them.
func (c Currency) Text(v decimal.Decimal) string {
	digits, _ := c.Digits()
	return v.StringFixed(digits)
}

// Parse reads "12.50" as an amount of the currency. More digits than the
// currency has are an error: rounding is a decision of the caller.
func (c Currency) Parse(text string) (decimal.Decimal, error) {
	v, err := Number(text)
	if err != nil {
		return decimal.Decimal{}, err
	}
	if digits, _ := c.Digits(); !v.Equal(v.Truncate(digits)) {
		return decimal.Decimal{}, fault.Newf("read an amount", fault.Input, fmt.Sprintf("%s has more than the %d decimals of %s", text, digits, c), "round it first")
	}
	return v, nil
}

// Number reads decimal text as the contract has it: digits with a point, at
// most 15 before and 8 after it, and a minus sign. No exponent: "1e99" as a
// price would be a slip that costs memory.
func Number(text string) (decimal.Decimal, error) {
	refused := func() (decimal.Decimal, error) {
		return decimal.Decimal{}, fault.Newf("read a number", fault.Input, fmt.Sprintf("%.40q is no decimal number", text), "write digits with a point, like 12.50")
	}
	whole, frac, point := strings.Cut(strings.TrimPrefix(text, "-"), ".")
	if len(whole) < 1 || len(whole) > 15 || len(frac) > 8 || point && frac == "" || strings.Trim(whole+frac, "0123456789") != "" {
		return refused()
	}
	v, err := decimal.NewFromString(text)
	if err != nil {
		return refused()
	}
	return v, nil
}

// Rounding says how half a unit of the last digit is rounded.
type Rounding uint8

// The two roundings an agreement may name.
const (
	HalfUp   Rounding = iota // half away from zero
	HalfEven                 // half to even
)

// ParseRounding reads half_up or half_even; "" is half_up.
func ParseRounding(name string) (Rounding, error) {
	switch name {
	case "", "half_up":
		return HalfUp, nil
	case "half_even":
		return HalfEven, nil
	}
	return HalfUp, fault.Newf("read a rounding rule", fault.Input, fmt.Sprintf("%.40q is no rounding rule", name), "half_up or half_even")
}

// String is the rounding's name in an agreement.
func (r Rounding) String() string {
	if r == HalfEven {
		return "half_even"
	}
	return "half_up"
}

// Round rounds to so many decimals.
func (r Rounding) Round(v decimal.Decimal, decimals int32) decimal.Decimal {
	if r == HalfEven {
		return v.RoundBank(decimals)
	}
	return v.Round(decimals)
}

// MarshalText writes the rounding's name in an agreement.
func (r Rounding) MarshalText() ([]byte, error) { return []byte(r.String()), nil }
