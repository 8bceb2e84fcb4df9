package render

import (
	"bufio"
	"encoding/json"
	"fmt"
	"io"
	"math"

	"hopperbook/reconcile/applied"
	"hopperbook/reconcile/plane"
	"hopperbook/reports"
)

// zone is one feature of the GeoJSON: neighbouring classes taken together.
type zone struct {
	name     string
	from, to applied.Class
}

// zones are all classes, from none to too much.
var zones = [...]zone{
	{"not_hit", applied.NotHit, applied.NotHit},
	{"below", applied.FarLow, applied.Low},
	{"within", applied.BitLow, applied.BitHigh},
	{"above", applied.High, applied.FarHigh},
}

type (
	geoCollection struct {
		Type     string       `json:"type"`
		Features []geoFeature `json:"features"`
	}
	geoFeature struct {
		Type       string         `json:"type"`
		Properties map[string]any `json:"properties"`
		Geometry   geoPolygons    `json:"geometry"`
	}
	geoPolygons struct {
		Type        string           `json:"type"`
		Coordinates [][][][2]float64 `json:"coordinates"`
	}
)

// GeoJSON writes a map as RFC 7946: for each zone (not hit, below the band
// around the set rate, within it, above it) the cells in it as one
// MultiPolygon with its area and mean rate. Zones neither overlap nor leave a gap; their areas are the
// shares of the answer. A field over the antimeridian is cut there, to the cell.
func GeoJSON(w io.Writer, a reports.MapAnswer) error {
	rates, err := a.Rates()
	if err != nil {
		return err
	}
	g := *a.Grid
	p := plane.At(g.LatDeg, g.LonDeg)
	cut := straddles(a, p)
	l, sums := zoneLattice(a, rates, func(xM, yM float64) bool {
		if !cut {
			return false
		}
		_, lon := p.Inverse(xM, yM)
		return lon < 0
	})
	out := geoCollection{Type: "FeatureCollection", Features: []geoFeature{}}
	features := make([]geoFeature, len(zones))
	for i, z := range zones {
		features[i] = geoFeature{"Feature", map[string]any{
			"zone": z.name, "field": a.Field, "product": a.Product, "reference_kg_ha": a.ReferenceKgHa(),
			"area_m2": sums[i].cells * a.CellM * a.CellM, "mean_kg_ha": round(sums[i].rates/max(1, sums[i].cells), 1e3),
		}, geoPolygons{Type: "MultiPolygon"}}
		if z.from != applied.NotHit {
			features[i].Properties["from_pct"] = round(100*z.from.From(), 10)
		}
		if z.to != applied.FarHigh {
			features[i].Properties["to_pct"] = round(100*(z.to+1).From(), 10)
		}
	}
	for _, r := range l.regions() {
		east, i := int(r.label-1)/len(zones) == 1, int(r.label-1)%len(zones)
		position := func(c corner) [2]float64 {
			lat, lon := p.Inverse(g.XM+float64(c.col)*a.CellM, g.YM+float64(c.row)*a.CellM)
			if cut && east != (lon < 0) {
				lon = math.Copysign(180, -lon) // half a cell over the antimeridian
			}
			return [2]float64{round(lon, 1e7), round(lat, 1e7)}
		}
		polygon := [][][2]float64{geoRing(r.outer, position)}
		for _, hole := range r.holes {
			polygon = append(polygon, geoRing(hole, position))
		}
		features[i].Geometry.Coordinates = append(features[i].Geometry.Coordinates, polygon)
	}
	for _, f := range features {
		if f.Geometry.Coordinates != nil {
			out.Features = append(out.Features, f)
		}
	}
	buffered := bufio.NewWriter(w)
	if err := json.NewEncoder(buffered).Encode(out); err != nil {
		return fmt.Errorf("write GeoJSON: %w", err)
	}
	return buffered.Flush()
}

// straddles reports whether the grid lies on both sides of the antimeridian.
func straddles(a reports.MapAnswer, p plane.Plane) bool {
	g, east, west := *a.Grid, false, false
	for _, col := range []int{0, g.Cols} {
		for _, row := range []int{0, g.Rows} {
			_, lon := p.Inverse(g.XM+float64(col)*a.CellM, g.YM+float64(row)*a.CellM)
			east, west = east || lon < 0, west || lon >= 0
		}
	}
	return east && west && math.Abs(g.LonDeg) > 90
}

type zoneSum struct{ cells, rates float64 }

// zoneLattice labels every cell of the field with its zone, from 1; cells
// east of the antimeridian, in a field that has some west of it too, with another set of labels.
func zoneLattice(a reports.MapAnswer, rates []float32, east func(xM, yM float64) bool) (lattice, [len(zones)]zoneSum) {
	g := *a.Grid
	l := lattice{cols: g.Cols, rows: g.Rows, label: make([]uint8, len(rates))}
	var sums [len(zones)]zoneSum
	for i, v := range rates {
		if v != v {
			continue
		}
		z := zoneOf(applied.ClassOf(v, a.ReferenceKgHa()))
		sums[z].cells++
		sums[z].rates += float64(v)
		l.label[i] = uint8(1 + z)
		if east(g.XM+(float64(i%g.Cols)+0.5)*a.CellM, g.YM+(float64(i/g.Cols)+0.5)*a.CellM) {
			l.label[i] += uint8(len(zones))
		}
	}
	return l, sums
}

func zoneOf(c applied.Class) int {
	for i, z := range zones {
		if c <= z.to {
			return i
		}
	}
	return len(zones) - 1
}

// geoRing is a closed ring of positions.
func geoRing(ring []corner, position func(corner) [2]float64) [][2]float64 {
	out := make([][2]float64, 0, len(ring)+1)
	for _, c := range ring {
		if q := position(c); len(out) == 0 || q != out[len(out)-1] {
			out = append(out, q)
		}
	}
	if out[0] != out[len(out)-1] || len(out) == 1 {
		out = append(out, out[0])
	}
	return out
}

func round(v, parts float64) float64 { return math.Round(v*parts) / parts }
