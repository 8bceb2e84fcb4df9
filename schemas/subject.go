package schemas

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"sort"
	"strconv"
	"strings"

	"hopperbook/schemas/fault"
)

// NATS subjects of the contract. Events travel on
// book.<contractor>.<device>.<type>; the type brings its own dots, so a
// subject has at least five tokens.
const (
	// SubjectEvents matches every event of every contractor.
	SubjectEvents = "book.>"
	// HeaderMsgID carries an event's MessageID.
	HeaderMsgID = "Nats-Msg-Id"
	// HeaderContentType and ContentType say "structured mode" of the
	// CloudEvents NATS binding.
	HeaderContentType = "Content-Type"
	ContentType       = "application/cloudevents+json"
)

// EventSubject is where an event of a device is published. A type that is not
// made of subject tokens (an event that will be rejected) travels as "unknown".
func EventSubject(c ContractorID, d DeviceID, t EventType) string {
	return "book." + string(c) + "." + string(d) + "." + typeTokens(t)
}

func typeTokens(t EventType) string {
	for token := range strings.SplitSeq(string(t), ".") {
		if !ValidToken(token) {
			return "unknown"
		}
	}
	return string(t)
}

// MarksSubject is where the hub says, after each commit, up to which sequence
// the book holds everything of a device's sources.
func MarksSubject(c ContractorID, d DeviceID) string {
	return "marks." + string(c) + "." + string(d)
}

// SubjectDevice is the device token of an event's subject.
func SubjectDevice(subject string) (DeviceID, bool) {
	parts := strings.SplitN(subject, ".", 4)
	if len(parts) < 4 || parts[0] != "book" {
		return "", false
	}
	return DeviceID(parts[2]), true
}

// PublishDevice is the device token an event of a source travels under: its
// device, or "_office" or "_files", which no device can be called.
func PublishDevice(s Source) DeviceID {
	if d, ok := s.Device(); ok {
		return d
	}
	first, _, _ := strings.Cut(strings.TrimPrefix(string(s), "/"), "/")
	return DeviceID("_" + first)
}

// MessageID is "source#sequence@digest": the identity, and enough of the
// bytes' digest that the stream's duplicate window keeps contradicting events
// apart. What follows the identity's "@" has no meaning to who receives it.
func MessageID(id Identity, raw []byte) string {
	sum := sha256.Sum256(raw)
	return id.String() + "@" + hex.EncodeToString(sum[:8])
}

// Mark is what the hub says of one source: the book holds every event up to
// UpTo, and those of the ranges Above (inclusive, in order).
type Mark struct {
	Source Source     `json:"source"`
	UpTo   int64      `json:"up_to"`
	Above  [][2]int64 `json:"above,omitempty"`
}

// Holds reports whether the book has the sequence.
func (m Mark) Holds(seq int64) bool {
	if seq <= m.UpTo {
		return true
	}
	i := sort.Search(len(m.Above), func(i int) bool { return m.Above[i][1] >= seq })
	return i < len(m.Above) && m.Above[i][0] <= seq
}

// String is the mark as documents carry it: SOURCE#UPTO, and ",FROM-TO" for every range above.
func (m Mark) String() string {
	var b strings.Builder
	fmt.Fprintf(&b, "%s#%d", m.Source, m.UpTo)
	for _, r := range m.Above {
		fmt.Fprintf(&b, ",%d-%d", r[0], r[1])
	}
	return b.String()
}

// ParseMark reads what String writes, and nothing else.
func ParseMark(text string) (Mark, error) {
	bad := fault.Newf("read the mark "+strconv.Quote(text), fault.Input, "it is no SOURCE#UPTO,FROM-TO with ranges in order", "")
	at := strings.LastIndexByte(text, '#')
	if at < 1 {
		return Mark{}, bad
	}
	parts := strings.Split(text[at+1:], ",")
	m := Mark{Source: Source(text[:at])}
	var err error
	if m.UpTo, err = strconv.ParseInt(parts[0], 10, 64); err != nil || m.UpTo < 0 {
		return Mark{}, bad
	}
	last := m.UpTo
	for _, part := range parts[1:] {
		low, high, _ := strings.Cut(part, "-")
		from, errFrom := strconv.ParseInt(low, 10, 64)
		to, errTo := strconv.ParseInt(high, 10, 64)
		if errFrom != nil || errTo != nil || from <= last || to < from {
			return Mark{}, bad
		}
		m.Above, last = append(m.Above, [2]int64{from, to}), to
	}
	if m.String() != text {
		return Mark{}, bad
	}
	return m, nil
}
