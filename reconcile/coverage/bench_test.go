package coverage

import (
	"fmt"
	"math/rand/v2"
	"testing"
	"time"

	"hopperbook/reconcile/plane"
)

// fieldWork is passes over a square field with its headland, by fixes stepM
// apart with noise, and the boundary.
func fieldWork(sideM, widthM, stepM, noiseM float64) ([]Segment, *plane.Polygon) {
	rng := rand.New(rand.NewPCG(1, 2))
	h := widthM / 2
	points := []xy{{h, h}, {sideM - h, h}, {sideM - h, sideM - h}, {h, sideM - h}, {h, h}}
	n := int(sideM/widthM) - 2
	for i := range n {
		x, y0, y1 := widthM*(float64(i)+1.5), widthM, sideM-widthM
		if i%2 == 1 {
			y0, y1 = y1, y0
		}
		points = append(points, xy{x, y0}, xy{x, y1})
	}
	var out []Segment
	driven := 0.0
	fixes := drive(plane.At(52, 10), widthM, stepM, points)
	p := plane.At(52, 10)
	var lx, ly float64
	for i, f := range fixes {
		x, y := p.Forward(f.LatDeg, f.LonDeg)
		x, y = x+noiseM*rng.NormFloat64(), y+noiseM*rng.NormFloat64()
		if i > 0 {
			s := Segment{StartM: driven, FromXM: lx, FromYM: ly, ToXM: x, ToYM: y, WidthM: widthM}
			driven += s.lengthM()
			out = append(out, s)
		}
		lx, ly = x, y
	}
	return out, &plane.Polygon{Parts: []plane.Part{{Outer: ring(0, 0, sideM, sideM)}}}
}

// BenchmarkMeasure reports fixes a second on whole fields.
func BenchmarkMeasure(b *testing.B) {
	for _, c := range []struct{ ha, noiseM float64 }{{5, 0.02}, {40, 0.02}, {40, 0.2}} {
		side := map[float64]float64{5: 224, 40: 632}[c.ha]
		segments, field := fieldWork(side, 18, 0.83, c.noiseM)
		b.Run(fmt.Sprintf("%.0fha_%.2fm", c.ha, c.noiseM), func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				measure(b, segments, field)
			}
			b.ReportMetric(float64(len(segments)*b.N)/b.Elapsed().Seconds(), "fixes/s")
		})
	}
}

// BenchmarkBesideUnion runs a general polygon union of the same swaths in the
// same run and reports how many times longer it takes a fix. Small, because the union is slow.
func BenchmarkBesideUnion(b *testing.B) {
	segments, _ := fieldWork(120, 18, 2, 0.05)
	rings := outlines(segments)
	begin := time.Now()
	u, ok := unionOf(b, rings)
	peer := time.Since(begin)
	var r Result
	b.ResetTimer()
	for b.Loop() {
		r = measure(b, segments, nil)
	}
	ours := b.Elapsed() / time.Duration(b.N)
	b.ReportMetric(float64(peer)/float64(ours), "times_slower_union")
	b.ReportMetric(float64(len(segments))/ours.Seconds(), "fixes/s")
	if ok {
		b.ReportMetric(1e6*(r.CoveredM2/u.Area()-1), "ppm_apart")
	}
}
