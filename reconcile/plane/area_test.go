package plane

import (
	"bufio"
	"bytes"
	"fmt"
	"math"
	"math/rand/v2"
	"os/exec"
	"strings"
	"testing"
)

// Fields up to 20 km across, computed with GeographicLib Planimeter 2.1.2 (-p 9).
var wideRows = []struct {
	name   string
	areaM2 float64
	ring   [][2]float64
}{
	{"20km_lat-60_6v", 158720367.972200, [][2]float64{{23.5357104, -59.9868694}, {23.4871371, -59.9270443}, {23.3176790, -59.9391463}, {23.2594574, -59.9859461}, {23.3336819, -60.0532828}, {23.4383894, -60.0624428}}},
	{"20km_lat-46_antimeridian_8v", 181359996.896300, [][2]float64{{-179.9473679, -46.0009767}, {-179.9361429, -45.9382904}, {179.9492680, -45.9114314}, {179.8851097, -45.9420212}, {179.8598168, -46.0050730}, {179.9098585, -46.0418139}, {179.9760806, -46.0551288}, {-179.9722614, -46.0418000}}},
	{"20km_lat-31_3v", 115108628.120700, [][2]float64{{117.0980140, -31.0226224}, {117.0020028, -30.9171626}, {116.9058784, -31.0380329}}},
	{"20km_lat0_3v", 86442603.218200, [][2]float64{{36.8715705, -0.0426111}, {36.7482737, 0.0632186}, {36.7855182, -0.0826645}}},
	{"20km_lat40_6v", 129130923.524500, [][2]float64{{-97.9055936, 39.9851342}, {-97.9694023, 40.0443816}, {-98.0392462, 40.0563490}, {-98.0697753, 40.0105323}, {-98.0274702, 39.9469333}, {-97.9667635, 39.9151235}}},
	{"20km_lat52_9v", 144086291.296300, [][2]float64{{-0.9001783, 51.9984932}, {-0.8957323, 52.0345005}, {-0.9894766, 52.0502677}, {-1.0711768, 52.0562964}, {-1.1232959, 52.0318372}, {-1.0816529, 51.9913230}, {-1.0608436, 51.9502192}, {-0.9727337, 51.9287885}, {-0.9406359, 51.9537919}}},
	{"20km_lat60_4v", 152197416.261800, [][2]float64{{24.6578885, 60.0348263}, {24.5477465, 60.0812848}, {24.3509380, 59.9663002}, {24.5572375, 59.9239332}}},
	{"20km_lat70_5v", 155468482.082300, [][2]float64{{-179.7476960, 69.9891239}, {-179.8210125, 70.0706187}, {179.8602446, 70.0323657}, {179.8895441, 69.9828138}, {-179.9225147, 69.9143029}}},
}

func ringOf(t testing.TB, ring [][2]float64) (Boundary, Ring) {
	t.Helper()
	b, err := NewBoundary([][][][2]float64{{ring}})
	if err != nil {
		t.Fatal(err)
	}
	return b, b.Polygon.Parts[0].Outer
}

// planeError is how far the area on the plane may be off, as the package comment states it.
func planeError(b Boundary) float64 {
	box := b.Polygon.Bounds()
	x, side := max(-box.MinXM, box.MaxXM), math.Hypot(box.MaxXM-box.MinXM, box.MaxYM-box.MinYM)
	return (x*x + side*side/8) / (equatorM * equatorM * (1 - e2) * (1 - e2))
}

// To 0.01 m2, and what the plane alone gives within its stated error.
func TestGeodesicAreasAgainstPlanimeter(t *testing.T) {
	worst, wide, flat := 0.0, 0.0, 0.0
	for i, r := range append(geodesicRows[:len(geodesicRows):len(geodesicRows)], wideRows...) {
		b, ring := ringOf(t, r.ring)
		off := math.Abs(b.Plane.ringAreaM2(ring) - r.areaM2)
		if i < len(geodesicRows) {
			off = max(0, off-0.005) // what the rows are rounded by
			worst = max(worst, off)
		} else {
			wide = max(wide, off)
		}
		if off > 0.01 || math.Abs(b.AreaM2()-math.Abs(r.areaM2)) > 0.015 {
			t.Errorf("%s: %.4f m2, reference %.4f", r.name, b.Plane.ringAreaM2(ring), r.areaM2)
		}
		offFlat := math.Abs(ring.AreaM2()/r.areaM2 - 1)
		flat = max(flat, offFlat)
		if offFlat > planeError(b)+0.006/math.Abs(r.areaM2) {
			t.Errorf("%s: the plane is off by %.2g, stated %.2g", r.name, offFlat, planeError(b))
		}
	}
	t.Logf("largest difference %.4f m2 on field-sized rows, %.4f m2 on those up to 20 km across; the plane alone at most %.2g relative", worst, wide, flat)
}

// The square of one degree at the equator, 111 km across, printed in the
// documentation of geographiclib-rs: far beyond any field, and still right within 0.1 ppm.
func TestAreaOfAUnitDegreeSquare(t *testing.T) {
	b, ring := ringOf(t, [][2]float64{{0, 0}, {1, 0}, {1, 1}, {0, 1}})
	const want = 12308778361.469452
	if got := b.Plane.ringAreaM2(ring); math.Abs(got/want-1) > 1e-7 {
		t.Errorf("%.2f m2, printed %.2f", got, want)
	}
}

// randomField is a star of n corners around a place, reaching up to reachM.
func randomField(rng *rand.Rand, lat, lon, reachM float64) [][2]float64 {
	n := 3 + rng.IntN(10)
	ring := make([][2]float64, n)
	mLat, mLon := metresPerDegree(lat)
	for i := range ring {
		sin, cos := math.Sincos(2 * math.Pi * (float64(i) + 0.6*(rng.Float64()-0.5)) / float64(n))
		r := reachM * (0.5 + 0.5*rng.Float64())
		ring[i] = [2]float64{WrapDeg(lon + r*cos/mLon), lat + r*sin/mLat}
	}
	return ring
}

// Planimeter itself on random fields of every size, where it is installed.
func TestRandomAreasAgainstPlanimeter(t *testing.T) {
	planimeter, err := exec.LookPath("Planimeter")
	if err != nil {
		t.Skip("Planimeter is not installed (Debian: apt-get install geographiclib-tools); recorded areas stand in for it")
	}
	rng := rand.New(rand.NewPCG(3, 3))
	var in bytes.Buffer
	fields := make([][][2]float64, 400)
	for i := range fields {
		lon := -180 + 360*rng.Float64()
		if i%4 == 0 {
			lon = 180
		}
		fields[i] = randomField(rng, -60+130*rng.Float64(), lon, 100*math.Pow(100, rng.Float64()))
		for _, p := range fields[i] {
			fmt.Fprintf(&in, "%.14f %.14f\n", p[1], p[0])
		}
		in.WriteString("\n")
	}
	cmd := exec.Command(planimeter, "-p", "9")
	cmd.Stdin = &in
	out, err := cmd.Output()
	if err != nil {
		t.Fatal(err)
	}
	worst, flat, lines := 0.0, 0.0, bufio.NewScanner(bytes.NewReader(out))
	for i, field := range fields {
		if !lines.Scan() {
			t.Fatalf("%d lines for %d fields", i, len(fields))
		}
		var n int
		var perimeter, want float64
		if _, err := fmt.Sscan(strings.TrimSpace(lines.Text()), &n, &perimeter, &want); err != nil {
			t.Fatalf("%q: %v", lines.Text(), err)
		}
		b, ring := ringOf(t, field)
		off := math.Abs(b.Plane.ringAreaM2(ring) - want)
		worst, flat = max(worst, off), max(flat, math.Abs(ring.AreaM2()/want-1))
		if off > 0.01 {
			t.Errorf("field %d at %v: %.4f m2, Planimeter %.4f", i, field[0], b.Plane.ringAreaM2(ring), want)
		}
		if math.Abs(ring.AreaM2()-want) > planeError(b)*math.Abs(want)+1e-3 { // Planimeter's own error
			t.Errorf("field %d at %v: the plane is off by %.2g, stated %.2g", i, field[0], math.Abs(ring.AreaM2()/want-1), planeError(b))
		}
	}
	t.Logf("%d fields: largest difference %.4f m2; the plane alone at most %.2g relative", len(fields), worst, flat)
}

// Laws: the way a ring turns and where it begins change the sign or nothing, a
// field cut in two adds up, and a field moved around the earth keeps its area.
func TestLawsOfGeodesicAreas(t *testing.T) {
	rng := rand.New(rand.NewPCG(9, 9))
	for range 200 {
		lat := -60 + 130*rng.Float64()
		field := randomField(rng, lat, 20, 10e3)
		b, ring := ringOf(t, field)
		want := b.Plane.ringAreaM2(ring)
		turned := append(ring[1:len(ring):len(ring)], ring[0])
		back := make(Ring, len(ring))
		moved := make([][2]float64, len(field))
		for i := range ring {
			back[len(ring)-1-i] = ring[i]
			moved[i] = [2]float64{WrapDeg(field[i][0] + 160), field[i][1]}
		}
		m, movedRing := ringOf(t, moved)
		near := func(law string, got float64) {
			if math.Abs(got-want) > 1e-3 {
				t.Errorf("lat %.2f: %s: %.5f m2, want %.5f", lat, law, got, want)
			}
		}
		near("begun elsewhere", b.Plane.ringAreaM2(turned))
		near("reversed", -b.Plane.ringAreaM2(back))
		near("moved in longitude", m.Plane.ringAreaM2(movedRing))
		if len(ring) > 3 {
			near("cut in two", b.Plane.ringAreaM2(ring[:3])+b.Plane.ringAreaM2(append(Ring{ring[0]}, ring[2:]...)))
		}
	}
	if (Plane{}).ringAreaM2(nil) != 0 || (Boundary{}).AreaM2() != 0 {
		t.Error("nothing has an area")
	}
}

func BenchmarkAreaM2(b *testing.B) {
	field, _ := ringOf(b, geodesicRows[0].ring)
	sum := 0.0
	for range b.N {
		sum += field.AreaM2()
	}
	if math.IsNaN(sum) {
		b.Fatal("NaN")
	}
}
