package schemas

import (
	"fmt"
	"math"
	"slices"
	"unicode/utf8"

	"github.com/tidwall/gjson"

	"hopperbook/schemas/unit"
)

// Violation is one broken rule of the contract.
type Violation struct {
	Pointer string // RFC 6901 JSON pointer into the event
	Rule    string // the rule's short name: type, required, minimum, ...
	Detail  string // what is wrong and what is allowed, for a person
}

// Error is the violation in one line.
func (v *Violation) Error() string {
	where := v.Pointer
	if where == "" {
		where = "the event"
	}
	return where + ": " + v.Detail
}

// checker walks one value; it stops at the first violation.
type checker struct {
	bad     *Violation
	entries int // of the list walked last
}

func (c *checker) fail(pointer, rule, format string, args ...any) bool {
	if c.bad == nil {
		c.bad = &Violation{Pointer: pointer, Rule: rule, Detail: fmt.Sprintf(format, args...)}
	}
	return false
}

// checkData holds data against the type's rule: field rules first, then the
// rules between fields.
func (t *TypeInfo) checkData(data gjson.Result) *Violation {
	var c checker
	if c.value(&t.Data, data, "/data") && t.cross.check != nil {
		t.cross.check(&c, data.Raw)
	}
	return c.bad
}

// object walks the members once; unknown ones are kept and not looked at.
func (c *checker) object(r *Rule, v gjson.Result, at string) bool {
	if !v.IsObject() {
		return c.fail(at, "type", "must be an object, is %s", kindName(v))
	}
	if len(r.Fields) == 0 {
		return true
	}
	var seen uint64
	var entries [maxFields]int
	v.ForEach(func(key, member gjson.Result) bool {
		i, known := r.index[key.String()]
		if !known {
			return true
		}
		f := &r.Fields[i]
		if seen&(1<<i) != 0 {
			return c.fail(at+"/"+f.Name, "duplicate", "stands twice")
		}
		seen |= 1 << i
		if f.Kind == KindString && member.Type == gjson.String && c.text(f, member.Str) {
			return true
		}
		if f.Kind <= KindInteger && f.Kind >= KindNumber && member.Type == gjson.Number && f.holds(member.Num) {
			return true
		}
		c.entries = -1
		ok := c.value(f, member, at+"/"+f.Name)
		entries[i] = c.entries
		return ok
	})
	return c.bad == nil && c.complete(r, seen, at) && c.equalLengths(r, seen, &entries, at)
}

func (c *checker) complete(r *Rule, seen uint64, at string) bool {
	for i := range r.Fields {
		if r.Fields[i].Required && seen&(1<<i) == 0 {
			return c.fail(at+"/"+r.Fields[i].Name, "required", "is missing")
		}
	}
	return true
}

// equalLengths holds lists against the list they must be as long as; one
// number in the place of a list (entries -1) stands for any length.
func (c *checker) equalLengths(r *Rule, seen uint64, entries *[maxFields]int, at string) bool {
	for i := range r.Fields {
		f := &r.Fields[i]
		if f.LengthOf == "" || seen&(1<<i) == 0 || entries[i] < 0 {
			continue
		}
		if want := entries[r.index[f.LengthOf]]; entries[i] != want {
			return c.fail(at+"/"+f.Name, "equalLength", "has %d entries, %s has %d; both need as many", entries[i], f.LengthOf, want)
		}
	}
	return true
}

func (c *checker) value(r *Rule, v gjson.Result, at string) bool {
	switch r.Kind {
	case KindObject:
		return c.object(r, v, at)
	case KindString:
		if v.Type != gjson.String {
			return c.fail(at, "type", "must be text, is %s", kindName(v))
		}
		return c.text(r, v.Str) || c.textFail(r, v.Str, at)
	case KindNumber, KindInteger:
		return v.Type == gjson.Number && r.holds(v.Num) || c.numberFail(r, v, at)
	case KindBool:
		if !v.IsBool() {
			return c.fail(at, "type", "must be true or false, is %s", kindName(v))
		}
	case KindList:
		return c.list(r, r.Elem, v, at)
	case KindNumberOrList:
		if v.IsArray() {
			return c.list(r, r.Elem, v, at)
		}
		return c.value(r.Elem, v, at)
	case KindBoundary:
		if _, err := parseBoundary(v); err != nil {
			return c.fail(at, "boundary", "%s", err)
		}
	}
	return true
}

func (c *checker) list(r, elem *Rule, v gjson.Result, at string) bool {
	if !v.IsArray() {
		return c.fail(at, "type", "must be a list, is %s", kindName(v))
	}
	n := 0
	if elem.Kind == KindNumber || elem.Kind == KindInteger {
		n = c.numbers(r, elem, v.Raw, at)
	} else {
		v.ForEach(func(_, member gjson.Result) bool {
			n++
			return c.value(elem, member, entry(at, n-1))
		})
	}
	c.entries = n
	switch {
	case c.bad != nil:
		return false
	case n < r.MinItems:
		return c.fail(at, "minItems", "has %d entries, needs at least %d", n, r.MinItems)
	case r.MaxItems > 0 && n > r.MaxItems:
		return c.fail(at, "maxItems", "has %d entries, at most %d are allowed", n, r.MaxItems)
	}
	return true
}

// holds is the hot path: true when v keeps the rule's bounds. A literal too
// large for a float64 is read as infinite and refused.
func (r *Rule) holds(v float64) bool {
	return !(v < r.Min) && !(v > r.Max) && !math.IsInf(v, 0) && (r.Kind != KindInteger || v == math.Trunc(v))
}

func (c *checker) numberFail(r *Rule, v gjson.Result, at string) bool {
	switch {
	case v.Type != gjson.Number:
		return c.fail(at, "type", "must be a number, is %s", kindName(v))
	case math.IsInf(v.Num, 0):
		return c.fail(at, "finite", "must be finite, is %s", v.Raw)
	case v.Num < r.Min:
		return c.fail(at, "minimum", "must be at least %s, is %s", unit.Whole(r.Min), v.Raw)
	case v.Num > r.Max:
		return c.fail(at, "maximum", "must be at most %s, is %s", unit.Whole(r.Max), v.Raw)
	}
	return c.fail(at, "type", "must be a whole number, is %s", v.Raw)
}

// text is the hot path: true when s keeps the rule.
func (c *checker) text(r *Rule, s string) bool {
	n := len(s)
	if n > r.MaxLen && r.MaxLen > 0 {
		n = utf8.RuneCountInString(s)
	}
	return n >= r.MinLen && (r.MaxLen == 0 || n <= r.MaxLen) &&
		(r.Enum == nil || slices.Contains(r.Enum, s)) && (r.Format == "" || formatOK(r.Format, s))
}

func (c *checker) textFail(r *Rule, s, at string) bool {
	shown := s
	if len(shown) > 80 {
		shown = shown[:80] + "..."
	}
	switch n := utf8.RuneCountInString(s); {
	case n < r.MinLen:
		return c.fail(at, "minLength", "must not be empty")
	case r.MaxLen > 0 && n > r.MaxLen:
		return c.fail(at, "maxLength", "has %d characters, at most %d are allowed", n, r.MaxLen)
	case r.Enum != nil && !slices.Contains(r.Enum, s):
		return c.fail(at, "enum", "is %q, must be one of %v", shown, r.Enum)
	}
	return c.fail(at, r.Format, "is %q, must be %s", shown, formatHelp(r.Format))
}

func kindName(v gjson.Result) string {
	switch v.Type {
	case gjson.Null:
		return "null"
	case gjson.True, gjson.False:
		return "true or false"
	case gjson.Number:
		return "a number"
	case gjson.String:
		return "text"
	}
	if v.IsArray() {
		return "a list"
	}
	return "an object"
}
