package coverage

import (
	"encoding/json"
	"math"
	"math/rand/v2"
	"testing"

	"hopperbook/reconcile/plane"
)

// receiver is how far its positions are off: an error that wanders with a
// correlation of 30 s, and what differs from fix to fix. Common practice, no source.
type receiver struct{ wanderM, jitterM float64 }

var (
	rtk   = receiver{0.02, 0.002}
	rough = receiver{0.5, 0.02}
)

// fieldWork is passes over a square field with its headland at 12 km/h, a
// segment every stepM, and the boundary.
func fieldWork(ha, widthM, stepM float64, by receiver) ([]Segment, *plane.Polygon) {
	rng := rand.New(rand.NewPCG(1, 2))
	side, h := 100*math.Sqrt(ha), widthM/2
	points := []xy{{h, h}, {side - h, h}, {side - h, side - h}, {h, side - h}, {h, h}}
	n := int(side/widthM) - 2
	for i := range n {
		x, y0, y1 := widthM*(float64(i)+1.5), widthM, side-widthM
		if i%2 == 1 {
			y0, y1 = y1, y0
		}
		points = append(points, xy{x, y0}, xy{x, y1})
	}
	var out []Segment
	driven, wu, wv := 0.0, by.wanderM*rng.NormFloat64(), by.wanderM*rng.NormFloat64()
	keep := math.Exp(-stepM / (30 * 12 / 3.6))
	add := by.wanderM * math.Sqrt(1-keep*keep)
	var last xy
	for i := 1; i < len(points); i++ {
		p, q := points[i-1], points[i]
		length := math.Hypot(q[0]-p[0], q[1]-p[1])
		steps := math.Ceil(length / stepM)
		for k := 0.0; k < steps; k++ {
			wu, wv = keep*wu+add*rng.NormFloat64(), keep*wv+add*rng.NormFloat64()
			at := xy{p[0] + k/steps*(q[0]-p[0]) + wu + by.jitterM*rng.NormFloat64(), p[1] + k/steps*(q[1]-p[1]) + wv + by.jitterM*rng.NormFloat64()}
			if i > 1 || k > 0 {
				s := Segment{StartM: driven, FromXM: last[0], FromYM: last[1], ToXM: at[0], ToYM: at[1], WidthM: widthM}
				driven += s.lengthM()
				out = append(out, s)
			}
			last = at
		}
	}
	return out, &plane.Polygon{Parts: []plane.Part{{Outer: ring(0, 0, side, side)}}}
}

// BenchmarkMeasure reports fixes a second on whole fields. The rough receiver's
// fixes are those that track leaves, 2 m apart.
func BenchmarkMeasure(b *testing.B) {
	for _, c := range []struct {
		ha, stepM float64
		by        receiver
		name      string
	}{
		{5, 10.0 / 3, rtk, "5ha_1Hz"}, {5, 2.0 / 3, rtk, "5ha_5Hz"}, {40, 10.0 / 3, rtk, "40ha_1Hz"}, {40, 2.0 / 3, rtk, "40ha_5Hz"},
		{150, 10.0 / 3, rtk, "150ha_1Hz"}, {150, 2.0 / 3, rtk, "150ha_5Hz"}, {40, 2, rough, "40ha_rough"},
	} {
		segments, field := fieldWork(c.ha, 18, c.stepM, c.by)
		b.Run(c.name, func(b *testing.B) {
			b.ReportAllocs()
			var c Cover
			for b.Loop() {
				if err := c.Reset(field, nil, Options{}); err != nil {
					b.Fatal(err)
				}
				if err := c.Add(segments); err != nil {
					b.Fatal(err)
				}
				c.Result()
			}
			b.ReportMetric(float64(len(segments)*b.N)/b.Elapsed().Seconds(), "fixes/s")
		})
	}
}

// BenchmarkBesideGEOS runs the union of GEOS over the same swaths in the same run: of a
// quadrilateral each segment, and in the fastest of several preparations (see
// testdata/outside/geos_time.py). It reports how many times longer they take. The largest
// fields are left to us alone: GEOS takes minutes there.
func BenchmarkBesideGEOS(b *testing.B) {
	for _, c := range []struct {
		name      string
		ha, stepM float64
	}{{"5ha_1Hz", 5, 10.0 / 3}, {"5ha_5Hz", 5, 2.0 / 3}, {"40ha_1Hz", 40, 10.0 / 3}, {"40ha_5Hz", 40, 2.0 / 3}, {"150ha_1Hz", 150, 10.0 / 3}} {
		segments, _ := fieldWork(c.ha, 18, c.stepM, rtk)
		b.Run(c.name, func(b *testing.B) {
			job := geosTiming{WidthM: 18, Path: [][2]float64{{segments[0].FromXM, segments[0].FromYM}}}
			for _, s := range segments {
				job.Path = append(job.Path, [2]float64{s.ToXM, s.ToYM})
			}
			var times map[string]struct{ Seconds, AreaM2 float64 }
			askPython(b, "geos_time.py", []geosTiming{job}, func(answer []byte) error { return json.Unmarshal(answer, &times) })
			var cover Cover
			var r Result
			b.ResetTimer()
			for b.Loop() {
				if err := cover.Reset(nil, nil, Options{}); err != nil {
					b.Fatal(err)
				}
				if err := cover.Add(segments); err != nil {
					b.Fatal(err)
				}
				r = cover.Result()
			}
			ours := b.Elapsed().Seconds() / float64(b.N)
			fastest := times["quads"]
			for name, t := range times {
				b.Logf("%s: %.1f us a fix, %.0f times ours, area %+.1e from ours", name, 1e6*t.Seconds/float64(len(segments)), t.Seconds/ours, t.AreaM2/r.CoveredM2-1)
				if t.Seconds < fastest.Seconds {
					fastest = t
				}
			}
			b.ReportMetric(times["quads"].Seconds/ours, "x_quads")
			b.ReportMetric(fastest.Seconds/ours, "x_fastest")
			b.ReportMetric(float64(len(segments))/ours, "fixes/s")
		})
	}
}
