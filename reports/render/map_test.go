package render

import (
	"bytes"
	"encoding/binary"
	"encoding/json"
	"image"
	"image/color"
	"image/png"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"hopperbook/reconcile"
	"hopperbook/reconcile/applied"
	"hopperbook/reconcile/plane"
	"hopperbook/reports"
	"hopperbook/schemas/fault"
)

// answer is an invented field of 60 by 40 m with a hole of 6 by 10 m, in
// columns of 10 m of known rates; its set rate is 100 kg/ha. exclusion are rectangles.
func answer(t testing.TB, latDeg, lonDeg, cellM float64, exclusion ...[4]float64) reports.MapAnswer {
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
	for _, r := range exclusion {
		area, err := b.Plane.Lay([][][][2]float64{{ring(r[0], r[1], r[2], r[3])}})
		if err != nil {
			t.Fatal(err)
		}
		m.Exclusion.Parts = append(m.Exclusion.Parts, area.Parts...)
	}
	in := applied.Input{Patterns: []applied.Pattern{even}, Field: b.Polygon, Exclusion: m.Exclusion, CellM: cellM}
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

// A column of 10 m each.
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
	// Exclusion areas are barred on grey, their legend too; nothing else is.
	bars := image.Rect(v.frame.Max.X+pageMargin+2, v.frame.Min.Y+16+9*(lineHeight+4)-16, v.frame.Max.X+pageMargin+42, v.frame.Min.Y+16+9*(lineHeight+4)+2)
	if share(at(-27.5, -5), ink(110)) > 0 || share(bars, ink(110)) > 0.05 { // words stand there instead
		t.Error("barred without an exclusion area")
	}
	excluding := answer(t, -46.2, 169.3, 1, [4]float64{-40, -20, -15, 5})
	var page bytes.Buffer
	if err = PNG(&page, excluding); err != nil {
		t.Fatal(err)
	}
	if img, err = png.Decode(&page); err != nil {
		t.Fatal(err)
	}
	for name, r := range map[string]image.Rectangle{"the area": at(-27.5, -5), "its legend": bars} {
		if dark, grey := share(r, ink(110)), share(r, ink(228)); dark < 0.2 || dark+grey < 1 {
			t.Errorf("%s: %.2f bars, %.2f grey", name, dark, grey)
		}
	}
	if plain := share(at(-7.5, -5), colourOf(applied.BitLow)); plain < 1 {
		t.Errorf("beside the exclusion area %.2f is in its colour", plain)
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
		"excluded":  func(a *reports.MapAnswer) { a.Grid.Exclusion = [][][][2]float64{{{{0, math.NaN()}}}} },
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
