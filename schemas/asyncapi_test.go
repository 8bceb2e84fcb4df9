package schemas

import (
	"bytes"
	"encoding/json"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/santhosh-tekuri/jsonschema/v6"
)

// Every channel of the hub is in the document under the subject that the code
// uses, its parts lead somewhere, and requests have their answer.
func TestAsyncAPINamesEveryChannel(t *testing.T) {
	var doc struct {
		Channels map[string]struct {
			Address  *string
			Messages map[string]struct {
				Ref string `json:"$ref"`
			}
			Parameters map[string]any
		}
		Operations map[string]struct {
			Action  string
			Channel struct {
				Ref string `json:"$ref"`
			}
			Reply *struct {
				Channel struct {
					Ref string `json:"$ref"`
				}
			}
		}
		Components struct{ Messages, Schemas map[string]json.RawMessage }
	}
	if err := json.Unmarshal(AsyncAPI(), &doc); err != nil {
		t.Fatal(err)
	}
	for _, w := range []struct{ operation, address, answer string }{
		{"receive.cab", CabSubject("{contractor}", "{device}"), "cab.packet"},
		{"send.cabnews", CabNewsSubject("{contractor}", "{device}"), ""},
		{"receive.enrol", EnrolSubject("{contractor}"), "enrol.answer"},
		{"send.marks", MarksSubject("{contractor}", "{device}"), ""},
		{"receive.load.weighed", EventSubject("{contractor}", "{device}", TypeLoadWeighed), ""},
	} {
		op, ok := doc.Operations[w.operation]
		ch := doc.Channels[strings.TrimPrefix(op.Channel.Ref, "#/channels/")]
		switch {
		case !ok || ch.Address == nil || *ch.Address != w.address || !strings.HasPrefix(w.operation, op.Action+"."):
			t.Errorf("%s is not on %s: %+v", w.operation, w.address, ch)
		case strings.Count(w.address, "{") != len(ch.Parameters):
			t.Errorf("%s has parameters %v", w.address, ch.Parameters)
		case (op.Reply != nil) != (w.answer != ""):
			t.Errorf("%s: answer %+v, want %q", w.operation, op.Reply, w.answer)
		case op.Reply != nil:
			reply := doc.Channels[strings.TrimPrefix(op.Reply.Channel.Ref, "#/channels/")]
			if _, ok := reply.Messages[w.answer]; !ok || reply.Address != nil {
				t.Errorf("%s is answered with %+v", w.operation, reply)
			}
		}
	}
	for name, ch := range doc.Channels {
		for m, r := range ch.Messages {
			if doc.Components.Messages[strings.TrimPrefix(r.Ref, "#/components/messages/")] == nil {
				t.Errorf("channel %s: message %s is nowhere", name, m)
			}
		}
	}
	for name, m := range doc.Components.Messages {
		for _, part := range strings.Split(string(m), `"#/components/schemas/`)[1:] {
			if s, _, _ := strings.Cut(part, `"`); doc.Components.Schemas[s] == nil {
				t.Errorf("message %s: schema %s is nowhere", name, s)
			}
		}
	}
}

// What the code writes keeps the schemas of the document, which know every
// field of it; a wrong type breaks them.
func TestAsyncAPIHoldsTheExchanges(t *testing.T) {
	at := time.Date(2026, 3, 2, 8, 0, 0, 0, time.UTC)
	ring := []Position{{0, 0}, {1, 0}, {1, 1}, {0, 0}}
	packet := CabPacket{Schema: SchemaCab, Device: "sp-1", At: at, Digest: "d",
		Fields: []RegisterField{{Field: "F1", Customer: "C1", Name: "Long", Boundary: Boundary{{ring}}}}, Machines: []RegisterMachine{{Machine: "sp-1", Name: "One", HopperM3: 6, Kind: "spreader"}},
		Products: []RegisterProduct{{Product: "lime", Name: "Lime", Form: "powder"}}, Customers: []CabCustomer{{"C1", "Invented farm"}}, Stockpile: []CabStockpile{{"S1", "lime"}},
		Jobs:     []CabJob{{RegisterJob{Job: "J1", Customer: "C1", Fields: []FieldID{"F1"}, Product: "lime", SetRateKgHa: 2500}, "ordered"}},
		Settings: []SettingChanged{{Product: "lime", BoutWidthM: 12, SetRateKgHa: 2500}}, Catch: []CabTest{{at, json.RawMessage("{}")}}, Checks: []CabTest{{at, json.RawMessage("{}")}},
		Drift: []CabDrift{{Product: "lime", State: "watch", FlowRatio: 1.1, ChangeLoad: 3}}, Notices: []NoticeRaised{{Notice: "N1", Machine: "sp-1", Kind: "check", Text: "look"}},
		Loads: []CabLoad{{"L1", "lime", 4000, at, "ld-1"}}, Rates: map[string]CabRates{"R1": {2500, 2400, 2600}}}
	for name, value := range map[string]any{
		"cab.ask": CabAsk{"d"}, "cab.packet": packet, "enrol.request": EnrolRequest{"sp-1", "code", "key"}, "enrol.answer": EnrolAnswer{"sp-1", "own", "no", "ask"},
	} {
		schema := exchangeSchema(t, name)
		raw, err := json.Marshal(value)
		if err != nil {
			t.Fatal(err)
		}
		v, err := jsonschema.UnmarshalJSON(bytes.NewReader(raw))
		if err != nil {
			t.Fatal(err)
		}
		if err := schema.Validate(v); err != nil {
			t.Errorf("%s: %v", name, err)
		}
		for key := range v.(map[string]any) {
			if schema.Properties[key] == nil {
				t.Errorf("%s: the document does not know %s", name, key)
				continue
			}
			was := v.(map[string]any)[key]
			v.(map[string]any)[key] = true
			if schema.Validate(v) == nil {
				t.Errorf("%s: %s may be anything", name, key)
			}
			v.(map[string]any)[key] = was
			if slices.Contains(schema.Required, key) {
				delete(v.(map[string]any), key)
				if schema.Validate(v) == nil {
					t.Errorf("%s: %s may be missing", name, key)
				}
				v.(map[string]any)[key] = was
			}
		}
	}
	if s := exchangeSchema(t, "cab.packet"); len(s.Required) != 16 { // all but rates
		t.Errorf("required: %v", s.Required)
	}
}

func exchangeSchema(t *testing.T, name string) *jsonschema.Schema {
	t.Helper()
	doc, err := jsonschema.UnmarshalJSON(bytes.NewReader(AsyncAPI()))
	if err != nil {
		t.Fatal(err)
	}
	c := jsonschema.NewCompiler()
	c.DefaultDraft(jsonschema.Draft7)
	c.AssertFormat()
	if err := c.AddResource("mem:asyncapi", doc); err != nil {
		t.Fatal(err)
	}
	s, err := c.Compile("mem:asyncapi#/components/schemas/" + name)
	if err != nil {
		t.Fatal(err)
	}
	return s
}
