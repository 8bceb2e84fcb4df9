package schemas

import (
	"strconv"

	"github.com/tidwall/gjson"
)

// numbers holds every entry of a list of numbers against elem and, where the
// list says so, the order of entries; n counts the good ones before the first
// bad one. It reads the text itself, once and without memory of its own: pass
// logs are almost nothing but such lists. raw is a well-formed JSON list.
func (c *checker) numbers(r, elem *Rule, raw, at string) (n int) {
	last := 0.0
	for i := nextEntry(raw, 1); raw[i] != ']'; i = nextEntry(raw, i) {
		if elem.Nullable && raw[i] == 'n' {
			i += len("null")
			n++
			continue
		}
		v, end := number(raw, i)
		if end == i || !elem.holds(v) {
			c.numberFail(elem, gjson.Parse(raw[i:]), entry(at, n))
			return n
		}
		if r.Ordered && n > 0 && v < last {
			c.fail(at, "ordered", "falls from %v to %v at entry %d; order the fixes by time", last, v, n)
			return n
		}
		last, i = v, end
		n++
	}
	return n
}

func entry(at string, n int) string { return at + "/" + strconv.Itoa(n) }

// nextEntry skips to the next entry of a list, or to the list's end.
func nextEntry(raw string, i int) int {
	for raw[i] <= ' ' || raw[i] == ',' {
		i++
	}
	return i
}

// exact10 are the powers of ten that a float64 holds exactly.
var exact10 = [...]float64{1e0, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9, 1e10, 1e11, 1e12, 1e13, 1e14, 1e15}

// number reads the JSON number at raw[i:]; end is i when there is none. Up to
// 15 digits without exponent are a whole number below 2^53 over a power of
// ten, both exact, so that one division rounds right (Clinger 1990); all else
// is left to strconv. Too large a number is infinite.
func number(raw string, i int) (v float64, end int) {
	start, whole, point := i, uint64(0), 0
	if raw[i] == '-' {
		i++
	}
	first := i
	for c := raw[i] - '0'; c <= 9; c = raw[i] - '0' {
		whole = whole*10 + uint64(c)
		i++
	}
	if i == first {
		return 0, start
	}
	decimals := 0
	if raw[i] == '.' {
		point = 1
		i++
		from := i
		for c := raw[i] - '0'; c <= 9; c = raw[i] - '0' {
			whole = whole*10 + uint64(c)
			i++
		}
		decimals = i - from
	}
	if i-first-point > 15 || raw[i]|0x20 == 'e' {
		for isDigit(raw[i]) || raw[i]|0x20 == 'e' || raw[i] == '+' || raw[i] == '-' {
			i++
		}
		v, _ = strconv.ParseFloat(raw[start:i], 64)
		return v, i
	}
	v = float64(whole) / exact10[decimals]
	if first != start {
		v = -v
	}
	return v, i
}
