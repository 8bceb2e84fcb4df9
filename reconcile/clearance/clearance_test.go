package clearance

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"github.com/peterstace/simplefeatures/geom"

	"hopperbook/reconcile/coverage"
	"hopperbook/reconcile/plane"
)

func way(width float64, points ...float64) (out []coverage.Segment) {
	start := 0.0
	for i := 0; i+3 < len(points); i += 2 {
		s := coverage.Segment{StartM: start, FromXM: points[i], FromYM: points[i+1], ToXM: points[i+2], ToYM: points[i+3], WidthM: width}
		start += math.Hypot(s.ToXM-s.FromXM, s.ToYM-s.FromYM)
		out = append(out, s)
	}
	return out
}

func area(rings ...[]float64) plane.Polygon {
	ring := func(v []float64) (r plane.Ring) {
		for i := 0; i < len(v); i += 2 {
			r = append(r, plane.Point{XM: v[i], YM: v[i+1]})
		}
		return r
	}
	part := plane.Part{Outer: ring(rings[0])}
	for _, hole := range rings[1:] {
		part.Holes = append(part.Holes, ring(hole))
	}
	return plane.Polygon{Parts: []plane.Part{part}}
}

func box(x, y, w, h float64) []float64 { return []float64{x, y, x + w, y, x + w, y + h, x, y + h} }

func TestDistance(t *testing.T) {
	north := way(10, 0, 0, 0, 100) // a pass of 100 m along y: the swath is x from -5 to 5
	bend := way(10, 0, -50, 0, 0, -50, 0)
	for _, c := range []struct { // by hand
		name     string
		segments []coverage.Segment
		area     plane.Polygon
		want     float64
	}{
		{"beside it", north, area(box(12, 40, 10, 10)), 7},
		{"beyond its end", north, area(box(-2, 103, 4, 4)), 3},
		{"off its corner", north, area(box(8, 104, 4, 4)), 5},
		{"touching", north, area(box(5, 0, 4, 4)), 0},
		{"in it", north, area(box(-1, 40, 1, 1)), 0},
		{"around it", north, area(box(-50, -50, 200, 200)), 0},
		{"in a hole of it", north, area(box(-50, -50, 200, 200), box(-9, -20, 30, 140)), 4},
		{"a point of it", north, area([]float64{7, 50, 20, 45, 20, 55}), 2},
		{"a side across", north, area([]float64{-60, 50, 60, 50, 60, 51, -60, 51}), 0},
		{"a slanting side", north, area([]float64{10, 100, 20, 90, 30, 110}), 5},
		{"a sliver", north, area([]float64{8, 0, 8, 100, 8, 50}), 3},
		{"outside a turn", bend, area(box(5, 5, 2, 2)), math.Hypot(5, 5) - 5},
		{"just outside it", bend, area([]float64{3.6, 3.6, 9, 5, 5, 9}), math.Hypot(3.6, 3.6) - 5},
		{"in the sector of a turn", bend, area([]float64{3.5, 3.5, 9, 5, 5, 9}), 0},
		{"backing up sweeps nothing", way(10, 0, -50, 0, 0, -30, -30), area(box(-1, 6, 2, 2)), 5 / math.Sqrt2},
		{"another line does not turn", append(way(10, 0, -50, 0, 0), coverage.Segment{Line: 1, ToXM: -50, WidthM: 10}), area(box(5, 5, 2, 2)), 5},
	} {
		got, ok := DistanceM(c.segments, c.area)
		if !ok || math.Abs(got-c.want) > 1e-9 {
			t.Errorf("%s: %v, %v, want %v", c.name, got, ok, c.want)
		}
	}
	for name, none := range map[string][]coverage.Segment{"nothing": nil, "standing still": way(10, 1, 1, 1, 1), "no bout width": way(0, 0, 0, 0, 9)} {
		if m, ok := DistanceM(none, area(box(0, 0, 1, 1))); ok {
			t.Errorf("%s is %v m off", name, m)
		}
	}
	if m, ok := DistanceM(north, plane.Polygon{}); ok {
		t.Errorf("no area is %v m off", m)
	}
}

// slow is the distance by a library: every rectangle and sector a polygon of its
// own, the sector by chords of a hundredth of it.
func slow(segments []coverage.Segment, p plane.Polygon) float64 {
	polygon := func(points []vec) geom.Geometry {
		var xy []float64
		for _, v := range append(points, points[0]) {
			xy = append(xy, v.x, v.y)
		}
		return geom.NewPolygon([]geom.LineString{geom.NewLineString(geom.NewSequence(xy, geom.DimXY))}).AsGeometry()
	}
	var parts []geom.Polygon
	for _, part := range p.Parts {
		var rings []geom.LineString
		for _, ring := range append([]plane.Ring{part.Outer}, part.Holes...) {
			var xy []float64
			for _, at := range append(slices.Clone(ring), ring[0]) {
				xy = append(xy, at.XM, at.YM)
			}
			rings = append(rings, geom.NewLineString(geom.NewSequence(xy, geom.DimXY)))
		}
		parts = append(parts, geom.NewPolygon(rings))
	}
	area := geom.NewMultiPolygon(parts).AsGeometry()
	best := math.Inf(1)
	near := func(g geom.Geometry) {
		if d, ok := geom.Distance(g, area); ok {
			best = min(best, d)
		}
	}
	for i, s := range segments {
		from, to, r := vec{s.FromXM, s.FromYM}, vec{s.ToXM, s.ToYM}, s.WidthM/2
		angle := math.Atan2(to.y-from.y, to.x-from.x)
		tip := func(c vec, angle, r float64) vec { return vec{c.x + r*math.Cos(angle), c.y + r*math.Sin(angle)} }
		near(polygon([]vec{tip(from, angle+math.Pi/2, r), tip(from, angle-math.Pi/2, r), tip(to, angle-math.Pi/2, r), tip(to, angle+math.Pi/2, r)}))
		if i == 0 || segments[i-1].Line != s.Line {
			continue
		}
		b := segments[i-1]
		before := math.Atan2(b.ToYM-b.FromYM, b.ToXM-b.FromXM)
		turn := math.Remainder(angle-before, 2*math.Pi)
		if math.Abs(turn) < 1e-6 || math.Abs(turn) > 2*math.Pi/3 {
			continue
		}
		fan, side := []vec{from}, -math.Copysign(math.Pi/2, turn)
		for k := range 101 {
			fan = append(fan, tip(from, before+side+turn*float64(k)/100, min(r, b.WidthM/2)))
		}
		near(polygon(fan))
	}
	return best
}

// drive is a drive of a few bends, and some areas about it, one with a hole.
func random(r *rand.Rand) ([]coverage.Segment, plane.Polygon) {
	points, angle := []float64{0, 0}, r.Float64()*6
	for range 1 + r.IntN(12) {
		angle += r.NormFloat64()
		l, n := 2+r.ExpFloat64()*15, len(points)
		points = append(points, points[n-2]+l*math.Cos(angle), points[n-1]+l*math.Sin(angle))
	}
	segments := way(3+r.Float64()*20, points...)
	for i := range segments[1:] {
		if r.IntN(8) == 0 {
			segments[i+1].WidthM *= 0.5
		}
	}
	var p plane.Polygon
	for k := range 1 + r.IntN(3) {
		star := func(x, y, least, most float64) (out []float64) {
			n := 3 + r.IntN(8)
			for i := range n {
				a, l := 2*math.Pi*float64(i)/float64(n), least+r.Float64()*(most-least)
				out = append(out, x+l*math.Cos(a), y+l*math.Sin(a))
			}
			return out
		}
		x, y := 120*float64(k)+r.NormFloat64()*30, r.NormFloat64()*30
		part := area(star(x, y, 10, 20))
		if r.IntN(2) == 0 {
			part = area(box(x-30, y-30, 60, 60), star(x, y, 10, 28))
		}
		p.Parts = append(p.Parts, part.Parts...)
	}
	return segments, p
}

func TestBesideALibrary(t *testing.T) {
	r := rand.New(rand.NewPCG(2, 8))
	apart, turns := 0, 0
	for i := range 1500 {
		segments, p := random(r)
		got, ok := DistanceM(segments, p)
		want := slow(segments, p)
		chord := 12 * (1 - math.Cos(math.Pi/3/100)) // most that a chord of the library's sector lies inside the circle
		if !ok || got > want+1e-6 || got < want-chord-1e-6 {
			t.Fatalf("%d: %v, the library says %v\n%+v\n%+v", i, got, want, segments, p)
		}
		if got > 0 {
			apart++
		}
		if math.Abs(got-want) > 1e-6 {
			turns++ // only a sector gives that
		}
	}
	if apart < 400 || turns < 10 {
		t.Errorf("%d of 1500 lie apart, %d nearest to a sector", apart, turns)
	}
}

// Moved, turned, cut, shuffled, seen in parts: the same distance. More swath is
// never further, and a bout wider by 2 m is nearer by at most 1 m where nothing turns.
func TestLaws(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 8))
	for i := range 300 {
		segments, p := random(r)
		want, _ := DistanceM(segments, p)
		check := func(law string, got, least, most float64) {
			if got < least-1e-6 || got > most+1e-6 {
				t.Fatalf("%d: %s: %v, want %v to %v", i, law, got, least, most)
			}
		}
		sin, cos := math.Sincos(r.Float64() * 6)
		to := func(x, y float64) (float64, float64) { return 500 + x*cos - y*sin, -300 + x*sin + y*cos }
		moved, at := slices.Clone(segments), plane.Polygon{}
		for k := range moved {
			moved[k].FromXM, moved[k].FromYM = to(moved[k].FromXM, moved[k].FromYM)
			moved[k].ToXM, moved[k].ToYM = to(moved[k].ToXM, moved[k].ToYM)
		}
		for _, part := range p.Parts {
			turned := func(ring plane.Ring) (out plane.Ring) {
				for _, c := range ring {
					x, y := to(c.XM, c.YM)
					out = append(out, plane.Point{XM: x, YM: y})
				}
				return out
			}
			q := plane.Part{Outer: turned(part.Outer)}
			for _, h := range part.Holes {
				q.Holes = append(q.Holes, turned(h))
			}
			at.Parts = append(at.Parts, q)
		}
		d, _ := DistanceM(moved, at)
		check("moved", d, want, want)
		shuffled := slices.Clone(segments)
		r.Shuffle(len(shuffled), func(a, b int) { shuffled[a], shuffled[b] = shuffled[b], shuffled[a] })
		d, _ = DistanceM(shuffled, p)
		check("shuffled", d, want, want)
		var halves []coverage.Segment
		for _, s := range segments {
			a, b := s, s
			a.ToXM, a.ToYM = (s.FromXM+s.ToXM)/2, (s.FromYM+s.ToYM)/2
			b.FromXM, b.FromYM, b.StartM = a.ToXM, a.ToYM, s.StartM+math.Hypot(a.ToXM-a.FromXM, a.ToYM-a.FromYM)
			halves = append(halves, a, b)
		}
		d, _ = DistanceM(halves, p)
		check("cut in halves", d, want, want)
		least := math.Inf(1)
		for _, part := range p.Parts {
			d, _ := DistanceM(segments, plane.Polygon{Parts: []plane.Part{part}})
			least = min(least, d)
		}
		check("area by area", least, want, want)
		d, _ = DistanceM(segments[:1+r.IntN(len(segments))], p)
		check("fewer swaths", d, want, math.Inf(1))
		one := segments[:1]
		narrow, _ := DistanceM(one, p)
		wider := slices.Clone(one)
		wider[0].WidthM += 2
		d, _ = DistanceM(wider, p)
		check("a wider bout", d, narrow-1, narrow)
	}
}

func BenchmarkDistance(b *testing.B) {
	var points []float64
	for x := range 30 {
		for k := range 100 {
			y := float64(4 * k)
			if x%2 == 1 {
				y = 396 - y
			}
			points = append(points, float64(18*x), y)
		}
	}
	segments, p := way(18, points...), plane.Polygon{}
	var creek plane.Ring
	for k := range 500 {
		creek = append(creek, plane.Point{XM: 560 + 5*math.Sin(float64(k)/9), YM: float64(k)})
	}
	p.Parts = []plane.Part{{Outer: append(creek, plane.Point{XM: 600, YM: 500}, plane.Point{XM: 600})}}
	b.ReportMetric(float64(len(segments)), "segments")
	for b.Loop() {
		DistanceM(segments, p)
	}
}
