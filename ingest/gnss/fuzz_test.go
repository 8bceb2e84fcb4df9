package gnss

import (
	"bytes"
	"math"
	"os"
	"path/filepath"
	"testing"
	"testing/iotest"
	"time"
)

func seeds(f *testing.F) [][]byte {
	logs, err := filepath.Glob(filepath.Join(kept, "*.log"))
	if err != nil || len(logs) == 0 {
		f.Fatalf("no seeds: %v", err)
	}
	var all [][]byte
	for _, log := range logs {
		data, err := os.ReadFile(log)
		if err != nil {
			f.Fatal(err)
		}
		all = append(all, data[:min(len(data), 2500)])
	}
	return all
}

// FuzzSentence: whatever the fields hold, what is read is in range.
func FuzzSentence(f *testing.F) {
	for _, data := range seeds(f) {
		for line := range bytes.Lines(data) {
			if body, _, ok := bytes.Cut(bytes.TrimPrefix(line, []byte("$")), []byte("*")); ok {
				f.Add(string(body))
			}
		}
	}
	f.Add("GPVTG,054.7,034.4,005.5,010.2")
	f.Add("GPRMC,235960.9999,A,9000.0,S,18000.0,W,1,360,290200,,,R,V")
	f.Fuzz(func(t *testing.T, body string) {
		r, ok := read(bytes.TrimSuffix([]byte(sentence(body)), []byte("\r\n")))
		if !ok {
			return
		}
		if r.clockMs < noClock || r.clockMs > dayMs+1000 || r.quality > 8 {
			t.Errorf("%q: %+v", body, r)
		}
		if r.day != noDay {
			if year := time.UnixMilli(r.day * dayMs).UTC().Year(); year < 1980 || year > 2079 {
				t.Errorf("%q: year %d", body, year)
			}
		}
		if fix := r.state == fixed; fix != (math.Abs(r.latDeg) <= 90) || fix != (math.Abs(r.lonDeg) <= 180) || fix && (r.clockMs == noClock || r.quality == 0) {
			t.Errorf("%q: %+v", body, r)
		}
		if r.speedKmh < 0 || math.IsInf(r.speedKmh, 0) || r.headingDeg < 0 || r.headingDeg > 360 {
			t.Errorf("%q: %+v", body, r)
		}
	})
}

// FuzzDecoder: any bytes, in any cut, give the same fixes, in bounded memory,
// and a report that adds up.
func FuzzDecoder(f *testing.F) {
	for _, data := range seeds(f) {
		f.Add(data)
	}
	f.Add([]byte("$GPGGA,\xb5b$$GPRMC,*\r\n"))
	f.Fuzz(func(t *testing.T, data []byte) {
		fixes, report, err := Read(bytes.NewReader(data), Options{})
		if err != nil {
			t.Fatal(err)
		}
		checkReport(t, report, len(fixes))
		for _, fix := range fixes {
			if !(math.Abs(fix.LatDeg) <= 90) || !(math.Abs(fix.LonDeg) <= 180) || fix.Quality == 0 || fix.Quality > 8 || math.IsInf(fix.SpeedKmh, 0) {
				t.Errorf("%+v", fix)
			}
		}
		again, pieces, err := Read(iotest.OneByteReader(bytes.NewReader(data)), Options{})
		if err != nil || pieces != report || len(again) != len(fixes) {
			t.Errorf("byte by byte: %v, %+v, at once %+v", err, pieces, report)
		}
	})
}
