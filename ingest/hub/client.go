package hub

import (
	"errors"
	"time"

	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"

	"hopperbook/ingest"
	"hopperbook/schemas"
	"hopperbook/schemas/fault"
)

// Client is a device's or an office's side of the bus.
type Client struct {
	conn       *nats.Conn
	js         jetstream.JetStream
	contractor schemas.ContractorID
}

// maxPending bounds events sent and not yet taken by the stream.
const maxPending = 2000

// Dial connects to a hub as the office of the contractor ("" is the default),
// by the access that the hub has left in the book's folder. A server of
// somebody's own that knows no keys is joined without.
func Dial(url string, contractor schemas.ContractorID, name string, access Access) (*Client, error) {
	if contractor == "" {
		contractor = DefaultContractor
	}
	conn, err := connect(url, name, access)
	if errors.Is(err, nats.ErrNkeysNotSupported) {
		conn, err = connect(url, name, Access{CAPEM: access.CAPEM})
	}
	if err != nil {
		return nil, err
	}
	js, err := jetstream.New(conn, jetstream.WithPublishAsyncMaxPending(maxPending), jetstream.WithPublishAsyncTimeout(20*time.Second))
	if err != nil {
		conn.Close()
		return nil, fault.New("connect to "+url, fault.Internal, err, "")
	}
	return &Client{conn: conn, js: js, contractor: contractor}, nil
}

// Dial connects to this hub as the office, over the network as others do.
func (h *Hub) Dial(name string) (*Client, error) {
	return Dial(h.url, h.cfg.Contractor, name, h.access)
}

// Close ends the connection.
func (c *Client) Close() { c.conn.Close() }

func (c *Client) message(o *ingest.Outgoing) *nats.Msg {
	return &nats.Msg{
		Subject: schemas.EventSubject(c.contractor, schemas.PublishDevice(o.Source), o.Type),
		Data:    o.Raw,
		Header:  nats.Header{schemas.HeaderMsgID: {schemas.MessageID(o.Identity, o.Raw)}, schemas.HeaderContentType: {schemas.ContentType}},
	}
}
