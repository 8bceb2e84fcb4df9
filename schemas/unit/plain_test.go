package unit

import (
	"fmt"
	"math"
	"math/rand/v2"
	"strconv"
	"strings"
	"testing"
)

func TestPlain(t *testing.T) {
	for _, c := range []struct {
		v      float64
		digits int
		want   string
	}{
		{12345, 4, "12345"}, {12345.6, 4, "12346"}, {100000, 4, "100000"}, {50000, 4, "50000"}, {9999.6, 4, "10000"}, {9999.4, 4, "9999"},
		{0.000123, 4, "0.000123"}, {0.0000123456, 4, "0.00001235"}, {1e-7, 4, "0.0000001"}, {2000, 4, "2000"}, {187.5, 4, "187.5"}, {187.54, 4, "187.5"},
		{61.25, 4, "61.25"}, {99.996, 4, "100"}, {0, 4, "0"}, {math.Copysign(0, -1), 4, "0"}, {-12345.6, 4, "-12346"}, {1234567.8, 6, "1234568"}, {1e6, 6, "1000000"},
		{123, 0, "123"}, {math.NaN(), 4, "-"}, {math.Inf(1), 4, "-"}, {math.Inf(-1), 4, "-"},
	} {
		if got := Plain(c.v, c.digits); got != c.want {
			t.Errorf("Plain(%v, %d) = %s, want %s", c.v, c.digits, got, c.want)
		}
	}
	for v, want := range map[float64]string{1e7: "10000000", 0.25: "0.25", 1e-6: "0.000001", -1e6: "-1000000"} {
		if got := Whole(v); got != want {
			t.Errorf("Whole(%v) = %s, want %s", v, got, want)
		}
	}
}

// Where %.4g has no exponent, Plain writes the same; everywhere it reads back
// as what %.4g says, or, from 10 000 on, as the whole number.
func TestPlainAgreesWithTheLibrary(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 2))
	for range 100_000 {
		v := (r.Float64() - 0.5) * math.Pow10(r.IntN(24)-12)
		got, short := Plain(v, 4), fmt.Sprintf("%.4g", v)
		if strings.ContainsAny(got, "eE") {
			t.Fatalf("Plain(%v) = %s", v, got)
		}
		if !strings.Contains(short, "e") && got != short {
			t.Fatalf("Plain(%v) = %s, %%.4g is %s", v, got, short)
		}
		want, _ := strconv.ParseFloat(short, 64)
		if math.Abs(v) >= 1e4 {
			want, _ = strconv.ParseFloat(fmt.Sprintf("%.0f", v), 64)
		}
		if back, err := strconv.ParseFloat(got, 64); err != nil || back != want {
			t.Fatalf("Plain(%v) = %s, want %v", v, got, want)
		}
	}
}
