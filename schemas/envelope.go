package schemas

import (
	"bytes"
	"encoding/json"
	"fmt"
	"strconv"
	"strings"
	"time"
	"unicode/utf8"

	"github.com/tidwall/gjson"
	"hopperbook/schemas/fault"
)

// MaxEventBytes bounds one event; a pass log of an hour at 5 Hz stays well
// under it.
const MaxEventBytes = 4 << 20

// maxDepth bounds nesting, so that no input can exhaust the stack.
const maxDepth = 64

// Identity is what makes an event one and the same: its source and the
// sequence number the source gave it (1, 2, ... without a gap).
type Identity struct {
	Source   Source
	Sequence int64
}

// String writes the identity as "source#sequence".
func (i Identity) String() string { return fmt.Sprintf("%s#%d", i.Source, i.Sequence) }

// ParseIdentity is the inverse of Identity.String.
func ParseIdentity(s string) (Identity, bool) {
	cut := strings.LastIndexByte(s, '#')
	if cut < 0 {
		return Identity{}, false
	}
	seq, ok := parseSequence(s[cut+1:])
	id := Identity{Source(s[:cut]), seq}
	return id, ok && id.Source.valid()
}

// Event is one event as it came, with its envelope read. Raw and Data are not
// to be changed.
type Event struct {
	Identity
	ID      EventID
	Type    EventType
	Version int
	Time    time.Time // UTC
	Raw     []byte    // the whole CloudEvents JSON object, byte for byte
	Data    string    // the JSON text of data
}

// Machine is the machine the event belongs to: data.machine when it says so,
// else the device of its source; "" when neither names one.
func (e *Event) Machine() MachineID {
	if m := gjson.Get(e.Data, "machine"); m.Type == gjson.String {
		return MachineID(m.Str)
	}
	device, _ := e.Source.Device()
	return MachineID(device)
}

// DecodeData reads an event's data as its Go type, the one named in the
// catalogue beside the event's type. Data that Read accepts always decodes.
func DecodeData[T any](e *Event) (T, error) {
	var v T
	text := []byte(e.Data)
	if info, known := lookup(e.Type); known {
		text = knownOnly(nil, &info.Data, gjson.Parse(e.Data))
	}
	if err := json.Unmarshal(text, &v); err != nil {
		return v, fault.New("read the data of "+e.Identity.String(), fault.Input, err, "")
	}
	return v, nil
}

// knownOnly appends v without the members the contract does not know:
// encoding/json takes NET_KG for net_kg, and the contract does not.
func knownOnly(dst []byte, r *Rule, v gjson.Result) []byte {
	switch {
	case r.Kind == KindObject && len(r.Fields) > 0 && v.IsObject():
		first := len(dst) + 1
		dst = append(dst, '{')
		v.ForEach(func(key, member gjson.Result) bool {
			if i, known := r.index[key.String()]; known {
				dst = comma(dst, first)
				dst = append(append(dst, key.Raw...), ':')
				dst = knownOnly(dst, &r.Fields[i], member)
			}
			return true
		})
		return append(dst, '}')
	case r.Kind == KindList && r.Elem.Kind == KindObject && v.IsArray():
		first := len(dst) + 1
		dst = append(dst, '[')
		v.ForEach(func(_, member gjson.Result) bool {
			dst = knownOnly(comma(dst, first), r.Elem, member)
			return true
		})
		return append(dst, ']')
	}
	return append(dst, v.Raw...)
}

func comma(dst []byte, first int) []byte {
	if len(dst) > first {
		return append(dst, ',')
	}
	return dst
}

// Device is the device of a source /devices/<device>/<install>.
func (s Source) Device() (DeviceID, bool) {
	rest, ok := strings.CutPrefix(string(s), "/devices/")
	device, _, _ := strings.Cut(rest, "/")
	return DeviceID(device), ok
}

// sourcePattern is the grammar of Source.valid, for the JSON Schemas.
const sourcePattern = `^(/devices/[a-z0-9][a-z0-9_-]{0,47}/[a-z0-9][a-z0-9_-]{0,47}|/office/[a-z0-9][a-z0-9_-]{0,47}|/files/[0-9a-f]{64})$`

func (s Source) valid() bool {
	parts := strings.Split(string(s), "/")
	switch {
	case len(parts) == 4 && parts[1] == "devices":
		return parts[0] == "" && ValidToken(parts[2]) && ValidToken(parts[3])
	case len(parts) == 3 && parts[1] == "office":
		return parts[0] == "" && ValidToken(parts[2])
	case len(parts) == 3 && parts[1] == "files":
		return parts[0] == "" && validSHA256(parts[2])
	}
	return false
}

// DeviceSource is the source of a device's install.
func DeviceSource(d DeviceID, install string) Source {
	return Source("/devices/" + string(d) + "/" + install)
}

const sequencePattern = `^[1-9][0-9]{0,17}$`

func parseSequence(s string) (int64, bool) {
	if len(s) == 0 || len(s) > 18 || s[0] == '0' {
		return 0, false
	}
	n, err := strconv.ParseInt(s, 10, 64)
	return n, err == nil && n > 0 && s[0] != '+'
}

const schemaURN = "urn:hopperbook:"

// shortSchema is TYPE/VERSION, which Read also takes for a dataschema; what
// is written is the URN, since CloudEvents wants an absolute URI there.
func shortSchema(t EventType, version int) string { return string(t) + "/" + strconv.Itoa(version) }

func parseDataSchema(s string) (t EventType, version int, ok bool) {
	typ, number, _ := strings.Cut(strings.TrimPrefix(s, schemaURN), "/")
	n, ok := parseSequence(number)
	return EventType(typ), int(n), ok && n < 1000
}

// Read checks raw against the whole contract and reads its envelope. On a
// violation the Event still carries what could be read of its identity, so
// that a rejection can be found again. Read keeps raw; it does not copy it.
func Read(raw []byte) (Event, *Violation) {
	e := Event{Raw: raw}
	if v := wellFormed(raw); v != nil {
		return e, v
	}
	env, bad := readEnvelope(gjson.ParseBytes(raw))
	e.Identity, e.ID, e.Type, e.Version, e.Time, e.Data = env.Identity, env.ID, env.Type, env.Version, env.Time, env.Data
	if bad != nil {
		return e, bad
	}
	info, known := lookup(e.Type)
	switch {
	case !known:
		return e, &Violation{"/type", "known", fmt.Sprintf("is %q, which this program does not know; update it, or correct the type", e.Type)}
	case e.Version != info.Version:
		return e, &Violation{"/dataschema", "version", fmt.Sprintf("is version %d of %s, this program reads version %d; update the older of the two", e.Version, e.Type, info.Version)}
	}
	return e, info.checkData(env.data)
}

func wellFormed(raw []byte) *Violation {
	switch {
	case len(raw) > MaxEventBytes:
		return &Violation{"", "size", fmt.Sprintf("has %d bytes, at most %d are allowed; split the pass log", len(raw), MaxEventBytes)}
	case !utf8.Valid(raw):
		return &Violation{"", "utf8", "is not UTF-8 text; write the file as UTF-8"}
	case tooDeep(raw):
		return &Violation{"", "depth", fmt.Sprintf("is nested deeper than %d levels", maxDepth)}
	case !gjson.ValidBytes(raw):
		return &Violation{"", "json", "is not a JSON object: cut off or miswritten (NaN and Infinity are not JSON); send it again whole"}
	}
	return nil
}

// tooDeep counts brackets only when there are enough of them to matter.
func tooDeep(raw []byte) bool {
	if bytes.Count(raw, []byte{'['})+bytes.Count(raw, []byte{'{'}) <= maxDepth {
		return false
	}
	depth, inText := 0, false
	for i := 0; i < len(raw); i++ {
		switch c := raw[i]; {
		case inText && c == '\\':
			i++
		case c == '"':
			inText = !inText
		case inText:
		case c == '[' || c == '{':
			if depth++; depth > maxDepth {
				return true
			}
		case c == ']' || c == '}':
			depth--
		}
	}
	return false
}

type envelope struct {
	Event
	data gjson.Result
}

// field reads one attribute; it returns what is wrong with it, or "".
func (e *envelope) field(name string, v gjson.Result) (help string) {
	s := v.Str
	ok := v.Type == gjson.String
	switch name {
	case "specversion":
		return unless(ok && s == "1.0", `must be "1.0" (CloudEvents 1.0)`)
	case "id":
		e.ID = EventID(s)
		return unless(ok && validULID(s), "must be a ULID of 26 characters")
	case "source":
		src := Source(s)
		if ok = ok && src.valid(); ok {
			e.Source = src
		}
		return unless(ok, "must be /devices/<device>/<install>, /office/<install> or /files/<sha-256>")
	case "sequence":
		n, good := parseSequence(s)
		if ok = ok && good; ok {
			e.Sequence = n
		}
		return unless(ok, `must be text with a whole number from 1 up, like "17"`)
	case "type":
		e.Type = EventType(s)
		return unless(ok && s != "", "must be the name of an event type")
	case "time":
		t, good := parseTime(s)
		e.Time = t
		return unless(ok && good, "must be a time like 2026-03-01T08:30:00Z")
	case "dataschema":
		typ, version, good := parseDataSchema(s)
		e.Version = version
		return unless(ok && good && (typ == e.Type || e.Type == ""), "must be urn:hopperbook:TYPE/VERSION, like urn:hopperbook:load.weighed/1, of the event's type")
	case "data":
		e.data, e.Data = v, v.Raw
	}
	return ""
}

func unless(ok bool, help string) string {
	if ok {
		return ""
	}
	return help
}

// envelopeFields are the required attributes, type before dataschema.
var envelopeFields = [...]string{"specversion", "id", "source", "sequence", "type", "time", "dataschema", "data"}

func readEnvelope(v gjson.Result) (envelope, *Violation) {
	var e envelope
	if !v.IsObject() {
		return e, &Violation{"", "type", "must be a JSON object, is " + kindName(v)}
	}
	var got [len(envelopeFields)]gjson.Result
	var bad *Violation
	v.ForEach(func(key, member gjson.Result) bool {
		name := key.String()
		for i, f := range envelopeFields {
			if f != name {
				continue
			}
			if got[i].Exists() && bad == nil {
				bad = &Violation{"/" + f, "duplicate", "stands twice"}
			}
			got[i] = member
		}
		return true
	})
	for i, f := range envelopeFields {
		if !got[i].Exists() {
			if bad == nil {
				bad = &Violation{"/" + f, "required", "is missing"}
			}
			continue
		}
		if help := e.field(f, got[i]); help != "" && bad == nil {
			bad = &Violation{"/" + f, f, help}
		}
	}
	return e, bad
}

// wire is the envelope as it is written, attributes in a fixed order.
type wire struct {
	SpecVersion string    `json:"specversion"`
	ID          EventID   `json:"id"`
	Source      Source    `json:"source"`
	Sequence    string    `json:"sequence"`
	Type        EventType `json:"type"`
	Time        string    `json:"time"`
	DataSchema  string    `json:"dataschema"`
	Data        any       `json:"data"`
}

// Write makes the JSON of an event of the type's current version. It does not
// check the data; Read does.
func Write(id Identity, eventID EventID, t EventType, at time.Time, data any) ([]byte, error) {
	info, known := lookup(t)
	if !known {
		return nil, fault.Newf("write an event", fault.Input, fmt.Sprintf("unknown type %q", t), "")
	}
	raw, err := json.Marshal(wire{"1.0", eventID, id.Source, strconv.FormatInt(id.Sequence, 10), t,
		at.UTC().Format(time.RFC3339Nano), info.DataSchema(), data})
	if err != nil {
		return nil, fault.New("write an event", fault.Input, err, "")
	}
	return raw, nil
}
