package schemas

import (
	"encoding/json"
	"errors"
	"fmt"

	"github.com/tidwall/gjson"
)

// Position is a GeoJSON position: longitude, latitude in degrees WGS84.
type Position [2]float64

// Boundary is the area of a GeoJSON Polygon or MultiPolygon (RFC 7946):
// polygons -> rings (first the outer one, then its holes) -> positions. Rings
// are closed: the first position stands again at the end.
type Boundary [][][]Position

type geoJSON struct {
	Type        string          `json:"type"`
	Coordinates json.RawMessage `json:"coordinates"`
}

// MarshalJSON writes a Polygon when there is one, else a MultiPolygon.
func (b Boundary) MarshalJSON() ([]byte, error) {
	var shape any = [][][]Position(b)
	kind := "MultiPolygon"
	if len(b) == 1 {
		shape, kind = b[0], "Polygon"
	}
	coords, err := json.Marshal(shape)
	if err != nil {
		return nil, fmt.Errorf("boundary: %w", err)
	}
	return json.Marshal(geoJSON{kind, coords})
}

// UnmarshalJSON reads a Polygon or MultiPolygon and checks it.
func (b *Boundary) UnmarshalJSON(raw []byte) error {
	parsed, err := parseBoundary(gjson.ParseBytes(raw))
	if err != nil {
		return err
	}
	*b = parsed
	return nil
}

const maxPositions = 200_000

// parseBoundary checks and reads in one walk. Altitudes are dropped.
func parseBoundary(v gjson.Result) (Boundary, error) {
	var kind, coords gjson.Result
	var err error
	if !v.IsObject() {
		return nil, errNoBoundary
	}
	v.ForEach(func(key, member gjson.Result) bool {
		into := &kind
		switch key.String() {
		case "type":
		case "coordinates":
			into = &coords
		default:
			return true
		}
		if into.Exists() {
			err = fmt.Errorf("%s stands twice", key.String())
		}
		*into = member
		return err == nil
	})
	total := 0
	switch {
	case err != nil:
		return nil, err
	case kind.Type == gjson.String && kind.Str == "Polygon":
		rings, err := parseRings(coords, &total)
		return Boundary{rings}, err
	case kind.Type == gjson.String && kind.Str == "MultiPolygon":
		return parsePolygons(coords, &total)
	}
	return nil, errNoBoundary
}

var errNoBoundary = errors.New("must be a GeoJSON Polygon or MultiPolygon")

func parsePolygons(v gjson.Result, total *int) (Boundary, error) {
	var b Boundary
	var err error
	if !v.IsArray() {
		return nil, errors.New("coordinates must be a list of polygons")
	}
	v.ForEach(func(_, polygon gjson.Result) bool {
		var rings [][]Position
		rings, err = parseRings(polygon, total)
		b = append(b, rings)
		return err == nil
	})
	if err == nil && len(b) == 0 {
		err = errors.New("a MultiPolygon needs at least one polygon")
	}
	return b, err
}

func parseRings(v gjson.Result, total *int) ([][]Position, error) {
	if !v.IsArray() {
		return nil, errors.New("a polygon must be a list of rings")
	}
	var rings [][]Position
	var err error
	v.ForEach(func(_, ringValue gjson.Result) bool {
		var ring []Position
		ring, err = parseRing(ringValue)
		rings = append(rings, ring)
		if *total += len(ring); err == nil && *total > maxPositions {
			err = fmt.Errorf("has more than %d positions; simplify it", maxPositions)
		}
		return err == nil
	})
	if err == nil && len(rings) == 0 {
		err = errors.New("a polygon needs at least one ring")
	}
	return rings, err
}

func parseRing(v gjson.Result) ([]Position, error) {
	if !v.IsArray() {
		return nil, errors.New("a ring must be a list of positions")
	}
	var ring []Position
	var err error
	v.ForEach(func(_, p gjson.Result) bool {
		var pos Position
		if pos, err = parsePosition(p); err == nil {
			ring = append(ring, pos)
		}
		return err == nil
	})
	switch {
	case err != nil:
		return nil, err
	case len(ring) < 4:
		return nil, fmt.Errorf("a ring needs at least 4 positions, has %d", len(ring))
	case ring[0] != ring[len(ring)-1]:
		return nil, errors.New("a ring must end where it begins")
	}
	return ring, nil
}

func parsePosition(v gjson.Result) (Position, error) {
	var at [3]float64
	n := 0
	if !v.IsArray() {
		return Position{}, errors.New("a position must be [longitude, latitude]")
	}
	ok := true
	v.ForEach(func(_, c gjson.Result) bool {
		if ok = c.Type == gjson.Number && n < 3; ok {
			at[n] = c.Num
			n++
		}
		return ok
	})
	if !ok || n < 2 {
		return Position{}, errors.New("a position must be [longitude, latitude]")
	}
	if !(at[0] >= -180 && at[0] <= 180 && at[1] >= -90 && at[1] <= 90) {
		return Position{}, fmt.Errorf("position [%v, %v] is off the earth; longitude stands first", at[0], at[1])
	}
	return Position{at[0], at[1]}, nil
}
