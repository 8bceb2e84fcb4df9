package plane

import (
	"math"
	"math/rand/v2"
	"testing"

	"hopperbook/schemas/fault"
)

// Reference areas, counter-clockwise positive: computed with GeographicLib
// Planimeter 2.1.2 (geodesic sides on WGS84). Positions are longitude, latitude.
var geodesicRows = []struct {
	name   string
	areaM2 float64
	ring   [][2]float64
}{
	{"G01_lat-46_8v_concave_ccw", 633870.23, [][2]float64{{168.3210000, -46.1234567}, {168.3268000, -46.1251200}, {168.3312500, -46.1239000}, {168.3345100, -46.1209800}, {168.3301000, -46.1178500}, {168.3269000, -46.1196000}, {168.3242000, -46.1171000}, {168.3198700, -46.1190400}}},
	{"G02_lat-46_4v", 9994.74, [][2]float64{{169.1000000, -46.2500000}, {169.1012960, -46.2500000}, {169.1012960, -46.2491003}, {169.1000000, -46.2491003}}},
	{"G03_lat-31_6v", 1444820.26, [][2]float64{{117.2200000, -31.4500000}, {117.2335000, -31.4498000}, {117.2349000, -31.4447500}, {117.2312000, -31.4392000}, {117.2219500, -31.4405000}, {117.2188000, -31.4462000}}},
	{"G04_lat-31_5v_cw", -3857151.21, [][2]float64{{117.5000000, -31.6010000}, {117.5005000, -31.5830000}, {117.5120000, -31.5826000}, {117.5215000, -31.5875000}, {117.5212000, -31.6013000}}},
	{"G05_lat0_4v_square_0.01deg", 1230907.21, [][2]float64{{36.8000000, -0.0050000}, {36.8100000, -0.0050000}, {36.8100000, 0.0050000}, {36.8000000, 0.0050000}}},
	{"G06_lat0_7v", 668290.30, [][2]float64{{36.9012000, -0.0031000}, {36.9065000, -0.0042500}, {36.9101000, -0.0020500}, {36.9094000, 0.0012000}, {36.9058000, 0.0031500}, {36.9009000, 0.0018000}, {36.8996000, -0.0011000}}},
	{"G07_lat40_5v", 631290.00, [][2]float64{{-83.2000000, 40.1000000}, {-83.1906000, 40.1000000}, {-83.1904500, 40.1060500}, {-83.1949000, 40.1079000}, {-83.2001000, 40.1061000}}},
	{"G08_lat40_4v_quarter_section", 648015.80, [][2]float64{{-98.7000000, 40.5000000}, {-98.6905000, 40.5000000}, {-98.6905000, 40.5072470}, {-98.7000000, 40.5072470}}},
	{"G09_lat52_6v", 290124.70, [][2]float64{{0.1203000, 52.2101000}, {0.1269000, 52.2098700}, {0.1291200, 52.2127000}, {0.1266400, 52.2146500}, {0.1221000, 52.2149000}, {0.1188000, 52.2123300}}},
	{"G10_lat52_8v_L_shape", 408954.15, [][2]float64{{-1.6000000, 52.4000000}, {-1.5900000, 52.4000000}, {-1.5900000, 52.4030000}, {-1.5940000, 52.4030000}, {-1.5940000, 52.4060000}, {-1.5970000, 52.4060000}, {-1.5970000, 52.4080000}, {-1.6000000, 52.4080000}}},
	{"G11_lat60_5v", 105978.23, [][2]float64{{22.3000000, 60.4300000}, {22.3052000, 60.4297500}, {22.3071500, 60.4316000}, {22.3043000, 60.4331000}, {22.3001000, 60.4322000}}},
	{"G12_lat60_7v", 2227961.39, [][2]float64{{24.5000000, 60.6000000}, {24.5190000, 60.5985000}, {24.5335000, 60.6042000}, {24.5310000, 60.6101000}, {24.5202000, 60.6128000}, {24.5060000, 60.6110000}, {24.4985000, 60.6062000}}},
	{"G13_antimeridian_lat-16.8_4v", 635863.31, [][2]float64{{179.9960000, -16.8000000}, {-179.9955000, -16.8000000}, {-179.9960000, -16.7940000}, {179.9952000, -16.7935000}}},
	{"G14_lat52_headland_narrow_4v", 8349.89, [][2]float64{{0.5000000, 52.3000000}, {0.5100000, 52.3000000}, {0.5100000, 52.3001100}, {0.5000000, 52.3001100}}},
	{"G15_hole_in_G12_5v", 51421.94, [][2]float64{{24.5100000, 60.6040000}, {24.5130000, 60.6040000}, {24.5140000, 60.6055000}, {24.5115000, 60.6065000}, {24.5090000, 60.6054000}}},
}

func TestHoleAndBothDirections(t *testing.T) {
	outer, hole := geodesicRows[11].ring, geodesicRows[14].ring
	b, err := NewBoundary([][][][2]float64{{outer, hole}})
	if err != nil {
		t.Fatal(err)
	}
	const want = 2176539.45 // area(G12) - area(G15), GeographicLib Planimeter 2.1.2
	if got := b.Polygon.AreaM2(); math.Abs(got-want) > 0.5 {
		t.Errorf("with hole %.2f, want %.2f", got, want)
	}
	if got := b.AreaM2(); math.Abs(got-want) > 0.01 {
		t.Errorf("on the ellipsoid with hole %.3f, want %.2f", got, want)
	}
	back := append([][2]float64{}, outer...)
	for i, j := 0, len(back)-1; i < j; i, j = i+1, j-1 {
		back[i], back[j] = back[j], back[i]
	}
	back = append(back, back[0])
	c, err := NewBoundary([][][][2]float64{{back, hole}})
	if err != nil || math.Abs(c.Polygon.AreaM2()-b.Polygon.AreaM2()) > 1e-6 {
		t.Errorf("reversed and closed: %v %v", c.Polygon.AreaM2(), err)
	}
	in := func(lat, lon float64) bool {
		x, y := b.Plane.Forward(lat, lon)
		return b.Polygon.Contains(x, y)
	}
	if !in(60.603, 24.515) || in(60.605, 24.511) || in(60.62, 24.515) {
		t.Error("inside, in the hole and outside are told apart wrongly")
	}
}

// TestContainsGivesTheArea compares shoelace and even-odd counting: the slow oracle.
func TestContainsGivesTheArea(t *testing.T) {
	for _, r := range geodesicRows {
		b, _ := NewBoundary([][][][2]float64{{r.ring}})
		box := b.Polygon.Bounds()
		const n = 300
		inside := 0
		for i := range n * n {
			x := box.MinXM + (box.MaxXM-box.MinXM)*(float64(i%n)+0.5)/n
			y := box.MinYM + (box.MaxYM-box.MinYM)*(float64(i/n)+0.5)/n
			if b.Polygon.Contains(x, y) {
				inside++
			}
		}
		cells := float64(inside) / (n * n) * (box.MaxXM - box.MinXM) * (box.MaxYM - box.MinYM)
		if got := b.Polygon.AreaM2(); math.Abs(cells/got-1) > 0.02 {
			t.Errorf("%s: %v by cells, %v by shoelace", r.name, cells, got)
		}
	}
}

func TestMayMeetNeverMisses(t *testing.T) {
	rng := rand.New(rand.NewPCG(2, 2))
	for _, r := range geodesicRows {
		b, _ := NewBoundary([][][][2]float64{{r.ring}})
		box := b.Polygon.Bounds()
		for range 200 {
			x := box.MinXM + (box.MaxXM-box.MinXM)*rng.Float64()
			y := box.MinYM + (box.MaxYM-box.MinYM)*rng.Float64()
			lat, lon := b.Plane.Inverse(x, y)
			lat2, lon2 := b.Plane.Inverse(x+5000*(rng.Float64()-0.5), y+5000*(rng.Float64()-0.5))
			if b.Polygon.Contains(x, y) && !b.MayMeet(lat, lon, lat2, lon2) {
				t.Fatalf("%s: a line from inside is said not to meet", r.name)
			}
		}
		lat, lon := b.Plane.Inverse(50e3, 0)
		if b.MayMeet(lat, lon, lat, lon) {
			t.Errorf("%s: a point 50 km off may meet", r.name)
		}
	}
}

func TestBoundaryRefusals(t *testing.T) {
	ring := func(p ...[2]float64) [][][][2]float64 { return [][][][2]float64{{p}} }
	nan := math.NaN()
	for name, parts := range map[string][][][][2]float64{
		"nothing":      nil,
		"no ring":      {{}},
		"empty ring":   ring(),
		"two points":   ring([2]float64{1, 1}, [2]float64{2, 1}, [2]float64{1, 1}),
		"NaN":          ring([2]float64{1, 1}, [2]float64{nan, 1}, [2]float64{1, 2}),
		"infinite":     ring([2]float64{1, 1}, [2]float64{1, math.Inf(1)}, [2]float64{1, 2}),
		"latitude 91":  ring([2]float64{1, 1}, [2]float64{1.1, 91}, [2]float64{1, 2}),
		"a continent":  ring([2]float64{1, 1}, [2]float64{30, 1}, [2]float64{1, 20}),
		"around earth": ring([2]float64{0, 0}, [2]float64{120, 0.1}, [2]float64{-120, 0.1}),
	} {
		if _, err := NewBoundary(parts); fault.CodeOf(err) != fault.Input || err == nil {
			t.Errorf("%s: %v", name, err)
		}
	}
	if (Polygon{}).AreaM2() != 0 || (Polygon{}).Contains(0, 0) || (Boundary{}).MayMeet(1, 1, 1, 1) {
		t.Error("the empty polygon holds something")
	}
}

func FuzzBoundary(f *testing.F) {
	f.Add(1.0, 1.0, 1.01, 1.0, 1.0, 1.01)
	f.Add(179.999, -16.8, -179.999, -16.8, 180.0, -16.79)
	f.Fuzz(func(t *testing.T, a, b, c, d, e, g float64) {
		bound, err := NewBoundary([][][][2]float64{{{{a, b}, {c, d}, {e, g}}}})
		if err != nil {
			return
		}
		m2, trueM2 := bound.Polygon.AreaM2(), bound.AreaM2()
		if !(m2 >= 0 && m2 <= 4*ReachM*ReachM) || !(math.Abs(trueM2-m2) <= 1e-3*m2+1e6) {
			t.Errorf("area %v, on the ellipsoid %v", m2, trueM2)
		}
	})
}

// An area laid on another field's plane keeps its size and place; one far from it is refused.
func TestLayBesideABoundary(t *testing.T) {
	g12, _ := NewBoundary([][][][2]float64{{geodesicRows[11].ring}})
	hole, err := g12.Plane.Lay([][][][2]float64{{geodesicRows[14].ring}})
	if err != nil || math.Abs(hole.AreaM2()-geodesicRows[14].areaM2) > 0.03 {
		t.Errorf("%v m2, %v", hole.AreaM2(), err)
	}
	if c := hole.Parts[0].Outer[0]; !g12.Polygon.Contains(c.XM, c.YM) {
		t.Error("the hole lies outside its field")
	}
	for name, parts := range map[string][][][][2]float64{"elsewhere": {{geodesicRows[0].ring}}, "nothing": nil, "a line": {{{{24.5, 60.6}, {24.6, 60.6}}}}} {
		if _, err := g12.Plane.Lay(parts); fault.CodeOf(err) != fault.Input || err == nil {
			t.Errorf("%s: %v", name, err)
		}
	}
}
