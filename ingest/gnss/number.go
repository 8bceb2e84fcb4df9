package gnss

import (
	"bytes"
	"strconv"
	"time"
)

const (
	dayMs  = 24 * 60 * 60 * 1000
	hourMs = 60 * 60 * 1000
)

// decimal reads digits with an optional point; no sign, exponent, NaN or Inf.
// The result is the float64 nearest to the text.
func decimal(b []byte) (float64, bool) {
	if len(b) == 0 || len(b) > 32 {
		return 0, false
	}
	var mantissa, scale uint64 = 0, 1
	digits, point := 0, false
	for _, c := range b {
		switch {
		case c == '.' && !point:
			point = true
		case c >= '0' && c <= '9':
			mantissa = mantissa*10 + uint64(c-'0')
			digits++
			if point {
				scale *= 10
			}
		default:
			return 0, false
		}
	}
	if digits == 0 {
		return 0, false
	}
	if digits <= 15 {
		// Both are exact in a float64, so the quotient is correctly rounded.
		return float64(mantissa) / float64(scale), true
	}
	v, err := strconv.ParseFloat(string(b), 64)
	return v, err == nil
}

// angle reads [d]ddmm.mmm with its hemisphere: plus for positive, minus for
// negative. It refuses minutes of 60 and more and degrees beyond limitDeg.
func angle(value, hemisphere []byte, positive, negative byte, limitDeg float64) (float64, bool) {
	whole := bytes.IndexByte(value, '.')
	if whole < 0 {
		whole = len(value)
	}
	if whole < 3 || whole > 5 || len(hemisphere) != 1 {
		return 0, false
	}
	deg, degOK := integer(value[:whole-2])
	minutes, minOK := decimal(value[whole-2:])
	v := float64(deg) + minutes/60
	if !degOK || !minOK || minutes >= 60 || v > limitDeg {
		return 0, false
	}
	switch hemisphere[0] {
	case positive:
		return v, true
	case negative:
		return -v, true
	}
	return 0, false
}

// integer reads 1 to 9 digits.
func integer(b []byte) (int, bool) {
	if len(b) == 0 || len(b) > 9 {
		return 0, false
	}
	v := 0
	for _, c := range b {
		if c < '0' || c > '9' {
			return 0, false
		}
		v = v*10 + int(c-'0')
	}
	return v, true
}

// clock reads hhmmss[.sss] as milliseconds of the day, rounded to the nearest;
// empty is noClock. The leap second 235960 is the first of the next day, as in
// POSIX time.
func clock(b []byte) (int64, bool) {
	if len(b) == 0 {
		return noClock, true
	}
	if len(b) < 6 {
		return 0, false
	}
	h, hOK := integer(b[0:2])
	m, mOK := integer(b[2:4])
	s, sOK := decimal(b[4:])
	_, whole := integer(b[4:6])
	leap := h == 23 && m == 59 && s < 61
	if !hOK || !mOK || !sOK || !whole || h > 23 || m > 59 || (s >= 60 && !leap) {
		return 0, false
	}
	return int64(h)*hourMs + int64(m)*60_000 + int64(s*1000+0.5), true
}

// dayOf is the number of days from 1970-01-01 to a date that exists, in the
// years a receiver can mean (1980, when GPS time starts, to 2079).
func dayOf(year, month, day int) (int64, bool) {
	if year < 1980 || year > 2079 {
		return 0, false
	}
	t := time.Date(year, time.Month(month), day, 0, 0, 0, 0, time.UTC)
	if t.Day() != day || t.Month() != time.Month(month) {
		return 0, false
	}
	return t.UnixMilli() / dayMs, true
}

// dateField reads ddmmyy as days since 1970-01-01; empty is noDay.
func dateField(b []byte) (int64, bool) {
	if len(b) == 0 {
		return noDay, true
	}
	v, ok := integer(b)
	if !ok || len(b) != 6 {
		return 0, false
	}
	year := v % 100
	if year >= 80 {
		year += 1900
	} else {
		year += 2000
	}
	return dayOf(year, v/100%100, v/10000)
}

// following is the first instant with this clock from 1 h before the instant
// last on: a receiver may set its clock back a little, never by hours.
func following(last, clock int64) int64 {
	from := last - hourMs
	return from + mod(clock-from, dayMs)
}

// preceding is the last instant with this clock up to 1 h after next.
func preceding(next, clock int64) int64 {
	to := next + hourMs
	return to - mod(to-clock, dayMs)
}

func mod(a, n int64) int64 { return (a%n + n) % n }
