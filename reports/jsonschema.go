package reports

import (
	"encoding/json"
	"reflect"
	"strings"
	"time"
)

// SeasonSchema is the JSON Schema (draft 2020-12) of SeasonAnswer's JSON, made
// from its type: a field that is always written is required.
func SeasonSchema() []byte {
	s := schemaOf(reflect.TypeFor[SeasonAnswer]())
	s["$schema"] = "https://json-schema.org/draft/2020-12/schema"
	s["$id"] = "urn:" + strings.ReplaceAll(strings.ReplaceAll(SchemaSeason, ".", ":"), "/", ":")
	s["title"] = "A customer's records of one season"
	s["properties"].(map[string]any)["schema"] = map[string]any{"const": SchemaSeason}
	raw, err := json.MarshalIndent(s, "", " ")
	if err != nil {
		panic(err) // maps, lists and words alone
	}
	return append(raw, '\n')
}

func schemaOf(t reflect.Type) map[string]any {
	switch {
	case t == reflect.TypeFor[time.Time]():
		return map[string]any{"type": "string", "format": "date-time"}
	case t.Implements(reflect.TypeFor[json.Marshaler]()):
		return map[string]any{"type": "object"} // GeoJSON
	}
	switch t.Kind() {
	case reflect.Pointer:
		return schemaOf(t.Elem())
	case reflect.String:
		return map[string]any{"type": "string"}
	case reflect.Bool:
		return map[string]any{"type": "boolean"}
	case reflect.Int, reflect.Int64:
		return map[string]any{"type": "integer"}
	case reflect.Slice:
		return map[string]any{"type": []string{"array", "null"}, "items": schemaOf(t.Elem())}
	case reflect.Map:
		return map[string]any{"type": "object", "additionalProperties": schemaOf(t.Elem())}
	case reflect.Struct:
		properties, required := map[string]any{}, []string{}
		fieldsOf(t, properties, &required)
		return map[string]any{"type": "object", "properties": properties, "required": required, "additionalProperties": false}
	}
	return map[string]any{"type": "number"}
}

// fieldsOf takes the fields of an embedded struct as its own, as JSON does.
func fieldsOf(t reflect.Type, properties map[string]any, required *[]string) {
	for i := range t.NumField() {
		f := t.Field(i)
		name, options, _ := strings.Cut(f.Tag.Get("json"), ",")
		if f.Anonymous && name == "" {
			fieldsOf(f.Type, properties, required)
			continue
		}
		if name == "-" { // not shown
			continue
		}
		properties[name] = schemaOf(f.Type)
		if !strings.Contains(options, "omit") {
			*required = append(*required, name)
		}
	}
}
