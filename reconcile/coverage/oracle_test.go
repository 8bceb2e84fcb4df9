package coverage

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"github.com/peterstace/simplefeatures/geom"

	"hopperbook/reconcile/plane"
	"hopperbook/reconcile/track"
)

func polygonOf(t testing.TB, r plane.Ring) geom.Polygon {
	t.Helper()
	var c []float64
	for _, p := range r {
		c = append(c, p.XM, p.YM)
	}
	c = append(c, c[0], c[1])
	return geom.NewPolygon([]geom.LineString{geom.NewLineString(geom.NewSequence(c, geom.DimXY))})
}

// outlines is the swaths as polygons, made without the code under test:
// rectangles, and fans of at most a degree on the outer side of turns.
func outlines(segments []Segment) []plane.Ring {
	var out []plane.Ring
	for i, s := range segments {
		l := math.Hypot(s.ToXM-s.FromXM, s.ToYM-s.FromYM)
		nx, ny := -(s.ToYM-s.FromYM)/l*s.WidthM/2, (s.ToXM-s.FromXM)/l*s.WidthM/2
		out = append(out, plane.Ring{{XM: s.FromXM - nx, YM: s.FromYM - ny}, {XM: s.ToXM - nx, YM: s.ToYM - ny},
			{XM: s.ToXM + nx, YM: s.ToYM + ny}, {XM: s.FromXM + nx, YM: s.FromYM + ny}})
		if i == 0 || segments[i-1].Line != s.Line || segments[i-1].ToXM != s.FromXM || segments[i-1].ToYM != s.FromYM {
			continue
		}
		b := segments[i-1]
		from := math.Atan2(b.ToYM-b.FromYM, b.ToXM-b.FromXM)
		by := math.Remainder(math.Atan2(s.ToYM-s.FromYM, s.ToXM-s.FromXM)-from, 2*math.Pi)
		if math.Abs(by) > 120*math.Pi/180 || by == 0 {
			continue
		}
		from -= math.Copysign(math.Pi/2, by) // the outer side
		fan := plane.Ring{{XM: s.FromXM, YM: s.FromYM}}
		n := int(math.Ceil(math.Abs(by) * 180 / math.Pi))
		for k := range n + 1 {
			sin, cos := math.Sincos(from + by*float64(k)/float64(n))
			r := min(s.WidthM, b.WidthM) / 2
			fan = append(fan, plane.Point{XM: s.FromXM + r*cos, YM: s.FromYM + r*sin})
		}
		out = append(out, fan)
	}
	return out
}

// unionOf joins one by one: slow, but the library's union of many at once loses
// up to 0.3 % where sides nearly coincide (one by one and counting cells agree against it).
// False where the library gives up, on a few drives in a hundred.
func unionOf(t testing.TB, rings []plane.Ring) (geom.Geometry, bool) {
	t.Helper()
	u := polygonOf(t, rings[0]).AsGeometry()
	for _, r := range rings[1:] {
		var err error
		if u, err = geom.Union(u, polygonOf(t, r).AsGeometry()); err != nil {
			return u, false
		}
	}
	return u, true
}

// TestAgainstUnion compares with a general polygon union of the same swaths.
func TestAgainstUnion(t *testing.T) {
	worst, compared := 0.0, 0
	for seed := range uint64(8) {
		segments := wander(seed, 40, 0.05+0.2*float64(seed%3))
		u, ok := unionOf(t, outlines(segments))
		if !ok {
			continue
		}
		compared++
		r := measure(t, segments, nil)
		off := math.Abs(r.CoveredM2 - u.Area())
		worst = max(worst, off/u.Area())
		if off > max(0.1, 1e-4*u.Area()) || off > r.ErrorM2+0.02 {
			t.Errorf("seed %d: covered %.3f, union %.3f, estimate %.3f", seed, r.CoveredM2, u.Area(), r.ErrorM2)
		}
		field := randomField(seed)
		fence := geom.NewPolygon([]geom.LineString{
			polygonOf(t, field.Parts[0].Outer).ExteriorRing(), polygonOf(t, field.Parts[0].Holes[0]).ExteriorRing()}).AsGeometry()
		in, err := geom.Intersection(u, fence)
		if err != nil {
			t.Fatal(err)
		}
		r = measure(t, segments, field)
		for _, v := range [][2]float64{{r.CoveredM2, in.Area()}, {r.OutsideM2, u.Area() - in.Area()},
			{r.BoundaryM2, field.AreaM2()}, {r.MissedM2, field.AreaM2() - in.Area()}} {
			if math.Abs(v[0]-v[1]) > max(0.3, 1e-4*v[1]) {
				t.Errorf("seed %d in a field: %+v, union inside %.3f of %.3f, field %.3f", seed, r, in.Area(), u.Area(), field.AreaM2())
			}
		}
	}
	if compared < 7 {
		t.Errorf("only %d of 8 unions worked", compared)
	}
	t.Logf("largest difference to %d unions %.2g", compared, worst)
}

// timesAt is the definition of how often a place is covered, for one point.
func timesAt(segments []Segment, x, y float64) int {
	type visit struct{ run, driven, again float64 }
	var visits []visit
	run := 0.0
	for i, s := range segments {
		joint := i > 0 && segments[i-1].Line == s.Line && segments[i-1].ToXM == s.FromXM && segments[i-1].ToYM == s.FromYM
		if !joint {
			run++
		}
		l := math.Hypot(s.ToXM-s.FromXM, s.ToYM-s.FromYM)
		ux, uy := (s.ToXM-s.FromXM)/l, (s.ToYM-s.FromYM)/l
		dx, dy := x-s.FromXM, y-s.FromYM
		along, across := dx*ux+dy*uy, dy*ux-dx*uy
		if joint {
			b := segments[i-1]
			bl := math.Hypot(b.ToXM-b.FromXM, b.ToYM-b.FromYM)
			before := (dx*(b.ToXM-b.FromXM) + dy*(b.ToYM-b.FromYM)) / bl
			cosTurn := (ux*(b.ToXM-b.FromXM) + uy*(b.ToYM-b.FromYM)) / bl
			// Past the end of the one, before the begin of the other, within reach.
			if before >= 0 && along <= 0 && cosTurn >= -0.5 && math.Hypot(dx, dy) <= min(s.WidthM, b.WidthM)/2 {
				visits = append(visits, visit{run, s.StartM, 1.5 * s.WidthM})
			}
		}
		if along >= 0 && along <= l && math.Abs(across) <= s.WidthM/2 {
			visits = append(visits, visit{run, s.StartM + along, 1.5 * s.WidthM})
		}
	}
	n := 0
	for i, v := range visits {
		if i == 0 || visits[i-1].run != v.run || v.driven-visits[i-1].driven > max(v.again, visits[i-1].again) {
			n++
		}
	}
	return n
}

const cellM = 0.7

// byCells counts the cells of a grid over the field and the swaths.
func byCells(segments []Segment, field *plane.Polygon) (want Result) {
	box := field.Bounds()
	for _, s := range segments {
		box.MinXM, box.MaxXM = min(box.MinXM, s.ToXM-20), max(box.MaxXM, s.ToXM+20)
		box.MinYM, box.MaxYM = min(box.MinYM, s.ToYM-20), max(box.MaxYM, s.ToYM+20)
	}
	for x := box.MinXM; x < box.MaxXM; x += cellM {
		for y := box.MinYM; y < box.MaxYM; y += cellM {
			n, in := timesAt(segments, x, y), field.Contains(x, y)
			switch {
			case in && n == 0:
				want.MissedM2 += cellM * cellM
			case in:
				want.CoveredM2 += cellM * cellM
			case n >= 1:
				want.OutsideM2 += cellM * cellM
			}
			switch {
			case in && n == 2:
				want.Overlap2M2 += cellM * cellM
			case in && n > 2:
				want.Overlap3M2 += cellM * cellM
			}
		}
	}
	return want
}

// TestAgainstCells is the slow oracle for all classes, on tangled drives and on
// three turns so tight that the inner side never leaves the middle.
func TestAgainstCells(t *testing.T) {
	var loops []Segment
	points := circle(8, 30, 3)
	for i := 1; i < len(points); i++ {
		a, b := points[i-1], points[i]
		s := Segment{FromXM: a[0], FromYM: a[1], ToXM: b[0], ToYM: b[1], WidthM: 20}
		s.StartM = float64(i-1) * s.lengthM()
		loops = append(loops, s)
	}
	for i, segments := range [][]Segment{wander(100, 50, 0.2), wander(101, 50, 0.2), loops} {
		field := randomField(uint64(i))
		want, r := byCells(segments, field), measure(t, segments, field)
		for _, v := range [][2]float64{{r.CoveredM2, want.CoveredM2}, {r.Overlap2M2, want.Overlap2M2}, {r.Overlap3M2, want.Overlap3M2},
			{r.MissedM2, want.MissedM2}, {r.OutsideM2, want.OutsideM2}} {
			if math.Abs(v[0]-v[1]) > 8+0.003*v[1] {
				t.Errorf("drive %d: %+v, by cells %+v", i, r, want)
				break
			}
		}
	}
}

// same tells whether two results agree within their errors.
func same(a, b Result) bool {
	tol := a.ErrorM2 + b.ErrorM2 + 0.02
	for _, d := range []float64{a.CoveredM2 - b.CoveredM2, a.MissedM2 - b.MissedM2, a.OutsideM2 - b.OutsideM2, a.BoundaryM2 - b.BoundaryM2,
		a.SwathM2 - b.SwathM2, a.Overlap2M2 - b.Overlap2M2, a.Overlap3M2 - b.Overlap3M2} {
		if math.Abs(d) > tol {
			return false
		}
	}
	return true
}

func TestLaws(t *testing.T) {
	for seed := range uint64(6) {
		rng := rand.New(rand.NewPCG(seed, 6))
		segments, field := wander(seed+200, 120, 0.2), randomField(seed)
		r := measure(t, segments, field)
		if math.Abs(r.CoveredM2+r.MissedM2-r.BoundaryM2) > 1e-6 || math.Abs(r.BoundaryM2-field.AreaM2()) > r.ErrorM2+0.1 {
			t.Errorf("seed %d: covered + missed is not the field: %+v", seed, r)
		}
		mixed := append(slices.Clone(segments), segments[10:60]...)
		rng.Shuffle(len(mixed), func(i, j int) { mixed[i], mixed[j] = mixed[j], mixed[i] })
		if got := measure(t, mixed, field); got != r {
			t.Errorf("seed %d: mixed and repeated %+v, want %+v", seed, got, r)
		}
		sin, cos := math.Sincos(6 * rng.Float64())
		moved, fence := transform(segments, *field, func(x, y float64) (float64, float64) {
			return x*cos - y*sin + 5000, x*sin + y*cos - 7000
		})
		if got := measure(t, moved, &fence); !same(got, r) {
			t.Errorf("seed %d: moved and turned %+v, want %+v", seed, got, r)
		}
		var halves []Segment
		for _, s := range segments {
			m := s
			m.ToXM, m.ToYM = (s.FromXM+s.ToXM)/2, (s.FromYM+s.ToYM)/2
			s.FromXM, s.FromYM, s.StartM = m.ToXM, m.ToYM, s.StartM+s.lengthM()/2
			halves = append(halves, m, s)
		}
		if got := measure(t, halves, field); !same(got, r) {
			t.Errorf("seed %d: in halves %+v, want %+v", seed, got, r)
		}
		if got := measure(t, backwards(segments), field); !same(got, r) {
			t.Errorf("seed %d: driven backwards %+v, want %+v", seed, got, r)
		}
	}
}

func transform(segments []Segment, field plane.Polygon, to func(x, y float64) (float64, float64)) ([]Segment, plane.Polygon) {
	out := slices.Clone(segments)
	for i := range out {
		s := &out[i]
		s.FromXM, s.FromYM = to(s.FromXM, s.FromYM)
		s.ToXM, s.ToYM = to(s.ToXM, s.ToYM)
	}
	move := func(r plane.Ring) (m plane.Ring) {
		for _, p := range r {
			x, y := to(p.XM, p.YM)
			m = append(m, plane.Point{XM: x, YM: y})
		}
		return m
	}
	return out, plane.Polygon{Parts: []plane.Part{{Outer: move(field.Parts[0].Outer), Holes: []plane.Ring{move(field.Parts[0].Holes[0])}}}}
}

func backwards(segments []Segment) []Segment {
	out := slices.Clone(segments)
	for i := range out {
		s := &out[i]
		s.StartM = -s.StartM - s.lengthM()
		s.FromXM, s.FromYM, s.ToXM, s.ToYM = s.ToXM, s.ToYM, s.FromXM, s.FromYM
	}
	return out
}

// TestLogInTwo: a log sent in two batches is the same drive.
func TestLogInTwo(t *testing.T) {
	p := plane.At(-46.2, 169)
	fixes := drive(p, 20, 3, []xy{{0, 0}, {0, 150}, {30, 170}, {60, 150}, {58, 0}})
	whole := measure(t, FromTrack(nil, p, track.Clean(fixes, track.Options{}).Segments), nil)
	late := append(slices.Clone(fixes[37:]), fixes[:41]...)
	if got := measure(t, FromTrack(nil, p, track.Clean(late, track.Options{}).Segments), nil); got != whole {
		t.Errorf("%+v, want %+v", got, whole)
	}
	// Two machines over the same ground cover it twice.
	both := FromTrack(FromTrack(nil, p, track.Clean(fixes, track.Options{}).Segments), p, track.Clean(fixes, track.Options{}).Segments)
	if got := measure(t, both, nil); math.Abs(got.CoveredM2-whole.CoveredM2) > 0.05 || math.Abs(got.Overlap2M2+got.Overlap3M2-whole.CoveredM2) > 0.05 {
		t.Errorf("two machines %+v, one %+v", got, whole)
	}
}
