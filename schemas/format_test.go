package schemas

import (
	"math/rand/v2"
	"regexp"
	"strconv"
	"strings"
	"testing"
	"time"
)

// like makes text near the format: one of its good values, changed in up to
// two places.
func like(rng *rand.Rand, good []string) string {
	s := []byte(good[rng.IntN(len(good))])
	const letters = "aAzZ09.-_+:TZtz,eEIO /\n\xc3\xa9"
	for range rng.IntN(3) {
		c := letters[rng.IntN(len(letters))]
		switch i := rng.IntN(len(s) + 1); {
		case i == len(s) || rng.IntN(4) == 0:
			s = append(s[:i:i], append([]byte{c}, s[i:]...)...)
		case rng.IntN(3) == 0:
			s = append(s[:i:i], s[i+1:]...)
		default:
			s[i] = c
		}
	}
	return strings.ToValidUTF8(string(s), "\u00e9")
}

// The hand-written checks against the regular expressions, which are the
// oracle. A date the calendar does not have is left to time.Parse.
func TestFormatsAgreeWithTheirPatterns(t *testing.T) {
	t.Parallel()
	formats := map[string][]string{
		"id":        {"J-1", "urea.46_b", strings.Repeat("a", 64)},
		"token":     {"spreader-1", "a", strings.Repeat("b", 48)},
		"ulid":      {"01JNB3Q2Q3W4E5R6T7Y8V9B00E", "7ZZZZZZZZZZZZZZZZZZZZZZZZZ"},
		"date-time": {"2026-03-02T07:40:00Z", "1900-01-31T23:59:59.123456789+13:45", "2200-12-31T00:00:00-00:00", "2024-02-29T09:08:07.5Z"},
		"decimal":   {"12.50", "-0.00000001", "123456789012345", "0"},
		"unsigned":  {"12.50", "0.00000001", "123456789012345", "0"},
		"percent":   {"12.5", "100", "100.00", "0", "99.00000001"},
		"date":      {"2026-03-02", "1900-01-31", "2024-02-29", "2200-12-31"},
		"currency":  {"EUR"},
		"country":   {"NZ"},
		"sha256":    {strings.Repeat("0a", 32)},
	}
	rng := rand.New(rand.NewPCG(1, 1))
	for format, good := range formats {
		oracle := regexp.MustCompile(pattern(format))
		yes := 0
		for range 10_000 {
			s := like(rng, good)
			want := oracle.MatchString(s)
			if layout, dated := map[string]string{"date-time": time.RFC3339Nano, "date": time.DateOnly}[format]; dated && want {
				_, err := time.Parse(layout, s)
				want = err == nil
			}
			if got := formatOK(format, s); got != want {
				t.Fatalf("%s %q: checker %v, pattern %v", format, s, got, want)
			}
			if want {
				yes++
			}
		}
		if yes < 1000 || yes > 9_000 {
			t.Errorf("%s: %d of 10000 fit; the text tests one side only", format, yes)
		}
	}
}

func TestSourceAndSequenceAgreeWithTheirPatterns(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 2))
	sources, sequences := regexp.MustCompile(sourcePattern), regexp.MustCompile(sequencePattern)
	for range 10_000 {
		s := like(rng, []string{"/devices/spreader-1/k7", "/office/desk1", "/files/" + strings.Repeat("0f", 32)})
		if got, want := Source(s).valid(), sources.MatchString(s); got != want {
			t.Fatalf("source %q: checker %v, pattern %v", s, got, want)
		}
		s = like(rng, []string{"1", "17", "999999999999999999", "100000000000000000"})
		if _, got := parseSequence(s); got != sequences.MatchString(s) {
			t.Fatalf("sequence %q: checker %v", s, got)
		}
	}
}

func TestParseTime(t *testing.T) {
	for s, want := range map[string]string{ // "" is refused
		"2026-03-01T08:30:00Z":                 "2026-03-01T08:30:00Z",
		"2026-03-01T08:30:00.5Z":               "2026-03-01T08:30:00.5Z",
		"2026-03-01T08:30:00.000000001Z":       "2026-03-01T08:30:00.000000001Z",
		"2026-03-01T08:30:00+13:45":            "2026-02-28T18:45:00Z",
		"2026-03-01T08:30:00-00:30":            "2026-03-01T09:00:00Z",
		"2024-02-29T00:00:00Z":                 "2024-02-29T00:00:00Z",
		"1900-01-01T00:00:00Z":                 "1900-01-01T00:00:00Z",
		"2200-12-31T23:59:59Z":                 "2200-12-31T23:59:59Z",
		"2026-03-01T23:59:60Z":                 "", // leap second
		"2026-03-01T08:30:60Z":                 "",
		"2026-03-01T24:00:00Z":                 "",
		"2026-03-01T08:30:00,5Z":               "",
		"2026-03-01T8:30:00,50Z":               "",
		"2026-03-01t08:30:00Z":                 "",
		"2026-03-01T08:30:00z":                 "",
		"2026-03-01 08:30:00Z":                 "",
		"2026-03-01T08:30:00.Z":                "",
		"2026-03-01T08:30:00.0000000001Z":      "",
		"2026-03-01T08:30:00":                  "",
		"2026-03-01T08:30:00+1300":             "",
		"2026-03-01T08:30:00+24:00":            "",
		"2026-03-01T08:30:00+13:60":            "",
		"2026-03-01T08:30:00*13:00":            "",
		"2026-03-01T08:30:00Z ":                "",
		"2023-02-29T00:00:00Z":                 "",
		"2026-04-31T00:00:00Z":                 "",
		"2026-00-10T00:00:00Z":                 "",
		"1899-12-31T23:59:59Z":                 "",
		"2201-01-01T00:00:00Z":                 "",
		"12026-03-01T08:30:00Z":                "",
		"2026-03-01T08:30:00.123456789+01:000": "",
	} {
		got, ok := parseTime(s)
		if ok != (want != "") || ok && got.Format(time.RFC3339Nano) != want {
			t.Errorf("parseTime(%q) = %v, %v; want %q", s, got, ok, want)
		}
	}
}

// The quick reading of numbers gives the very float64 of strconv.
func TestNumberAgreesWithStrconv(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 3))
	texts := []string{"0", "-0", "-0.0", "1e3", "1E-3", "9007199254740993", "123456789012345", "1234567890123456", "0.000000000000001",
		"0.0000000000000001", "-45.41234567890123456", "179.999999999999", "5e-324", "1.7976931348623157e308"}
	for range 50_000 {
		texts = append(texts, strconv.FormatFloat((rng.Float64()-0.5)*360, 'f', rng.IntN(18), 64), strconv.FormatFloat(rng.NormFloat64()*1e5, 'g', -1, 64))
	}
	for _, s := range texts {
		want, err := strconv.ParseFloat(s, 64)
		got, end := number("["+s+"]", 1)
		if err != nil || got != want || end != 1+len(s) {
			t.Fatalf("number(%s) = %v to %d, strconv %v (%v)", s, got, end, want, err)
		}
	}
}
