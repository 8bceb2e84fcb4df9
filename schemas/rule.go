package schemas

import (
	"encoding/json"
	"fmt"
	"math"
	"reflect"
	"strconv"
	"strings"
)

// Kind is the shape of a JSON value.
type Kind uint8

// The kinds of values in the contract.
const (
	KindString Kind = iota
	KindNumber
	KindInteger
	KindBool
	KindObject       // with Fields, or any object when it has none
	KindList         // of Elem
	KindNumberOrList // one number or a list of them, each as Elem says
	KindBoundary     // GeoJSON Polygon or MultiPolygon
)

// Rule is what the contract says of one value. It is read from the Go struct
// tags; the checker, the JSON Schemas, the AsyncAPI document and the book's
// typed tables all follow it.
type Rule struct {
	Name     string
	Kind     Kind
	Required bool
	Min, Max float64 // NaN: no bound
	MinLen   int
	MaxLen   int // code points; 0: no bound
	MinItems int
	MaxItems int    // 0: no bound
	Ordered  bool   // numbers of a list do not fall
	Nullable bool   // a number in a list may be null: not known
	LengthOf string // the field's list is as long as that of the field named
	Enum     []string
	Format   string // id, token, ulid, date-time, date, decimal, unsigned, percent, currency, country, sha256
	Doc      string
	Elem     *Rule // of a list, and the one number of KindNumberOrList
	Fields   []Rule

	index map[string]int
}

// maxFields bounds the fields of one object: the checker marks those it has
// seen in the bits of one word.
const maxFields = 64

// objectRule reads the rule of a struct type from its tags. It panics on a
// tag it does not know: a mistake in this package, found by any test.
func objectRule(t reflect.Type) Rule {
	if t.NumField() > maxFields {
		panic(fmt.Sprintf("schemas: %s has more than %d fields", t, maxFields))
	}
	r := Rule{Kind: KindObject, Min: math.NaN(), Max: math.NaN(), index: map[string]int{}}
	for i := range t.NumField() {
		f := t.Field(i)
		name, opts, _ := strings.Cut(f.Tag.Get("json"), ",")
		field := valueRule(f.Type, f.Tag.Get("rule"))
		field.Name = name
		field.Doc = f.Tag.Get("doc")
		field.Required = opts != "omitempty" && opts != "omitzero"
		if field.Kind == KindString && field.Required && field.Format == "" && field.Enum == nil {
			field.MinLen = 1
		}
		r.index[name] = len(r.Fields)
		r.Fields = append(r.Fields, field)
	}
	return r
}

// kindOf maps a Go type to its kind; lists and objects are filled by valueRule.
func kindOf(t reflect.Type) Kind {
	switch t {
	case reflect.TypeFor[Boundary]():
		return KindBoundary
	case reflect.TypeFor[NumberOrList]():
		return KindNumberOrList
	case reflect.TypeFor[json.RawMessage]():
		return KindObject
	}
	switch t.Kind() {
	case reflect.String:
		return KindString
	case reflect.Float64:
		return KindNumber
	case reflect.Int64:
		return KindInteger
	case reflect.Bool:
		return KindBool
	case reflect.Slice:
		return KindList
	case reflect.Struct:
		return KindObject
	}
	panic(fmt.Sprintf("schemas: no kind for %s", t))
}

func valueRule(t reflect.Type, tag string) Rule {
	if t.Kind() == reflect.Pointer {
		t = t.Elem()
	}
	r := Rule{Kind: kindOf(t), Min: math.NaN(), Max: math.NaN()}
	var elemTag []string
	for part := range strings.FieldsSeq(tag) {
		if rest, ok := strings.CutPrefix(part, "elem."); ok {
			elemTag = append(elemTag, rest)
			continue
		}
		r.apply(part)
	}
	switch {
	case r.Kind == KindList:
		elem := valueRule(t.Elem(), strings.Join(elemTag, " "))
		r.Elem = &elem
	case r.Kind == KindNumberOrList:
		r.Elem = &Rule{Kind: KindNumber, Min: r.Min, Max: r.Max}
	case r.Kind == KindObject && t.Kind() == reflect.Struct:
		inner := objectRule(t)
		r.Fields, r.index = inner.Fields, inner.index
	}
	return r
}

func (r *Rule) apply(part string) {
	key, value, _ := strings.Cut(part, "=")
	number := func() float64 {
		v, err := strconv.ParseFloat(value, 64)
		if err != nil {
			panic(fmt.Sprintf("schemas: rule %q: %v", part, err))
		}
		return v
	}
	switch key {
	case "id", "token":
		r.Format = key
	case "format":
		r.Format = value
	case "min":
		r.Min = number()
	case "max":
		r.Max = number()
	case "maxlen":
		r.MaxLen = int(number())
	case "minitems":
		r.MinItems = int(number())
	case "maxitems":
		r.MaxItems = int(number())
	case "ordered":
		r.Ordered = true
	case "nullable":
		r.Nullable = true
	case "lengthof":
		r.LengthOf = value
	case "enum":
		r.Enum = strings.Split(value, "|")
	default:
		panic(fmt.Sprintf("schemas: unknown rule %q", part))
	}
}
