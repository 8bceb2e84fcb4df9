package schemas

import (
	"encoding/json"
	"math"
	"testing"
	"time"
)

// passOf is a pass log of n fixes at 1 Hz with everything in it.
func passOf(tb testing.TB, n int) []byte {
	tb.Helper()
	width := 24.0
	p := PassLogged{Start: "2026-03-02T07:41:00Z", BoutWidthM: &width, Job: "J-101", Field: "F-7"}
	rate := 150.0
	p.SetRateKgHa.One = &rate
	for i := range n {
		x := float64(i)
		p.DtMs = append(p.DtMs, int64(i)*1000)
		p.Lat = append(p.Lat, round(-45.41+x*4.4931e-5, 1e9))
		p.Lon = append(p.Lon, round(160.62+math.Sin(x)*1e-6, 1e9))
		p.SpeedKmh = append(p.SpeedKmh, round(18+math.Sin(x/7), 1e3))
		p.Spreading = append(p.Spreading, min(int64(i), 1))
		p.HeadingDeg = append(p.HeadingDeg, round(180+math.Sin(x/3), 1e2))
		p.Quality = append(p.Quality, 4)
	}
	raw, err := Write(Identity{"/devices/spreader-1/k7", 17}, "01JNB3Q2Q3W4E5R6T7Y8V9B00E", TypePassLogged, time.Unix(1_772_437_260, 0), p)
	if err != nil {
		tb.Fatal(err)
	}
	return raw
}

// BenchmarkRead: the contract's check of a minute at 1 Hz beside the plain
// decoding of the same bytes into maps, and beside a JSON Schema validator.
func BenchmarkRead(b *testing.B) {
	raw := passOf(b, 60)
	b.Run("read", func(b *testing.B) {
		b.SetBytes(int64(len(raw)))
		b.ReportAllocs()
		for b.Loop() {
			if _, bad := Read(raw); bad != nil {
				b.Fatal(bad)
			}
		}
	})
	b.Run("json-to-map", func(b *testing.B) {
		b.SetBytes(int64(len(raw)))
		b.ReportAllocs()
		for b.Loop() {
			var v any
			if err := json.Unmarshal(raw, &v); err != nil {
				b.Fatal(err)
			}
		}
	})
	b.Run("jsonschema", func(b *testing.B) {
		schemas := compileSchemas(b)
		b.SetBytes(int64(len(raw)))
		b.ReportAllocs()
		for b.Loop() {
			if err := schemas.check(TypePassLogged, raw); err != nil {
				b.Fatal(err)
			}
		}
	})
}
