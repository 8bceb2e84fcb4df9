package schemas

import (
	"encoding/json"
	"testing"
)

// FuzzRead: nothing makes Read panic; what it accepts decodes as its Go type,
// is accepted by an independent JSON Schema validator, and survives being
// written and read again.
func FuzzRead(f *testing.F) {
	for _, ex := range examples(f) {
		f.Add(ex.raw)
	}
	for _, s := range []string{goodLoad, goodPass, goodField, goodLoad[:100], "", "[]", "\xff", `{"data":`} {
		f.Add([]byte(s))
	}
	schemas := compileSchemas(f)
	f.Fuzz(func(t *testing.T, raw []byte) {
		e, bad := Read(raw)
		if bad != nil {
			if bad.Rule == "" || bad.Detail == "" {
				t.Fatalf("a violation that says nothing: %+v", bad)
			}
			return
		}
		if err := schemas.check(e.Type, raw); err != nil {
			t.Fatalf("Read accepts what the JSON Schema refuses: %v", err)
		}
		data, err := decodeAs(&e)
		if err != nil {
			t.Fatal(err)
		}
		if y := e.Time.Year(); y < 1900 || y > 2200 { // at the edge, another year in UTC
			return
		}
		written, err := Write(e.Identity, e.ID, e.Type, e.Time, data)
		if err != nil {
			t.Fatal(err)
		}
		again, bad := Read(written)
		if bad != nil {
			t.Fatalf("%v in\n%s", bad, written)
		}
		data2, err := decodeAs(&again)
		if err != nil {
			t.Fatal(err)
		}
		was, err := json.Marshal(data)
		if err != nil {
			t.Fatal(err)
		}
		is, err := json.Marshal(data2)
		if err != nil || string(was) != string(is) {
			t.Fatalf("%v\nwas %s\nis  %s", err, was, is)
		}
	})
}
