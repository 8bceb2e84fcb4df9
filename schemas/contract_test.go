package schemas

import (
	"bytes"
	"encoding/json"
	"io/fs"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/santhosh-tekuri/jsonschema/v6"
)

// example is a hand-written valid event of testdata/contract; a type may have
// several (TYPE.json, TYPE-form.json).
type example struct {
	name string
	info TypeInfo
	raw  []byte
}

func examples(t testing.TB) []example {
	t.Helper()
	paths, err := filepath.Glob("testdata/contract/*.json")
	if err != nil {
		t.Fatal(err)
	}
	var all []example
	for _, path := range paths {
		raw, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		name := strings.TrimSuffix(filepath.Base(path), ".json")
		typ, _, _ := strings.Cut(name, "-")
		info, known := Lookup(EventType(typ))
		if !known {
			t.Fatalf("%s: no such type", path)
		}
		all = append(all, example{name, info, raw})
	}
	return all
}

// outside validates events with an independent JSON Schema implementation.
type outside map[EventType]*jsonschema.Schema

func compileSchemas(t testing.TB) outside {
	t.Helper()
	c := jsonschema.NewCompiler()
	c.AssertFormat()
	all := outside{}
	for _, info := range Types() {
		doc, err := jsonschema.UnmarshalJSON(bytes.NewReader(JSONSchema(info.Type)))
		if err != nil {
			t.Fatal(err)
		}
		if err := c.AddResource(info.DataSchema(), doc); err != nil {
			t.Fatal(err)
		}
		if all[info.Type], err = c.Compile(info.DataSchema()); err != nil {
			t.Fatalf("%s: %v", info.Type, err)
		}
	}
	return all
}

// check decodes numbers as float64, which is what the contract holds them for.
func (o outside) check(t EventType, raw []byte) error {
	var v any
	d := json.NewDecoder(bytes.NewReader(raw))
	d.UseNumber()
	if err := d.Decode(&v); err != nil {
		return err
	}
	return o[t].Validate(floats(v))
}

// floats makes every json.Number a float64; unknown fields may hold numbers
// that are too large for one.
func floats(v any) any {
	switch v := v.(type) {
	case json.Number:
		n, err := v.Float64()
		if err != nil {
			n = math.Copysign(math.MaxFloat64, n)
		}
		return n
	case map[string]any:
		for key := range v {
			v[key] = floats(v[key])
		}
	case []any:
		for i := range v {
			v[i] = floats(v[i])
		}
	}
	return v
}

func TestGeneratedFilesAreCurrent(t *testing.T) {
	want := Generate()
	err := fs.WalkDir(generated, ".", func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		got, err := generated.ReadFile(path)
		if !bytes.Equal(got, want[path]) {
			t.Errorf("%s is not what the rules say; run go generate ./schemas", path)
		}
		delete(want, path)
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	for path := range want {
		t.Errorf("%s is missing; run go generate ./schemas", path)
	}
	if len(JSONSchema(TypeLoadWeighed)) == 0 || JSONSchema("no.such") != nil || !json.Valid(AsyncAPI()) {
		t.Error("JSONSchema or AsyncAPI does not give the embedded file")
	}
}

func TestExamplesKeepTheContract(t *testing.T) {
	schemas := compileSchemas(t)
	seen := map[EventType]map[string]bool{}
	for _, ex := range examples(t) {
		e, bad := Read(ex.raw)
		if bad != nil {
			t.Errorf("%s: %v", ex.name, bad)
			continue
		}
		if e.Type != ex.info.Type || e.Version != 1 || e.Time.IsZero() || e.Sequence < 1 || e.Source == "" || len(e.ID) != 26 {
			t.Errorf("%s: envelope read as %+v", ex.name, e)
		}
		if err := schemas.check(ex.info.Type, ex.raw); err != nil {
			t.Errorf("%s: %v", ex.name, err)
		}
		if seen[e.Type] == nil {
			seen[e.Type] = map[string]bool{}
		}
		var v any
		if err := json.Unmarshal([]byte(e.Data), &v); err != nil {
			t.Fatal(err)
		}
		fieldsOf(&ex.info.Data, v, "", func(path string) { seen[e.Type][path] = true })
	}
	for _, info := range Types() {
		everyField(&info.Data, "", func(path string) {
			if !seen[info.Type][path] {
				t.Errorf("%s: no example has %s", info.Type, path)
			}
		})
	}
}

func fieldsOf(r *Rule, v any, at string, found func(string)) {
	switch v := v.(type) {
	case map[string]any:
		for i := range r.Fields {
			if member, ok := v[r.Fields[i].Name]; ok {
				found(at + "/" + r.Fields[i].Name)
				fieldsOf(&r.Fields[i], member, at+"/"+r.Fields[i].Name, found)
			}
		}
	case []any:
		if r.Elem != nil && len(v) > 0 {
			fieldsOf(r.Elem, v[0], at, found)
		}
	}
}

func everyField(r *Rule, at string, do func(string)) {
	for i := range r.Fields {
		do(at + "/" + r.Fields[i].Name)
		everyField(&r.Fields[i], at+"/"+r.Fields[i].Name, do)
	}
	if r.Elem != nil {
		everyField(r.Elem, at, do)
	}
}

// Nothing in the contract is without bound, and every unit-bearing name is
// snake_case.
func TestRulesBoundEveryValue(t *testing.T) {
	var walk func(r *Rule, at string)
	walk = func(r *Rule, at string) {
		switch r.Kind {
		case KindString:
			if r.Format == "" && r.Enum == nil && r.MaxLen == 0 {
				t.Errorf("%s: text without bound", at)
			}
		case KindNumber, KindInteger, KindNumberOrList:
			if math.IsNaN(r.Min) || math.IsNaN(r.Max) || r.Min >= r.Max {
				t.Errorf("%s: number without bounds", at)
			}
		case KindList:
			if r.MaxItems == 0 || r.MaxItems < r.MinItems {
				t.Errorf("%s: list without bound", at)
			}
		}
		if r.Elem != nil {
			walk(r.Elem, at+"[]")
		}
		for i := range r.Fields {
			f := &r.Fields[i]
			if f.Name == "" || strings.ToLower(f.Name) != f.Name || strings.ContainsAny(f.Name, "- .") {
				t.Errorf("%s: name %q", at, f.Name)
			}
			if f.LengthOf != "" && !r.Fields[r.index[f.LengthOf]].Required {
				t.Errorf("%s/%s: as long as %s, which may be missing", at, f.Name, f.LengthOf)
			}
			walk(f, at+"/"+f.Name)
		}
	}
	for _, info := range Types() {
		walk(&info.Data, string(info.Type))
		if got, ok := Lookup(info.Type); !ok || got.Type != info.Type || info.Doc == "" {
			t.Errorf("%s: Lookup or Doc", info.Type)
		}
	}
	if len(Types()) != 26 {
		t.Errorf("%d types, the contract has 26", len(Types()))
	}
}

// A field that lies in no legal area is not one of which nobody knows; both
// come back as they were said.
func TestNoZonesIsNotUnknownZones(t *testing.T) {
	for _, text := range []string{`"zones":[]`, `"zones":["nvz"]`, ``} {
		var f RegisterField
		if err := json.Unmarshal([]byte("{"+text+"}"), &f); err != nil {
			t.Fatal(err)
		}
		back, err := json.Marshal(f)
		if err != nil {
			t.Fatal(err)
		}
		if (f.Zones == nil) != (text == "") || strings.Contains(string(back), `"zones"`) != (text != "") || !strings.Contains(string(back), text) {
			t.Errorf("%q reads as %v and is written as %s", text, f.Zones, back)
		}
	}
}
