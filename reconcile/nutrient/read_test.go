package nutrient

import (
	"bytes"
	"encoding/json"
	"reflect"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"hopperbook/schemas/fault"
)

// own is a rule file of a user, with one of everything.
const own = `{"schema":"hopperbook.rules/1","id":"own","title":"Own","law":"None","jurisdiction":"Here","sources":["the kitchen table"],"date_read":"2026-03-01",
"caveat":"Nobody but the local authority and a licensed adviser decides.","record_within_hours":24,"keep_years":3,
"applies":{"zones":["nvz"],"land_uses":["pasture"],"least_holding_ha":2},"counts":{"kinds":["manufactured"],"over_n_pct_dry":5,"has_any_of":["N","P2O5"]},
"limits":[{"id":"l1","section":"1","text":"Not too much.","nutrient":"P2O5","scope":"field","area":"covered","period":{"kind":"from","month":3,"day":31,"months":6},"value":60,"unit":"kg/ha"}],
"closed_periods":[{"id":"c1","section":"2","text":"Not in winter.","from":"10-15","to":"01-31"}],
"buffers":[{"id":"b1","section":"3","text":"Keep away.","to":"lake","distance_m":5.5}],
"soils":[{"id":"s1","section":"4","text":"Not when wet.","states":["wet"],"except_methods":["injected"],"except_growing_crop":true}],
"rains":[{"id":"r1","section":"5","text":"Not before rain.","forms":["powder"],"within_hours":24,"over_mm":10,"over_chance_pct":30}],
"slopes":[{"id":"p1","section":"6","text":"Not on slopes.","over_deg":15}],
"records":[{"id":"w1","section":"7","text":"Who did it.","item":"operator","surface_only":true}]}`

func TestRead(t *testing.T) {
	r, err := Read("own.json", []byte(own))
	if err != nil {
		t.Fatal(err)
	}
	back, err := json.Marshal(r)
	if err != nil {
		t.Fatal(err)
	}
	var a, b any
	if err := json.Unmarshal([]byte(own), &a); err != nil {
		t.Fatal(err)
	}
	if err := json.Unmarshal(back, &b); err != nil || !reflect.DeepEqual(a, b) {
		t.Errorf("read and written again:\n%s\n%s", own, back)
	}
	for _, x := range []struct{ name, old, new, pointer, why string }{
		{"no JSON", `{"schema"`, `{schema`, "the file", "line 1, column 2"},
		{"a stray brace", `"surface_only":true}]}`, `"surface_only":true}]}}`, "the file", "line 10, column 98"},
		{"cut off", `"surface_only":true}]}`, ``, "the file", "ends too early"},
		{"YAML", own, "schema: hopperbook.rules/1\nid: own\n", "the file", "YAML is not read"},
		{"UTF-16", own, "\xff\xfe{\x00}\x00", "the file", "UTF-8"},
		{"nothing", own, "", "the file", "is empty"},
		{"31 February", `"date_read":"2026-03-01"`, `"date_read":"2026-02-31"`, "/date_read", "2026-02-31 is no day"},
		{"a date in another form", `"date_read":"2026-03-01"`, `"date_read":"1 March"`, "/date_read", "like 2026-03-01"},
		{"an id with spaces", `"id":"own"`, `"id":"My Own"`, "/id", "small letters"},
		{"an empty title", `"title":"Own"`, `"title":""`, "/title", "must not be empty"},
		{"nothing to check", "\n" + own[strings.Index(own, `"limits"`):], `"limits":[]}`, "the file", "nothing to hold a season against"},
		{"not a rule file", own, `[]`, "the file", "object"},
		{"other schema", `rules/1","id"`, `rules/2","id"`, "/schema", "hopperbook.rules/1"},
		{"no caveat", `"caveat":"Nobody but the local authority and a licensed adviser decides.",`, ``, "the file", "caveat is missing"},
		{"short caveat", `Nobody but the local authority and a licensed adviser decides.`, `Trust me.`, "/caveat", "9 letters are too few, at least 40 are needed: it must say that the local authority and a licensed adviser decide"},
		{"no source", `["the kitchen table"]`, `[]`, "/sources", "must have at least 1"},
		{"unknown field", `"keep_years"`, `"keep_decades"`, "the file", "keep_decades is no field of it"},
		{"unknown field of a part", `"distance_m":5.5`, `"distance_m":5.5,"distance":6`, "/buffers/0", "distance"},
		{"text for a number", `"value":60`, `"value":"60"`, "/limits/0/value", "is text, and must be a number"},
		{"negative", `"value":60`, `"value":-1`, "/limits/0/value", "less than 0"},
		{"too large a number", `"value":60`, `"value":1e999`, "/limits/0/value", ""},
		{"unit", `"kg/ha"`, `"kg/acre"`, "/limits/0/unit", "kg/ha"},
		{"nutrient", `"nutrient":"P2O5"`, `"nutrient":"Zn"`, "/limits/0/nutrient", "P2O5"},
		{"period without a month", `"month":3,`, ``, "/limits/0/period", "month"},
		{"31 April", `"month":3,"day":31`, `"month":4,"day":31`, "/limits/0/period/day", "no day of every year"},
		{"29 February", `"from":"10-15"`, `"from":"02-29"`, "/closed_periods/0/from", "no day of every year"},
		{"31 June", `"to":"01-31"`, `"to":"06-31"`, "/closed_periods/0/to", "no day of every year"},
		{"month of a calendar year", `"kind":"from"`, `"kind":"calendar_year"`, "/limits/0/period", "belong to a period of kind from"},
		{"application period", `{"kind":"from","month":3,"day":31,"months":6}`, `{"kind":"application"}`, "/limits/0/period/kind", "go together"},
		{"covered kilograms", `"unit":"kg/ha"`, `"unit":"kg"`, "/limits/0/area", "unit per area"},
		{"two of one name", `"id":"w1"`, `"id":"b1"`, "/records/0/id", "b1"},
		{"key twice", `"value":60`, `"value":60,"value":600`, "/limits/0/value", "twice"},
		{"key twice in other letters", `"value":60`, `"value":60,"Value":600`, "/limits/0/Value", "twice"},
		{"soil", `"states":["wet"]`, `"states":["soggy"]`, "/soils/0/states/0", "waterlogged"},
		{"item", `"item":"operator"`, `"item":"shoe_size"`, "/records/0/item", "operator"},
		{"too deep", `["the kitchen table"]`, strings.Repeat("[", 40) + strings.Repeat("]", 40), "/sources", "nested too deep"},
		{"too large", `the kitchen table`, strings.Repeat("x", 1<<20), "the file", "1 MiB"},
	} {
		_, err := Read("own.json", []byte(strings.Replace(own, x.old, x.new, 1)))
		if err == nil || fault.CodeOf(err) != fault.Input || !strings.Contains(fault.HintOf(err), "hopperbook rules schema") || !strings.Contains(err.Error(), x.pointer) || !strings.Contains(err.Error(), x.why) {
			t.Errorf("%s: %v; want %s and %q", x.name, err, x.pointer, x.why)
		}
	}
}

// A byte order mark, as some editors write it, is no part of the text.
func TestReadByteOrderMark(t *testing.T) {
	if r, err := Read("own.json", []byte("\ufeff"+own)); err != nil || r.ID != "own" {
		t.Errorf("%+v, %v", r, err)
	}
}

func TestShipped(t *testing.T) {
	all, err := Shipped()
	if err != nil {
		t.Fatal(err)
	}
	var ids []string
	for _, r := range all {
		ids = append(ids, r.ID)
		if !strings.Contains(r.Caveat, "local authority and a licensed adviser decide") {
			t.Errorf("%s: caveat %q", r.ID, r.Caveat)
		}
		if _, err := time.Parse(time.DateOnly, r.DateRead); err != nil {
			t.Errorf("%s: %v", r.ID, err)
		}
		for _, s := range r.Sources {
			if !regexp.MustCompile(`^https?://[^ ]+$`).MatchString(s) {
				t.Errorf("%s: source %q", r.ID, s)
			}
		}
	}
	want := []string{"eu-nitrates-directive", "gb-eng-farming-rules-for-water", "gb-eng-nvz-records", "gb-wls-nitrate-plan", "ie-good-agricultural-practice", "nz-synthetic-nitrogen-cap", "us-oh-901-5-4-04", "us-oh-905-326"}
	if !slices.Equal(ids, want) {
		t.Errorf("shipped %v", ids)
	}
	picked, err := Named("us-oh-905-326", "eu-nitrates-directive")
	if err != nil || picked[0].ID != "us-oh-905-326" || picked[1].ID != "eu-nitrates-directive" {
		t.Errorf("%v %v", picked, err)
	}
	if _, err := Named("no-such"); fault.CodeOf(err) != fault.NotFound || !strings.Contains(fault.HintOf(err), "eu-nitrates-directive") {
		t.Errorf("%v", err)
	}
}

// The schema knows every form and item that the code knows, and no other.
func TestSchemaFollowsTheCode(t *testing.T) {
	for _, c := range compounds() {
		if _, err := Read("x", []byte(strings.Replace(own, `"nutrient":"P2O5"`, `"nutrient":"`+string(c.form)+`"`, 1))); err != nil {
			t.Errorf("%s: %v", c.form, err)
		}
	}
	for _, it := range Items() {
		if _, err := Read("x", []byte(strings.Replace(own, `"item":"operator"`, `"item":"`+it.Name+`"`, 1))); err != nil {
			t.Errorf("%s: %v", it.Name, err)
		}
	}
	var schema struct {
		Properties struct {
			Limits, Records struct {
				Items struct {
					Properties struct {
						Nutrient, Item, Unit struct{ Enum []string }
					}
				}
			}
		}
	}
	if err := json.Unmarshal(RulesSchema(), &schema); err != nil {
		t.Fatal(err)
	}
	if got := schema.Properties.Limits.Items.Properties.Nutrient.Enum; len(got) != len(compounds()) {
		t.Errorf("%d forms in the schema, %d in the code", len(got), len(compounds()))
	}
	if got := schema.Properties.Records.Items.Properties.Item.Enum; len(got) != len(Items()) {
		t.Errorf("%d items in the schema, %d in the code", len(got), len(Items()))
	}
	for _, u := range schema.Properties.Limits.Items.Properties.Unit.Enum {
		if _, _, known := unitOf(u); !known {
			t.Errorf("unit %s is not known", u)
		}
	}
}

// A file that is read can be written and read again to the same, and applied
// without a NaN.
func FuzzRead(f *testing.F) {
	f.Add([]byte(own))
	files, err := shipped.ReadDir("rules")
	if err != nil {
		f.Fatal(err)
	}
	for _, file := range files {
		raw, err := shipped.ReadFile("rules/" + file.Name())
		if err != nil {
			f.Fatal(err)
		}
		f.Add(raw)
	}
	f.Fuzz(func(t *testing.T, raw []byte) {
		r, err := Read("fuzz", raw)
		if err != nil {
			if fault.CodeOf(err) != fault.Input {
				t.Errorf("%v", err)
			}
			return
		}
		out, err := json.Marshal(r)
		if err != nil {
			t.Fatal(err)
		}
		again, err := Read("fuzz", out)
		if err != nil {
			t.Fatalf("%v: %s", err, out)
		}
		if twice, _ := json.Marshal(again); !bytes.Equal(out, twice) {
			t.Errorf("%s\n%s", out, twice)
		}
		res, err := Run(randomInput(1, r))
		if err != nil {
			t.Fatal(err)
		}
		if _, err := json.Marshal(res); err != nil { // a NaN or infinity is none in JSON
			t.Errorf("%v", err)
		}
	})
}
