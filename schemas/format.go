package schemas

import (
	"strings"
	"time"
)

// pattern is the regular expression of a format, for the JSON Schemas; the
// checker's own functions below run on every event and must agree with it
// (a test compares them).
func pattern(format string) string {
	switch format {
	case "id":
		return idPattern
	case "token":
		return tokenPattern
	case "ulid":
		return ulidPattern
	case "date-time":
		return timePattern
	case "decimal":
		return `^-?[0-9]{1,15}(\.[0-9]{1,8})?$`
	case "unsigned":
		return `^[0-9]{1,15}(\.[0-9]{1,8})?$`
	case "percent":
		return `^(100(\.0{1,8})?|[0-9]{1,2}(\.[0-9]{1,8})?)$`
	case "date":
		return datePattern
	case "currency":
		return `^[A-Z]{3}$`
	case "country":
		return `^[A-Z]{2}$`
	case "sha256":
		return `^[0-9a-f]{64}$`
	}
	panic("schemas: no pattern for format " + format)
}

func formatHelp(format string) string {
	switch format {
	case "id":
		return "1 to 64 letters, digits, '.', '_' or '-', beginning with a letter or digit"
	case "token":
		return "1 to 48 lower-case letters, digits, '_' or '-', beginning with a letter or digit"
	case "ulid":
		return "a ULID of 26 characters"
	case "date-time":
		return "a time like 2026-03-01T08:30:00Z"
	case "decimal":
		return "a decimal number as text, like \"12.50\""
	case "unsigned":
		return "a decimal number as text, not below zero, like \"12.50\""
	case "percent":
		return "a decimal number from 0 to 100 as text, like \"12.5\""
	case "date":
		return "a day like 2026-03-01"
	case "currency":
		return "an ISO 4217 code of three capital letters"
	case "country":
		return "an ISO 3166-1 code of two capital letters"
	}
	return "64 lower-case hex digits"
}

func formatOK(format, s string) bool {
	switch format {
	case "id":
		return validID(s)
	case "token":
		return ValidToken(s)
	case "ulid":
		return validULID(s)
	case "date-time":
		_, ok := parseTime(s)
		return ok
	case "decimal":
		return validDecimal(s)
	case "unsigned":
		return validDecimal(s) && s[0] != '-'
	case "percent":
		return validPercent(s)
	case "date":
		_, ok := parseTime(s + "T00:00:00Z")
		return ok
	case "currency":
		return len(s) == 3 && isUpper(s[0]) && isUpper(s[1]) && isUpper(s[2])
	case "country":
		return len(s) == 2 && isUpper(s[0]) && isUpper(s[1])
	}
	return validSHA256(s)
}

func isUpper(c byte) bool { return c >= 'A' && c <= 'Z' }
func isDigit(c byte) bool { return c >= '0' && c <= '9' }

func validDecimal(s string) bool {
	if len(s) > 0 && s[0] == '-' {
		s = s[1:]
	}
	whole := 0
	for whole < len(s) && isDigit(s[whole]) {
		whole++
	}
	if whole == 0 || whole > 15 {
		return false
	}
	if whole == len(s) {
		return true
	}
	frac := s[whole+1:]
	if s[whole] != '.' || len(frac) == 0 || len(frac) > 8 {
		return false
	}
	for i := 0; i < len(frac); i++ {
		if !isDigit(frac[i]) {
			return false
		}
	}
	return true
}

func validPercent(s string) bool {
	if !validDecimal(s) || s[0] == '-' {
		return false
	}
	whole, frac, _ := strings.Cut(s, ".")
	return len(whole) <= 2 || whole == "100" && strings.Trim(frac, "0") == ""
}

func validSHA256(s string) bool {
	if len(s) != 64 {
		return false
	}
	for i := 0; i < len(s); i++ {
		if !isDigit(s[i]) && (s[i] < 'a' || s[i] > 'f') {
			return false
		}
	}
	return true
}

// parseTime reads an instant as timePattern and the calendar have it. Read
// runs it for every event, hence by hand; time.Parse also takes times that are
// not RFC 3339 (an hour of one digit, a comma, offsets of 24 hours).
func parseTime(s string) (time.Time, bool) {
	if len(s) < 20 || s[4] != '-' || s[7] != '-' || s[10] != 'T' || s[13] != ':' || s[16] != ':' {
		return time.Time{}, false
	}
	year, month, day := digits(s[:4], 1900, 2200), digits(s[5:7], 1, 12), digits(s[8:10], 1, 31)
	hour, minute, second := digits(s[11:13], 0, 23), digits(s[14:16], 0, 59), digits(s[17:19], 0, 59)
	nano, zone := fraction(s[19:])
	east, ok := offset(zone)
	if min(year, month, day, hour, minute, second, nano) < 0 || !ok {
		return time.Time{}, false
	}
	t := time.Date(year, time.Month(month), day, hour, minute, second, nano, time.UTC)
	return t.Add(-east), t.Day() == day
}

// digits reads a number made of digits only; -1 when it is none or outside.
func digits(s string, least, most int) int {
	n := 0
	for i := 0; i < len(s); i++ {
		if !isDigit(s[i]) {
			return -1
		}
		n = n*10 + int(s[i]-'0')
	}
	if n < least || n > most {
		return -1
	}
	return n
}

// fraction reads ".5" as nanoseconds; -1 for none or more than nine digits.
func fraction(s string) (nano int, rest string) {
	if len(s) == 0 || s[0] != '.' {
		return 0, s
	}
	scale, i := 1_000_000_000, 1
	for ; i < len(s) && isDigit(s[i]); i++ {
		scale /= 10
		nano += int(s[i]-'0') * scale
	}
	if i == 1 || i > 10 {
		return -1, s
	}
	return nano, s[i:]
}

func offset(s string) (east time.Duration, ok bool) {
	if s == "Z" {
		return 0, true
	}
	if len(s) != 6 || s[3] != ':' {
		return 0, false
	}
	hours, minutes := digits(s[1:3], 0, 23), digits(s[4:], 0, 59)
	east = time.Duration(hours)*time.Hour + time.Duration(minutes)*time.Minute
	if s[0] == '-' {
		east = -east
	}
	return east, min(hours, minutes) >= 0 && (s[0] == '+' || s[0] == '-')
}
