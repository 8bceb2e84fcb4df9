package render

import (
	"bytes"
	"encoding/binary"
	"encoding/json"
	"math"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"github.com/peterstace/simplefeatures/geom"

	"hopperbook/reconcile/plane"
	"hopperbook/reports"
)

type feature struct {
	Type       string
	Properties map[string]any
	Geometry   json.RawMessage
}

func (f feature) number(key string) float64 { v, _ := f.Properties[key].(float64); return v }

// contoursOf writes a map's contours and gives them by band, on the field's plane; the
// geometry library refuses what is not valid, in degrees.
func contoursOf(t testing.TB, a reports.MapAnswer) (features map[string]feature, flat map[string]geom.MultiPolygon) {
	t.Helper()
	raw := rendered(t, func(b *bytes.Buffer) error { return GeoJSON(b, a) })
	var c struct {
		Type     string
		Features []feature
	}
	if err := json.Unmarshal(raw, &c); err != nil || c.Type != "FeatureCollection" {
		t.Fatalf("%s: %v", c.Type, err)
	}
	p := plane.At(a.Grid.LatDeg, a.Grid.LonDeg)
	features, flat = map[string]feature{}, map[string]geom.MultiPolygon{}
	for _, f := range c.Features {
		name := f.Properties["band"].(string)
		g, err := geom.UnmarshalGeoJSON(f.Geometry)
		if err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		if !g.MustAsMultiPolygon().IsCCW() {
			t.Errorf("%s: RFC 7946 wants outer rings counter-clockwise, holes clockwise", name)
		}
		features[name] = f
		flat[name] = g.TransformXY(func(xy geom.XY) geom.XY {
			x, y := p.Forward(xy.Y, xy.X)
			return geom.XY{X: x, Y: y}
		}).MustAsMultiPolygon()
	}
	return features, flat
}

// Columns of 10 m of 0, 70, 85, 100, 130 and 150 % over 40 m: between the middles of
// cells 1 m apart the contours stand where the straight line between the rates does, 0.5 m
// west of the column's end and on. By hand, from the west: 1 % at 9.5 + 1/70, 60 % at 9.5 + 60/70, 80 % at
// 19.5 + 10/15, 120 % at 39.5 + 20/30, 140 % at 49.5 + 10/20.
func TestContoursOfKnownColumns(t *testing.T) {
	a := answer(t, -46.2, 169.3, 1)
	features, flat := contoursOf(t, a)
	if len(features) != len(bands) {
		t.Fatalf("%d bands", len(features))
	}
	at := []float64{0, 9.5 + 1.0/70, 9.5 + 60.0/70, 19.5 + 10.0/15, 39.5 + 20.0/30, 50, 60}
	cells := []float64{400, 0, 400, 800, 400 - 40, 400 - 20}
	mean := []float64{0, 0, 70, 92.5, 130, 150}
	from, to := []float64{0, 1, 60, 80, 120, 140}, []float64{1, 60, 80, 120, 140, 0}
	total := 0.0
	for k, b := range bands {
		f := features[b.name]
		want := (at[k+1] - at[k]) * 40
		if k == 4 { // less the hole, from 42 to 48
			want -= 60
		}
		tol := 0.4 // contours stand on 512th parts of a cell; the corners of field and hole are cut off
		if k == 0 || k == 4 || k == 5 {
			tol = 1.5
		}
		if math.Abs(f.number("area_m2")-want) > tol || math.Abs(f.number("area_m2")-flat[b.name].Area()) > 0.06 {
			t.Errorf("%s: %v m2, its polygons %.2f, want %.2f", b.name, f.number("area_m2"), flat[b.name].Area(), want)
		}
		if k != 4 && k != 5 && f.number("cells_m2") != cells[k] || math.Abs(f.number("mean_kg_ha")-mean[k]) > 0.05 ||
			f.number("from_pct") != from[k] || f.number("to_pct") != to[k] || math.Abs(f.number("to_kg_ha")-to[k]) > 1e-9 || f.Properties["field"] != "F1" {
			t.Errorf("%s: %v", b.name, f.Properties)
		}
		total += flat[b.name].Area()
	}
	if math.Abs(total-2340) > 4 {
		t.Errorf("all bands %.2f m2, the field has 2340", total)
	}
	if rings := flat["above"].PolygonN(0).NumInteriorRings(); rings != 1 {
		t.Errorf("%d holes where the column has one", rings)
	}
}

// made is an answer with a grid of the given rates; NaN lies outside, and the boundary is around all.
func made(latDeg, lonDeg, cellM float64, cols int, kgHa ...float64) reports.MapAnswer {
	rows := len(kgHa) / cols
	w, h := float64(cols)*cellM, float64(rows)*cellM
	a := reports.MapAnswer{SetRateKgHa: 100, CellM: cellM, Grid: &reports.MapGrid{LatDeg: latDeg, LonDeg: lonDeg, XM: -w / 2, YM: -h / 2, Cols: cols, Rows: rows,
		Boundary: [][][][2]float64{{{{-w / 2, -h / 2}, {w / 2, -h / 2}, {w / 2, h / 2}, {-w / 2, h / 2}}}}}}
	for _, v := range kgHa {
		a.Grid.KgHa = binary.LittleEndian.AppendUint32(a.Grid.KgHa, math.Float32bits(float32(v)))
	}
	return a
}

// Saddles: the middle decides which corners hang together.
func TestContoursOfSaddles(t *testing.T) {
	for _, r := range []struct {
		rates           []float64
		within, farHigh int // polygons
	}{
		{[]float64{100, 300, 300, 100}, 2, 1}, // mean 200: over the band it hangs together
		{[]float64{300, 100, 100, 300}, 2, 1},
		{[]float64{100, 150, 150, 100}, 2, 0}, // mean 125, between the contours: neither does
		{[]float64{100, 130, 130, 100}, 1, 0}, // mean 115
	} {
		_, flat := contoursOf(t, made(50, 10, 1, 2, r.rates...))
		if n, m := flat["within"].NumPolygons(), flat["far_above"].NumPolygons(); n != r.within || r.farHigh > 0 && m != r.farHigh {
			t.Errorf("%v: %d polygons within, %d far above", r.rates, n, m)
		}
	}
	if _, flat := contoursOf(t, made(50, 10, 1, 1, math.NaN())); len(flat) != 0 {
		t.Errorf("no cell: %v", flat)
	}
	if features, flat := contoursOf(t, made(50, 10, 1, 1, 100)); len(flat) != 1 || math.Abs(features["within"].number("area_m2")-0.75) > 0.01 {
		t.Errorf("one cell, two corners of which are cut off: %v", features["within"].Properties)
	}
}

// Random fields, cells and exclusion areas: bands are valid, do not overlap, leave no
// gap, hold the middles of their own cells, and have their cells' area but for the squares between cells
// that differ and those across the outline.
func TestContoursOfRandomCells(t *testing.T) {
	for seed := range uint64(30) {
		rng := rand.New(rand.NewPCG(seed, 7))
		a := randomAnswer(t, rng)
		rates, err := a.Rates()
		if err != nil {
			t.Fatal(err)
		}
		features, flat := contoursOf(t, a)
		area := 0.0
		for _, f := range features {
			area += f.number("area_m2")
		}
		inside, mixed := cellsWithMixed(a, rates)
		var target float64
		for _, n := range inside {
			target += n
		}
		perCell := a.CellM * a.CellM
		rim := mixed[len(bands)] * perCell
		if math.Abs(area-target*perCell) > rim {
			t.Errorf("seed %d: bands of %.1f m2, cells of %.1f, %.1f of them at the outline", seed, area, target*perCell, rim)
		}
		for k, b := range bands {
			if off := math.Abs(features[b.name].number("area_m2") - inside[k]*perCell); off > mixed[k]*perCell+0.01 {
				t.Errorf("seed %d: %s differs by %.2f m2 from its cells, %.2f m2 lie between it and others", seed, b.name, off, mixed[k]*perCell)
			}
		}
		checkMiddles(t, seed, a, rates, flat)
	}
}

// cellsWithMixed counts the cells of each band, and the squares between cell middles that hold a
// corner of it and another corner or lie across the outline; the last number are those alone.
func cellsWithMixed(a reports.MapAnswer, rates []float32) (inside, mixed [len(bands) + 1]float64) {
	g := a.Grid
	bandAt := func(col, row int) int {
		if col < 0 || row < 0 || col >= g.Cols || row >= g.Rows || rates[row*g.Cols+col] != rates[row*g.Cols+col] {
			return len(bands)
		}
		return int(bandOf(rates[row*g.Cols+col], a.ReferenceKgHa()))
	}
	for row := -1; row < g.Rows; row++ {
		for col := -1; col < g.Cols; col++ {
			corners := [4]int{bandAt(col, row), bandAt(col+1, row), bandAt(col, row+1), bandAt(col+1, row+1)}
			if corners[0] < len(bands) {
				inside[corners[0]]++
			}
			low, high := len(bands), -1
			outline := false
			for _, b := range corners {
				if b == len(bands) {
					outline = true
					continue
				}
				low, high = min(low, b), max(high, b)
			}
			// Between bands that touch all those between them have a part; across the outline the rate is
			// carried on from cells beside the square too.
			for k := range bands {
				if high >= 0 && (outline || low < high && low <= k && k <= high) {
					mixed[k]++
				}
			}
			if high >= 0 && outline {
				mixed[len(bands)]++
			}
		}
	}
	return inside, mixed
}

func checkMiddles(t *testing.T, seed uint64, a reports.MapAnswer, rates []float32, flat map[string]geom.MultiPolygon) {
	t.Helper()
	g := a.Grid
	for i, v := range rates {
		p := geom.XY{X: g.XM + (float64(i%g.Cols)+0.5)*a.CellM, Y: g.YM + (float64(i/g.Cols)+0.5)*a.CellM}.AsPoint().AsGeometry()
		for k, b := range bands {
			shape, drawn := flat[b.name]
			holds := false
			if drawn {
				holds = geom.Intersects(p, shape.AsGeometry())
			}
			if want := v == v && int(bandOf(v, a.ReferenceKgHa())) == k; holds != want {
				t.Fatalf("seed %d: the middle of cell %d (%v kg/ha) in %s: %v", seed, i, v, b.name, holds)
			}
		}
	}
}

// randomAnswer is a crooked field with a hole and an exclusion area and cells from none to far
// too much, of noise or of slopes.
func randomAnswer(t testing.TB, rng *rand.Rand) reports.MapAnswer {
	t.Helper()
	cellM := []float64{0.1, 0.5, 1, 7}[rng.IntN(4)]
	cols, rows := 3+rng.IntN(14), 3+rng.IntN(14)
	a := made(-60+130*rng.Float64(), -170+340*rng.Float64(), cellM, cols, make([]float64, cols*rows)...)
	star := func(x, y, reach float64) (plane.Ring, [][2]float64) {
		var ring plane.Ring
		var points [][2]float64
		for k := range 7 {
			sin, cos := math.Sincos(2 * math.Pi * (float64(k) + 0.5*rng.Float64()) / 7)
			r := reach * (0.4 + 0.6*rng.Float64())
			ring = append(ring, plane.Point{XM: x + r*cos, YM: y + r*sin})
			points = append(points, [2]float64{x + r*cos, y + r*sin})
		}
		return ring, points
	}
	reach := float64(min(cols, rows)) / 2 * cellM
	outer, outerM := star(0, 0, reach)
	hole, holeM := star(0.1*reach, 0, 0.2*reach)
	excluded, excludedM := star(reach*0.6, 0.3*reach, 0.4*reach)
	a.Grid.Boundary, a.Grid.Exclusion = [][][][2]float64{{outerM, holeM}}, [][][][2]float64{{excludedM}}
	field := plane.Polygon{Parts: []plane.Part{{Outer: outer, Holes: []plane.Ring{hole}}}}
	without := plane.Polygon{Parts: []plane.Part{{Outer: excluded}}}
	a.Grid.KgHa = a.Grid.KgHa[:0]
	slope := rng.IntN(2) == 0
	for i := range cols * rows {
		x, y := a.Grid.XM+(float64(i%cols)+0.5)*cellM, a.Grid.YM+(float64(i/cols)+0.5)*cellM
		v := []float64{0, 0.5, 60, 80, 100, 120, 121, 140, 1e5}[rng.IntN(9)]
		if slope {
			v = 250 * float64(i%cols) / float64(cols) * (1 + 0.1*rng.Float64())
		}
		if !field.Contains(x, y) || without.Contains(x, y) {
			v = math.NaN()
		}
		a.Grid.KgHa = binary.LittleEndian.AppendUint32(a.Grid.KgHa, math.Float32bits(float32(v)))
	}
	return a
}

// RFC 7946 3.1.9: what crosses the antimeridian is cut there.
func TestContoursOverTheAntimeridian(t *testing.T) {
	for _, lon := range []float64{180, 179.9999, -179.9999, -179.9, 179.9} {
		a := answer(t, 40, lon, 1, [4]float64{-12, -5, 12, 5})
		features, flat := contoursOf(t, a)
		area := 0.0
		for name, shape := range flat {
			for i := range shape.NumPolygons() {
				low, high, _ := shape.PolygonN(i).Envelope().MinMaxXYs()
				if high.X-low.X > 61 {
					t.Errorf("at %v: a polygon %v m wide", lon, high.X-low.X)
				}
			}
			if math.Abs(shape.Area()-features[name].number("area_m2")) > 0.1 {
				t.Errorf("at %v: %s has %v m2, cut %v", lon, name, features[name].number("area_m2"), shape.Area())
			}
			area += shape.Area()
		}
		if math.Abs(area-2100) > 6 {
			t.Errorf("at %v: %v m2, want 2100", lon, area)
		}
	}
}

// Two second readers: shapely (GEOS) finds every polygon valid and the bands apart, ogrinfo
// (GDAL) reads them as areas in WGS84.
func TestShapelyReadsTheContours(t *testing.T) {
	python := "/usr/bin/python3"
	if err := exec.Command(python, "-c", "import shapely").Run(); err != nil {
		t.Skip("shapely is not installed (Debian: apt-get install python3-shapely); contours are checked by one geometry library only")
	}
	dir := t.TempDir()
	answers := []reports.MapAnswer{answer(t, -46.2, 169.3, 1, [4]float64{-40, -20, -15, 5}), answer(t, 60, 179.9999, 0.5), answer(t, 0, 10, 0.1)}
	for seed := range uint64(40) {
		answers = append(answers, randomAnswer(t, rand.New(rand.NewPCG(seed, 21))))
	}
	var names []string
	for i, a := range answers {
		name := filepath.Join(dir, string(rune('a'+i%26))+string(rune('a'+i/26))+".geojson")
		var b bytes.Buffer
		if err := GeoJSON(&b, a); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(name, b.Bytes(), 0o600); err != nil {
			t.Fatal(err)
		}
		names = append(names, name)
	}
	out, err := exec.Command(python, append([]string{filepath.Join("testdata", "valid.py")}, names...)...).CombinedOutput()
	if err != nil || !strings.HasPrefix(string(out), "valid ") {
		t.Errorf("%v\n%s", err, out)
	}
	t.Logf("%s", out)
}

func TestOGRReadsTheContours(t *testing.T) {
	ogrinfo, err := exec.LookPath("ogrinfo")
	if err != nil {
		t.Skip("ogrinfo is not installed (Debian: apt-get install gdal-bin); the GeoJSON is not held against a second reader")
	}
	name := filepath.Join(t.TempDir(), "map.geojson")
	var b bytes.Buffer
	if err := GeoJSON(&b, answer(t, -46.2, 169.3, 1)); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(name, b.Bytes(), 0o600); err != nil {
		t.Fatal(err)
	}
	out, err := exec.Command(ogrinfo, "-ro", "-al", "-so", name).CombinedOutput()
	text := string(out)
	for _, want := range []string{"Geometry: Multi Polygon", "Feature Count: 6", "WGS 84", "band: String", "from_kg_ha: ", "area_m2: Real"} {
		if err != nil || !strings.Contains(text, want) {
			t.Errorf("no %q (%v) in\n%s", want, err, text)
		}
	}
}

// A grid of a real size: 40 ha of 1 m cells with a stripe every 20 m.
func BenchmarkContours(b *testing.B) {
	const n = 632
	kgHa := make([]float64, n*n)
	for i := range kgHa {
		if kgHa[i] = 100; (i%n+i/n/8)%20 < 2 {
			kgHa[i] = 200
		}
	}
	a := made(-46.2, 169.3, 1, n, kgHa...)
	var out bytes.Buffer
	for range b.N {
		out.Reset()
		if err := GeoJSON(&out, a); err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric(float64(out.Len())/1e6, "MB")
}
