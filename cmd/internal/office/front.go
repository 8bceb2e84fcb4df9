package office

import (
	"context"
	"encoding/json"
	"io"
	"slices"
	"time"

	"hopperbook/cmd/internal/desk"
	"hopperbook/ingest/hub"
	"hopperbook/reports"
	"hopperbook/schemas"
	"hopperbook/schemas/fault"
)

// The questions that the hub answers, not the book.
const (
	Enrol   = "enrol"   // a one-time code for a device; asked with EnrolParams, answered with hub.GivenCode
	Revoke  = "revoke"  // asked with RevokeParams, answered with hub.Device
	Devices = "devices" // who may speak on the bus, and what was refused
)

// EnrolParams say which code is wanted.
type EnrolParams struct {
	Device   schemas.DeviceID `json:"device"`
	GoodForS float64          `json:"good_for_s,omitempty"` // 0: hub.DefaultCodeLife
	Address  string           `json:"address,omitempty"`    // HOST:PORT; "": where the hub was last started
}

// RevokeParams say whom to revoke.
type RevokeParams struct {
	Device schemas.DeviceID `json:"device"`
}

// front answers what a hub is asked: the desk's questions from the book, its
// own about who may speak.
type front struct {
	*desk.Desk
	bus *hub.Hub
}

// Questions implements hub.Desk.
func (f front) Questions() []string {
	return append(slices.Clone(f.Desk.Questions()), Enrol, Revoke, Devices)
}

// Answer implements hub.Desk.
func (f front) Answer(ctx context.Context, question string, params []byte, w io.Writer) error {
	var answer any
	var err error
	switch question {
	case Enrol:
		answer, err = f.enrol(params)
	case Revoke:
		answer, err = f.revoke(params)
	case Devices:
		answer, err = f.devices()
	default:
		return f.Desk.Answer(ctx, question, params, w)
	}
	if err != nil {
		return err
	}
	enc := json.NewEncoder(w)
	enc.SetIndent("", " ")
	return fault.Wrap("write the answer", enc.Encode(answer))
}

func (f front) enrol(params []byte) (any, error) {
	var p EnrolParams
	if err := json.Unmarshal(params, &p); err != nil {
		return nil, fault.New("answer enrol", fault.Usage, err, "")
	}
	return f.bus.NewCode(p.Device, time.Duration(p.GoodForS*float64(time.Second)), p.Address)
}

func (f front) revoke(params []byte) (any, error) {
	var p RevokeParams
	if err := json.Unmarshal(params, &p); err != nil {
		return nil, fault.New("answer revoke", fault.Usage, err, "")
	}
	r, err := f.bus.Registry()
	if err != nil {
		return nil, err
	}
	return r.Revoke(p.Device)
}

func (f front) devices() (any, error) {
	r, err := f.bus.Registry()
	if err != nil {
		return nil, err
	}
	a := reports.DevicesAnswer{Schema: reports.SchemaDevices, Devices: []reports.EnrolledDevice{}, Refused: []reports.RefusedTry{}}
	on, at := f.bus.Connected(), map[schemas.DeviceID]int{}
	for _, d := range r.Devices() {
		one := reports.EnrolledDevice{Device: d.Device, State: reports.DeviceEnrolled, Connected: on[d.Device], PublicKey: d.PublicKey, EnrolledAt: d.EnrolledAt, RevokedAt: d.RevokedAt}
		if !d.RevokedAt.IsZero() {
			one.State = reports.DeviceRevoked
		}
		at[d.Device] = len(a.Devices)
		a.Devices = append(a.Devices, one)
	}
	for _, c := range r.Codes() {
		if i, ok := at[c.Device]; ok {
			a.Devices[i].CodeExpiresAt = c.ExpiresAt
		} else {
			a.Devices = append(a.Devices, reports.EnrolledDevice{Device: c.Device, State: reports.DeviceCodeGiven, CodeExpiresAt: c.ExpiresAt})
		}
	}
	for _, x := range r.Refused() {
		a.Refused = append(a.Refused, reports.RefusedTry{Reason: string(x.Reason), Text: x.Text, Device: x.Device, Key: x.Key, From: x.From, Subject: x.Subject, Count: x.Count, First: x.First, Last: x.Last})
	}
	return a, nil
}

// AskHub puts a question to the book's hub: the one that runs, or one that
// lives as long as the question.
func AskHub(ctx context.Context, cfg Config, question string, params, v any) error {
	return With(ctx, cfg, func(ctx context.Context, client *hub.Client) error {
		return AskJSON(ctx, remote{client}, question, params, v)
	})
}
