package render

import (
	"bytes"
	"encoding/binary"
	"encoding/json"
	"fmt"
	"image"
	"image/color"
	"image/png"
	"math"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"github.com/peterstace/simplefeatures/geom"

	"hopperbook/reconcile"
	"hopperbook/reconcile/applied"
	"hopperbook/reconcile/plane"
	"hopperbook/reports"
	"hopperbook/schemas/fault"
)

// answer is an invented field of 60 by 40 m with a hole of 6 by 10 m, in
// columns of 10 m of known rates; its set rate is 100 kg/ha.
func answer(t testing.TB, latDeg, lonDeg, cellM float64) reports.MapAnswer {
	t.Helper()
	p := plane.At(latDeg, lonDeg)
	ring := func(x0, y0, x1, y1 float64) (out [][2]float64) {
		for _, c := range [][2]float64{{x0, y0}, {x1, y0}, {x1, y1}, {x0, y1}} {
			lat, lon := p.Inverse(c[0], c[1])
			out = append(out, [2]float64{lon, lat})
		}
		return out
	}
	b, err := plane.NewBoundary([][][][2]float64{{ring(-30, -20, 30, 20), ring(12, 0, 18, 10)}})
	if err != nil {
		t.Fatal(err)
	}
	m := reconcile.FieldMap{Field: "F1", Name: "Öster", Product: "urea", SetRateKgHa: 100, Boundary: b,
		Patterns: []reconcile.MapPattern{{Machine: "sp1", BoutWidthM: 10}}}
	even, err := applied.Even(10)
	if err != nil {
		t.Fatal(err)
	}
	in := applied.Input{Patterns: []applied.Pattern{even}, Field: b.Polygon, CellM: cellM}
	for i, rate := range columnRates {
		x := -25 + 10*float64(i)
		if rate > 0 {
			in.Pieces = append(in.Pieces, applied.Piece{Line: i, FromXM: x, FromYM: -20, ToXM: x, ToYM: 20, MassKg: rate * 0.04})
		}
	}
	if m.Map, err = applied.Lay(in); err != nil {
		t.Fatal(err)
	}
	m.Figures = m.Map.Figures(100)
	return reports.NewMapAnswer(m, true)
}

// One column of each zone, and two within the band.
var columnRates = []float64{0, 70, 85, 100, 130, 150}

func rendered(t testing.TB, render func(*bytes.Buffer) error) []byte {
	t.Helper()
	var a, b bytes.Buffer
	if err := render(&a); err != nil {
		t.Fatal(err)
	}
	if err := render(&b); err != nil {
		t.Fatal(err)
	}
	if !bytes.Equal(a.Bytes(), b.Bytes()) {
		t.Error("the same map, other bytes")
	}
	return a.Bytes()
}

func TestGeoTIFFHoldsTheCells(t *testing.T) {
	a := answer(t, -46.2, 169.3, 2.5)
	raw := rendered(t, func(b *bytes.Buffer) error { return GeoTIFF(b, a) })
	rates, err := a.Rates()
	if err != nil {
		t.Fatal(err)
	}
	pixels := raw[len(raw)-4*len(rates):]
	for i, want := range rates {
		row, col := a.Grid.Rows-1-i/a.Grid.Cols, i%a.Grid.Cols
		if got := math.Float32frombits(binary.LittleEndian.Uint32(pixels[4*(row*a.Grid.Cols+col):])); got != want && (got == got || want == want) {
			t.Fatalf("cell %d: %v, want %v", i, got, want)
		}
	}
	before := uint16(0)
	n := int(binary.LittleEndian.Uint16(raw[8:]))
	for i := range n {
		tag := binary.LittleEndian.Uint16(raw[10+12*i:])
		if tag <= before {
			t.Errorf("tag %d after %d: TIFF 6.0 wants them rising", tag, before)
		}
		before = tag
	}
}

// GDAL, an independent reader, finds cells, place and unit.
func TestGDALReadsTheGeoTIFF(t *testing.T) {
	gdalinfo, err := exec.LookPath("gdalinfo")
	if err != nil {
		t.Skip("gdalinfo is not installed (Debian: apt-get install gdal-bin); the GeoTIFF is not held against a second reader")
	}
	for _, at := range [][2]float64{{-46.2, 169.3}, {0, 0}, {60, -120}, {10, 179.9999}} {
		a := answer(t, at[0], at[1], 2)
		name := filepath.Join(t.TempDir(), "map.tif")
		var b bytes.Buffer
		if err := GeoTIFF(&b, a); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(name, b.Bytes(), 0o600); err != nil {
			t.Fatal(err)
		}
		out, err := exec.Command(gdalinfo, "-json", "-stats", name).Output()
		if err != nil {
			t.Fatalf("gdalinfo: %v", err)
		}
		var info struct {
			Size             [2]int
			GeoTransform     [6]float64
			CoordinateSystem struct{ WKT string }
			WGS84Extent      struct{ Coordinates [][][2]float64 }
			Bands            []struct {
				Type, Unit       string
				Minimum, Maximum float64
				Mean             float64
			}
		}
		// gdalinfo writes the bare word NaN for the value that means none.
		if err := json.Unmarshal(bytes.ReplaceAll(out, []byte(":NaN"), []byte(`:"NaN"`)), &info); err != nil {
			t.Fatalf("%v in %s", err, out)
		}
		g := a.Grid
		if info.Size != [2]int{g.Cols, g.Rows} || info.GeoTransform != [6]float64{g.XM, 2, 0, g.YM + 2*float64(g.Rows), 0, -2} {
			t.Errorf("size %v, transform %v", info.Size, info.GeoTransform)
		}
		if band := info.Bands[0]; band.Type != "Float32" || band.Unit != "kg/ha" || math.Abs(band.Mean-a.MeanKgHa) > 0.01 || band.Minimum != 0 || math.Abs(band.Maximum-150) > 1 {
			t.Errorf("band %+v, want a mean of %v", band, a.MeanKgHa)
		}
		if !strings.Contains(info.CoordinateSystem.WKT, "Transverse Mercator") || !strings.Contains(info.CoordinateSystem.WKT, "WGS 84") {
			t.Errorf("coordinate system %s", info.CoordinateSystem.WKT)
		}
		// The corner's place by PROJ and by our plane, to a tenth of a millimetre of arc that
		// gdalinfo prints (1e-7 degrees).
		lat, lon := plane.At(g.LatDeg, g.LonDeg).Inverse(g.XM, g.YM)
		found := false
		for _, c := range info.WGS84Extent.Coordinates[0] {
			found = found || (math.Abs(c[1]-lat) < 2e-7 && math.Abs(plane.WrapDeg(c[0]-lon)) < 2e-7)
		}
		if !found {
			t.Errorf("south-west corner %v %v not in %v", lon, lat, info.WGS84Extent.Coordinates)
		}
	}
}

type collection struct {
	Type     string
	Features []struct {
		Type       string
		Properties map[string]any
		Geometry   json.RawMessage
	}
}

func zonesOf(t testing.TB, a reports.MapAnswer) (collection, map[string]geom.Geometry) {
	t.Helper()
	raw := rendered(t, func(b *bytes.Buffer) error { return GeoJSON(b, a) })
	var c collection
	if err := json.Unmarshal(raw, &c); err != nil {
		t.Fatal(err)
	}
	out := map[string]geom.Geometry{}
	for _, f := range c.Features {
		g, err := geom.UnmarshalGeoJSON(f.Geometry) // refuses what is not valid
		if err != nil {
			t.Fatalf("%v: %v", f.Properties["zone"], err)
		}
		out[f.Properties["zone"].(string)] = g
	}
	return c, out
}

func TestGeoJSONZones(t *testing.T) {
	a := answer(t, -46.2, 169.3, 1)
	c, zones := zonesOf(t, a)
	// Columns of 400 m2, one less a hole of 60 m2.
	want := map[string][4]float64{"not_hit": {400, 0, 0, 1}, "below": {400, 70, 1, 80}, "within": {800, 92.5, 80, 120}, "above": {740, 140.81, 120, 0}}
	if len(c.Features) != 4 || c.Type != "FeatureCollection" {
		t.Fatalf("%d features", len(c.Features))
	}
	p := plane.At(a.Grid.LatDeg, a.Grid.LonDeg)
	for _, f := range c.Features {
		zone := f.Properties["zone"].(string)
		w := want[zone]
		number := func(key string) float64 { v, _ := f.Properties[key].(float64); return v }
		if number("area_m2") != w[0] || math.Abs(number("mean_kg_ha")-w[1]) > 0.05 || number("from_pct") != w[2] || number("to_pct") != w[3] || f.Properties["field"] != "F1" {
			t.Errorf("%s: %v, want %v", zone, f.Properties, w)
		}
		flat := zones[zone].TransformXY(func(xy geom.XY) geom.XY {
			x, y := p.Forward(xy.Y, xy.X)
			return geom.XY{X: x, Y: y}
		})
		if !zones[zone].MustAsMultiPolygon().IsCCW() {
			t.Errorf("%s: RFC 7946 wants outer rings counter-clockwise, holes clockwise", zone)
		}
		if area := flat.Area(); math.Abs(area-w[0]) > 0.5 { // 1e-7 degrees are up to 1 cm
			t.Errorf("%s: polygons of %v m2, want %v", zone, area, w[0])
		}
	}
	if rings := zones["above"].MustAsMultiPolygon().PolygonN(0).NumInteriorRings(); rings != 1 {
		t.Errorf("%d holes where the column has one", rings)
	}
}

// RFC 7946 3.1.9: what crosses the antimeridian is cut there.
func TestGeoJSONOverTheAntimeridian(t *testing.T) {
	for _, lon := range []float64{180, 179.9999, -179.9999, -179.9, 179.9} {
		_, zones := zonesOf(t, answer(t, 40, lon, 1))
		p, area := plane.At(40, lon), 0.0
		for _, g := range zones {
			for i := range g.MustAsMultiPolygon().NumPolygons() {
				polygon := g.MustAsMultiPolygon().PolygonN(i)
				e := polygon.Envelope()
				if low, high, _ := e.MinMaxXYs(); high.X-low.X > 1 {
					t.Errorf("at %v: a polygon from %v to %v degrees", lon, low.X, high.X)
				}
				area += polygon.AsGeometry().TransformXY(func(xy geom.XY) geom.XY {
					x, y := p.Forward(xy.Y, xy.X)
					return geom.XY{X: x, Y: y}
				}).Area()
			}
		}
		if math.Abs(area-2340) > 40 { // half a cell along 40 m at most
			t.Errorf("at %v: %v m2, want 2340", lon, area)
		}
	}
}

// Random cells: each region's rings have its area, hold its cells and no
// others, and make a valid polygon.
func TestRegionsOfRandomCells(t *testing.T) {
	for seed := range uint64(60) {
		rng := rand.New(rand.NewPCG(seed, 7))
		l := lattice{cols: 1 + rng.IntN(14), rows: 1 + rng.IntN(14)}
		for range l.cols * l.rows {
			l.label = append(l.label, uint8(rng.IntN(2+int(seed%3))))
		}
		drawn := make([]uint8, len(l.label))
		for _, r := range l.regions() {
			area := doubleArea(r.outer)
			rings := [][]corner{r.outer}
			for _, h := range r.holes {
				if doubleArea(h) >= 0 {
					t.Fatalf("seed %d: a hole goes counter-clockwise", seed)
				}
				area += doubleArea(h)
				rings = append(rings, h)
			}
			if area != int64(2*r.cells) {
				t.Fatalf("seed %d: twice the area %d, %d cells", seed, area, r.cells)
			}
			if _, err := geom.UnmarshalWKT(wkt(rings)); err != nil {
				t.Fatalf("seed %d: %v\n%s", seed, err, wkt(rings))
			}
			for i := range drawn {
				if within(rings, float64(i%l.cols)+0.5, float64(i/l.cols)+0.5) {
					if drawn[i] != 0 {
						t.Fatalf("seed %d: cell %d is in two regions", seed, i)
					}
					drawn[i] = r.label
				}
			}
		}
		if !bytes.Equal(drawn, l.label) {
			t.Fatalf("seed %d: drawn %v, want %v", seed, drawn, l.label)
		}
	}
}

func wkt(rings [][]corner) string {
	var parts []string
	for _, r := range rings {
		var points []string
		for _, c := range append(r, r[0]) {
			points = append(points, fmt.Sprintf("%d %d", c.col, c.row))
		}
		parts = append(parts, "("+strings.Join(points, ",")+")")
	}
	return "POLYGON(" + strings.Join(parts, ",") + ")"
}

// within is the even-odd rule on axis-parallel rings.
func within(rings [][]corner, x, y float64) bool {
	in := false
	for _, r := range rings {
		for i, a := range r {
			b := r[(i+1)%len(r)]
			if (float64(a.row) < y) != (float64(b.row) < y) && float64(a.col) > x {
				in = !in
			}
		}
	}
	return in
}

func TestPNGShowsTheCells(t *testing.T) {
	a := answer(t, -46.2, 169.3, 1)
	img, err := png.Decode(bytes.NewReader(rendered(t, func(b *bytes.Buffer) error { return PNG(b, a) })))
	if err != nil {
		t.Fatal(err)
	}
	v := newView(a)
	share := func(r image.Rectangle, want color.RGBA) float64 {
		n := 0
		for y := r.Min.Y; y < r.Max.Y; y++ {
			for x := r.Min.X; x < r.Max.X; x++ {
				if color.RGBAModel.Convert(img.At(x, y)) == want {
					n++
				}
			}
		}
		return float64(n) / float64(r.Dx()*r.Dy())
	}
	at := func(x, y float64) image.Rectangle { // a square of 5 m in the middle of a column
		px, py := v.left+(x-a.Grid.XM)*v.pxPerM, v.bottom-(y-a.Grid.YM)*v.pxPerM
		return image.Rect(int(px), int(py), int(px+5*v.pxPerM), int(py+5*v.pxPerM))
	}
	for i, class := range []applied.Class{applied.NotHit, applied.Low, applied.BitLow, applied.Right, applied.High, applied.FarHigh} {
		plain := share(at(-27.5+10*float64(i), -5), colourOf(class))
		if inBand := class >= applied.BitLow && class <= applied.BitHigh; inBand != (plain == 1) || plain < 0.6 {
			t.Errorf("column %d: %.2f of it in the colour of class %d", i, plain, class)
		}
	}
	if share(at(12.6, 7), ink(228)) < 1 {
		t.Error("the hole is painted")
	}
	if dark := share(image.Rect(v.frame.Max.X+pageMargin, v.frame.Max.Y-60, v.frame.Max.X+pageMargin+220, v.frame.Max.Y-20), ink(20)); dark < 0.05 {
		t.Error("no scale bar")
	}
}

func TestRoundLengths(t *testing.T) {
	for most, want := range map[float64]float64{1: 1, 1.99: 1, 2: 2, 4.9: 2, 5: 5, 99: 50, 100: 100, 220: 200, 0.7: 0.5} {
		if got := roundLengthM(most); math.Abs(got-want) > 1e-12 {
			t.Errorf("%v: %v, want %v", most, got, want)
		}
	}
}

// An answer whose grid is not what it says is refused, not drawn.
func TestBrokenGridsAreRefused(t *testing.T) {
	for name, spoil := range map[string]func(*reports.MapAnswer){
		"no grid":   func(a *reports.MapAnswer) { a.Grid = nil },
		"cut short": func(a *reports.MapAnswer) { a.Grid.KgHa = a.Grid.KgHa[:7] },
		"no rows":   func(a *reports.MapAnswer) { a.Grid.Rows, a.Grid.KgHa = 0, nil },
		"huge":      func(a *reports.MapAnswer) { a.Grid.Cols, a.Grid.Rows = 1<<40, 1<<40 },
		"nowhere":   func(a *reports.MapAnswer) { a.Grid.LatDeg = 100 },
		"far off":   func(a *reports.MapAnswer) { a.Grid.Boundary[0][0][0][0] = 1e30 },
		"no cells":  func(a *reports.MapAnswer) { a.CellM = 0 },
	} {
		for form, render := range map[string]func(*bytes.Buffer, reports.MapAnswer) error{
			"png":     func(b *bytes.Buffer, a reports.MapAnswer) error { return PNG(b, a) },
			"tif":     func(b *bytes.Buffer, a reports.MapAnswer) error { return GeoTIFF(b, a) },
			"geojson": func(b *bytes.Buffer, a reports.MapAnswer) error { return GeoJSON(b, a) },
		} {
			a := answer(t, 0, 0, 5)
			spoil(&a)
			if err := render(&bytes.Buffer{}, a); fault.CodeOf(err) != fault.Input || err == nil {
				t.Errorf("%s as %s: %v", name, form, err)
			}
		}
	}
}
