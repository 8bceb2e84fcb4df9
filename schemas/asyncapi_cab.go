package schemas

import (
	"encoding/json"
	"maps"
	"reflect"
	"strings"
	"time"
)

// exchange is a request and its answer, or a call without one, beside the
// events: what the hub's other channels carry.
type exchange struct {
	channel, address, doc string
	params                []string
	ask, answer           string // messages; "": none
	send                  bool   // the hub speaks first
	summary               string
}

// cabExchanges are the channels of enrolment and of the tablets' packets.
func cabExchanges() []exchange {
	const c, d = "{contractor}", "{device}"
	return []exchange{
		{"cab", CabSubject(c, d), "A tablet asks for what it keeps of the office. The answer comes to a reply subject below " + DeviceInbox(c, d) + ", and nowhere else.",
			[]string{"contractor", "device"}, "cab.ask", "cab.packet", false, "The hub gives a tablet its packet, or an empty body where the digest is still right."},
		{"cabnews", CabNewsSubject(c, d), "The hub says that another packet is to be had; the body is empty.",
			[]string{"contractor", "device"}, "cab.news", "", true, "The hub says that a tablet's packet has changed."},
		{"enrol", EnrolSubject(c), "A tablet hands in its one-time code and the public part of its key, over a connection as user " + EnrolUser +
			" that can do nothing else. The answer comes to a reply subject below " + EnrolInbox + ", and nowhere else.",
			[]string{"contractor"}, "enrol.request", "enrol.answer", false, "The hub lets a tablet in, or says why not."},
	}
}

// addExchanges puts them into the parts of the document.
func addExchanges(channels, operations, messages, payloads node) {
	for name, of := range map[string]struct {
		summary string
		body    any
	}{
		"cab.ask":       {"Asks for a packet; with the digest of the one that is held, if any.", CabAsk{}},
		"cab.packet":    {"What a tablet keeps of the office, gzipped. The body is empty where the digest asked by is still right, or where headers bear a fault.", CabPacket{}},
		"cab.news":      {"Another packet is to be had.", nil},
		"enrol.request": {"A one-time code and the public NKey.", EnrolRequest{}},
		"enrol.answer":  {"The device is enrolled, or why not.", EnrolAnswer{}},
	} {
		m := node{"name": name, "summary": of.summary, "contentType": "application/json"}
		if of.body == nil {
			m["payload"] = node{"type": "string", "maxLength": 0}
		} else {
			payloads[name] = shapeOf(reflect.TypeOf(of.body))
			m["payload"] = ref("schemas", name)
		}
		messages[name] = m
	}
	messages["cab.packet"].(node)["headers"] = ref("schemas", "fault")
	payloads["fault"] = faultSchema()
	for _, x := range cabExchanges() {
		ch := node{"address": x.address, "description": x.doc, "messages": node{x.ask: ref("messages", x.ask)}, "parameters": node{}}
		for _, p := range x.params {
			ch["parameters"].(node)[p] = ref("parameters", p)
		}
		channels[x.channel] = ch
		action := "receive"
		if x.send {
			action = "send"
		}
		op := operation(action, x.channel, x.summary)
		if x.answer != "" { // its address is the request's reply subject
			channels[x.channel+".reply"] = node{"address": nil, "description": "The reply subject of the request.", "messages": node{x.answer: ref("messages", x.answer)}}
			op["reply"] = node{"channel": node{"$ref": "#/channels/" + x.channel + ".reply"}}
		}
		operations[action+"."+x.channel] = op
	}
}

// faultSchema are the headers of an answer that bears a fault.
func faultSchema() node {
	text := func(doc string) node { return node{"type": "string", "description": doc} }
	return node{"type": "object", "properties": node{HeaderFault: text("its code; no header, no fault"), HeaderFaultText: text("what went wrong"), HeaderFaultHint: text("what to do")}}
}

// shapeOf is the schema of a Go value's JSON: names, types, and what is always
// there. What an event bears keeps the event's rules.
func shapeOf(t reflect.Type) node {
	switch {
	case t == reflect.TypeFor[time.Time]():
		return node{"type": "string", "format": "date-time"}
	case t == reflect.TypeFor[json.RawMessage]():
		return node{"type": "object"}
	}
	switch t.Kind() {
	case reflect.String:
		return node{"type": "string"}
	case reflect.Float64:
		return node{"type": "number"}
	case reflect.Int:
		return node{"type": "integer"}
	case reflect.Slice:
		return node{"type": "array", "items": shapeOf(t.Elem())}
	case reflect.Map:
		return node{"type": "object", "additionalProperties": shapeOf(t.Elem())}
	}
	if _, ruled := t.Field(0).Tag.Lookup("rule"); ruled {
		r := objectRule(t)
		return valueSchema(&r, draft07)
	}
	properties, required := node{}, []string{}
	for i := range t.NumField() {
		f := t.Field(i)
		shape := shapeOf(f.Type)
		if f.Anonymous { // its fields stand beside the others
			maps.Copy(properties, shape["properties"].(node))
			required = append(required, shape["required"].([]string)...)
			continue
		}
		name, options, _ := strings.Cut(f.Tag.Get("json"), ",")
		if properties[name] = shape; options != "omitempty" {
			required = append(required, name)
		}
	}
	return node{"type": "object", "properties": properties, "required": required}
}
