package nutrient

import (
	"bytes"
	"embed"
	"encoding/json"
	"errors"
	"fmt"
	"slices"
	"strings"
	"sync"
	"time"

	"github.com/santhosh-tekuri/jsonschema/v6"
	"github.com/tidwall/gjson"

	"hopperbook/schemas/fault"
)

//go:embed rules/*.json
var shipped embed.FS

//go:embed rules.schema.json
var rulesSchema []byte

// RulesSchema is the JSON Schema (2020-12) of a rule file.
func RulesSchema() []byte { return bytes.Clone(rulesSchema) }

// A rule file is data of a person: beyond these it is none.
const (
	maxRuleBytes = 1 << 20
	maxRuleDepth = 32
)

var compileRules = sync.OnceValues(func() (*jsonschema.Schema, error) {
	doc, err := jsonschema.UnmarshalJSON(bytes.NewReader(rulesSchema))
	if err != nil {
		return nil, err
	}
	c := jsonschema.NewCompiler()
	if err := c.AddResource(SchemaRules, doc); err != nil {
		return nil, err
	}
	return c.Compile(SchemaRules)
})

// Read reads a rule file; name is what errors call it. It is held against the
// JSON Schema and against what a schema cannot say: keys that stand twice,
// days that no year has, periods that do not go with their scope, no part at
// all, parts of one name. A byte order mark is skipped. fault.Input with the JSON pointer of the first thing that is wrong.
func Read(name string, raw []byte) (Rules, error) {
	op := "read rule file " + name
	refuse := func(pointer, format string, args ...any) error {
		if pointer == "" {
			pointer = "the file"
		}
		return fault.Newf(op, fault.Input, pointer+": "+fmt.Sprintf(format, args...), "hopperbook rules schema prints what may stand there (JSON Schema), hopperbook rules show NAME a shipped rule file as an example")
	}
	schema, err := compileRules()
	if err != nil {
		return Rules{}, fault.New("compile the schema of rule files", fault.Internal, err, "")
	}
	raw = bytes.TrimPrefix(raw, []byte("\ufeff"))
	if len(raw) > maxRuleBytes {
		return Rules{}, refuse("", "is larger than 1 MiB, as no rule file is")
	}
	if why := noJSON(raw); why != "" {
		return Rules{}, refuse("", "%s", why)
	}
	if pointer, why := twice(gjson.ParseBytes(raw), "", 0); why != "" {
		return Rules{}, refuse(pointer, "%s", why)
	}
	doc, err := jsonschema.UnmarshalJSON(bytes.NewReader(raw))
	if err != nil {
		return Rules{}, refuse("", "%s", err)
	}
	var wrong *jsonschema.ValidationError
	if err := schema.Validate(doc); errors.As(err, &wrong) {
		pointer, why := deepest(wrong)
		return Rules{}, refuse(pointer, "%s", why)
	} else if err != nil {
		return Rules{}, refuse("", "%s", err)
	}
	var r Rules
	if err := json.Unmarshal(raw, &r); err != nil {
		return Rules{}, refuse("", "%s", err)
	}
	if pointer, why := r.sense(); why != "" {
		return Rules{}, refuse(pointer, "%s", why)
	}
	return r, nil
}

// twice finds a key that stands twice in an object, and nesting that no rule
// file has.
func twice(v gjson.Result, at string, depth int) (pointer, why string) {
	if depth > maxRuleDepth {
		return at, "is nested too deep"
	}
	seen, i := map[string]bool{}, 0
	list := v.IsArray()
	if !list && !v.IsObject() {
		return "", ""
	}
	v.ForEach(func(key, member gjson.Result) bool {
		name := key.String()
		if list {
			name = fmt.Sprint(i)
			i++
		}
		here := at + below(name)
		if seen[strings.ToLower(name)] {
			pointer, why = here, "stands twice"
			return false
		}
		seen[strings.ToLower(name)] = true
		pointer, why = twice(member, here, depth+1)
		return why == ""
	})
	return pointer, why
}

// sense checks what the schema cannot say.
func (r *Rules) sense() (pointer, why string) {
	if _, err := time.Parse(time.DateOnly, r.DateRead); err != nil {
		return "/date_read", r.DateRead + " is no day: write it like 2026-03-01"
	}
	for i, l := range r.Limits {
		at := fmt.Sprintf("/limits/%d", i)
		switch _, perArea, _ := unitOf(l.Unit); {
		case (l.Period.Kind == PerApplication) != (l.Scope == ScopeApplication):
			return at + "/period/kind", "the period and the scope application go together"
		case l.Period.Kind != FromDate && (l.Period.Month != 0 || l.Period.Day != 0 || l.Period.Months != 0):
			return at + "/period", "month, day and months belong to a period of kind from"
		case l.Area == AreaCovered && !perArea:
			return at + "/area", "belongs to a unit per area"
		}
		if l.Period.Kind == FromDate {
			if _, _, ok := monthDay(fmt.Sprintf("%02d-%02d", l.Period.Month, max(1, l.Period.Day))); !ok {
				return at + "/period/day", "is no day of every year"
			}
		}
	}
	for i, c := range r.ClosedPeriods {
		for _, day := range []struct{ name, value string }{{"from", c.From}, {"to", c.To}} {
			if _, _, ok := monthDay(day.value); !ok {
				return fmt.Sprintf("/closed_periods/%d/%s", i, day.name), "is no day of every year"
			}
		}
	}
	return r.names()
}

// names checks that there are parts, and no two of one name.
func (r *Rules) names() (pointer, why string) {
	seen := map[string]bool{}
	pointer, why = "", "has nothing to hold a season against: no limit, closed period, buffer, soil, rain, slope or record"
	r.parts(func(at string, p *Part) {
		if len(seen) == 0 {
			why = ""
		}
		if seen[p.ID] && why == "" {
			pointer, why = at+"/id", fmt.Sprintf("another part is called %s too", p.ID)
		}
		seen[p.ID] = true
	})
	return pointer, why
}

// parts walks all parts with their pointers.
func (r *Rules) parts(do func(at string, p *Part)) {
	for i := range r.Limits {
		do(fmt.Sprintf("/limits/%d", i), &r.Limits[i].Part)
	}
	for i := range r.ClosedPeriods {
		do(fmt.Sprintf("/closed_periods/%d", i), &r.ClosedPeriods[i].Part)
	}
	for i := range r.Buffers {
		do(fmt.Sprintf("/buffers/%d", i), &r.Buffers[i].Part)
	}
	for i := range r.Soils {
		do(fmt.Sprintf("/soils/%d", i), &r.Soils[i].Part)
	}
	for i := range r.Rains {
		do(fmt.Sprintf("/rains/%d", i), &r.Rains[i].Part)
	}
	for i := range r.Slopes {
		do(fmt.Sprintf("/slopes/%d", i), &r.Slopes[i].Part)
	}
	for i := range r.Records {
		do(fmt.Sprintf("/records/%d", i), &r.Records[i].Part)
	}
}

// Shipped are the rule files that come with the program, sorted by ID.
func Shipped() ([]Rules, error) {
	files, err := shipped.ReadDir("rules")
	if err != nil {
		return nil, fault.New("list the shipped rule files", fault.Internal, err, "")
	}
	var all []Rules
	for _, f := range files {
		raw, err := shipped.ReadFile("rules/" + f.Name())
		if err != nil {
			return nil, fault.New("read the shipped rule files", fault.Internal, err, "")
		}
		r, err := Read(f.Name(), raw)
		if err != nil {
			return nil, err
		}
		all = append(all, r)
	}
	slices.SortFunc(all, func(a, b Rules) int { return strings.Compare(a.ID, b.ID) })
	return all, nil
}

// ShippedText is the text of the rule file that comes with the program under
// this ID. False: none does.
func ShippedText(id string) ([]byte, bool) {
	raw, err := shipped.ReadFile("rules/" + id + ".json")
	return raw, err == nil
}

// Named picks shipped rule files by their IDs, in that order. fault.NotFound
// where one is not shipped.
func Named(ids ...string) ([]Rules, error) {
	all, err := Shipped()
	if err != nil {
		return nil, err
	}
	var out []Rules
	var have []string
	for _, r := range all {
		have = append(have, r.ID)
	}
	for _, id := range ids {
		i := slices.Index(have, id)
		if i < 0 {
			return nil, fault.Newf("find rule file "+id, fault.NotFound, "no such rule file is shipped", "shipped are: "+strings.Join(have, ", ")+"; name a file of your own by its path")
		}
		out = append(out, all[i])
	}
	return out, nil
}
