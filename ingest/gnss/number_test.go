package gnss

import (
	"fmt"
	"math"
	"math/rand/v2"
	"strconv"
	"testing"
	"time"
)

func TestDecimals(t *testing.T) {
	for text, want := range map[string]float64{"0": 0, "5.": 5, ".5": 0.5, "007.25": 7.25, "49792708": 49792708,
		"0.1": 0.1, "123456789012345": 123456789012345, "0.12345678901234567": 0.12345678901234567} {
		if got, ok := decimal([]byte(text)); !ok || got != want {
			t.Errorf("decimal(%q) = %v, %v", text, got, ok)
		}
	}
	for _, text := range []string{"", ".", "-1", "+1", "1e5", "NaN", "Inf", "0x1", "1.2.3", " 1", "1 ", "1,5", "1_0",
		"123456789012345678901234567890123"} {
		if got, ok := decimal([]byte(text)); ok {
			t.Errorf("decimal(%q) = %v, want refusal", text, got)
		}
	}
}

// The standard library is the slow obvious answer.
func TestDecimalsAreTheNearestFloat(t *testing.T) {
	random := rand.New(rand.NewPCG(1, 2))
	for range 20000 {
		text := strconv.FormatUint(random.Uint64()>>random.IntN(60), 10) + "." + fmt.Sprint(random.Uint32()>>random.IntN(31))
		want, _ := strconv.ParseFloat(text, 64)
		if got, ok := decimal([]byte(text)); !ok || got != want {
			t.Fatalf("decimal(%s) = %v, %v, want %v", text, got, ok, want)
		}
	}
}

func TestAngles(t *testing.T) {
	cases := []struct {
		text, hemisphere string
		want             float64
		ok               bool
	}{
		{"4916.45", "N", 49 + 16.45/60, true}, // gpsd 3.22, driver_nmea0183.c: 49 deg. 16.45 min North
		{"4134.49795459", "S", -(41 + 34.49795459/60), true},
		{"0000.0000", "N", 0, true},
		{"9000", "N", 90, true},
		{"359.999", "S", -(3 + 59.999/60), true},
		{"9000.001", "N", 0, false},
		{"4960.00", "N", 0, false},
		{"49", "N", 0, false},
		{"4916.45", "", 0, false},
		{"4916.45", "E", 0, false},
		{"4916.45", "n", 0, false},
		{"4916.4.5", "N", 0, false},
		{"-916.45", "N", 0, false},
		{"4N16.45", "N", 0, false},
		{"", "N", 0, false},
		{"NaN.1", "N", 0, false},
		{"000049.1", "N", 0, false},
	}
	for _, c := range cases {
		got, ok := angle([]byte(c.text), []byte(c.hemisphere), 'N', 'S', 90)
		if ok != c.ok || (ok && math.Abs(got-c.want) > 1e-13) {
			t.Errorf("angle(%s %s) = %v, %v, want %v, %v", c.text, c.hemisphere, got, ok, c.want, c.ok)
		}
	}
	if got, ok := angle([]byte("18000.000"), []byte("W"), 'E', 'W', 180); !ok || got != -180 {
		t.Errorf("180 W = %v, %v", got, ok)
	}
}

func TestClocks(t *testing.T) {
	for text, want := range map[string]int64{"": noClock, "000000": 0, "123519": 45319000, "160012.71": 57612710,
		"132819.60": 48499600, "235959.9996": dayMs, "235960": dayMs, "235960.5": dayMs + 500, "000001.0004": 1000} {
		if got, ok := clock([]byte(text)); !ok || got != want {
			t.Errorf("clock(%q) = %d, %v, want %d", text, got, ok, want)
		}
	}
	for _, text := range []string{"1", "12351", "240000", "236000", "123460", "235961", "12351.9", "1235199", "-23519", "12:35:19", "NaN000"} {
		if got, ok := clock([]byte(text)); ok {
			t.Errorf("clock(%q) = %d, want refusal", text, got)
		}
	}
}

func TestDates(t *testing.T) {
	for text, want := range map[string]string{"191194": "1994-11-19", "180320": "2020-03-18", "290200": "2000-02-29",
		"060180": "1980-01-06", "311279": "2079-12-31"} {
		got, ok := dateField([]byte(text))
		if day := time.UnixMilli(got * dayMs).UTC().Format(time.DateOnly); !ok || day != want {
			t.Errorf("date %s = %s, %v, want %s", text, day, ok, want)
		}
	}
	for _, text := range []string{"000000", "290201", "310420", "001120", "011320", "2208-1", "1", "18032020"} {
		if got, ok := dateField([]byte(text)); ok {
			t.Errorf("date %q = %d, want refusal", text, got)
		}
	}
}

// Going on and going back are inverse: neither knows of days, only of clocks.
func TestFollowingAndPreceding(t *testing.T) {
	random := rand.New(rand.NewPCG(3, 4))
	for range 20000 {
		last := random.Int64N(5e12)
		step := random.Int64N(23*hourMs) - hourMs
		next := last + step
		if got := following(last, mod(next, dayMs)); got != next {
			t.Fatalf("following(%d, clock of %d) = %d", last, next, got)
		}
		if got := preceding(next, mod(last, dayMs)); got != last {
			t.Fatalf("preceding(%d, clock of %d) = %d", next, last, got)
		}
	}
}
