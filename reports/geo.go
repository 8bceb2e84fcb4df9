package reports

import (
	"encoding/json"

	"hopperbook/schemas"
	"hopperbook/schemas/fault"
)

// Types of a layer's columns, by the names that OGC GeoPackage gives them.
const (
	GeoText    = "TEXT"
	GeoReal    = "DOUBLE"
	GeoInteger = "INTEGER"
	GeoBoolean = "BOOLEAN"
	GeoDate    = "DATE" // 2006-01-02
)

type (
	// GeoLayer is features of one kind, ready to be written.
	GeoLayer struct {
		Name     string // snake_case
		Title    string
		Columns  []GeoColumn
		Features []GeoFeature
	}

	// GeoColumn is an attribute: snake_case, ends in the unit.
	GeoColumn struct{ Key, Type string }

	// GeoFeature is an area with its attributes, in the order of the columns:
	// string, float64, int, bool, or nil where it is not known.
	GeoFeature struct {
		ID       string
		Boundary schemas.Boundary
		Values   []any
	}
)

// GeoJSON writes a layer as a FeatureCollection (RFC 7946).
func (l GeoLayer) GeoJSON() ([]byte, error) {
	type feature struct {
		Type       string         `json:"type"`
		ID         string         `json:"id"`
		Geometry   any            `json:"geometry"`
		Properties map[string]any `json:"properties"`
	}
	out := struct {
		Type     string    `json:"type"`
		Features []feature `json:"features"`
	}{"FeatureCollection", []feature{}}
	for _, f := range l.Features {
		properties := map[string]any{}
		for i, c := range l.Columns {
			properties[c.Key] = f.Values[i]
		}
		out.Features = append(out.Features, feature{"Feature", f.ID, f.Boundary, properties})
	}
	raw, err := json.MarshalIndent(out, "", " ")
	if err != nil {
		return nil, fault.New("write "+l.Name, fault.Internal, err, "")
	}
	return append(raw, '\n'), nil
}
