package schemas

import (
	"encoding/json"
	"fmt"
	"maps"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
)

// mutant is an event with one thing wrong.
type mutant struct {
	name string
	raw  []byte
}

// broken is a value that breaks a rule, and how.
type broken struct {
	how   string
	value any
}

type missing struct{}

// envelopeRule is the envelope as a rule, written again here so that the
// mutations do not come from the code under test.
func envelopeRule(data Rule) Rule {
	text := func(name, format string) Rule {
		return Rule{Name: name, Kind: KindString, Required: true, Format: format}
	}
	data.Name, data.Required = "data", true
	return Rule{Kind: KindObject, Fields: []Rule{
		{Name: "specversion", Kind: KindString, Required: true, Enum: []string{"1.0"}},
		text("id", "ulid"), text("source", "source"), text("sequence", "sequence"),
		text("type", "type"), text("time", "date-time"), text("dataschema", "dataschema"), data,
	}}
}

var badText = map[string][]string{
	"id":         {"", "-a", "a b", "a/b", "é", strings.Repeat("a", 65), "a\n"},
	"token":      {"", "_a", "A", "a.b", strings.Repeat("a", 49), "a\n"},
	"ulid":       {"", "01jnb3q2q3w4e5r6t7y8v9b00e", "81JNB3Q2Q3W4E5R6T7Y8V9B00E", "01JNB3Q2Q3W4E5R6T7Y8V9B00", "01JNB3Q2Q3W4E5R6T7Y8V9B0OE"},
	"date-time":  {"", "2026-03-01", "2026-03-01T08:30:00", "2026-02-30T08:30:00Z", "2026-03-01t08:30:00z", "2026-03-01T23:59:60Z", "1899-12-31T00:00:00Z", "2201-01-01T00:00:00Z", "2026-03-01T08:30:00,5Z"},
	"decimal":    {"", "1,5", "1.", ".5", "+1", "1e3", "1.123456789", "1234567890123456"},
	"unsigned":   {"", "1,5", "-1", "1.", "1e3", "1.123456789", "1234567890123456"},
	"percent":    {"", "-1", "101", "100.00000001", "100.", "1.123456789", "1000"},
	"date":       {"", "2026-3-1", "2026-02-30", "2026-03-01T08:30:00Z", "1899-12-31", "2201-01-01"},
	"currency":   {"", "eur", "EURO"},
	"country":    {"", "nz", "NZL"},
	"sha256":     {"", strings.Repeat("AB", 32), strings.Repeat("ab", 31)},
	"source":     {"", "devices/a/b", "/devices/a", "/devices/A/b", "/devices/a/b/c", "/office/", "/files/abc", "urn:x"},
	"sequence":   {"", "0", "01", "+1", "-1", "1.0", "1234567890123456789", " 1"},
	"type":       {"", "no.such"},
	"dataschema": {"", "load.weighed", "urn:hopperbook:no.such/1", "no.such/1", "urn:hopperbook:load.weighed/01"},
}

// breaks lists values that break the rule.
func breaks(r *Rule, have any) []broken {
	var all []broken
	if !r.Nullable {
		all = append(all, broken{"null", nil})
	}
	if r.Required {
		all = append(all, broken{"missing", missing{}})
	}
	switch r.Kind {
	case KindString:
		all = append(all, broken{"number", 5.0}, broken{"list", []any{"a"}})
		for _, s := range badText[r.Format] {
			all = append(all, broken{"format", s})
		}
		if r.Enum != nil {
			all = append(all, broken{"enum", "no-such"}, broken{"enum case", strings.ToUpper(r.Enum[0]) + " "})
		}
		if r.MaxLen > 0 {
			all = append(all, broken{"too long", strings.Repeat("é", r.MaxLen+1)})
		}
		if r.MinLen > 0 {
			all = append(all, broken{"empty", ""})
		}
	case KindNumber, KindInteger:
		all = append(all, broken{"text", "5"}, broken{"bool", true}, broken{"below", r.Min - 0.5}, broken{"above", r.Max + 0.5})
		if r.Kind == KindInteger {
			all = append(all, broken{"fraction", r.Min + 0.5})
		}
	case KindBool:
		all = append(all, broken{"text", "true"}, broken{"number", 1.0})
	case KindObject:
		all = append(all, broken{"list", []any{}}, broken{"text", "{}"})
	case KindList, KindNumberOrList:
		all = append(all, breaksList(r, have)...)
	case KindBoundary:
		all = append(all, breaksBoundary()...)
	}
	return all
}

func breaksList(r *Rule, have any) []broken {
	all := []broken{{"object", map[string]any{}}, {"text", "[]"}}
	if r.MinItems > 0 {
		all = append(all, broken{"empty", []any{}})
	}
	// The longest lists are heavy here: dt_ms stands for them.
	if list, ok := have.([]any); ok && len(list) > 0 && (r.MaxItems <= 1000 || r.Name == "dt_ms") {
		long := make([]any, r.MaxItems+1)
		for i := range long {
			long[i] = list[0]
		}
		all = append(all, broken{"too many", long})
	}
	if r.Kind == KindNumberOrList {
		all = append(all, broken{"below", r.Min - 1}, broken{"above", []any{r.Max + 1, 1.0}})
	}
	return all
}

func breaksBoundary() []broken {
	ring := func(positions ...any) []any { return []any{positions} }
	at := func(axes ...any) []any { return axes }
	polygon := func(coordinates any) map[string]any {
		return map[string]any{"type": "Polygon", "coordinates": coordinates}
	}
	o := at(0.0, 0.0)
	return []broken{
		{"text", "Polygon"}, {"list", []any{}}, {"no type", map[string]any{"coordinates": []any{}}},
		{"no coordinates", map[string]any{"type": "Polygon"}},
		{"point", map[string]any{"type": "Point", "coordinates": o}},
		{"no ring", polygon([]any{})}, {"three positions", polygon(ring(o, at(1.0, 0.0), o))},
		{"latitude", polygon(ring(o, at(1.0, 91.0), at(1.0, 0.0), o))},
		{"longitude", polygon(ring(o, at(-181.0, 0.0), at(1.0, 0.0), o))},
		{"one axis", polygon(ring(o, at(1.0), at(1.0, 0.0), o))},
		{"four axes", polygon(ring(o, at(1.0, 0.0, 0.0, 0.0), at(1.0, 1.0), o))},
		{"text axis", polygon(ring(o, at("1", 0.0), at(1.0, 1.0), o))},
		{"no polygon", map[string]any{"type": "MultiPolygon", "coordinates": []any{}}},
		{"flat", map[string]any{"type": "MultiPolygon", "coordinates": ring(o, at(1.0, 0.0), at(1.0, 1.0), o)}},
	}
}

// mutants breaks every rule of an example's type once for each way.
func mutants(t testing.TB, ex example) []mutant {
	t.Helper()
	rule := envelopeRule(ex.info.Data)
	var all []mutant
	var walk func(r *Rule, v any, path []any)
	walk = func(r *Rule, v any, path []any) {
		if len(path) > 0 {
			for _, b := range breaks(r, v) {
				all = append(all, mutant{fmt.Sprintf("%s%v %s", ex.name, path, b.how), with(t, ex.raw, path, b.value)})
			}
		}
		switch v := v.(type) {
		case map[string]any:
			for i := range r.Fields {
				if member, ok := v[r.Fields[i].Name]; ok {
					walk(&r.Fields[i], member, append(slices.Clip(path), r.Fields[i].Name))
				}
			}
		case []any:
			if r.Elem != nil && len(v) > 0 {
				elem := *r.Elem
				elem.Required = false
				walk(&elem, v[0], append(slices.Clip(path), 0))
			}
		}
	}
	walk(&rule, decode(t, ex.raw), nil)
	return all
}

func decode(t testing.TB, raw []byte) any {
	t.Helper()
	var v any
	if err := json.Unmarshal(raw, &v); err != nil {
		t.Fatal(err)
	}
	return v
}

// with is the event with another value at path (or none: missing).
func with(t testing.TB, raw []byte, path []any, value any) []byte {
	t.Helper()
	doc := decode(t, raw)
	at := doc
	for _, step := range path[:len(path)-1] {
		at = child(at, step)
	}
	switch last := path[len(path)-1].(type) {
	case string:
		at.(map[string]any)[last] = value
		if _, gone := value.(missing); gone {
			delete(at.(map[string]any), last)
		}
	case int:
		at.([]any)[last] = value
	}
	out, err := json.Marshal(doc)
	if err != nil {
		t.Fatal(err)
	}
	return out
}

func child(v, step any) any {
	if i, ok := step.(int); ok {
		return v.([]any)[i]
	}
	return v.(map[string]any)[step.(string)]
}

func TestEveryBrokenRuleIsRefused(t *testing.T) {
	t.Parallel()
	schemas := compileSchemas(t)
	types := map[EventType]int{}
	for _, ex := range examples(t) {
		for _, m := range mutants(t, ex) {
			if _, bad := Read(m.raw); bad == nil {
				t.Errorf("Read accepts %s", m.name)
			}
			if schemas.check(ex.info.Type, m.raw) == nil {
				t.Errorf("the JSON Schema accepts %s", m.name)
			}
			types[ex.info.Type]++
		}
	}
	for _, info := range Types() {
		if types[info.Type] < 60 {
			t.Errorf("%s: only %d mutations", info.Type, types[info.Type])
		}
	}
}

// anything is a value to put anywhere; some are right somewhere.
func anything(rng *rand.Rand) any {
	all := []any{nil, true, false, 0.0, 1.0, -1.0, 0.5, 7.25, 100.0, 1e6, 1e12, "", "a", "J-1", "UPPER", "x y", "12.50", "void", "replace",
		"2026-03-01T08:30:00Z", "2026-03-01T08:30:00+24:00", "granular", "[", []any{}, []any{1.0}, []any{0.0, 1.0}, []any{"a"},
		map[string]any{}, map[string]any{"type": "Polygon"}}
	return all[rng.IntN(len(all))]
}

// mutate changes one random place of v: another value, a member less or more,
// an entry twice.
func mutate(rng *rand.Rand, v any) any {
	switch v := v.(type) {
	case map[string]any:
		keys := slices.Sorted(maps.Keys(v))
		switch k := rng.IntN(8); {
		case k == 0 || len(keys) == 0:
			v["unknown_"+string(rune('a'+rng.IntN(26)))] = anything(rng)
		case k == 1:
			delete(v, keys[rng.IntN(len(keys))])
		default:
			key := keys[rng.IntN(len(keys))]
			v[key] = mutate(rng, v[key])
		}
		return v
	case []any:
		switch k := rng.IntN(6); {
		case k == 0 || len(v) == 0:
			return append(v, anything(rng))
		case k == 1:
			return append(v, v[len(v)-1])
		case k == 2:
			return anything(rng)
		}
		i := rng.IntN(len(v))
		v[i] = mutate(rng, v[i])
		return v
	}
	return anything(rng)
}

// randomEvents makes n seeded events, each an example changed in one to three
// places; some are still valid.
func randomEvents(t testing.TB, n int, do func(ex example, raw []byte)) {
	t.Helper()
	all := examples(t)
	rng := rand.New(rand.NewPCG(2, 20260301))
	for range n {
		ex := all[rng.IntN(len(all))]
		doc := decode(t, ex.raw).(map[string]any)
		for range 1 + rng.IntN(3) {
			if rng.IntN(4) == 0 {
				mutate(rng, doc)
			} else if data, ok := doc["data"].(map[string]any); ok {
				mutate(rng, data)
			}
		}
		raw, err := json.Marshal(doc)
		if err != nil {
			t.Fatal(err)
		}
		do(ex, raw)
	}
}

// schemaCannotSay reports a violation that JSON Schema has no words for.
func schemaCannotSay(v *Violation) bool {
	switch v.Rule {
	case "duplicate", "equalLength", "ordered", "ascending", "dates", "depth", "size":
		return true
	case "boundary":
		return strings.Contains(v.Detail, "end where it begins") || strings.Contains(v.Detail, "more than")
	}
	return false
}

func TestCheckerAndSchemaAgree(t *testing.T) {
	t.Parallel()
	schemas := compileSchemas(t)
	accepted, refused := 0, 0
	randomEvents(t, 2_000, func(ex example, raw []byte) {
		_, bad := Read(raw)
		err := schemas.check(ex.info.Type, raw)
		switch {
		case bad == nil && err == nil:
			accepted++
		case bad != nil && (err != nil || schemaCannotSay(bad)):
			refused++
		default:
			t.Fatalf("Read says %v, the JSON Schema %v of\n%s", bad, err, raw)
		}
	})
	if accepted < 200 || refused < 200 {
		t.Errorf("%d accepted, %d refused: the mutations test one side only", accepted, refused)
	}
}
