package book

import (
	"encoding/binary"
	"fmt"
	"math"

	"hopperbook/schemas"
)

// The packed form of fixes, version 1: the version byte, the count, then one
// column after another. A column of numbers is scaled to integers and written
// as its differences (zigzag varints); one of states as runs. Second
// differences suit time and position, which change steadily; first
// differences the rest. About 7 bytes a fix of a 5 Hz log with centimetre
// noise.
const (
	packVersion  = 1
	maxPackFixes = 100_000 // the contract's bound; keeps a decoder's memory bounded
)

// numberColumn is one numeric column and the steps a unit that it keeps.
type numberColumn struct {
	perUnit float64
	order   int // of the differences, 1 or 2
	at      func(*schemas.Fix) *float64
}

// numberColumns are the numeric columns in the order they are packed.
func numberColumns() [6]numberColumn {
	return [6]numberColumn{
		{1e9, 2, func(f *schemas.Fix) *float64 { return &f.LatDeg }},
		{1e9, 2, func(f *schemas.Fix) *float64 { return &f.LonDeg }},
		{1e3, 1, func(f *schemas.Fix) *float64 { return &f.SpeedKmh }},
		{1e2, 1, func(f *schemas.Fix) *float64 { return &f.HeadingDeg }},
		{1e3, 1, func(f *schemas.Fix) *float64 { return &f.SetRateKgHa }},
		{1e3, 1, func(f *schemas.Fix) *float64 { return &f.BoutWidthM }},
	}
}

// How a column of numbers is written.
const (
	columnAbsent   byte = iota // NaN at every fix
	columnConstant             // one value
	columnFull                 // every fix has a value
	columnMasked               // a bit a fix says whether there is a value
)

// maxScaled keeps scaled values exact through a division and back.
const maxScaled = 1 << 50

// packFixes appends the packed form to dst. O(fixes). It refuses infinite
// values and what is too large to keep its last digit.
func packFixes(dst []byte, fixes []schemas.Fix) ([]byte, error) {
	if len(fixes) > maxPackFixes {
		return dst, fmt.Errorf("%d fixes in one pass log, at most %d are allowed", len(fixes), maxPackFixes)
	}
	dst = binary.AppendUvarint(append(dst, packVersion), uint64(len(fixes)))
	values := make([]int64, len(fixes))
	for i := range fixes {
		values[i] = fixes[i].UnixMilli
	}
	dst = appendDifferences(dst, values, 2)
	var err error
	for _, c := range numberColumns() {
		if dst, err = appendColumn(dst, fixes, c, values[:0]); err != nil {
			return dst, err
		}
	}
	dst = appendRuns(dst, fixes, func(f *schemas.Fix) byte { return byte(f.Spreading) })
	return appendRuns(dst, fixes, func(f *schemas.Fix) byte { return byte(f.Quality) }), nil
}

// appendColumn writes the kind, the mask if any, the power of ten that all
// values are divisible by (logs often have fewer digits than are kept), and
// the values.
func appendColumn(dst []byte, fixes []schemas.Fix, c numberColumn, values []int64) ([]byte, error) {
	mask := make([]byte, (len(fixes)+7)/8)
	constant := true
	for i := range fixes {
		v := *c.at(&fixes[i])
		if math.IsNaN(v) {
			continue
		}
		scaled := math.Round(v * c.perUnit)
		if !(math.Abs(scaled) < maxScaled) {
			return dst, fmt.Errorf("fix %d: value %v cannot be kept", i, v)
		}
		mask[i/8] |= 1 << (i % 8)
		values = append(values, int64(scaled))
		constant = constant && values[0] == int64(scaled)
	}
	kind := columnMasked
	switch {
	case len(values) == 0:
		return append(dst, columnAbsent), nil
	case len(values) == len(fixes) && constant:
		return binary.AppendVarint(append(dst, columnConstant), values[0]), nil
	case len(values) == len(fixes):
		kind = columnFull
	}
	dst = append(dst, kind)
	if kind == columnMasked {
		dst = append(dst, mask...)
	}
	exponent := stripZeros(values)
	return appendDifferences(append(dst, exponent), values, c.order), nil
}

// stripZeros divides all values by the largest power of ten that leaves them
// whole and says which.
func stripZeros(values []int64) byte {
	exponent, power := maxExponent, pow10[maxExponent]
	for _, v := range values {
		for v%power != 0 {
			exponent--
			power = pow10[exponent]
		}
		if exponent == 0 {
			return 0
		}
	}
	for i := range values {
		values[i] /= power
	}
	return byte(exponent)
}

const maxExponent = 9

var pow10 = [maxExponent + 1]int64{1, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9}

func appendDifferences(dst []byte, values []int64, order int) []byte {
	var last, slope int64
	for i, v := range values {
		d := v - last
		last = v
		out := d
		if order == 2 {
			if out = d - slope; i > 0 {
				slope = d
			}
		}
		dst = binary.AppendVarint(dst, out)
	}
	return dst
}

func appendRuns(dst []byte, fixes []schemas.Fix, at func(*schemas.Fix) byte) []byte {
	for i := 0; i < len(fixes); {
		v, run := at(&fixes[i]), i
		for i < len(fixes) && at(&fixes[i]) == v {
			i++
		}
		dst = binary.AppendUvarint(append(dst, v), uint64(i-run))
	}
	return dst
}
