package tablet

import (
	"math"
	"testing"

	"hopperbook/schemas"
)

// TestDistances: geodesics by GeographicLib's GeodSolve (inverse).
func TestDistances(t *testing.T) {
	for _, c := range []struct{ lat1, lon1, lat2, lon2, wantM float64 }{
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
	} {
		if got := distanceM(c.lat1, c.lon1, c.lat2, c.lon2); math.Abs(got-c.wantM) > 1e-6+2e-7*c.wantM {
			t.Errorf("%v,%v to %v,%v: %v m, want %v", c.lat1, c.lon1, c.lat2, c.lon2, got, c.wantM)
		}
		// The same as the distance from a place to a boundary that is one spot.
		spot := schemas.Boundary{{{{c.lon2, c.lat2}, {c.lon2, c.lat2}, {c.lon2, c.lat2}, {c.lon2, c.lat2}}}}
		if got := placeAt(c.lat1, c.lon1).awayM(spot); math.Abs(got-c.wantM) > 1e-6+1e-3*c.wantM {
			t.Errorf("%v,%v away from %v,%v: %v m, want %v", c.lat1, c.lon1, c.lat2, c.lon2, got, c.wantM)
		}
	}
}

// g12 and its hole: areas by GeographicLib's Planimeter, 2 176 539.45 m2 with
// the hole taken out.
var g12 = schemas.Boundary{{
	{{24.5, 60.6}, {24.519, 60.5985}, {24.5335, 60.6042}, {24.531, 60.6101}, {24.5202, 60.6128}, {24.506, 60.611}, {24.4985, 60.6062}, {24.5, 60.6}},
	{{24.51, 60.604}, {24.513, 60.604}, {24.514, 60.6055}, {24.5115, 60.6065}, {24.509, 60.6054}, {24.51, 60.604}},
}}

func TestAreaWithHole(t *testing.T) {
	if got := areaM2(g12); math.Abs(got-2176539.45) > 1e-4*2176539.45 {
		t.Errorf("area %v m2", got)
	}
	if areaM2(nil) != 0 {
		t.Error("an empty boundary has an area")
	}
}

func TestAwayFromABoundaryWithAHole(t *testing.T) {
	two := append(schemas.Boundary{}, g12...)
	two = append(two, square(0, 0, 100)...)
	for _, c := range []struct {
		name     string
		b        schemas.Boundary
		lat, lon float64
		wantM    float64
	}{
		{"inside", g12, 60.601, 24.505, 0},
		{"in the hole, from its southern side", g12, 60.6045, 24.5115, 0.0005 * 111418.0},
		{"south of the southern corner", g12, 60.5975, 24.519, 0.001 * 111418.0},
		{"in the second polygon", two, -34.9995, 20.0005, 0},
		{"nowhere", nil, 0, 0, math.Inf(1)},
	} {
		got := placeAt(c.lat, c.lon).awayM(c.b)
		if got != c.wantM && !(math.Abs(got-c.wantM) <= 0.002*c.wantM) {
			t.Errorf("%s: %v m, want %v", c.name, got, c.wantM)
		}
	}
}

func TestInsideOverTheAntimeridian(t *testing.T) {
	g13 := schemas.Boundary{{{{179.996, -16.8}, {-179.9955, -16.8}, {-179.996, -16.794}, {179.9952, -16.7935}, {179.996, -16.8}}}}
	if at := placeAt(-16.797, 179.9999); at.awayM(g13) != 0 || !boxOf(g13).mayHold(-16.797, 179.9999) {
		t.Error("not found west of the antimeridian")
	}
	if at := placeAt(-16.797, -179.9999); at.awayM(g13) != 0 || !boxOf(g13).mayHold(-16.797, -179.9999) {
		t.Error("not found east of the antimeridian")
	}
	// Planimeter's area is not needed: the ring is a trapezoid of known sides.
	latM, lonM := metresPerDegree(-16.7969)
	want := (0.0085 + 0.0088) / 2 * lonM * 0.00625 * latM
	if got := areaM2(g13); math.Abs(got-want) > 0.01*want {
		t.Errorf("area %v, want %v", got, want)
	}
}

// TestFarAwayIsStillInOrder: within 1 % at 100 km and latitude 60.
func TestFarAwayIsStillInOrder(t *testing.T) {
	a, b := schemas.Fix{LatDeg: 60, LonDeg: 24}, schemas.Fix{LatDeg: 60.7, LonDeg: 25}
	spot := schemas.Boundary{{{{25, 60.7}, {25, 60.7}, {25, 60.7}, {25, 60.7}}}}
	if got, want := placeAt(60, 24).awayM(spot), chordM(a, b); math.Abs(got-want) > 0.01*want {
		t.Errorf("%v m, want %v", got, want)
	}
}
