package season

import (
	"math"
	"math/rand/v2"
	"testing"
)

func square(side float64) ring { return ring{{0, 0}, {side, 0}, {side, side}, {0, side}} }

var (
	elbow   = ring{{0, 0}, {200, 0}, {200, 80}, {90, 80}, {90, 200}, {0, 200}}
	bowtie  = ring{{0, 0}, {10, 10}, {10, 0}, {0, 10}}
	kite    = ring{{0, 0}, {100, 0}, {40, 40}, {0, 100}}
	shallow = ring{{0, 0}, {100, 0}, {50, 3}}
)

func TestRingArea(t *testing.T) {
	t.Parallel()
	for _, r := range []struct {
		name   string
		r      ring
		areaM2 float64
		simple bool
	}{
		{"square", square(100), 10000, true},
		{"elbow", elbow, 200*80 + 90*120, true},
		{"kite", kite, 4000, true},
		{"bowtie", bowtie, 0, false},
		{"nothing", nil, 0, false},
	} {
		if got := r.r.areaM2(); got != r.areaM2 {
			t.Errorf("%s: area %v, want %v", r.name, got, r.areaM2)
		}
		if got := r.r.simple(); got != r.simple {
			t.Errorf("%s: simple %v, want %v", r.name, got, r.simple)
		}
	}
}

func TestInset(t *testing.T) {
	t.Parallel()
	for _, r := range []struct {
		name   string
		r      ring
		d      float64
		areaM2 float64 // 0: must fail
	}{
		{"square inwards", square(100), 10, 6400},
		{"square outwards", square(100), -10, 14400},
		{"elbow keeps its notch", elbow, 10, 180*60 + 70*120},
		{"square gone", square(100), 51, 0},
		{"flat triangle gone", shallow, 2, 0},
	} {
		got, ok := r.r.inset(r.d)
		if ok != (r.areaM2 > 0) {
			t.Errorf("%s: ok %v", r.name, ok)
			continue
		}
		if ok && math.Abs(got.areaM2()-r.areaM2) > 1e-6 {
			t.Errorf("%s: area %v, want %v", r.name, got.areaM2(), r.areaM2)
		}
	}
}

// Every field of many seeds is a valid polygon of the promised size, and an
// inset keeps its distance from every edge (oracle: point to segment).
func TestFields(t *testing.T) {
	t.Parallel()
	concave, holes := 0, 0
	for seed := range uint64(6) {
		for i := range 18 {
			f, err := newField(seed, i)
			if err != nil {
				t.Fatal(err)
			}
			r := f.shape.outer
			if n := len(r); n < 6 || n > 14 || !r.simple() || r.areaM2() < 8e4-1 || r.areaM2() > 40e4 {
				t.Errorf("seed %d field %d: %d corners, simple %v, %.0f m2", seed, i, n, r.simple(), r.areaM2())
			}
			if r.contains(f.gate) {
				t.Errorf("seed %d field %d: the gate is inside", seed, i)
			}
			if f.shape.hole != nil {
				holes++
				for _, p := range f.shape.hole {
					if !r.contains(p) {
						t.Errorf("seed %d field %d: hole outside", seed, i)
					}
				}
			}
			if isConcave(r) {
				concave++
			}
			in, _ := r.inset(12)
			for k := range in {
				a, b := in.edge(k)
				if d := distance(r, a.mix(b, 0.5)); math.Abs(d-12) > 1e-6 {
					t.Errorf("seed %d field %d: inset is %v m from the edge", seed, i, d)
				}
			}
		}
	}
	if concave < 10 || holes != 6 {
		t.Errorf("%d concave fields of 108, %d with a hole", concave, holes)
	}
}

func isConcave(r ring) bool {
	for i := range r {
		a, b := r.edge(i)
		_, c := r.edge((i + 1) % len(r))
		if b.minus(a).cross(c.minus(b)) < 0 {
			return true
		}
	}
	return false
}

func distance(r ring, p pt) float64 {
	best := math.Inf(1)
	for i := range r {
		a, b := r.edge(i)
		best = min(best, p.minus(nearest(a, b, p)).length())
	}
	return best
}

func nearest(a, b, p pt) pt {
	v := b.minus(a)
	return a.plus(v, max(0, min(1, p.minus(a).dot(v)/v.dot(v))))
}

// ecef is a position on the WGS84 ellipsoid in Cartesian metres.
func ecef(latDeg, lonDeg float64) [3]float64 {
	sinLat, cosLat := math.Sincos(latDeg * rad)
	sinLon, cosLon := math.Sincos(lonDeg * rad)
	nu := equatorM / math.Sqrt(1-ecc2*sinLat*sinLat)
	return [3]float64{nu * cosLat * cosLon, nu * cosLat * sinLon, nu * (1 - ecc2) * sinLat}
}

func chordM(aLat, aLon, bLat, bLon float64) float64 {
	a, b := ecef(aLat, aLon), ecef(bLat, bLon)
	return math.Hypot(math.Hypot(a[0]-b[0], a[1]-b[1]), a[2]-b[2])
}

// Distances on the plane and between the positions agree within the stated
// d2/R2, plus 2 mm for rounding two positions.
func TestPosition(t *testing.T) {
	t.Parallel()
	e := earthAt(originLatDeg, originLonDeg)
	if lat, lon := e.position(pt{}); lat != originLatDeg || lon != originLonDeg {
		t.Errorf("the origin lies at %v, %v", lat, lon)
	}
	if lat, lon := e.position(pt{100, 200}); !(lat > originLatDeg && lon > originLonDeg) {
		t.Errorf("north-east of the origin is %v, %v", lat, lon)
	}
	rng := rand.New(rand.NewPCG(1, 2))
	for range 1000 {
		a := pt{(rng.Float64() - 0.5) * 14000, (rng.Float64() - 0.5) * 14000}
		b := a.plus(pt{rng.NormFloat64(), rng.NormFloat64()}, 100)
		aLat, aLon := e.position(a)
		bLat, bLon := e.position(b)
		want, got := b.minus(a).length(), chordM(aLat, aLon, bLat, bLon)
		limit := want*math.Pow(10500/6.35e6, 2) + 0.002
		if math.Abs(got-want) > limit {
			t.Fatalf("%v to %v: %v m, want %v", a, b, got, want)
		}
	}
}

// A raster's area is within four stated standard uncertainties of shapes whose
// area is known, and what it cannot see is counted outside.
func TestRaster(t *testing.T) {
	t.Parallel()
	rng := rand.New(rand.NewPCG(3, 4))
	worst := 0.0
	for i := range 60 {
		sin, cos := math.Sincos(0.1 + rng.Float64()*1.3)
		at := pt{rng.Float64() * 100, rng.Float64() * 100}
		place := func(r ring) ring {
			var out ring
			for _, p := range r {
				out = append(out, at.plus(p.rotated(sin, cos), 1))
			}
			return out
		}
		r := newRaster(area{outer: place(square(300))}, 40)
		// Half the strip lies outside.
		strip := place(ring{{-100, 50}, {100, 50}, {100, 50 + 10 + float64(i)}, {-100, 50 + 10 + float64(i)}})
		inside, all := r.cover(strip)
		r.cover(strip)
		got, sd := r.coveredM2()
		want := 100 * (10 + float64(i))
		worst = max(worst, math.Abs(got-want)/sd)
		if math.Abs(got-want) > 4*sd {
			t.Errorf("strip %d: %v m2, want %v +- %v", i, got, want, sd)
		}
		if share := float64(inside) / float64(all); i > 20 && math.Abs(share-strip.shareInside(area{outer: place(square(300))}, rng)) > 0.06 {
			t.Errorf("strip %d: %v of it inside", i, share)
		}
	}
	if worst == 0 {
		t.Error("never off: the uncertainty means nothing")
	}
}

// shareInside is a slow oracle: random points of a parallelogram. The raster
// sees 40 m beyond the field, so shares are of what it can see at most.
func (r ring) shareInside(f area, rng *rand.Rand) float64 {
	low, high := f.bounds(40)
	in, all := 0, 0
	for range 3000 {
		u, v := rng.Float64(), rng.Float64()
		p := r[0].plus(r[1].minus(r[0]), u).plus(r[3].minus(r[0]), v)
		if p.x < low.x || p.x > high.x || p.y < low.y || p.y > high.y {
			continue
		}
		all++
		if f.contains(p) {
			in++
		}
	}
	return float64(in) / float64(all)
}

// The driving lines stay inside, leave the hole alone, and cover: no point of
// the field is further than half a bout and the allowed gaps from one.
func TestRoute(t *testing.T) {
	t.Parallel()
	for _, boutM := range []float64{6, 12, 24, 30} {
		for i := range 6 {
			f, err := newField(11, i)
			if err != nil {
				t.Fatal(err)
			}
			lines, ok := route(f.shape, boutM, f.gate)
			if !ok {
				t.Fatalf("field %d: no route at %v m", i, boutM)
			}
			r := newRaster(f.shape, boutM)
			for _, l := range lines {
				for k := 1; k < len(l); k++ {
					if !f.shape.contains(l[k].mix(l[k-1], 0.5)) {
						t.Errorf("field %d, %v m: a line leaves the field", i, boutM)
					}
					side := l[k].minus(l[k-1]).unit().left()
					r.cover(ring{l[k-1].plus(side, -boutM/2), l[k].plus(side, -boutM/2), l[k].plus(side, boutM/2), l[k-1].plus(side, boutM/2)})
				}
			}
			covered, _ := r.coveredM2()
			if share := covered / f.shape.sizeM2(); share < 0.96 || share > 1.0005 {
				t.Errorf("field %d, %v m: %.4f covered", i, boutM, share)
			}
		}
	}
}

// A wander has the sd it is asked for.
func TestWander(t *testing.T) {
	t.Parallel()
	rng := rand.New(rand.NewPCG(5, 6))
	var w wander
	var sum2 float64
	const n = 2_000_000
	for range n {
		v := w.step(rng, 0.3, 1, 40, 15)
		sum2 += v * v
	}
	// About n/(2(L+lag)) independent values: sd of the estimate under 0.6 %.
	if got := math.Sqrt(sum2 / n); math.Abs(got-0.3) > 0.012 {
		t.Errorf("sd %v, want 0.3", got)
	}
}
