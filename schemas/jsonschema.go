package schemas

import (
	"bytes"
	"embed"
	"encoding/json"
	"math"
)

//go:embed json asyncapi.json
var generated embed.FS

// JSONSchema is the JSON Schema (2020-12) of a whole event of the type's
// current version, envelope and data; nil for a type the contract does not
// know. It says all that Read checks, except: keys that stand twice, lists of
// one length, steps that rise, a due date before the issue, dt_ms that does not fall, closed rings, and the limits of size,
// depth and positions.
func JSONSchema(t EventType) []byte {
	raw, err := generated.ReadFile(schemaFile(t))
	if err != nil {
		return nil
	}
	return raw
}

func schemaFile(t EventType) string { return "json/" + string(t) + ".schema.json" }

// Generate makes every generated file of the contract, by its path below the
// package's folder. go generate writes them and a test holds the embedded
// ones against them.
func Generate() map[string][]byte {
	files := map[string][]byte{"asyncapi.json": encode(asyncAPI())}
	for _, t := range Types() {
		doc := eventSchema(t, draft2020)
		doc["$schema"] = "https://json-schema.org/draft/2020-12/schema"
		doc["$id"] = t.DataSchema()
		files[schemaFile(t.Type)] = encode(doc)
	}
	return files
}

func encode(doc node) []byte {
	var b bytes.Buffer
	e := json.NewEncoder(&b)
	e.SetEscapeHTML(false)
	e.SetIndent("", "  ")
	if err := e.Encode(doc); err != nil {
		panic("schemas: " + err.Error()) // a NaN in a schema: found by any test
	}
	return b.Bytes()
}

// node is a JSON object; encoding/json writes its keys sorted, so that the
// same rules give the same bytes.
type node = map[string]any

// dialect is the draft a schema is written for. AsyncAPI 3.0 reads draft-07,
// which differs in one place of ours: how a position's two axes are said.
type dialect struct{ tuple, rest string }

var (
	draft2020 = dialect{"prefixItems", "items"}
	draft07   = dialect{"items", "additionalItems"}
)

// eventSchema is the schema of a whole event.
func eventSchema(t TypeInfo, d dialect) node {
	data := valueSchema(&t.Data, d)
	for key, value := range t.cross.schema {
		data[key] = value
	}
	text := func(pattern string) node { return node{"type": "string", "pattern": pattern} }
	return node{
		"title":       string(t.Type),
		"description": t.Doc,
		"type":        "object",
		"required":    envelopeFields,
		"properties": node{
			"specversion": node{"const": "1.0"},
			"id":          text(pattern("ulid")),
			"source":      text(sourcePattern),
			"sequence":    text(sequencePattern),
			"type":        node{"const": string(t.Type)},
			"time":        node{"type": "string", "format": "date-time", "pattern": timePattern},
			"dataschema":  node{"enum": []string{t.DataSchema(), shortSchema(t.Type, t.Version)}},
			"data":        data,
		},
	}
}

// valueSchema is the schema of one value; every field rule has its keyword.
func valueSchema(r *Rule, d dialect) node {
	s := node{}
	if r.Doc != "" {
		s["description"] = r.Doc
	}
	switch r.Kind {
	case KindString:
		textSchema(s, r)
	case KindNumber:
		numberSchema(s, r, "number")
	case KindInteger:
		numberSchema(s, r, "integer")
	case KindBool:
		s["type"] = "boolean"
	case KindObject:
		objectSchema(s, r, d)
	case KindList:
		listSchema(s, r, d)
	case KindNumberOrList:
		list := node{}
		listSchema(list, r, d)
		s["anyOf"] = []node{valueSchema(r.Elem, d), list}
	case KindBoundary:
		s["oneOf"] = boundarySchema(d)
	}
	return s
}

func textSchema(s node, r *Rule) {
	s["type"] = "string"
	if r.MinLen > 0 {
		s["minLength"] = r.MinLen
	}
	if r.MaxLen > 0 {
		s["maxLength"] = r.MaxLen
	}
	if r.Enum != nil {
		s["enum"] = r.Enum
	}
	if r.Format != "" {
		s["pattern"] = pattern(r.Format)
	}
	if r.Format == "date-time" || r.Format == "date" {
		s["format"] = r.Format
	}
}

func numberSchema(s node, r *Rule, kind string) {
	s["type"] = kind
	if r.Nullable {
		s["type"] = []string{kind, "null"}
	}
	if !math.IsNaN(r.Min) {
		s["minimum"] = r.Min
	}
	if !math.IsNaN(r.Max) {
		s["maximum"] = r.Max
	}
}

func listSchema(s node, r *Rule, d dialect) {
	s["type"] = "array"
	s["items"] = valueSchema(r.Elem, d)
	if r.MinItems > 0 {
		s["minItems"] = r.MinItems
	}
	if r.MaxItems > 0 {
		s["maxItems"] = r.MaxItems
	}
}

func objectSchema(s node, r *Rule, d dialect) {
	s["type"] = "object"
	if len(r.Fields) == 0 {
		return
	}
	properties, required := node{}, []string{}
	for i := range r.Fields {
		f := &r.Fields[i]
		properties[f.Name] = valueSchema(f, d)
		if f.Required {
			required = append(required, f.Name)
		}
	}
	s["properties"] = properties
	if len(required) > 0 {
		s["required"] = required
	}
}

// boundarySchema says what parseBoundary checks, but not that rings close.
func boundarySchema(d dialect) []node {
	list := func(atLeast int, of node) node { return node{"type": "array", "minItems": atLeast, "items": of} }
	axis := func(limit float64) node { return node{"type": "number", "minimum": -limit, "maximum": limit} }
	position := node{"type": "array", "minItems": 2, "maxItems": 3,
		d.tuple: []node{axis(180), axis(90)}, d.rest: node{"type": "number"}}
	polygon := list(1, list(4, position))
	shape := func(kind string, coordinates node) node {
		return node{"type": "object", "required": []string{"type", "coordinates"},
			"properties": node{"type": node{"const": kind}, "coordinates": coordinates}}
	}
	return []node{shape("Polygon", polygon), shape("MultiPolygon", list(1, polygon))}
}
