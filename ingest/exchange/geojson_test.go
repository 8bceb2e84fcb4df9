package exchange

import (
	"bytes"
	"encoding/json"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"hopperbook/schemas"
	"hopperbook/schemas/fault"
)

func square(x, y, side float64) string {
	return fmt.Sprintf(`{"type":"Polygon","coordinates":[[[%v,%v],[%v,%v],[%v,%v],[%v,%v],[%v,%v]]]}`, x, y, x+side, y, x+side, y+side, x, y+side, x, y)
}

func feature(geometry string) string {
	return `{"type":"Feature","properties":{"a":[1]},"geometry":` + geometry + `}`
}

func collectionOf(features ...string) string {
	return `{"type":"FeatureCollection","features":[` + strings.Join(features, ",") + `]}`
}

// inside is the even-odd rule over all rings, on degrees: the area as the
// rest of the program takes it.
func inside(b schemas.Boundary, x, y float64) bool {
	in := false
	for _, rings := range b {
		for _, ring := range rings {
			for i := 1; i < len(ring); i++ {
				p, q := ring[i-1], ring[i]
				if (p[1] <= y) != (q[1] <= y) && x < p[0]+(y-p[1])/(q[1]-p[1])*(q[0]-p[0]) {
					in = !in
				}
			}
		}
	}
	return in
}

func TestBoundaryForms(t *testing.T) {
	const a = 0.25 // degrees: a square at 10, 20 and others beside or on it
	two := `{"type":"MultiPolygon","coordinates":[` + strings.TrimSuffix(strings.TrimPrefix(square(10, 20, a), `{"type":"Polygon","coordinates":`), "}") +
		"," + strings.TrimSuffix(strings.TrimPrefix(square(11, 20, a), `{"type":"Polygon","coordinates":`), "}") + `]}`
	for _, c := range []struct {
		name, doc string
		parts     int
		area      float64 // in squares
	}{
		{"polygon", square(10, 20, a), 1, 1},
		{"with a BOM and spaces", "\ufeff \n" + square(10, 20, a), 1, 1},
		{"multipolygon", two, 2, 2},
		{"feature", feature(square(10, 20, a)), 1, 1},
		{"collection of one", collectionOf(feature(square(10, 20, a))), 1, 1},
		{"side by side", collectionOf(feature(square(10, 20, a)), feature(square(10+a, 20, a))), 1, 2},
		{"apart", collectionOf(feature(square(10, 20, a)), feature(square(12, 20, a))), 2, 2},
		{"half on top", collectionOf(feature(square(10, 20, a)), feature(square(10+a/2, 20, a))), 1, 1.5},
		{"the same twice", collectionOf(feature(square(10, 20, a)), feature(square(10, 20, a))), 1, 1},
		{"one inside", collectionOf(feature(square(10, 20, a)), feature(square(10+a/4, 20+a/4, a/2))), 1, 1},
		{"WGS84 named", strings.Replace(feature(square(10, 20, a)), `{"type":"Feature"`, `{"type":"Feature","crs":{"type":"name","properties":{"name":"urn:ogc:def:crs:OGC:1.3:CRS84"}}`, 1), 1, 1},
		{"over the antimeridian", collectionOf(feature(square(180-a, 20, a)), feature(square(-180, 20, a))), 1, 2},
	} {
		b, err := Boundary(strings.NewReader(c.doc))
		if err != nil {
			t.Errorf("%s: %v", c.name, err)
			continue
		}
		area := 0.0
		for _, rings := range b {
			for _, ring := range rings {
				for i := 1; i < len(ring); i++ {
					area += (math.Remainder(ring[i][0]-ring[0][0], 360)*(ring[i-1][1]-20) - math.Remainder(ring[i-1][0]-ring[0][0], 360)*(ring[i][1]-20)) / 2
				}
			}
		}
		if len(b) != c.parts || math.Abs(math.Abs(area)/a/a-c.area) > 1e-9 {
			t.Errorf("%s: %d parts of %v squares, want %d of %v", c.name, len(b), math.Abs(area)/a/a, c.parts, c.area)
		}
	}
}

// The union is right at every place: random overlapping squares against
// asking each of them.
func TestCollectionAgainstItsFeatures(t *testing.T) {
	for seed, at := range [][3]float64{{10, 20, 1}, {168.3, -46.1, 0.01}, {-120, 64, 0.001}} {
		unionAgainstFeatures(t, rand.New(rand.NewPCG(3, uint64(seed))), at[0], at[1], at[2])
	}
}

func unionAgainstFeatures(t *testing.T, rng *rand.Rand, x0, y0, size float64) {
	t.Helper()
	var features []string
	var each []schemas.Boundary
	for range 40 {
		s := square(x0+size*rng.Float64(), y0+size*rng.Float64(), size*(0.05+0.3*rng.Float64()))
		features = append(features, feature(s))
		b, err := Boundary(strings.NewReader(s))
		if err != nil {
			t.Fatal(err)
		}
		each = append(each, b)
	}
	all, err := Boundary(strings.NewReader(collectionOf(features...)))
	if err != nil {
		t.Fatal(err)
	}
	ins := 0
	for range 5000 {
		x, y, want := x0+1.5*size*rng.Float64(), y0+1.5*size*rng.Float64(), false
		for _, b := range each {
			want = want || inside(b, x, y)
		}
		if inside(all, x, y) != want {
			t.Fatalf("at %v %v: inside %v, want %v", x, y, !want, want)
		}
		if want {
			ins++
		}
	}
	if ins < 500 || ins > 4500 {
		t.Errorf("%d of 5000 places inside: too few to tell", ins)
	}
}

func TestBoundaryRefusals(t *testing.T) {
	for _, c := range []struct{ name, doc, says string }{
		{"empty", " \n", "the file is empty"},
		{"no JSON", "boundary", "no GeoJSON object"},
		{"a list", "[1]", "no GeoJSON object"},
		{"cut", square(1, 1, 1)[:40], "no GeoJSON object"},
		{"nothing", "{}", `"", not a Polygon`},
		{"line", `{"type":"LineString","coordinates":[[1,1],[2,2]]}`, `"LineString", not a Polygon`},
		{"point feature", feature(`{"type":"Point","coordinates":[1,1]}`), `"Point", not a Polygon`},
		{"no geometry", `{"type":"Feature","geometry":null}`, "no geometry"},
		{"no feature", collectionOf(), "holds no feature"},
		{"a line in a collection", collectionOf(feature(square(1, 1, 1)), feature(`{"type":"LineString","coordinates":[]}`)), `feature 2: it is a "LineString"`},
		{"a geometry as feature", collectionOf(square(1, 1, 1)), "feature 1: it is a \"Polygon\", not a Feature"},
		{"open ring", `{"type":"Polygon","coordinates":[[[1,1],[2,1],[2,2],[1,2]]]}`, "end where it begins"},
		{"metres", square(500000, 4900000, 100), "off the earth"},
		{"metres, said", strings.Replace(square(1, 1, 1), "{", `{"crs":{"properties":{"name":"urn:ogc:def:crs:EPSG::3857"}},`, 1), "not WGS84"},
		{"text for numbers", `{"type":"Polygon","coordinates":[[["1","1"],[2,1],[2,2],["1","1"]]]}`, "must be [longitude, latitude]"},
		{"deep", strings.Repeat("[", 1<<20), "no GeoJSON object"},
		{"crossing itself, in a collection", collectionOf(feature(square(5, 5, 1)), feature(`{"type":"Polygon","coordinates":[[[1,1],[2,2],[2,1],[1,2],[1,1]]]}`)), "polygon 2 of the collection"},
	} {
		b, err := Boundary(strings.NewReader(c.doc))
		if err == nil || fault.CodeOf(err) != fault.Input || fault.HintOf(err) == "" || !strings.Contains(err.Error(), c.says) || b != nil {
			t.Errorf("%s: %v, want %q", c.name, err, c.says)
		}
	}
	if _, err := Boundary(failing{}); fault.CodeOf(err) != fault.Input {
		t.Errorf("err = %v", err)
	}
	if _, err := Boundary(bytes.NewReader(make([]byte, maxGeoJSON+1))); fault.CodeOf(err) != fault.Input || !strings.Contains(err.Error(), "larger than") {
		t.Errorf("err = %v", err)
	}
}

// A boundary that is read can be written and read again.
func FuzzBoundary(f *testing.F) {
	f.Add(square(1, 2, 3))
	f.Add(feature(square(170, 2, 3)))
	f.Add(collectionOf(feature(square(1, 2, 3)), feature(square(2, 2, 3))))
	f.Add(collectionOf(feature(square(179, 2, 1)), feature(square(-180, 2, 3))))
	f.Fuzz(func(t *testing.T, text string) {
		b, err := Boundary(strings.NewReader(text))
		if err != nil {
			return
		}
		raw, err := json.Marshal(b)
		if err != nil {
			t.Fatal(err)
		}
		if _, err := Boundary(bytes.NewReader(raw)); err != nil {
			t.Fatalf("%v in %s of %s", err, raw, text)
		}
	})
}

func TestSniff(t *testing.T) {
	for _, c := range []struct {
		head string
		want Format
	}{
		{"", FormatUnknown}, {"lat,lon\n1,2\n", FormatUnknown}, {"<html><body>gpx</body>", FormatUnknown}, {"[1]", FormatUnknown}, {"$HOME,", FormatUnknown},
		{gpxHead, FormatGPX}, {"\ufeff\n<!-- x --><gpx>", FormatGPX}, {"<g:gpx xmlns:g='x'>", FormatGPX},
		{bare, FormatEvents}, {"\r\n {\"type\"", FormatEvents},
		{"$GPGGA,1", FormatNMEA}, {"A,4.2*33\r\n$GNRMC,08", FormatNMEA}, {"\xb5b\x01\x07$GPGSV,", FormatNMEA}, {"# a comment\n$GPZDA,", FormatNMEA},
	} {
		if got := Sniff([]byte(c.head)); got != c.want {
			t.Errorf("%q is %q, want %q", c.head, got, c.want)
		}
	}
	names, _ := filepath.Glob(filepath.Join("..", "..", "testdata", "gnss", "*.log"))
	if len(names) < 4 {
		t.Fatalf("recorded logs: %v", names)
	}
	for _, name := range names {
		raw, err := os.ReadFile(name)
		if err != nil {
			t.Fatal(err)
		}
		if got := Sniff(raw[:min(len(raw), SniffBytes)]); got != FormatNMEA {
			t.Errorf("%s is %q", name, got)
		}
	}
}
