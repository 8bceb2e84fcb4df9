package link

import (
	"bytes"
	"compress/gzip"
	"context"
	"encoding/json"
	"errors"
	"io"
	"math/rand/v2"
	"time"

	"github.com/nats-io/nats.go"

	"hopperbook/schemas"
	"hopperbook/schemas/fault"
)

// DialOptions say how a connection behaves; the zero value is right in a cab.
type DialOptions struct {
	Up      func()      // the connection stands, for the first time or again
	Down    func(error) // it was lost (nil: closed), or could not be made
	Refused func(error) // the hub does not admit this tablet: revoked, or unknown
	// MinWait and MaxWait bound the pause between two tries, which doubles
	// from one to the other and is drawn between half and whole, so that a
	// crew's tablets do not come back in one instant; 0: 500 ms and 30 s.
	MinWait, MaxWait time.Duration
	// Dialer replaces the network, for tests with a bad one; nil: TCP.
	Dialer nats.CustomDialer
	// PingEvery finds a dead link: after two pings without an answer; 0: 20 s.
	PingEvery time.Duration
}

const (
	defaultMinWait = 500 * time.Millisecond
	defaultMaxWait = 30 * time.Second
	defaultPing    = 20 * time.Second
	dialTimeout    = 15 * time.Second // handshakes over a poor signal
)

// Dial connects to the tablet's hub and keeps trying for ever: it gives a
// connection at once, also without a link, and the calls of the options tell
// how it stands. It ends when the connection is closed. The key is proven, the
// hub is known by the pinned CA and nothing else, and inboxes lie under the
// device's own prefix.
func Dial(ctx context.Context, c Credentials, o DialOptions) (*nats.Conn, error) {
	if err := ctx.Err(); err != nil {
		return nil, fault.New("connect to the hub", fault.Canceled, err, "")
	}
	if err := c.Validate(); err != nil {
		return nil, err
	}
	public, err := c.publicKey()
	if err != nil {
		return nil, err
	}
	opts := append(o.natsOptions(),
		nats.Name("hopperbook tablet "+string(c.Device)),
		nats.Nkey(public, c.sign),
		nats.CustomInboxPrefix(schemas.DeviceInbox(c.Contractor, c.Device)))
	url := "nats://" + c.Hub
	if c.CAPEM != "" {
		url = "tls://" + c.Hub
		ca, err := pinnedCA(c.CAPEM)
		if err != nil {
			return nil, err
		}
		opts = append(opts, func(n *nats.Options) error {
			n.TLSConfig = pinnedConfig(ca)
			return nil
		})
	}
	conn, err := nats.Connect(url, opts...)
	if err != nil {
		return nil, fault.New("connect to the hub", fault.Internal, err, "")
	}
	return conn, nil
}

func (o DialOptions) natsOptions() []nats.Option {
	if o.MinWait == 0 {
		o.MinWait = defaultMinWait
	}
	if o.MaxWait == 0 {
		o.MaxWait = defaultMaxWait
	}
	if o.PingEvery == 0 {
		o.PingEvery = defaultPing
	}
	up := func(*nats.Conn) {
		if o.Up != nil {
			o.Up()
		}
	}
	opts := []nats.Option{
		nats.RetryOnFailedConnect(true), nats.MaxReconnects(-1), nats.IgnoreAuthErrorAbort(), nats.IgnoreDiscoveredServers(),
		nats.ReconnectBufSize(-1), // what waits for a link waits in the outbox
		nats.Timeout(dialTimeout), nats.PingInterval(o.PingEvery), nats.MaxPingsOutstanding(2),
		nats.CustomReconnectDelay(o.wait),
		nats.ConnectHandler(up), nats.ReconnectHandler(up),
		nats.DisconnectErrHandler(func(_ *nats.Conn, err error) { o.down(err) }),
		nats.ReconnectErrHandler(func(_ *nats.Conn, err error) { o.down(err) }),
		nats.ErrorHandler(func(_ *nats.Conn, _ *nats.Subscription, err error) {
			if isRefusal(err) {
				o.refused(err)
			}
		}),
	}
	if o.Dialer != nil {
		opts = append(opts, nats.SetCustomDialer(o.Dialer))
	}
	return opts
}

func (o DialOptions) down(err error) {
	if isRefusal(err) {
		o.refused(err)
	}
	if o.Down != nil {
		o.Down(err)
	}
}

func (o DialOptions) refused(err error) {
	if o.Refused != nil {
		o.Refused(fault.New("connect to the hub", fault.Conflict, err, "the office has revoked this tablet or given its name to another; entries stay here until hopperbook-tablet enrol has taken a new code"))
	}
}

func isRefusal(err error) bool {
	return errors.Is(err, nats.ErrAuthorization) || errors.Is(err, nats.ErrAuthExpired) || errors.Is(err, nats.ErrAuthRevoked)
}

// wait is the pause before a try, after so many that failed.
func (o DialOptions) wait(tries int) time.Duration {
	wait := o.MinWait
	for i := 1; i < tries && wait < o.MaxWait; i++ {
		wait *= 2
	}
	wait = min(wait, o.MaxWait)
	return wait/2 + rand.N(wait/2+1)
}

// packetWait is longer than an office takes to work a season out.
const packetWait = 2 * time.Minute

// FetchPacket asks the hub for the tablet's packet; nil when the one with the
// digest is still right. conn is one of Dial.
func FetchPacket(ctx context.Context, conn *nats.Conn, c Credentials, digest string) (*schemas.CabPacket, error) {
	const op = "fetch the office's copies"
	body, err := json.Marshal(schemas.CabAsk{Digest: digest})
	if err != nil {
		return nil, fault.New(op, fault.Internal, err, "")
	}
	// An answer that was lost with a link never comes.
	ctx, stop := context.WithTimeout(ctx, packetWait)
	defer stop()
	reply, err := conn.RequestWithContext(ctx, schemas.CabSubject(c.Contractor, c.Device), body)
	switch {
	case errors.Is(err, nats.ErrNoResponders):
		return nil, fault.New(op, fault.Unavailable, err, "the hub is starting, or has no copies to give")
	case err != nil:
		return nil, fault.New(op, fault.Unavailable, err, "it is tried again when there is a link")
	}
	if code := reply.Header.Get(schemas.HeaderFault); code != "" {
		return nil, fault.Newf(op, fault.ParseCode(code), reply.Header.Get(schemas.HeaderFaultText), reply.Header.Get(schemas.HeaderFaultHint))
	}
	return readPacket(reply.Data, c.Device)
}

// maxPacketBytes bounds what an answer may unpack to.
const maxPacketBytes = 256 << 20

// readPacket reads an answer: JSON, as a rule gzipped; nil for an empty one.
func readPacket(data []byte, device schemas.DeviceID) (*schemas.CabPacket, error) {
	wrong := func(err error) error {
		return fault.New("read the office's copies", fault.Input, err, "hub and tablet are of different versions; update the older")
	}
	if len(data) == 0 {
		return nil, nil
	}
	if bytes.HasPrefix(data, []byte{0x1f, 0x8b}) {
		zip, err := gzip.NewReader(bytes.NewReader(data))
		if err != nil {
			return nil, wrong(err)
		}
		if data, err = io.ReadAll(io.LimitReader(zip, maxPacketBytes)); err != nil {
			return nil, wrong(err)
		}
	}
	var p schemas.CabPacket
	if err := json.Unmarshal(data, &p); err != nil {
		return nil, wrong(err)
	}
	if p.Schema != schemas.SchemaCab || p.Device != device {
		return nil, wrong(errors.New("it is a " + p.Schema + " of " + string(p.Device)))
	}
	return &p, nil
}

// WatchNews calls news whenever the hub has another packet for the tablet; a
// lost call is made up for by asking whenever the link is up again.
func WatchNews(conn *nats.Conn, c Credentials, news func()) (*nats.Subscription, error) {
	sub, err := conn.Subscribe(schemas.CabNewsSubject(c.Contractor, c.Device), func(*nats.Msg) { news() })
	if err != nil {
		return nil, fault.New("listen for the office's news", fault.Unavailable, err, "")
	}
	return sub, nil
}
