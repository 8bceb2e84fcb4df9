package unit

import (
	"math"
	"strconv"
	"strings"
)

// Plain writes a figure for people, never with an exponent: with so many
// digits that count, but with all before its point, and without zeros at the
// end of its decimals. A figure that is none is a dash.
func Plain(v float64, digits int) string {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return "-"
	}
	if v == 0 {
		return "0" // never "-0"
	}
	digits = max(digits, 1)
	rounded := strconv.FormatFloat(v, 'e', digits-1, 64)
	power, _ := strconv.Atoi(rounded[strings.IndexByte(rounded, 'e')+1:])
	out := strconv.FormatFloat(v, 'f', max(0, digits-1-power), 64)
	if strings.Contains(out, ".") {
		out = strings.TrimRight(strings.TrimRight(out, "0"), ".")
	}
	return out
}

// Whole writes a figure with every digit it has, never with an exponent.
func Whole(v float64) string { return strconv.FormatFloat(v, 'f', -1, 64) }
