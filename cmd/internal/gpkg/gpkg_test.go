package gpkg

import (
	"bytes"
	"encoding/binary"
	"encoding/hex"
	"errors"
	"math"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/peterstace/simplefeatures/geom"

	"hopperbook/reports"
	"hopperbook/schemas"
)

// plots are two layers: a square with a hole beside a triangle; a thing without attributes known.
func plots() []reports.GeoLayer {
	square := [][]schemas.Position{{{16, 48}, {16.01, 48}, {16.01, 48.01}, {16, 48.01}, {16, 48}}, {{16.004, 48.004}, {16.004, 48.006}, {16.006, 48.006}, {16.006, 48.004}, {16.004, 48.004}}}
	triangle := [][]schemas.Position{{{16.02, 48}, {16.03, 48}, {16.02, 48.02}, {16.02, 48}}}
	columns := []reports.GeoColumn{{Key: "name", Type: reports.GeoText}, {Key: "day", Type: reports.GeoDate}, {Key: "mass_kg", Type: reports.GeoReal}, {Key: "times", Type: reports.GeoInteger}, {Key: "known", Type: reports.GeoBoolean}}
	return []reports.GeoLayer{
		{Name: "applications", Title: "it's a title", Columns: columns, Features: []reports.GeoFeature{
			{ID: "a", Boundary: schemas.Boundary{square, triangle}, Values: []any{"a'); DROP TABLE fields; --", "2026-03-02", 1234.5678901234567, 3, true}},
			{ID: "b", Boundary: schemas.Boundary{triangle}, Values: []any{"Поле №7 畑", nil, nil, 0, false}}}},
		{Name: "fields", Title: "none", Columns: columns[:1]}}
}

var changed = time.Date(2026, 4, 1, 12, 30, 0, 250e6, time.UTC)

func written(t *testing.T, layers []reports.GeoLayer) []byte {
	t.Helper()
	var b bytes.Buffer
	if err := Write(&b, changed, layers); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

// A second reader finds the layers, their types and values, valid geometries
// with the right extent, and warns of nothing.
func TestGeoPackageIsReadByASecondReader(t *testing.T) {
	if _, err := exec.LookPath("ogrinfo"); err != nil {
		t.Skip("ogrinfo is not installed; the GeoPackage is not held against a second reader")
	}
	name := filepath.Join(t.TempDir(), "plots.gpkg")
	if err := os.WriteFile(name, written(t, plots()), 0o600); err != nil {
		t.Fatal(err)
	}
	ask := func(args ...string) string {
		out, err := exec.Command("ogrinfo", append([]string{"-ro"}, args...)...).CombinedOutput()
		if text := string(out); err != nil || strings.Contains(text, "Warning") || strings.Contains(text, "ERROR") {
			t.Fatalf("ogrinfo %v: %v\n%s", args, err, out)
		}
		return string(out)
	}
	all := ask("-al", name)
	for _, want := range []string{"using driver `GPKG' successful", "Layer name: applications", "Geometry: Multi Polygon", "Feature Count: 2", "Extent: (16.000000, 48.000000) - (16.030000, 48.020000)", `ID["EPSG",4326]`,
		"Layer name: fields", "Feature Count: 0", "FID Column = fid", "Geometry Column = geom", "DESCRIPTION=it's a title",
		"name: String (0.0)", "day: Date (0.0)", "mass_kg: Real (0.0)", "times: Integer64 (0.0)", "known: Integer(Boolean) (0.0)",
		"name (String) = a'); DROP TABLE fields; --", "day (Date) = 2026/03/02", "mass_kg (Real) = 1234.56789012346", "times (Integer64) = 3", "known (Integer(Boolean)) = 1",
		"name (String) = Поле №7 畑", "mass_kg (Real) = (null)", "MULTIPOLYGON (((16.02 48.0,16.03 48.0,16.02 48.02,16.02 48.0)))"} {
		if !strings.Contains(strings.ReplaceAll(all, "16.02 48,16.03 48,16.02 48.02,16.02 48)", "16.02 48.0,16.03 48.0,16.02 48.02,16.02 48.0)"), want) {
			t.Errorf("no %q in\n%s", want, all)
		}
	}
	if out := ask("-dialect", "SQLite", "-sql", "SELECT count(*) AS n FROM applications WHERE ST_IsValid(geom) AND ST_SRID(geom) = 4326", name); !strings.Contains(out, "n (Integer) = 2") {
		t.Errorf("not all geometries are valid:\n%s", out)
	}
}

// The bytes of the file's own header by the standard, and of one geometry by hand.
func TestHeaders(t *testing.T) {
	raw := written(t, plots())
	if !bytes.HasPrefix(raw, []byte("SQLite format 3\x00")) || string(raw[68:72]) != "GPKG" || binary.BigEndian.Uint32(raw[60:]) != 10300 {
		t.Errorf("header % x", raw[:100]) // OGC 12-128r18, requirements 1 and 2: application_id, user_version
	}
	if !bytes.Contains(raw, []byte("2026-04-01T12:30:00.250Z")) {
		t.Error("the time of change is not the caller's")
	}
	// a hand-written point-sized triangle: (1 2) (3 2) (1 4)
	got := hex.EncodeToString(blob(schemas.Boundary{{{{1, 2}, {3, 2}, {1, 4}, {1, 2}}}}))
	const one, two, three, four = "000000000000f03f", "0000000000000040", "0000000000000840", "0000000000001040"
	want := "47500003" + "e6100000" + one + three + two + four + "01" + "06000000" + "01000000" + "01" + "03000000" + "01000000" + "04000000" + one + two + three + two + one + four + one + two
	if got != want {
		t.Errorf("blob\n%s\nwant\n%s", got, want)
	}
}

// A library's reader of well-known binary finds the same polygons, whatever they are.
func TestGeometryBesideALibrary(t *testing.T) {
	r := rand.New(rand.NewPCG(4, 326))
	for range 50 {
		var b schemas.Boundary
		for p := range 1 + r.IntN(4) { // boxes with a box for a hole, side by side
			x, y, side := float64(3*p)+r.Float64(), r.Float64()*80-40, 0.2+r.Float64()
			box := func(x, y, side float64) []schemas.Position {
				return []schemas.Position{{x, y}, {x + side, y}, {x + side, y + side}, {x, y + side}, {x, y}}
			}
			b = append(b, [][]schemas.Position{box(x, y, side), box(x+side/4, y+side/4, side/3)}[:1+r.IntN(2)])
		}
		raw := blob(b)
		g, err := geom.UnmarshalWKB(raw[40:])
		if err != nil {
			t.Fatal(err)
		}
		text, err := b.MarshalJSON()
		if err != nil {
			t.Fatal(err)
		}
		want, err := geom.UnmarshalGeoJSON(text)
		if err != nil {
			t.Fatal(err)
		}
		if len(b) == 1 {
			want = want.MustAsPolygon().AsMultiPolygon().AsGeometry()
		}
		if !geom.ExactEquals(g, want) {
			t.Fatalf("%s is written as %s", text, g.AsText())
		}
		minXY, maxXY, _ := g.Envelope().MinMaxXYs()
		for i, v := range []float64{minXY.X, maxXY.X, minXY.Y, maxXY.Y} {
			if got := math.Float64frombits(binary.LittleEndian.Uint64(raw[8+8*i:])); got != v {
				t.Errorf("envelope %d is %v, want %v", i, got, v)
			}
		}
	}
}

// The same layers give the same bytes; another value or time gives others.
func TestTheSameLayersGiveTheSameBytes(t *testing.T) {
	first := written(t, plots())
	for range 5 {
		if !bytes.Equal(first, written(t, plots())) {
			t.Fatal("the same layers give other bytes")
		}
	}
	other := plots()
	other[0].Features[1].Values[3] = 1
	if bytes.Equal(first, written(t, other)) {
		t.Error("another value gives the same bytes")
	}
}

type broken struct{}

var errBroken = errors.New("broken")

func (broken) Write([]byte) (int, error) { return 0, errBroken }

func TestRefusals(t *testing.T) {
	spoil := func(change func(*reports.GeoLayer)) []reports.GeoLayer {
		all := plots()
		change(&all[0])
		return all
	}
	for name, layers := range map[string][]reports.GeoLayer{
		"a name that is SQL":   spoil(func(l *reports.GeoLayer) { l.Name = `x" (y); --` }),
		"a column that is SQL": spoil(func(l *reports.GeoLayer) { l.Columns[0].Key = `x"` }),
		"a type that is SQL":   spoil(func(l *reports.GeoLayer) { l.Columns[0].Type = "TEXT, x" }),
		"a value too few":      spoil(func(l *reports.GeoLayer) { l.Features[1].Values = l.Features[1].Values[:2] }),
		"a column of its own":  spoil(func(l *reports.GeoLayer) { l.Columns[0].Key = "geom" }),
		"a layer twice":        append(plots(), plots()...),
	} {
		var b bytes.Buffer
		if Write(&b, changed, layers) == nil || b.Len() > 0 {
			t.Errorf("%s is written", name)
		}
	}
	if err := Write(broken{}, changed, plots()); !errors.Is(err, errBroken) {
		t.Errorf("a writer that fails: %v", err)
	}
}
