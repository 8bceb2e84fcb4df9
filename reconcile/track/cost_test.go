package track

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"hopperbook/reconcile/plane"
	"hopperbook/schemas"
)

// uglyDrives are drives that a cost above O(n log n) would show in.
var uglyDrives = []struct {
	name string
	make func(n int) []schemas.Fix
}{
	{"circling on 3 m", func(n int) []schemas.Fix {
		return laid(n, 200, func(i int) (x, y float64) {
			sin, cos := math.Sincos(float64(i) * 0.8 / 3)
			return 3 * cos, 3 * sin
		})
	}},
	{"standing, 1 m of noise", func(n int) []schemas.Fix { return laid(n, 200, noise(1)) }},
	{"standing, 30 m of noise", func(n int) []schemas.Fix { return laid(n, 200, noise(30)) }},
	{"standing still", func(n int) []schemas.Fix { return laid(n, 200, noise(0)) }},
	{"one moment", func(n int) []schemas.Fix { return laid(n, 0, noise(2)) }},
	{"each moment a thousand times", func(n int) []schemas.Fix {
		fixes := laid(n, 200, func(i int) (x, y float64) { return float64(i / 1000), 0 })
		for i := range fixes {
			fixes[i].UnixMilli = int64(200 * (i / 1000))
		}
		return fixes
	}},
	{"backwards in time", func(n int) []schemas.Fix {
		fixes := laid(n, -200, func(i int) (x, y float64) { return float64(i), 0 })
		return fixes
	}},
	{"here and there", func(n int) []schemas.Fix {
		return laid(n, 200, func(i int) (x, y float64) { return float64(i % 2 * 50000), 0 })
	}},
	{"a jump every third fix", func(n int) []schemas.Fix {
		return laid(n, 200, func(i int) (x, y float64) { return float64(i), float64(i % 3 / 2 * 500) })
	}},
	{"a gap after every fix", func(n int) []schemas.Fix {
		return laid(n, 60000, func(i int) (x, y float64) { return float64(i), 0 })
	}},
	{"over a boundary and back", func(n int) []schemas.Fix {
		return laid(n, 1000, func(i int) (x, y float64) { return 100 + 4*float64(i%2), float64(i) / 1000 })
	}},
}

// laid are n spreading fixes so many milliseconds apart, positions in metres.
func laid(n int, stepMilli int64, at func(i int) (xM, yM float64)) []schemas.Fix {
	fixes := make([]schemas.Fix, n)
	for i := range fixes {
		x, y := at(i)
		fixes[i] = schemas.Fix{UnixMilli: stepMilli * int64(i), LatDeg: -46 + y/111e3, LonDeg: 168 + x/77e3, SpeedKmh: 10,
			BoutWidthM: 24, SetRateKgHa: 200, Quality: 1, Spreading: schemas.SpreadingOn}
	}
	return fixes
}

func noise(sd float64) func(int) (x, y float64) {
	rng := rand.New(rand.NewPCG(5, 5))
	return func(int) (x, y float64) { return sd * rng.NormFloat64(), sd * rng.NormFloat64() }
}

// gear is a round field of 100 m with so many sides, every other corner a little further out.
func gear(t testing.TB, sides int) []Field {
	ring := make([][2]float64, sides)
	for k := range ring {
		sin, cos := math.Sincos(2 * math.Pi * float64(k) / float64(sides))
		r := 100 + 0.05*float64(k%2)
		ring[k] = [2]float64{168 + r*cos/77e3, -46 + r*sin/111e3}
	}
	b, err := plane.NewBoundary([][][][2]float64{{ring}})
	if err != nil {
		t.Fatal(err)
	}
	return []Field{{ID: "F1", Boundary: b}}
}

// The time a fix takes must be the same at n and at 10n.
func BenchmarkUglyDrives(b *testing.B) {
	ground := NewGround(gear(b, 40))
	for _, d := range uglyDrives {
		for _, n := range []int{20_000, 200_000} {
			fixes := d.make(n)
			b.Run(fmt.Sprintf("%s/%d", d.name, n), func(b *testing.B) {
				for b.Loop() {
					OutsideFields(ground.Split(Clean(fixes, Options{}).Segments))
				}
				b.ReportMetric(b.Elapsed().Seconds()*1e9/float64(b.N)/float64(n), "ns/fix")
			})
		}
	}
}

// And the same whatever detail a boundary is drawn with.
func BenchmarkDetailedBoundary(b *testing.B) {
	fixes := laid(20_000, 1000, func(i int) (x, y float64) { return float64(i%200) - 100, 4 * float64(i/200%40) })
	segments := Clean(fixes, Options{}).Segments
	for _, sides := range []int{200, 2_000, 20_000, 200_000} {
		ground := NewGround(gear(b, sides))
		b.Run(fmt.Sprint(sides), func(b *testing.B) {
			for b.Loop() {
				ground.Split(segments)
			}
			b.ReportMetric(b.Elapsed().Seconds()*1e9/float64(b.N)/float64(len(segments)), "ns/segment")
		})
	}
}

// A clock that is broken by millions of years still gives speeds.
func TestBrokenClock(t *testing.T) {
	for _, at := range []int64{0, 1 << 60, -1 << 60, math.MaxInt64 - 5000, math.MinInt64} {
		fixes := laid(3, 1000, func(i int) (x, y float64) { return float64(i * i * 100), 0 })
		for i := range fixes {
			fixes[i].UnixMilli += at
		}
		found := Clean(fixes, Options{}).Findings
		if len(found) != 2 || found[0].Kind != Jump || math.Abs(found[0].Detail-362.2) > 0.1 || math.Abs(found[1].Detail-1086.5) > 0.1 {
			t.Errorf("from %d: %+v", at, found)
		}
	}
}
