package track

import (
	"cmp"
	"fmt"
	"math"
	"math/rand/v2"
	"reflect"
	"slices"
	"testing"

	"hopperbook/reconcile/plane"
	"hopperbook/schemas"
)

// splitByScan is the obvious way: every segment against every field.
func splitByScan(segments []Segment, fields []Field) []Segment {
	fields = slices.Clone(fields)
	slices.SortStableFunc(fields, func(a, b Field) int { return cmp.Compare(a.ID, b.ID) })
	all := splitter{}
	for i := range fields {
		all.near = append(all.near, &fields[i])
	}
	return all.cut(nil, segments)
}

// farm is n random fields about a position, spread over km kilometres, some of
// them on top of each other, with a hole or much larger than the rest.
func farm(t testing.TB, rng *rand.Rand, lat, lon, km float64, n int) []Field {
	var fields []Field
	for i := range n {
		x, y := 1000*km*(rng.Float64()-0.5), 1000*km*(rng.Float64()-0.5)
		la, lo := plane.At(lat, lon).Inverse(x, y)
		r := 50 + 400*rng.Float64()
		if i%20 == 0 {
			r *= 20
		}
		ring := make([][2]float64, 3+rng.IntN(9))
		for k := range ring {
			turn := 2 * math.Pi * float64(k) / float64(len(ring))
			far := r * (0.4 + 0.6*rng.Float64())
			ring[k] = [2]float64{far * math.Cos(turn), far * math.Sin(turn)}
		}
		rings := [][][2]float64{ring}
		if i%3 == 0 {
			rings = append(rings, box(-r/9, -r/9, r/9, r/9))
		}
		fields = append(fields, fieldOf(t, schemas.FieldID(fmt.Sprintf("F%03d", rng.IntN(2*n))), la, lo, rings...))
	}
	return fields
}

// visits drives a bit about every third field, in any order.
func visits(rng *rand.Rand, fields []Field, each int, stepM float64) []Segment {
	var fixes []schemas.Fix
	now := 0.0
	for _, i := range rng.Perm(len(fields))[:(len(fields)+2)/3] {
		p := fields[i].Boundary.Plane
		x, y, heading := 600*(rng.Float64()-0.5), 600*(rng.Float64()-0.5), 7*rng.Float64()
		for range each {
			now++
			heading += rng.Float64() - 0.5
			x, y = x+stepM*math.Cos(heading), y+stepM*math.Sin(heading)
			f := fixAt(now, 0, 0)
			f.LatDeg, f.LonDeg = p.Inverse(x, y)
			fixes = append(fixes, f)
		}
		now += 3 * rng.Float64()
	}
	return Clean(fixes, Options{}).Segments
}

// The tree finds what the scan over all fields finds, to the bit: fields on top
// of each other and under one name, with holes, over the antimeridian, far
// north, and a log that goes around the globe between them.
func TestTreeAgainstScan(t *testing.T) {
	for seed := range uint64(12) {
		rng := rand.New(rand.NewPCG(seed, 8))
		var fields []Field
		for _, at := range [][2]float64{{-46, 168.3}, {-16.8, 180}, {-17, -179.99}, {69, 22}, {0, 0}, {64, 179.9}} {
			fields = append(fields, farm(t, rng, at[0], at[1], 6, 25)...)
		}
		segments := visits(rng, fields, 40, 12)
		got, want := NewGround(fields).Split(segments), splitByScan(segments, fields)
		if len(segments) < 1500 || len(lengths(want)) < 8 {
			t.Fatalf("seed %d: %d segments, %d pieces: too few to tell", seed, len(segments), len(want))
		}
		if !reflect.DeepEqual(got, want) {
			t.Errorf("seed %d: %d pieces, by the scan %d", seed, len(got), len(want))
		}
		rng.Shuffle(len(fields), func(i, j int) { fields[i], fields[j] = fields[j], fields[i] })
		if a, b := lengths(got), lengths(NewGround(fields).Split(segments)); len(a) != len(b) {
			t.Errorf("seed %d: another order of fields gives %d fields, not %d", seed, len(b), len(a))
		}
	}
}

func TestGroundWithoutFields(t *testing.T) {
	segments := Clean(straight(5), Options{}).Segments
	for _, g := range []*Ground{nil, {}, NewGround(nil), NewGround([]Field{{ID: "F"}})} {
		if got := g.Split(segments); !reflect.DeepEqual(got, segments) {
			t.Errorf("%+v", got)
		}
		if got := g.Split(nil); len(got) != 0 {
			t.Errorf("%+v", got)
		}
	}
}

// BenchmarkSplit is the tree beside a scan of the boxes of all fields, both once for
// every block of segments. 2 000 fields of 12
// corners and 12 ha, side by side; a visit to every third, 100 fixes 3 m apart.
func BenchmarkSplit(b *testing.B) {
	var fields []Field
	for i := range 2000 {
		la, lo := plane.At(-46, 168.3).Inverse(450*float64(i%45), 450*float64(i/45))
		var ring [][2]float64
		for k := range 12 {
			ring = append(ring, [2]float64{200 * math.Cos(float64(k)*math.Pi/6), 200 * math.Sin(float64(k)*math.Pi/6)})
		}
		fields = append(fields, fieldOf(b, schemas.FieldID(fmt.Sprintf("F%04d", i)), la, lo, ring))
	}
	segments := visits(rand.New(rand.NewPCG(1, 1)), fields, 100, 3)
	ground := NewGround(fields)
	scan := func() {
		var s splitter
		var out []Segment
		for rest := segments; len(rest) > 0; {
			n, e := block(rest)
			s.near = s.near[:0]
			for i := range fields {
				if fields[i].Boundary.MayMeet(e.MinY, e.MinX, e.MaxY, e.MaxX) {
					s.near = append(s.near, &fields[i])
				}
			}
			out = s.cut(out, rest[:n])
			rest = rest[n:]
		}
	}
	for _, c := range []struct {
		name string
		do   func()
	}{{"tree", func() { ground.Split(segments) }}, {"scan", scan}, {"index", func() { NewGround(fields) }}} {
		b.Run(c.name, func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				c.do()
			}
			if c.name != "index" {
				b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/float64(len(segments)), "ns/segment")
			}
		})
	}
}
