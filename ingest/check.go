package ingest

import (
	"bytes"
	"fmt"
	"strings"

	"hopperbook/schemas"
)

// Check holds deliveries against the contract and sorts them into events and
// rejects. It never fails: what cannot be read is a reject, kept whole.
func Check(deliveries []Delivery) Batch {
	var b Batch
	b.Events = make([]Received, 0, len(deliveries))
	for i := range deliveries {
		d := &deliveries[i]
		event, bad := schemas.Read(d.Data)
		id, violation := trusted(d, event.Identity)
		if bad == nil {
			bad = violation
		}
		// Files of events hold one a line, and an export must give back the
		// bytes that came.
		if bad == nil && bytes.ContainsAny(d.Data, "\r\n") {
			bad = &schemas.Violation{Rule: "line", Detail: "holds a line break; publish the event on one line"}
		}
		if bad == nil {
			b.Events = append(b.Events, Received{Event: event, At: d.Received})
			continue
		}
		b.Rejects = append(b.Rejects, Reject{Identity: id, Subject: strings.ToValidUTF8(d.Subject, "?"), Raw: d.Data, Reason: *bad, At: d.Received})
	}
	return b
}

// trusted is the identity a delivery may speak for: the event's own, or,
// where that could not be read, the one its publisher put on the message. A
// device may speak only for its own sources, so that no tablet can advance
// another's mark; the subject, which the server enforces, says which device
// it is.
func trusted(d *Delivery, own schemas.Identity) (schemas.Identity, *schemas.Violation) {
	id := own
	if id.Source == "" || id.Sequence == 0 {
		text, _, _ := strings.Cut(d.MsgID, "@")
		var ok bool
		if id, ok = schemas.ParseIdentity(text); !ok {
			return schemas.Identity{}, nil
		}
	}
	device, ok := schemas.SubjectDevice(d.Subject)
	if !ok || device != schemas.PublishDevice(id.Source) {
		return schemas.Identity{}, &schemas.Violation{Pointer: "/source", Rule: "subject",
			Detail: fmt.Sprintf("is %s, but the message came on subject %s; a device publishes only its own events", id.Source, d.Subject)}
	}
	return id, nil
}
