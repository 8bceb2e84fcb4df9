package plane

import (
	"math"
	"math/rand/v2"
	"testing"
)

// Reference distances: GeographicLib GeodSolve 2.1.2, option -i.
var inverseRows = []struct{ lat1, lon1, lat2, lon2, m float64 }{
	{-46.1234567, 168.3210000, -46.1234567, 168.3210054, 0.417371},
	{-46.1234567, 168.3210000, -46.1224567, 168.3210000, 111.153720},
	{-31.45, 117.22, -31.4498, 117.2335, 1283.406325},
	{0, 36.8, 0, 36.801, 111.319491},
	{0, 36.8, 0.001, 36.8, 110.574276},
	{40.1, -83.2, 40.1, -83.1906, 801.530097},
	{52.2101, 0.1203, 52.2101037, 0.1203, 0.411704},
	{52.2101, 0.1203, 52.21469, 0.12664, 669.811467},
	{60.6, 24.5, 60.5985, 24.519, 1054.299829},
	{-16.8, 179.996, -16.8, -179.9955, 906.084108},
	{52.3, 0.5, 52.30011, 0.5, 12.240035},
}

func TestDistancesAgainstGeodSolve(t *testing.T) {
	for _, r := range inverseRows {
		tol := 1e-6 + 1e-7*r.m // the rows are rounded to a micrometre
		if got := DistanceM(r.lat1, r.lon1, r.lat2, r.lon2); math.Abs(got-r.m) > tol {
			t.Errorf("DistanceM %v: %.7f", r, got)
		}
		x, y := At(r.lat1, r.lon1).Forward(r.lat2, r.lon2)
		if got := math.Hypot(x, y); math.Abs(got-r.m) > tol {
			t.Errorf("on the plane %v: %.7f", r, got)
		}
	}
}

func TestRoundTripAndAntimeridian(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 1))
	for range 2000 {
		lat, lon := -60+130*rng.Float64(), -180+360*rng.Float64()
		p := At(lat, lon)
		x, y := (rng.Float64()-0.5)*2*ReachM, (rng.Float64()-0.5)*2*ReachM
		la, lo := p.Inverse(x, y)
		bx, by := p.Forward(la, lo)
		if math.Hypot(bx-x, by-y) > 1e-8 || math.Abs(lo) > 180 {
			t.Fatalf("origin %v %v: (%v, %v) came back as (%v, %v) over %v %v", lat, lon, x, y, bx, by, la, lo)
		}
	}
	// Law: moving the origin and the position by the same longitude changes nothing.
	for _, lat := range []float64{-46, 0, 60} {
		x1, y1 := At(lat, 10).Forward(lat+0.01, 10.02)
		x2, y2 := At(lat, 179.99).Forward(lat+0.01, -179.99)
		if math.Hypot(x1-x2, y1-y2) > 1e-6 {
			t.Errorf("lat %v: (%v, %v) at 10 E, (%v, %v) at 180", lat, x1, y1, x2, y2)
		}
	}
	if x, y := (Plane{}).Forward(0, 0); x != 0 || y != 0 {
		t.Errorf("zero plane: %v %v", x, y)
	}
}

// meridianRadius is M(phi), the integrand of the arc.
func meridianRadius(phi float64) float64 {
	s := math.Sin(phi)
	return equatorM * (1 - e2) / math.Pow(1-e2*s*s, 1.5)
}

// TestCentralMeridian is the series-free oracle: Simpson's rule over the radius of curvature.
func TestCentralMeridian(t *testing.T) {
	for _, latDeg := range []float64{-60, -46.12, -0.5, 1, 31, 52.3, 70, 85} {
		const steps = 2000
		phi := latDeg * rad
		h := phi / steps
		sum := meridianRadius(0) + meridianRadius(phi)
		for i := 1; i < steps; i++ {
			sum += meridianRadius(float64(i)*h) * float64(2+2*(i%2))
		}
		x, y := Plane{}.Forward(latDeg, 0)
		if want := sum * h / 3; x != 0 || math.Abs(y-want) > 1e-6 {
			t.Errorf("arc to %v: %.7f, integrated %.7f", latDeg, y, want)
		}
	}
}

// TestConformal checks, by differences, that the scale is the same in every
// direction and is 1 + x²/2R² + ...: with a true central meridian only the transverse Mercator has that.
func TestConformal(t *testing.T) {
	const h = 1e-4 // degrees, about 10 m
	for _, lat := range []float64{-60, -46, 0, 31, 52, 70} {
		for _, east := range []float64{0, 1e3, 10e3, 20e3, 60e3, 100e3} {
			p := At(lat, 24)
			_, lon := p.Inverse(east, 0)
			n0, n1 := geodetic(p, lat-h, lon), geodetic(p, lat+h, lon)
			e0, e1 := geodetic(p, lat, lon-h), geodetic(p, lat, lon+h)
			mLat, mLon := metresPerDegree(lat)
			kn := [2]float64{(n1[0] - n0[0]) / (2 * h * mLat), (n1[1] - n0[1]) / (2 * h * mLat)}
			ke := [2]float64{(e1[0] - e0[0]) / (2 * h * mLon), (e1[1] - e0[1]) / (2 * h * mLon)}
			if math.Abs(kn[0]+ke[1]) > 1e-9 || math.Abs(kn[1]-ke[0]) > 1e-9 {
				t.Errorf("lat %v, %v m east: north %v, east %v is not conformal", lat, east, kn, ke)
			}
			r2 := mLat * mLon / math.Cos(lat*rad) / rad / rad
			if k := math.Hypot(ke[0], ke[1]); math.Abs(k-1-east*east/(2*r2)) > 2.5e-7*(east/ReachM)*(east/ReachM)+1e-8 {
				t.Errorf("lat %v, %v m east: scale %.9f, stated %.9f", lat, east, k, 1+east*east/(2*r2))
			}
		}
	}
}

func geodetic(p Plane, lat, lon float64) [2]float64 {
	x, y := p.Forward(lat, lon)
	return [2]float64{x, y}
}

func BenchmarkForward(b *testing.B) {
	p := At(-46.12, 168.32)
	sum := 0.0
	for i := range b.N {
		x, y := p.Forward(-46.12+float64(i&1023)*1e-5, 168.33)
		sum += x + y
	}
	if math.IsNaN(sum) {
		b.Fatal("NaN")
	}
}
