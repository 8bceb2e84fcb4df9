package hub

import (
	"crypto/sha256"
	"encoding/hex"
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

// Dial connects to a hub as a client of the contractor ("" is the default).
func Dial(url string, contractor schemas.ContractorID, name string) (*Client, error) {
	if contractor == "" {
		contractor = DefaultContractor
	}
	conn, err := connect(url, name)
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

// Close ends the connection.
func (c *Client) Close() { c.conn.Close() }

// msgID is "source#sequence@digest": the identity, and enough of the bytes'
// digest that the server's duplicate window keeps contradicting events apart.
func msgID(o *ingest.Outgoing) string {
	sum := sha256.Sum256(o.Raw)
	return o.Identity.String() + "@" + hex.EncodeToString(sum[:8])
}

func (c *Client) message(o *ingest.Outgoing) *nats.Msg {
	return &nats.Msg{
		Subject: schemas.EventSubject(c.contractor, schemas.PublishDevice(o.Source), o.Type),
		Data:    o.Raw,
		Header:  nats.Header{schemas.HeaderMsgID: {msgID(o)}, schemas.HeaderContentType: {schemas.ContentType}},
	}
}
