package track

import (
	"math"
	"math/rand/v2"
	"testing"

	"hopperbook/reconcile/plane"
	"hopperbook/schemas"
)

// fieldOf is a field from rings in metres about a position.
func fieldOf(t testing.TB, id schemas.FieldID, lat, lon float64, rings ...[][2]float64) Field {
	t.Helper()
	p := plane.At(lat, lon)
	var part [][][2]float64
	for _, r := range rings {
		var ring [][2]float64
		for _, v := range r {
			la, lo := p.Inverse(v[0], v[1])
			ring = append(ring, [2]float64{lo, la})
		}
		part = append(part, ring)
	}
	b, err := plane.NewBoundary([][][][2]float64{part})
	if err != nil {
		t.Fatal(err)
	}
	return Field{ID: id, Boundary: b}
}

func box(x0, y0, x1, y1 float64) [][2]float64 {
	return [][2]float64{{x0, y0}, {x1, y0}, {x1, y1}, {x0, y1}}
}

// fieldAt is the first field the end of s lies in, by the boundary's own rule.
func fieldAt(s Segment, fields ...Field) schemas.FieldID {
	for _, f := range fields {
		if x, y := f.Boundary.Plane.Forward(s.ToLatDeg, s.ToLonDeg); f.Boundary.Polygon.Contains(x, y) {
			return f.ID
		}
	}
	return ""
}

func lengths(segments []Segment) map[schemas.FieldID]float64 {
	m := map[schemas.FieldID]float64{}
	for _, s := range segments {
		m[s.Field] += s.LengthM
	}
	return m
}

func TestSplitAcrossTwoFieldsAndAHole(t *testing.T) {
	for _, at := range [][2]float64{{-46.1, 168.3}, {0.2, 36.8}, {60.4, 22.3}, {-16.8, 180}} {
		a := fieldOf(t, "A", at[0], at[1], box(-50, 0, 50, 101), box(-10, 40, 10, 63.5))
		b := fieldOf(t, "B", at[0], at[1], box(-50, 101, 50, 150))
		p := plane.At(at[0], at[1])
		var fixes []schemas.Fix
		for i := range 60 { // one long drive east of north, from 20 m before A to past B
			f := fixAt(float64(i), 0, 0)
			f.LatDeg, f.LonDeg = p.Inverse(0.1*float64(i), -20+3.3*float64(i))
			fixes = append(fixes, f)
		}
		tr := Clean(fixes, Options{})
		got := lengths(NewGround([]Field{b, a}).Split(tr.Segments))
		k := math.Hypot(3.3, 0.1) / 3.3 // metres driven per metre north
		want := map[schemas.FieldID]float64{"A": (101 - 23.5) * k, "B": 49 * k, "": (20 + 23.5 + 3.3*59 - 20 - 150) * k}
		for id, w := range want {
			if math.Abs(got[id]-w) > 1e-3 {
				t.Errorf("at %v field %q: %.5f m, want %.5f", at, id, got[id], w)
			}
		}
	}
}

// TestSplitAgainstFineSteps is the slow oracle: walk every segment in steps of
// a centimetre or so and ask each field in turn.
func TestSplitAgainstFineSteps(t *testing.T) {
	for seed := range uint64(5) {
		corners := []int{17, 71}[seed/4] // looked at one by one, and in the last through their tree
		star := make([][2]float64, corners)
		for i := range star {
			sin, cos := math.Sincos(float64(i) * 2 * math.Pi / float64(corners))
			r := 40 + 35*float64(i%2)
			star[i] = [2]float64{r * cos, r * sin}
		}
		fields := []Field{
			fieldOf(t, "far", -46.1, 168.4, box(0, 0, 100, 100)),
			fieldOf(t, "box", -46.1, 168.3, box(20, -30, 90, 30)),
			fieldOf(t, "star", -46.1, 168.3, star),
		}
		rng := rand.New(rand.NewPCG(seed, 5))
		var fixes []schemas.Fix
		for i := range 60 {
			fixes = append(fixes, fixAt(float64(4*i), 180*(rng.Float64()-0.5), 180*(rng.Float64()-0.5)))
		}
		segments := Clean(fixes, Options{MaxSpeedKmh: 1000}).Segments
		pieces := NewGround(fields).Split(segments)
		got, want := lengths(pieces), map[schemas.FieldID]float64{}
		const steps = 2500
		for _, s := range segments {
			for i := range steps {
				f := (float64(i) + 0.5) / steps
				want[fieldAt(s.Part(0, f), fields[1], fields[2])] += s.LengthM / steps
			}
		}
		for _, id := range []schemas.FieldID{"", "box", "star"} {
			if math.Abs(got[id]-want[id]) > 0.5 {
				t.Errorf("seed %d field %q: %.3f m, by steps %.3f", seed, id, got[id], want[id])
			}
		}
		a, b := Total(segments), Total(pieces)
		if math.Abs(a.LengthM-b.LengthM) > 1e-8 || math.Abs(a.NominalKg-b.NominalKg) > 1e-8 || math.Abs(a.SpreadS-b.SpreadS) > 1e-9 {
			t.Errorf("seed %d: %+v became %+v", seed, a, b)
		}
		for i := 1; i < len(pieces); i++ {
			p, q := pieces[i-1], pieces[i]
			if p.Line == q.Line && (p.ToLatDeg != q.FromLatDeg || p.ToLonDeg != q.FromLonDeg || p.ToMilli != q.FromMilli) {
				t.Fatalf("seed %d: piece %d does not begin where the one before ended", seed, i)
			}
		}
	}
}

// TestContinentsInOneLog: a machine shipped around the globe stays in its fields.
func TestContinentsInOneLog(t *testing.T) {
	var fields []Field
	var fixes []schemas.Fix
	for i, lon := range []float64{10, 130, -110} {
		fields = append(fields, fieldOf(t, schemas.FieldID("ABC"[i:i+1]), 45, lon, box(-50, -50, 50, 50)))
		for j := range 3 {
			f := fixAt(float64(1000*i+j), 0, 0)
			f.LatDeg, f.LonDeg = plane.At(45, lon).Inverse(0, 5*float64(j))
			fixes = append(fixes, f)
		}
	}
	for id, m := range lengths(NewGround(fields).Split(Clean(fixes, Options{}).Segments)) {
		if id == "" || math.Abs(m-10) > 1e-6 {
			t.Errorf("field %q has %v m", id, m)
		}
	}
}
