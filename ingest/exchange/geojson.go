package exchange

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math"
	"slices"
	"strings"

	"github.com/peterstace/simplefeatures/geom"

	"hopperbook/schemas"
	"hopperbook/schemas/fault"
)

// maxGeoJSON bounds memory; a boundary of the most positions the contract takes
// stays well below it.
const maxGeoJSON = 64 << 20

const geoJSONHint = "give GeoJSON (RFC 7946) with a Polygon or MultiPolygon: bare, as a Feature or in a FeatureCollection; longitude stands first, WGS84"

// Boundary reads a boundary from a GeoJSON file (RFC 7946): a Polygon or
// MultiPolygon, a Feature of one, or a FeatureCollection of such features, of which
// it gives the union: ground in several of them counts once. A feature without a polygon is an
// error and not passed over, as is a coordinate system other than WGS84 (the older GeoJSON
// allowed one).
func Boundary(r io.Reader) (schemas.Boundary, error) {
	raw, err := io.ReadAll(io.LimitReader(r, maxGeoJSON+1))
	switch {
	case err != nil:
		return nil, fault.New("read the boundary", fault.Input, err, "is it a readable file?")
	case len(raw) > maxGeoJSON:
		return nil, fault.Newf("read the boundary", fault.Input, fmt.Sprintf("it is larger than %d MB", maxGeoJSON>>20), "simplify it")
	}
	b, err := boundary(bytes.TrimPrefix(raw, []byte("\ufeff")))
	if err != nil {
		return nil, fault.New("read the boundary", fault.Input, err, geoJSONHint)
	}
	return b, nil
}

// geoObject is any GeoJSON object, as far as it says what it is.
type geoObject struct {
	Type     string            `json:"type"`
	Geometry json.RawMessage   `json:"geometry"`
	Features []json.RawMessage `json:"features"`
	CRS      struct {
		Properties struct {
			Name string `json:"name"`
		} `json:"properties"`
	} `json:"crs"`
}

func boundary(raw []byte) (schemas.Boundary, error) {
	if len(bytes.TrimSpace(raw)) == 0 {
		return nil, errors.New("the file is empty")
	}
	var o geoObject
	if err := json.Unmarshal(raw, &o); err != nil {
		return nil, fmt.Errorf("it is no GeoJSON object: %w", err)
	}
	if crs := o.CRS.Properties.Name; crs != "" && !strings.HasSuffix(crs, ":CRS84") && !strings.HasSuffix(crs, ":4326") {
		return nil, fmt.Errorf("its coordinates are %.60q, not WGS84", crs)
	}
	switch o.Type {
	case "Feature":
		return polygons(o.Geometry)
	case "FeatureCollection":
		return collection(o.Features)
	}
	return polygons(raw)
}

func collection(features []json.RawMessage) (schemas.Boundary, error) {
	var all schemas.Boundary
	for i, raw := range features {
		var f geoObject
		err := json.Unmarshal(raw, &f)
		if err == nil && f.Type != "Feature" {
			err = fmt.Errorf("it is a %.40q, not a Feature", f.Type)
		}
		var b schemas.Boundary
		if err == nil {
			b, err = polygons(f.Geometry)
		}
		if err != nil {
			return nil, fmt.Errorf("feature %d: %w", i+1, err)
		}
		all = append(all, b...)
	}
	switch len(features) {
	case 0:
		return nil, errors.New("the collection holds no feature")
	case 1:
		return all, nil
	}
	return union(all)
}

func polygons(geometry json.RawMessage) (schemas.Boundary, error) {
	var kind geoObject
	if len(geometry) == 0 || string(geometry) == "null" {
		return nil, errors.New("it has no geometry")
	}
	if err := json.Unmarshal(geometry, &kind); err != nil {
		return nil, err
	}
	if kind.Type != "Polygon" && kind.Type != "MultiPolygon" {
		return nil, fmt.Errorf("it is a %.40q, not a Polygon or MultiPolygon", kind.Type)
	}
	var b schemas.Boundary
	err := json.Unmarshal(geometry, &b)
	return b, err
}

// maxUnion bounds the time a union may take: each polygon is joined to all before it.
const maxUnion = 1000

// union joins polygons. It works on degrees from the first position, so that
// the antimeridian cuts nothing and areas keep their digits.
func union(b schemas.Boundary) (schemas.Boundary, error) {
	if len(b) > maxUnion {
		return nil, fmt.Errorf("the collection holds %d polygons, more than %d", len(b), maxUnion)
	}
	origin, joined := b[0][0][0], geom.Geometry{}
	for i, rings := range b {
		polygon := polygonFrom(origin, rings)
		err := polygon.Validate()
		if err == nil {
			joined, err = join(joined, polygon.AsGeometry())
		}
		if err != nil {
			return nil, fmt.Errorf("polygon %d of the collection: %w", i+1, err)
		}
	}
	var out schemas.Boundary
	for _, part := range joined.Dump() {
		if polygon, ok := part.AsPolygon(); ok {
			out = append(out, ringsOf(origin, polygon))
		}
	}
	return out, nil
}

// join is the union of two areas. The library's UnionMany gave wrong areas for
// 43 of 50 sets of 40 random squares and Union for none of 1950 pairs (v0.50.0), so pairs
// are joined, and each is held to area(a or b) + area(a and b) = area(a) + area(b).
func join(a, b geom.Geometry) (geom.Geometry, error) {
	or, err := geom.Union(a, b)
	if err != nil {
		return or, err
	}
	and, err := geom.Intersection(a, b)
	if err != nil {
		return or, err
	}
	if sum := a.Area() + b.Area(); math.Abs(or.Area()+and.Area()-sum) > 1e-9*sum {
		return or, errors.New("it cannot be joined with those before it; draw the boundary as one polygon")
	}
	return or, nil
}

func polygonFrom(origin schemas.Position, rings [][]schemas.Position) geom.Polygon {
	lines := make([]geom.LineString, len(rings))
	for i, ring := range rings {
		flat := make([]float64, 0, 2*len(ring))
		for _, p := range ring {
			flat = append(flat, math.Remainder(p[0]-origin[0], 360), p[1]-origin[1])
		}
		lines[i] = geom.NewLineString(geom.NewSequence(flat, geom.DimXY))
	}
	return geom.NewPolygon(lines)
}

func ringsOf(origin schemas.Position, polygon geom.Polygon) (rings [][]schemas.Position) {
	for _, line := range slices.Concat([]geom.LineString{polygon.ExteriorRing()}, interiors(polygon)) {
		seq := line.Coordinates()
		ring := make([]schemas.Position, seq.Length())
		for i := range ring {
			p := seq.GetXY(i)
			ring[i] = schemas.Position{wrap(origin[0] + p.X), origin[1] + p.Y}
		}
		rings = append(rings, ring)
	}
	return rings
}

func interiors(polygon geom.Polygon) (lines []geom.LineString) {
	for i := range polygon.NumInteriorRings() {
		lines = append(lines, polygon.InteriorRingN(i))
	}
	return lines
}

// wrap brings a longitude that ran over ±180 back.
func wrap(lonDeg float64) float64 {
	if math.Abs(lonDeg) <= 180 {
		return lonDeg
	}
	return math.Remainder(lonDeg, 360)
}
