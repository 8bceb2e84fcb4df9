package coverage

import (
	"math"
	"math/rand/v2"
	"testing"

	"hopperbook/reconcile/plane"
	"hopperbook/reconcile/track"
	"hopperbook/schemas"
	"hopperbook/schemas/fault"
)

type xy = [2]float64

// drive is a machine that goes through the points with steps of at most stepM,
// spreading; off gives the legs on which it does not spread.
func drive(p plane.Plane, widthM, stepM float64, points []xy, off ...int) []schemas.Fix {
	var fixes []schemas.Fix
	add := func(x, y float64, on schemas.Spreading) {
		lat, lon := p.Inverse(x, y)
		fixes = append(fixes, schemas.Fix{
			UnixMilli: int64(2000 * len(fixes)), LatDeg: lat, LonDeg: lon, SpeedKmh: math.NaN(),
			SetRateKgHa: 100, BoutWidthM: widthM, Quality: schemas.QualityRTKFixed, Spreading: on,
		})
	}
	for i := 1; i < len(points); i++ {
		on := schemas.SpreadingOn
		for _, o := range off {
			if o == i-1 {
				on = schemas.SpreadingOff
			}
		}
		a, b := points[i-1], points[i]
		n := max(1, int(math.Ceil(math.Hypot(b[0]-a[0], b[1]-a[1])/stepM-1e-9)))
		for k := range n {
			f := float64(k) / float64(n)
			add(a[0]+f*(b[0]-a[0]), a[1]+f*(b[1]-a[1]), on)
		}
	}
	end := points[len(points)-1]
	add(end[0], end[1], schemas.SpreadingOff)
	return fixes
}

func ring(x0, y0, x1, y1 float64) plane.Ring {
	return plane.Ring{{XM: x0, YM: y0}, {XM: x1, YM: y0}, {XM: x1, YM: y1}, {XM: x0, YM: y1}}
}

// lattice is n passes north and south, spaced spacing, from y0 to y1; the
// machine does not spread while it turns.
func lattice(n int, spacing, y0, y1 float64) (points []xy, off []int) {
	for i := range n {
		x := spacing * (float64(i) + 0.5)
		if i > 0 {
			off = append(off, len(points)-1)
		}
		if i%2 == 0 {
			points = append(points, xy{x, y0}, xy{x, y1})
		} else {
			points = append(points, xy{x, y1}, xy{x, y0})
		}
	}
	return points, off
}

func circle(r float64, chords, turns int) []xy {
	points := make([]xy, 0, chords*turns+1)
	for i := range chords*turns + 1 {
		sin, cos := math.Sincos(2 * math.Pi * float64(i%chords) / float64(chords))
		points = append(points, xy{r * cos, r * sin})
	}
	return points
}

func measure(t testing.TB, segments []Segment, boundary *plane.Polygon) Result {
	t.Helper()
	r, err := Measure(segments, boundary, nil)
	if err != nil {
		t.Fatal(err)
	}
	return r
}

func near(got, want float64) bool { return math.Abs(got-want) <= max(0.5, 1e-4*want) }

type closedForm struct {
	name     string
	widthM   float64
	stepM    float64
	points   []xy
	off      []int
	boundary *plane.Polygon
	want     Result
}

func closedForms() []closedForm {
	const h = 10.0 // half of the bout width of 20 m
	hole := &plane.Polygon{Parts: []plane.Part{{Outer: ring(0, 0, 200, 200), Holes: []plane.Ring{ring(50, 60, 90, 120)}}}}
	lp, lo := lattice(10, 18, 0, 400)
	fp, fo := lattice(8, 20, -10, 210)
	two := []xy{{0, 0}, {0, 100}, {15, 100}, {15, 0}}

	const n, r = 120, 50.0
	chord, apothem := 2*r*math.Sin(math.Pi/n), r*math.Cos(math.Pi/n)
	band := n*chord*apothem/2 + n*chord*h - n*math.Tan(math.Pi/n)*(apothem-h)*(apothem-h)
	fan, kite := math.Pi*h*h/n, h*h*math.Tan(math.Pi/n) // outer wedge and inner fold of one joint

	// A wedge up and a wedge down, turning by 80 degrees, beside a long pass that
	// makes up and down the main direction: the outer sectors stand out of their own ends.
	sin, cos := math.Sincos(50 * math.Pi / 180)
	wedges := []xy{{0, 0}, {0, 300}, {100, 0}, {100 + 60*sin, 60 * cos}, {100 + 120*sin, 0},
		{100, 250}, {100 + 60*sin, 250 - 60*cos}, {100 + 120*sin, 250}}
	turn := 80 * math.Pi / 180

	// An Archimedean spiral, 25 m from turn to turn: nothing overlaps but the inner folds of its chords,
	// and each joint gains a sector and loses a kite.
	var spiral []xy
	for i := range 160 {
		sin, cos := math.Sincos(float64(i) * 0.1)
		r := 40 + 25*float64(i)*0.1/(2*math.Pi)
		spiral = append(spiral, xy{r * cos, r * sin})
	}
	spiralM, spiralTurns := 0.0, 0.0
	for i := 1; i < len(spiral); i++ {
		dx, dy := spiral[i][0]-spiral[i-1][0], spiral[i][1]-spiral[i-1][1]
		spiralM += math.Hypot(dx, dy)
		if i > 1 {
			ex, ey := spiral[i-1][0]-spiral[i-2][0], spiral[i-1][1]-spiral[i-2][1]
			a := math.Atan2(ex*dy-ey*dx, ex*dx+ey*dy)
			spiralTurns += h * h * (a/2 - math.Tan(a/2))
		}
	}

	return []closedForm{
		{"wedges", 20, 6, wedges, []int{1, 4}, nil, Result{SwathM2: 6000 + 4800,
			CoveredM2: 6000 + 4800 + 2*(h*h*turn/2-h*h*math.Tan(turn/2))}},
		{"one pass", 20, 4, []xy{{0, 0}, {0, 100}}, nil, nil, Result{SwathM2: 2000, CoveredM2: 2000}},
		{"one long step", 20, 100, []xy{{0, 0}, {0, 70}}, nil, nil, Result{SwathM2: 1400, CoveredM2: 1400}},
		{"two overlapping rectangles", 20, 4, two, []int{1}, nil, Result{SwathM2: 4000, CoveredM2: 3500, Overlap2M2: 500}},
		{"L turn", 20, 4, []xy{{0, 0}, {0, 100}, {80, 100}}, nil, nil, Result{SwathM2: 3600, CoveredM2: 3600 - h*h + math.Pi*h*h/4}},
		// Legs 12 m apart: the 8 m shared by both count from where neither the machine
		// is within 1.5 bouts of its turn nor the cross leg fills the time between, 10 m below it.
		{"hairpin", 20, 4, []xy{{0, 0}, {0, 100}, {12, 100}, {12, 0}}, nil, nil,
			Result{SwathM2: 4240, CoveredM2: 32*90 + 2*h*10 + 12*10 + 12*10 + 2*math.Pi*h*h/4, Overlap2M2: 8 * 90}},
		{"annulus", 20, 10, circle(r, n, 1), nil, nil,
			Result{SwathM2: n * chord * 20, CoveredM2: band + (n-1)*fan, Overlap2M2: kite}},
		{"two turns of a spiral", 20, 10, circle(r, n, 2), nil, nil,
			Result{SwathM2: 2 * n * chord * 20, CoveredM2: band + n*fan, Overlap2M2: band + (n-1)*fan - kite, Overlap3M2: kite}},
		{"spiral", 20, 10, spiral, nil, nil, Result{SwathM2: 20 * spiralM, CoveredM2: 20*spiralM + spiralTurns}},
		{"lattice", 20, 4, lp, lo, nil, Result{SwathM2: 80000, CoveredM2: 400 * (9*18 + 20), Overlap2M2: 9 * 2 * 400}},
		{"boundary with a hole", 20, 4, fp, fo, hole, Result{
			SwathM2: 8 * 220 * 20, CoveredM2: 160*200 - 40*60, OutsideM2: 160*20 + 40*60,
			MissedM2: 40 * 200, BoundaryM2: 200*200 - 40*60}},
		{"crossing passes", 20, 4, []xy{{-60, 0}, {60, 0}, {60, 80}, {0, 80}, {0, -60}}, []int{1, 2}, nil,
			Result{SwathM2: 120*20 + 140*20, CoveredM2: 260*20 - 400, Overlap2M2: 400}},
	}
}

func TestClosedForms(t *testing.T) {
	for _, c := range closedForms() {
		for _, lat := range []float64{0, -46, 60} {
			p := plane.At(lat, 179.9995)
			tr := track.Clean(drive(p, c.widthM, c.stepM, c.points, c.off...), track.Options{MaxSpeedKmh: 200})
			r := measure(t, FromTrack(nil, p, tr.Segments), c.boundary)
			for _, v := range []struct {
				name      string
				got, want float64
			}{
				{"swath", r.SwathM2, c.want.SwathM2}, {"covered", r.CoveredM2, c.want.CoveredM2},
				{"overlap2", r.Overlap2M2, c.want.Overlap2M2}, {"overlap3", r.Overlap3M2, c.want.Overlap3M2},
				{"missed", r.MissedM2, c.want.MissedM2}, {"outside", r.OutsideM2, c.want.OutsideM2}, {"boundary", r.BoundaryM2, c.want.BoundaryM2},
			} {
				if !near(v.got, v.want) {
					t.Errorf("%s at %v: %s %.3f m2, want %.3f", c.name, lat, v.name, v.got, v.want)
				}
			}
			if off := math.Abs(r.CoveredM2 - c.want.CoveredM2); off > r.ErrorM2+0.01 {
				t.Errorf("%s at %v: covered is off by %.4f, said to be within %.4f", c.name, lat, off, r.ErrorM2)
			}
			t.Logf("%s at %v: covered off by %+.4f m2, estimate %.4f", c.name, lat, r.CoveredM2-c.want.CoveredM2, r.ErrorM2)
		}
	}
}

// TestWidthChangesInATurn: the narrower bar sweeps the outer side.
func TestWidthChangesInATurn(t *testing.T) {
	for _, widths := range [][2]float64{{20, 12}, {12, 20}} {
		r := measure(t, []Segment{{ToYM: 100, WidthM: widths[0]}, {StartM: 100, FromYM: 100, ToXM: 80, ToYM: 100, WidthM: widths[1]}}, nil)
		want := 100*widths[0] + 80*widths[1] - widths[0]*widths[1]/4 + math.Pi*6*6/4
		if math.Abs(r.CoveredM2-want) > r.ErrorM2 {
			t.Errorf("%v: covered %.3f m2, want %.3f", widths, r.CoveredM2, want)
		}
	}
}

// TestExclusion: what was spread in exclusion areas is neither covered nor missed.
func TestExclusion(t *testing.T) {
	points, off := lattice(10, 18, -20, 220)
	p := plane.At(-46, 169)
	segments := FromTrack(nil, p, track.Clean(drive(p, 20, 4, points, off...), track.Options{}).Segments)
	field := &plane.Polygon{Parts: []plane.Part{{Outer: ring(0, 0, 250, 200)}}}
	pond, ditch := plane.Part{Outer: ring(30, 40, 70, 90)}, plane.Part{Outer: ring(150, -30, 300, 30)} // the ditch reaches out of field and swaths
	r, err := Measure(segments, field, &plane.Polygon{Parts: []plane.Part{pond, ditch}})
	if err != nil {
		t.Fatal(err)
	}
	const reach = 9*18 + 9 + 10.0 // the swaths lie from -1 to here
	want := Result{BoundaryM2: 50000, ExclusionM2: 40*50 + 100*30, ExcludedM2: 40*50 + (reach-150)*30,
		CoveredM2: reach*200 - 40*50 - (reach-150)*30, OutsideM2: (reach+1)*40 + 1*200}
	want.MissedM2 = want.BoundaryM2 - want.ExclusionM2 - want.CoveredM2
	for _, v := range [][2]float64{{r.BoundaryM2, want.BoundaryM2}, {r.ExclusionM2, want.ExclusionM2}, {r.ExcludedM2, want.ExcludedM2},
		{r.CoveredM2, want.CoveredM2}, {r.OutsideM2, want.OutsideM2}, {r.MissedM2, want.MissedM2}} {
		if math.Abs(v[0]-v[1]) > 0.01 {
			t.Errorf("%+v, want %+v", r, want)
			break
		}
	}
	all, err := Measure(segments, nil, &plane.Polygon{Parts: []plane.Part{pond}})
	if err != nil || math.Abs(all.ExcludedM2-2000) > 0.01 || math.Abs(all.CoveredM2-((reach+1)*240-2000)) > 0.01 || all.MissedM2 != 0 {
		t.Errorf("without a boundary: %+v, %v", all, err)
	}
}

// TestTimes: what is driven twice lands twice, on the field, outside and in exclusion areas.
func TestTimes(t *testing.T) {
	var segments []Segment
	for line := range 5 { // five times over the same ground: three are counted
		segments = append(segments, Segment{Line: line, FromXM: 10, FromYM: -50, ToXM: 10, ToYM: 150, WidthM: 20})
		if line < 2 {
			segments = append(segments, Segment{Line: 10 + line, FromXM: 60, FromYM: -50, ToXM: 60, ToYM: 150, WidthM: 20})
		}
	}
	field := &plane.Polygon{Parts: []plane.Part{{Outer: ring(0, 0, 100, 100)}}}
	r, err := Measure(segments, field, &plane.Polygon{Parts: []plane.Part{{Outer: ring(50, 20, 70, 60)}}})
	if err != nil {
		t.Fatal(err)
	}
	for _, v := range [][2]float64{{r.TargetTimesM2, 3*2000 + 2*1200}, {r.OutsideTimesM2, 3*2000 + 2*2000}, {r.ExcludedTimesM2, 2 * 800}, {r.ExcludedM2, 800}, {r.OutsideM2, 4000}} {
		if math.Abs(v[0]-v[1]) > 0.01 {
			t.Errorf("%v, want %v: %+v", v[0], v[1], r)
		}
	}
}

// TestGroundEvenOdd: a boundary that crosses itself, and an exclusion area across it.
func TestGroundEvenOdd(t *testing.T) {
	tie := &plane.Polygon{Parts: []plane.Part{{Outer: plane.Ring{{XM: 0, YM: 0}, {XM: 10, YM: 10}, {XM: 10, YM: 0}, {XM: 0, YM: 10}}}}}
	for turn := range 7 { // no direction is special
		sin, cos := math.Sincos(float64(turn))
		to := func(p plane.Polygon) *plane.Polygon {
			_, moved := transform(nil, plane.Polygon{Parts: []plane.Part{{Outer: p.Parts[0].Outer, Holes: []plane.Ring{{}}}}}, func(x, y float64) (float64, float64) {
				return x*cos - y*sin + 500, x*sin + y*cos
			})
			return &moved
		}
		c, err := New(to(*tie), to(plane.Polygon{Parts: []plane.Part{{Outer: ring(4, -3, 6, 30)}}}), Options{})
		if err != nil {
			t.Fatal(err)
		}
		if r := c.Result(); math.Abs(r.BoundaryM2-50) > 1e-6 || math.Abs(r.ExclusionM2-2) > 1e-6 || math.Abs(r.MissedM2-48) > 1e-6 {
			t.Errorf("turned by %d: %+v, want 50, 2 and 48", turn, r)
		}
	}
}

// TestClassesAddUp: where passes go straight and no place is covered more than three
// times, the classes times their count are the swath.
func TestClassesAddUp(t *testing.T) {
	for seed := range uint64(20) {
		rng := rand.New(rand.NewPCG(seed, 13))
		var segments []Segment
		for line := range 12 { // six passes, and six across them
			at := 14*float64(line%6) + 4*rng.Float64()
			a, b := xy{at, 100 * rng.Float64()}, xy{at, 300 + 100*rng.Float64()}
			if line >= 6 {
				a, b = xy{-20 + 10*rng.Float64(), 130 + 1.7*at}, xy{120 + 10*rng.Float64(), 130 + 1.7*at}
			}
			segments = append(segments, Segment{Line: line, FromXM: a[0], FromYM: a[1], ToXM: b[0], ToYM: b[1], WidthM: 14 + 5*rng.Float64()})
		}
		r := measure(t, segments, nil)
		sum := r.CoveredM2 + r.Overlap2M2 + 2*r.Overlap3M2
		if r.Overlap3M2 == 0 || math.Abs(sum-r.SwathM2) > r.ErrorM2 {
			t.Errorf("seed %d: classes add up to %.3f, swath %.3f, estimate %.3f", seed, sum, r.SwathM2, r.ErrorM2)
		}
	}
}

// TestEndsInOneStrip: passes that end one by one inside a metre must not look like a slope.
func TestEndsInOneStrip(t *testing.T) {
	for i := range 20 {
		a, b := 100+0.05*float64(i), 100.55+0.05*float64(i)
		r := measure(t, []Segment{{ToYM: a, WidthM: 20}, {Line: 1, FromXM: 30, ToXM: 30, ToYM: b, WidthM: 20}, {Line: 2, FromXM: 60, ToXM: 60, ToYM: 130, WidthM: 1}}, nil)
		if want := 20*a + 20*b + 130; math.Abs(r.CoveredM2-want) > r.ErrorM2 {
			t.Errorf("ends at %v and %v: covered %.4f m2, want %.4f within %.4f", a, b, r.CoveredM2, want, r.ErrorM2)
		}
	}
}

func TestEmptyAndRefused(t *testing.T) {
	field := plane.Polygon{Parts: []plane.Part{{Outer: ring(0, 0, 100, 50)}}}
	if r := measure(t, nil, nil); r != (Result{}) {
		t.Errorf("nothing: %+v", r)
	}
	if r := measure(t, nil, &field); math.Abs(r.MissedM2-5000) > 0.01 || r.MissedM2 != r.BoundaryM2 {
		t.Errorf("no swath: %+v", r)
	}
	if r := measure(t, []Segment{{WidthM: 20, ToXM: 10}}, &plane.Polygon{}); math.Abs(r.OutsideM2-200) > 0.01 || r.CoveredM2 != 0 {
		t.Errorf("empty boundary: %+v", r)
	}
	for _, s := range []Segment{
		{WidthM: 0, ToXM: 1}, {WidthM: -1, ToXM: 1}, {WidthM: math.NaN(), ToXM: 1}, {WidthM: 1e9, ToXM: 1},
		{WidthM: 20, ToXM: math.NaN()}, {WidthM: 20, FromYM: math.Inf(1)}, {WidthM: 20, ToYM: 5e6}, {WidthM: 20, ToYM: 11e3}, {WidthM: 20, StartM: math.NaN()},
	} {
		if _, err := Measure([]Segment{s}, nil, nil); err == nil || fault.CodeOf(err) != fault.Input {
			t.Errorf("%+v: %v", s, err)
		}
	}
	if _, err := Measure(nil, &plane.Polygon{Parts: []plane.Part{{Outer: ring(0, 0, math.NaN(), 1)}}}, nil); fault.CodeOf(err) != fault.Input || err == nil {
		t.Errorf("a boundary of no numbers: %v", err)
	}
}

// wander is a seeded drive on the plane: passes with noise, turns, stops of
// spreading and now and then a loop.
func wander(seed uint64, n int, noiseM float64) []Segment {
	rng := rand.New(rand.NewPCG(seed, 7))
	var out []Segment
	x, y, heading, driven, width := 0.0, 0.0, 6*rng.Float64(), 0.0, 12.0
	fx, fy := x, y
	turn, line := 0.0, 0
	for len(out) < n {
		if rng.IntN(15) == 0 {
			turn = []float64{0, 0, 0.25, -0.25, 0.6}[rng.IntN(5)]
		}
		heading += turn
		x, y = x+4*math.Sin(heading), y+4*math.Cos(heading)
		tx, ty := x+noiseM*rng.NormFloat64(), y+noiseM*rng.NormFloat64()
		s := Segment{Line: line, StartM: driven, FromXM: fx, FromYM: fy, ToXM: tx, ToYM: ty, WidthM: width}
		driven += s.lengthM()
		fx, fy = tx, ty
		switch rng.IntN(40) {
		case 0: // off for this step
		case 1:
			line, driven, width = line+1, 0, 8+8*rng.Float64()
			out = append(out, s)
		default:
			out = append(out, s)
		}
	}
	return out
}

func randomField(seed uint64) *plane.Polygon {
	rng := rand.New(rand.NewPCG(seed, 8))
	star := func(r float64, n int) plane.Ring {
		var out plane.Ring
		for i := range n {
			sin, cos := math.Sincos(2 * math.Pi * float64(i) / float64(n))
			k := r * (0.5 + rng.Float64())
			out = append(out, plane.Point{XM: k * cos, YM: k * sin})
		}
		return out
	}
	return &plane.Polygon{Parts: []plane.Part{{Outer: star(80, 13), Holes: []plane.Ring{star(12, 7)}}}}
}
