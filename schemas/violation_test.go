package schemas

import (
	"strings"
	"testing"
)

const goodLoad = `{"specversion":"1.0","id":"01JNB3Q2Q3W4E5R6T7Y8V9B00E","source":"/devices/loader-1/b2","sequence":"17",` +
	`"type":"load.weighed","time":"2026-03-02T07:40:00Z","dataschema":"urn:hopperbook:load.weighed/1",` +
	`"data":{"load":"L-1","product":"urea-46","net_kg":6120,"method":"bucket","lifts_kg":[2050,2045]}}`

const goodPass = `{"specversion":"1.0","id":"01JNB3Q2Q3W4E5R6T7Y8V9B00F","source":"/devices/spreader-1/k7","sequence":"18",` +
	`"type":"pass.logged","time":"2026-03-02T07:41:00Z","dataschema":"urn:hopperbook:pass.logged/1",` +
	`"data":{"start":"2026-03-02T07:41:00Z","dt_ms":[0,200,400],"lat":[0,0,0],"lon":[0,0,0],"speed_kmh":[18,18,18],"spreading":[0,1,1],"set_rate_kg_ha":150}}`

const goodField = `{"specversion":"1.0","id":"01JNB3Q2Q3W4E5R6T7Y8V9B00G","source":"/office/desk1","sequence":"1",` +
	`"type":"register.field","time":"2026-03-02T07:41:00Z","dataschema":"urn:hopperbook:register.field/1",` +
	`"data":{"field":"F-7","customer":"C-1","name":"Long","boundary":{"type":"Polygon","coordinates":[[[0,0],[1,0],[1,1],[0,0]]]}}}`

// Each row changes one piece of a good event. An empty want is "accepted".
//
// tripwire: one table of ugly input, a row each.
func TestUglyInput(t *testing.T) {
	deep := strings.Repeat("[", 10_000) + strings.Repeat("]", 10_000)
	rows := []struct {
		name, base, old, new string
		want                 string // pointer and rule
		says                 string // part of the detail
	}{
		{"as it is", goodLoad, "", "", "", ""},
		{"(0,0) positions", goodPass, "", "", "", ""},
		{"a boundary", goodField, "", "", "", ""},
		{"unknown field", goodLoad, `"load":`, `"ticket":{"a":[1,null]},"load":`, "", ""},
		{"unknown attribute", goodLoad, `"data":`, `"traceparent":null,"data":`, "", ""},
		{"unknown field of another case", goodLoad, `"load":`, `"NET_KG":"heavy","load":`, "", ""},
		{"unknown field twice", goodLoad, `"load":`, `"x":1,"x":2,"load":`, "", ""},
		{"escaped key", goodLoad, `"net_kg"`, `"net\u005fkg"`, "", ""},
		{"escaped key, wrong type", goodLoad, `"net_kg":6120`, `"net\u005fkg":"6120"`, "/data/net_kg type", "must be a number, is text"},
		{"escaped key twice", goodLoad, `"net_kg"`, `"net\u005fkg":1,"net_kg"`, "/data/net_kg duplicate", "twice"},
		{"short dataschema", goodLoad, `urn:hopperbook:`, ``, "", ""},
		{"space around", goodLoad, `{"specversion"`, "\r\n\t {\"specversion\"", "", ""},
		{"whole number with a point", goodPass, `"dt_ms":[0,200,400]`, `"dt_ms":[0.0,2e2,4.0E2]`, "", ""},
		{"time with offset", goodLoad, `07:40:00Z`, `20:40:00.123456789+13:00`, "", ""},

		{"empty", goodLoad, goodLoad, ``, " json", "cut off"},
		{"truncated", goodLoad, `"bucket","lifts_kg":[2050,2045]}}`, `"buc`, " json", "cut off"},
		{"two objects", goodLoad, `2045]}}`, `2045]}} {}`, " json", ""},
		{"a list", goodLoad, goodLoad, `[]`, " type", "must be a JSON object, is a list"},
		{"text", goodLoad, goodLoad, `"{}"`, " type", "is text"},
		{"NaN", goodLoad, `6120`, `NaN`, " json", "NaN"},
		{"Infinity", goodLoad, `6120`, `-Infinity`, " json", "Infinity"},
		{"leading zero", goodLoad, `6120`, `06120`, " json", ""},
		{"invalid UTF-8", goodLoad, `urea`, "ur\xffea", " utf8", "UTF-8"},
		{"10 000 deep", goodLoad, `"load":`, `"x":` + deep + `,"load":`, " depth", "64 levels"},
		{"10 000 deep and cut off", goodLoad, goodLoad, deep[:10_000], " depth", ""},
		{"65 brackets, flat", goodLoad, `"load":`, `"x":[` + strings.Repeat("[],", 64) + `"[\"["],"load":`, "", ""},
		{"5 MB", goodLoad, `"load":`, `"x":"` + strings.Repeat("a", 5<<20) + `","load":`, " size", "4194304 are allowed"},

		{"1e999", goodLoad, `6120`, `1e999`, "/data/net_kg finite", "must be finite, is 1e999"},
		{"1e999 in a list", goodLoad, `2045`, `1e999`, "/data/lifts_kg/1 finite", "1e999"},
		{"below", goodLoad, `6120`, `-0.1`, "/data/net_kg minimum", "at least 0, is -0.1"},
		{"above", goodLoad, `6120`, `200000.5`, "/data/net_kg maximum", "at most 200000, is 200000.5"},
		{"null", goodLoad, `6120`, `null`, "/data/net_kg type", "is null"},
		{"missing", goodLoad, `"net_kg":6120,`, ``, "/data/net_kg required", "is missing"},
		{"data is missing", goodLoad, `"data":`, `"date":`, "/data required", "is missing"},
		{"data is a list", goodPass, `"data":{`, `"data":[],"x":{`, "/data type", "must be an object, is a list"},
		{"enum", goodLoad, `"bucket"`, `"guess"`, "/data/method enum", `is "guess", must be one of [bucket weighbridge cells volume]`},
		{"identifier", goodLoad, `"L-1"`, `"L 1"`, "/data/load id", "letters, digits"},
		{"known field twice", goodLoad, `"net_kg":6120`, `"net_kg":6120,"net_kg":6120`, "/data/net_kg duplicate", "twice"},
		{"text in a list", goodLoad, `2045`, `"2045"`, "/data/lifts_kg/1 type", "must be a number, is text"},
		{"list in a list", goodLoad, `2045`, `[2045]`, "/data/lifts_kg/1 type", "is a list"},
		{"object for a list", goodLoad, `[2050,2045]`, `{"0":1}`, "/data/lifts_kg type", "must be a list, is an object"},

		{"empty lists", goodPass, `"dt_ms":[0,200,400]`, `"dt_ms":[]`, "/data/dt_ms minItems", "needs at least 1"},
		{"unequal lists", goodPass, `"speed_kmh":[18,18,18]`, `"speed_kmh":[18,18]`, "/data/speed_kmh equalLength", "has 2 entries, dt_ms has 3"},
		{"unequal rates", goodPass, `"set_rate_kg_ha":150`, `"set_rate_kg_ha":[150]`, "/data/set_rate_kg_ha equalLength", "has 1 entries"},
		{"time falls", goodPass, `[0,200,400]`, `[0,400,200]`, "/data/dt_ms ordered", "falls from 400 to 200 at entry 2"},
		{"half a millisecond", goodPass, `[0,200,400]`, `[0,200.5,400]`, "/data/dt_ms/1 type", "whole number, is 200.5"},
		{"latitude off the earth", goodPass, `"lat":[0,0,0]`, `"lat":[0,0,-90.000001]`, "/data/lat/2 minimum", "-90"},

		{"point", goodField, `Polygon`, `Point`, "/data/boundary boundary", "Polygon or MultiPolygon"},
		{"boundary in text", goodField, `{"type":"Polygon","coordinates":[[[0,0],[1,0],[1,1],[0,0]]]}`, `"{'type':'Polygon'}"`, "/data/boundary boundary", "GeoJSON"},
		{"open ring", goodField, `[1,1],[0,0]]`, `[1,1],[0,1]]`, "/data/boundary boundary", "end where it begins"},
		{"latitude first", goodField, `[1,0],[1,1]`, `[1,100],[1,1]`, "/data/boundary boundary", "longitude stands first"},
		{"two coordinates", goodField, `"coordinates":`, `"coordinates":[],"coordinates":`, "/data/boundary boundary", "coordinates stands twice"},

		{"unknown type", goodLoad, `"load.weighed","time":"2026-03-02T07:40:00Z","dataschema":"urn:hopperbook:load.weighed/1"`,
			`"load.guessed","time":"2026-03-02T07:40:00Z","dataschema":"urn:hopperbook:load.guessed/1"`, "/type known", `"load.guessed", which this program does not know`},
		{"unknown version", goodLoad, `weighed/1"`, `weighed/2"`, "/dataschema version", "version 2 of load.weighed, this program reads version 1"},
		{"version written otherwise", goodLoad, `weighed/1"`, `weighed/+1"`, "/dataschema dataschema", "TYPE/VERSION"},
		{"dataschema of another type", goodLoad, `urn:hopperbook:load.weighed`, `urn:hopperbook:pass.logged`, "/dataschema dataschema", "of the event's type"},
		{"specversion", goodLoad, `"1.0"`, `"0.3"`, "/specversion specversion", "CloudEvents 1.0"},
		{"sequence 0", goodLoad, `"17"`, `"0"`, "/sequence sequence", "from 1 up"},
		{"sequence 01", goodLoad, `"17"`, `"01"`, "/sequence sequence", ""},
		{"sequence a number", goodLoad, `"17"`, `17`, "/sequence sequence", "must be text"},
		{"sequence of 19 digits", goodLoad, `"17"`, `"1000000000000000000"`, "/sequence sequence", ""},
		{"sequence missing", goodLoad, `"sequence":"17",`, ``, "/sequence required", "is missing"},
		{"sequence twice", goodLoad, `"sequence":"17"`, `"sequence":"17","sequence":"18"`, "/sequence duplicate", "twice"},
		{"source", goodLoad, `/devices/loader-1/b2`, `/devices/loader-1`, "/source source", "/devices/<device>/<install>"},
		{"lower-case ulid", goodLoad, `01JNB3Q2Q3W4E5R6T7Y8V9B00E`, `01jnb3q2q3w4e5r6t7y8v9b00e`, "/id id", "ULID"},
		{"leap second", goodLoad, `07:40:00Z`, `23:59:60Z`, "/time time", "2026-03-01T08:30:00Z"},
		{"clock at 1899", goodLoad, `"2026-`, `"1899-`, "/time time", ""},
	}
	for _, r := range rows {
		t.Run(r.name, func(t *testing.T) {
			raw := strings.Replace(r.base, r.old, r.new, 1)
			if r.old != "" && raw == r.base {
				t.Fatal("the row changes nothing")
			}
			e, bad := Read([]byte(raw))
			got, says := "", ""
			if bad != nil {
				got, says = bad.Pointer+" "+bad.Rule, bad.Error()
			}
			if got != r.want || !strings.Contains(says, r.says) {
				t.Errorf("got %q (%s), want %q with %q", got, says, r.want, r.says)
			}
			if string(e.Raw) != raw {
				t.Error("Raw is not what came")
			}
		})
	}
}

// A rejected event can be found again by what could be read of its identity.
func TestRejectionKeepsTheIdentity(t *testing.T) {
	raw := strings.Replace(strings.Replace(goodLoad, "6120", "-1", 1), "bucket", "guess", 1)
	e, bad := Read([]byte(raw))
	if bad == nil || e.Identity.String() != "/devices/loader-1/b2#17" || e.ID != "01JNB3Q2Q3W4E5R6T7Y8V9B00E" || e.Type != TypeLoadWeighed {
		t.Errorf("read %+v, %v", e.Identity, bad)
	}
	raw = strings.Replace(goodLoad, `"specversion":"1.0"`, `"specversion":1`, 1)
	if e, bad = Read([]byte(raw)); bad == nil || bad.Pointer != "/specversion" || e.Sequence != 17 || e.Source != "/devices/loader-1/b2" {
		t.Errorf("read %+v, %v", e.Identity, bad)
	}
	raw = strings.Replace(goodLoad, `"17"`, `"x"`, 1)
	if e, bad = Read([]byte(raw)); bad == nil || e.Sequence != 0 || e.Source == "" {
		t.Errorf("read %+v, %v", e.Identity, bad)
	}
}

// Unknown fields are in Data as they came.
func TestUnknownFieldsAreKept(t *testing.T) {
	raw := strings.Replace(goodLoad, `"method":`, `"Net_Kg":1,"NET_KG":"heavy","ticket" : {"a":[1,null]},"method":`, 1)
	e, bad := Read([]byte(raw))
	if bad != nil || !strings.Contains(e.Data, `"ticket" : {"a":[1,null]}`) {
		t.Fatalf("%v, data %s", bad, e.Data)
	}
	load, err := DecodeData[LoadWeighed](&e)
	if err != nil || load.NetKg != 6120 || len(load.LiftsKg) != 2 {
		t.Errorf("decoded %+v, %v; Net_Kg is not net_kg", load, err)
	}
	for _, ex := range examples(t) {
		if ex.name == "register.agreement" {
			raw := strings.Replace(string(ex.raw), `"price": "28.50"`, `"price": "28.50", "PRICE": 5, "Basis": 5`, 1)
			e, bad := Read([]byte(raw))
			a, err := DecodeData[RegisterAgreement](&e)
			if bad != nil || err != nil || len(a.Lines) != 2 || a.Lines[0].Price != "28.50" || a.Lines[0].Basis != "spread" {
				t.Errorf("decoded %+v, %v, %v", a, bad, err)
			}
		}
	}
}

// Rules between fields: an example without some of its fields, for the checker
// and for the JSON Schema.
func TestRulesBetweenFields(t *testing.T) {
	schemas := compileSchemas(t)
	byName := map[string]example{}
	for _, ex := range examples(t) {
		byName[ex.name] = ex
	}
	for _, r := range []struct{ name, without, want string }{
		{"test.catch", "", ""},
		{"test.catch", "distance_m", "/data anyOf"},
		{"test.catch-by-time", "time_s", "/data anyOf"},
		{"test.catch-by-time", "speed_kmh", "/data anyOf"},
		{"event.amended", "replacement", "/data/replacement required"},
		{"event.amended-void", "replacement", ""},
		{"invoice.issued", "customer from to", ""},
		{"invoice.issued", "job", ""},
		{"invoice.issued", "job customer", "/data anyOf"},
		{"invoice.issued", "job from", "/data anyOf"},
		{"invoice.issued", "job to", "/data anyOf"},
	} {
		ex := byName[r.name]
		raw := ex.raw
		for field := range strings.FieldsSeq(r.without) {
			raw = with(t, raw, []any{"data", field}, missing{})
		}
		_, bad := Read(raw)
		got := ""
		if bad != nil {
			got = bad.Pointer + " " + bad.Rule
		}
		if got != r.want {
			t.Errorf("%s without %s: %q, want %q", r.name, r.without, got, r.want)
		}
		if err := schemas.check(ex.info.Type, raw); (err == nil) != (r.want == "") {
			t.Errorf("%s without %s: the JSON Schema says %v", r.name, r.without, err)
		}
	}
}
