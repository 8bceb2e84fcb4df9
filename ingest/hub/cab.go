package hub

import (
	"bytes"
	"compress/gzip"
	"context"
	"encoding/json"
	"errors"
	"strings"

	"github.com/nats-io/nats.go"

	"hopperbook/schemas"
	"hopperbook/schemas/fault"
)

// CabDesk makes the packets of the tablets. A nil packet means that the one
// with the digest asked by is still right.
type CabDesk interface {
	Cab(ctx context.Context, d schemas.DeviceID, digest string) (*schemas.CabPacket, error)
}

// ServeCab answers tablets that ask for their packet, each on its own, until
// the connection closes. It answers only where the device itself may listen:
// a reply subject is the asker's choice, and must not become a way to speak on
// another's subjects with the hub's rights.
func (h *Hub) ServeCab(ctx context.Context, desk CabDesk) error {
	prefix := schemas.CabSubject(h.cfg.Contractor, "")
	_, err := h.conn.Subscribe(prefix+"*", func(m *nats.Msg) {
		device := schemas.DeviceID(strings.TrimPrefix(m.Subject, prefix))
		if !strings.HasPrefix(m.Reply, schemas.DeviceInbox(h.cfg.Contractor, device)+".") {
			return
		}
		go h.answerCab(ctx, desk, device, m)
	})
	if err == nil {
		err = h.conn.Flush()
	}
	if err != nil {
		return fault.New("serve the tablets' packets", fault.Unavailable, err, "restart the hub")
	}
	return nil
}

func (h *Hub) answerCab(ctx context.Context, desk CabDesk, device schemas.DeviceID, m *nats.Msg) {
	var ask schemas.CabAsk
	answer := &nats.Msg{Subject: m.Reply}
	err := json.Unmarshal(m.Data, &ask)
	if err != nil {
		err = fault.New("read the request", fault.Input, err, "update the tablet's program")
	}
	var packet *schemas.CabPacket
	if err == nil {
		packet, err = desk.Cab(ctx, device, ask.Digest)
	}
	if err == nil && packet != nil {
		answer.Data, err = packed(packet)
	}
	if err == nil && len(answer.Data) > maxPayload {
		err = fault.Newf("send the packet", fault.Input, "it is larger than the bus takes", "boundaries of fewer points make it smaller")
	}
	if err != nil {
		answer.Data, answer.Header = nil, nats.Header{schemas.HeaderFault: {fault.CodeOf(err).String()}, schemas.HeaderFaultText: {err.Error()}, schemas.HeaderFaultHint: {fault.HintOf(err)}}
	}
	_ = h.conn.PublishMsg(answer) // a tablet that has gone asks again
}

// packed is a packet on the wire: boundaries shrink to a fifth, and the link is
// poor.
func packed(p *schemas.CabPacket) ([]byte, error) {
	var b bytes.Buffer
	zip := gzip.NewWriter(&b)
	err := errors.Join(json.NewEncoder(zip).Encode(p), zip.Close())
	if err != nil {
		return nil, fault.New("send the packet", fault.Internal, err, "")
	}
	return b.Bytes(), nil
}

// CabNews tells a tablet that another packet is to be had.
func (h *Hub) CabNews(d schemas.DeviceID) error {
	if err := h.conn.Publish(schemas.CabNewsSubject(h.cfg.Contractor, d), nil); err != nil {
		return fault.New("tell a tablet of its packet", fault.Unavailable, err, "the bus is gone; restart the hub")
	}
	return nil
}
