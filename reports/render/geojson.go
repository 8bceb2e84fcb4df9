package render

import (
	"bufio"
	"encoding/json"
	"fmt"
	"io"
	"math"

	"github.com/peterstace/simplefeatures/geom"

	"hopperbook/reconcile/applied"
	"hopperbook/reconcile/plane"
	"hopperbook/reports"
	"hopperbook/schemas/fault"
)

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

// GeoJSON writes a map as RFC 7946: for each band between contours (not hit,
// far below 80 % of the reference rate, below it, within 80 to 120 %, above, far above) one MultiPolygon with
// its area, and area and mean rate of the cells in it. Contours run straight between the middles of
// cells; bands neither overlap nor leave a gap, and end at the boundary and at exclusion
// areas, whose corners are cut off within a cell. A field over the antimeridian is cut there.
func GeoJSON(w io.Writer, a reports.MapAnswer) error {
	rates, err := a.Rates()
	if err != nil {
		return err
	}
	m := newMesh(a, rates)
	m.trace()
	cells := bandCells(a, rates)
	out := geoCollection{Type: "FeatureCollection", Features: []geoFeature{}}
	for k := range bands {
		loops, closed := m.ring.loops(k)
		shapes, nested := shapes(loops)
		if !closed || !nested {
			return fault.Newf("draw the contours", fault.Internal, "the outline of band "+bands[k].name+" does not close", "this is a fault of the program, please report it with the events of this field")
		}
		if len(shapes) == 0 {
			continue
		}
		f := geoFeature{"Feature", properties(a, k, cells[k], loops), geoPolygons{Type: "MultiPolygon"}}
		if f.Geometry.Coordinates, err = m.positions(a, shapes); err != nil {
			return err
		}
		out.Features = append(out.Features, f)
	}
	buffered := bufio.NewWriter(w)
	if err := json.NewEncoder(buffered).Encode(out); err != nil {
		return fmt.Errorf("write GeoJSON: %w", err)
	}
	return buffered.Flush()
}

func properties(a reports.MapAnswer, k int, cells bandSum, loops []loop) map[string]any {
	area := 0.0
	for _, l := range loops {
		area += l.area
	}
	perCell := a.CellM * a.CellM
	p := map[string]any{
		"band": bands[k].name, "field": a.Field, "product": a.Product, "reference_kg_ha": a.ReferenceKgHa(),
		"area_m2": round(area*perCell, 1e2), "cells_m2": round(cells.cells*perCell, 1e2), "mean_kg_ha": round(cells.rates/max(1, cells.cells), 1e3),
	}
	limit := func(side string, c applied.Class) {
		p[side+"_pct"], p[side+"_kg_ha"] = round(100*c.From(), 10), round(c.From()*a.ReferenceKgHa(), 1e4)
	}
	if k > 0 {
		limit("from", bands[k].from)
	}
	if k+1 < len(bands) {
		limit("to", bands[k+1].from)
	}
	return p
}

type bandSum struct{ cells, rates float64 }

func bandCells(a reports.MapAnswer, rates []float32) (sums [len(bands)]bandSum) {
	for _, v := range rates {
		if v == v {
			s := &sums[bandOf(v, a.ReferenceKgHa())]
			s.cells++
			s.rates += float64(v)
		}
	}
	return sums
}

// positions gives the polygons of shapes in degrees, fine enough for their closest points.
func (m *mesh) positions(a reports.MapAnswer, all []shape) ([][][][2]float64, error) {
	p := plane.At(a.Grid.LatDeg, a.Grid.LonDeg)
	digits := math.Pow10(int(math.Ceil(math.Log10(5000 * 111e3 / a.CellM))))
	every := max(1, int(30/math.Sqrt(a.CellM))) // a chord of 30 m bends by less than 0.2 mm in degrees; as the root of the cell
	polygons := make([][][][2]float64, len(all))
	crosses := false
	for i, s := range all {
		for _, l := range append([]loop{s.outer}, s.holes...) {
			var ring [][2]float64
			for _, k := range m.thinned(l, every) {
				lat, lon := p.Inverse(a.Grid.XM+(k.x-0.5)*a.CellM, a.Grid.YM+(k.y-0.5)*a.CellM)
				lon = a.Grid.LonDeg + plane.WrapDeg(lon-a.Grid.LonDeg)
				crosses = crosses || math.Abs(lon) > 180
				ring = append(ring, [2]float64{round(lon, digits), round(lat, digits)})
			}
			polygons[i] = append(polygons[i], append(ring, ring[0]))
		}
	}
	if !crosses {
		return polygons, nil
	}
	return cutAtAntimeridian(polygons, math.Copysign(180, a.Grid.LonDeg), digits)
}

// cutAtAntimeridian cuts polygons that run on over ±180 degrees there (RFC 7946 3.1.9).
func cutAtAntimeridian(polygons [][][][2]float64, borderDeg, digits float64) (out [][][][2]float64, err error) {
	const far = 10 // degrees: more than any field
	for _, rings := range polygons {
		whole, sum := polygonOf(rings).AsGeometry(), 0.0
		for _, side := range []float64{-1, 1} {
			x0, x1 := min(borderDeg, borderDeg+side*far), max(borderDeg, borderDeg+side*far)
			box := geom.NewEnvelope(geom.XY{X: x0, Y: -90}, geom.XY{X: x1, Y: 90}).AsGeometry()
			cut, err := geom.Intersection(whole, box)
			if err != nil {
				return nil, fault.New("cut the contours at the antimeridian", fault.Internal, err, "write them as GeoTIFF instead")
			}
			sum += cut.Area()
			turn := 0.0
			if side == math.Copysign(1, borderDeg) {
				turn = -side * 360
			}
			for _, part := range cut.Dump() {
				if polygon, ok := part.AsPolygon(); ok {
					out = append(out, ringsOf(polygon.ForceCCW(), turn, digits))
				}
			}
		}
		if !(math.Abs(sum-whole.Area()) <= 1e-6*whole.Area()) {
			return nil, fault.Newf("cut the contours at the antimeridian", fault.Internal, "the parts have another area than the whole", "write them as GeoTIFF instead")
		}
	}
	return out, nil
}

func polygonOf(rings [][][2]float64) geom.Polygon {
	lines := make([]geom.LineString, len(rings))
	for i, ring := range rings {
		flat := make([]float64, 0, 2*len(ring))
		for _, p := range ring {
			flat = append(flat, p[0], p[1])
		}
		lines[i] = geom.NewLineString(geom.NewSequence(flat, geom.DimXY))
	}
	return geom.NewPolygon(lines)
}

func ringsOf(polygon geom.Polygon, turnDeg, digits float64) (rings [][][2]float64) {
	for _, line := range polygon.DumpRings() {
		seq := line.Coordinates()
		ring := make([][2]float64, seq.Length())
		for i := range ring {
			p := seq.GetXY(i)
			ring[i] = [2]float64{round(p.X+turnDeg, digits), round(p.Y, digits)}
		}
		rings = append(rings, ring)
	}
	return rings
}

func round(v, parts float64) float64 { return math.Round(v*parts) / parts }
