package reports

import (
	"math"
	"strconv"
)

// Column is one column of a table.
type Column struct {
	Key   string // for CSV: snake_case, ends in the unit
	Title string
	Right bool // numbers stand to the right
}

// Table is a view model: text only, ready to be drawn.
type Table struct {
	Caption string
	Columns []Column
	Rows    [][]string
	Notes   []string
	Sum     bool // the last row is the sum of those above, and is drawn so
}

// number writes a value with a fixed number of decimals; "-" for none.
func number(v float64, decimals int) string {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return "-"
	}
	if v = math.Round(v*math.Pow10(decimals)) / math.Pow10(decimals); v == 0 {
		v = 0 // never "-0"
	}
	return strconv.FormatFloat(v, 'f', decimals, 64)
}

// signed is number with a plus sign in front of what is not below zero.
func signed(v float64, decimals int) string {
	text := number(v, decimals)
	if text[0] == '-' {
		return text
	}
	return "+" + text
}
