package nutrient

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"strconv"
	"strings"
	"unicode/utf8"

	"github.com/santhosh-tekuri/jsonschema/v6"
	"github.com/santhosh-tekuri/jsonschema/v6/kind"
)

// noJSON says where a text stops being JSON; "": it is. Lines and columns
// count from 1.
func noJSON(raw []byte) string {
	const only = "rule files are JSON; YAML is not read"
	switch {
	case bytes.HasPrefix(raw, []byte("\xff\xfe")) || bytes.HasPrefix(raw, []byte("\xfe\xff")):
		return "is UTF-16: save it as UTF-8"
	case len(bytes.TrimSpace(raw)) == 0:
		return "is empty: " + only
	}
	var wrong *json.SyntaxError
	var v json.RawMessage
	if err := json.Unmarshal(raw, &v); err == nil {
		return ""
	} else if !errors.As(err, &wrong) {
		return err.Error()
	}
	before := raw[:min(max(int(wrong.Offset)-1, 0), len(raw))]
	why := wrong.Error()
	if strings.HasPrefix(why, "unexpected end") {
		before, why = raw, "it ends too early: a brace, bracket or quote is not closed"
	}
	line := 1 + bytes.Count(before, []byte("\n"))
	column := 1 + utf8.RuneCount(before[bytes.LastIndexByte(before, '\n')+1:])
	return fmt.Sprintf("is no JSON from line %d, column %d on: %s (%s)", line, column, why, only)
}

// deepest is the first of the complaints that lie deepest in the file: the
// others only say that something below them is wrong.
func deepest(e *jsonschema.ValidationError) (pointer, why string) {
	depth := -1
	var walk func(e *jsonschema.ValidationError)
	walk = func(e *jsonschema.ValidationError) {
		if d := len(e.InstanceLocation); len(e.Causes) == 0 && d > depth {
			depth, pointer = d, ""
			for _, name := range e.InstanceLocation {
				pointer += below(name)
			}
			why = inWords(e, pointer)
		}
		for _, c := range e.Causes {
			walk(c)
		}
	}
	walk(e)
	return pointer, why
}

// below is a member's part of a JSON pointer.
func below(name string) string {
	return "/" + strings.NewReplacer("~", "~0", "/", "~1").Replace(name)
}

// inWords says what stands against a value, and so what to write.
func inWords(e *jsonschema.ValidationError, pointer string) string {
	switch k := e.ErrorKind.(type) {
	case *kind.Required:
		return strings.Join(k.Missing, " and ") + " is missing"
	case *kind.AdditionalProperties:
		return strings.Join(k.Properties, " and ") + " is no field of it: check the spelling"
	case *kind.MinLength:
		if k.Want == 1 {
			return "must not be empty"
		}
		text := fmt.Sprintf("%d letters are too few, at least %d are needed", k.Got, k.Want)
		if pointer == "/caveat" {
			text += ": it must say that the local authority and a licensed adviser decide"
		}
		return text
	case *kind.MaxLength:
		return fmt.Sprintf("%d letters are too many, at most %d may stand there", k.Got, k.Want)
	case *kind.MinItems:
		return fmt.Sprintf("must have at least %d entry", k.Want)
	case *kind.MaxItems:
		return fmt.Sprintf("%d entries are too many, at most %d may stand there", k.Got, k.Want)
	case *kind.Type:
		return fmt.Sprintf("is %s, and must be %s", typeWords(k.Got), typeWords(k.Want[0]))
	case *kind.Enum:
		return fmt.Sprintf("%v is none of: %s", k.Got, listWords(k.Want))
	case *kind.Const:
		return fmt.Sprintf("must be %q", k.Want)
	case *kind.Pattern:
		return strconv.Quote(k.Got) + " " + patternWords(pointer)
	case *kind.Minimum:
		got, _ := k.Got.Float64()
		want, _ := k.Want.Float64()
		return strconv.FormatFloat(got, 'f', -1, 64) + " is less than " + strconv.FormatFloat(want, 'f', -1, 64)
	case *kind.Maximum:
		want, _ := k.Want.Float64()
		return "is more than " + strconv.FormatFloat(want, 'f', -1, 64)
	}
	return e.Error()
}

func typeWords(name string) string {
	switch name {
	case "string":
		return "text"
	case "array":
		return "a list [...]"
	case "object":
		return "an object {...}"
	case "boolean":
		return "true or false"
	case "integer":
		return "a whole number"
	case "number":
		return "a number"
	}
	return name
}

func listWords(all []any) string {
	words := make([]string, len(all))
	for i, v := range all {
		words[i] = fmt.Sprint(v)
	}
	return strings.Join(words, ", ")
}

// patternWords are the patterns of the schema, by where they stand.
func patternWords(pointer string) string {
	switch pointer[strings.LastIndexByte(pointer, '/')+1:] {
	case "date_read":
		return "is no day: write it like 2026-03-01"
	case "from", "to":
		return "is no day of every year: write month and day like 09-01"
	}
	return "is no name: use small letters, digits, - and _, at most 64, like own-cap"
}
