package reports

import (
	"cmp"
	"fmt"
	"strconv"
	"time"

	"hopperbook/schemas"
)

// The states of a device.
const (
	DeviceEnrolled  = "enrolled"
	DeviceRevoked   = "revoked"
	DeviceCodeGiven = "code given" // and not used yet; never enrolled before
)

// EnrolledDevice is a tablet as the hub knows it.
type EnrolledDevice struct {
	Device        schemas.DeviceID `json:"device"`
	State         string           `json:"state"`
	Connected     bool             `json:"connected"`
	PublicKey     string           `json:"public_key,omitempty"`
	EnrolledAt    time.Time        `json:"enrolled_at,omitzero"`
	RevokedAt     time.Time        `json:"revoked_at,omitzero"`
	CodeExpiresAt time.Time        `json:"code_expires_at,omitzero"` // of a code that was not used yet
}

// RefusedTry is something the hub refused, how often and when.
type RefusedTry struct {
	Reason  string           `json:"reason"`
	Text    string           `json:"text"`
	Device  schemas.DeviceID `json:"device,omitempty"`
	Key     string           `json:"key,omitempty"`
	From    string           `json:"from,omitempty"`
	Subject string           `json:"subject,omitempty"`
	Count   int              `json:"count"`
	First   time.Time        `json:"first"`
	Last    time.Time        `json:"last"`
}

// DevicesAnswer is who may speak on the bus, and what was refused lately.
type DevicesAnswer struct {
	Schema  string           `json:"schema"` // "hopperbook.devices/1"
	Devices []EnrolledDevice `json:"devices"`
	Refused []RefusedTry     `json:"refused"` // last first
}

// SchemaDevices names the shape of DevicesAnswer's JSON.
const SchemaDevices = "hopperbook.devices/1"

// Devices is the table of the enrolled devices.
func Devices(a DevicesAnswer) Table {
	t := Table{Caption: "Tablets", Columns: []Column{{"device", "Device", false}, {"state", "State", false}, {"connected", "Connected", false},
		{"enrolled_at", "Enrolled", false}, {"revoked_at", "Revoked", false}, {"code_expires_at", "Code good until", false}}}
	for _, d := range a.Devices {
		t.Rows = append(t.Rows, []string{string(d.Device), d.State, yes(d.Connected), moment(d.EnrolledAt), moment(d.RevokedAt), moment(d.CodeExpiresAt)})
	}
	if len(a.Devices) == 0 {
		t.Notes = append(t.Notes, "None is enrolled. Let one in with: hopperbook enrol DEVICE")
	}
	if n := len(a.Refused); n > 0 {
		t.Notes = append(t.Notes, fmt.Sprintf("Something was refused, last on %s: %s. See hopperbook devices --refused.", moment(a.Refused[0].Last), a.Refused[0].Text))
	}
	return t
}

// Refused is the table of what the hub refused.
func Refused(a DevicesAnswer) Table {
	t := Table{Caption: "Refused", Columns: []Column{{"last", "Last", false}, {"count", "Times", true}, {"text", "Why", false}, {"device", "Device", false},
		{"from", "From", false}, {"subject", "Subject", false}, {"key", "Key", false}}}
	for _, r := range a.Refused {
		t.Rows = append(t.Rows, []string{moment(r.Last), strconv.Itoa(r.Count), r.Text, dash(string(r.Device)), dash(r.From), dash(r.Subject), dash(r.Key)})
	}
	if len(a.Refused) == 0 {
		t.Notes = append(t.Notes, "Nothing was refused.")
	}
	return t
}

func dash(s string) string { return cmp.Or(s, "-") }

// moment is an instant to the second, UTC; "-" for none.
func moment(t time.Time) string {
	if t.IsZero() {
		return "-"
	}
	return t.UTC().Format("2006-01-02 15:04:05Z")
}
