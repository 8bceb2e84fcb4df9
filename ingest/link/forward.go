package link

import (
	"context"
	"encoding/json"
	"errors"
	"math/rand/v2"
	"sync"
	"time"

	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"

	"hopperbook/ingest"
	"hopperbook/schemas"
	"hopperbook/schemas/fault"
)

// Outbox is what the forwarder needs of the tablet's outbox; its methods are
// safe for concurrent use.
type Outbox interface {
	Source() schemas.Source
	// After is the events above the sequence that the book is not known to
	// have, in order; at most maxEvents of maxBytes together, the first always.
	After(sequence int64, maxEvents, maxBytes int) ([]ingest.Outgoing, error)
	// Trim takes away what the book has.
	Trim(mark schemas.Mark) error
	// Changed gives a channel that is closed when there may be more to send.
	Changed() <-chan struct{}
}

// ForwardConfig says how events are forwarded. Contractor and Outbox are
// needed, the rest has a default.
type ForwardConfig struct {
	Contractor     schemas.ContractorID
	Outbox         Outbox
	BytesPerSecond int           // the most that is sent on average; 0: no cap
	Window         int           // events sent and not confirmed by the book; 0: 1024
	WindowBytes    int           // their bytes, but one event always goes; 0: 256 KiB
	Silence        time.Duration // without a confirmation until the window is sent again; 0: 10 s
	AckWait        time.Duration // until the stream has not taken an event; 0: 2 min, over a poor link
	Backoff        time.Duration // first bound of the pause after a failure; 0: 200 ms
	MaxBackoff     time.Duration // last bound of the pause; 0: 30 s

	Seed uint64           // of the jitter, different on every tablet
	Now  func() time.Time // nil: time.Now
}

func (c *ForwardConfig) fill() {
	set := func(v *time.Duration, to time.Duration) {
		if *v == 0 {
			*v = to
		}
	}
	set(&c.Silence, 10*time.Second)
	set(&c.AckWait, 2*time.Minute)
	set(&c.Backoff, 200*time.Millisecond)
	set(&c.MaxBackoff, 30*time.Second)
	if c.Window == 0 {
		c.Window = 1024
	}
	if c.WindowBytes == 0 {
		c.WindowBytes = 256 << 10
	}
	if c.Now == nil {
		c.Now = time.Now
	}
}

// The states of a link.
const (
	LinkDown    = "down"    // no connection, or nobody there takes events
	LinkUp      = "up"      // connected, and nothing stands against sending
	LinkRefused = "refused" // the bus or the hub says no; Err says why
)

// LinkState is how the link stands.
type LinkState struct {
	State string
	Since time.Time
	Err   error // why it is down or refused; nil: no connection yet, or up
}

// Forwarder sends the outbox's events to the hub in the order of their
// sequence, and trims the outbox by what the book confirms.
//
// It sends at most a window beyond what the book has confirmed. After a
// silence, a failure or a new connection it begins again at the watermark:
// sending twice changes nothing, and so nothing in between has to remember
// anything. The pauses grow by the factor 2 up to a bound and are drawn evenly
// from nothing to that (full jitter); a confirmation sets them back. A new
// connection is used at once, so that a link that is up for a second now and
// then gets on.
//
// Events travel as they are: the book keeps their bytes, and NATS compresses
// websocket connections only (dial ws:// or wss:// with nats.Compression where
// bytes are dear).
type Forwarder struct {
	conn *nats.Conn
	js   jetstream.JetStream
	cfg  ForwardConfig
	rng  *rand.Rand

	mark  chan schemas.Mark // the newest one heard
	fails chan failure      // of events that the stream did not take
	free  time.Time         // when the bandwidth cap lets the next event go

	tries   int   // rounds since the last confirmation
	refused error // of an event that was passed over in this round

	mu    sync.Mutex
	state LinkState
}

type failure struct {
	id  string // MessageID
	err error
}

// NewForwarder prepares forwarding over conn, which may still be connecting:
// one forwarder a connection. The connection stays its owner's.
func NewForwarder(conn *nats.Conn, cfg ForwardConfig) (*Forwarder, error) {
	const op = "forward the outbox"
	cfg.fill()
	if !schemas.ValidToken(string(cfg.Contractor)) {
		return nil, fault.Newf(op, fault.Usage, "contractor "+string(cfg.Contractor)+" is not a token", "use lower-case letters, digits, '-' and '_'")
	}
	f := &Forwarder{conn: conn, cfg: cfg, rng: rand.New(rand.NewPCG(cfg.Seed, 0x666f7277617264)), mark: make(chan schemas.Mark, 1),
		fails: make(chan failure, cfg.Window), state: LinkState{State: LinkDown, Since: cfg.Now()}}
	var err error
	f.js, err = jetstream.New(conn, jetstream.WithPublishAsyncMaxPending(cfg.Window+1), jetstream.WithPublishAsyncTimeout(cfg.AckWait),
		jetstream.WithPublishAsyncErrHandler(func(_ jetstream.JetStream, m *nats.Msg, err error) {
			select {
			case f.fails <- failure{m.Header.Get(schemas.HeaderMsgID), err}:
			default: // a window of failures waits already; the first ends the round
			}
		}))
	if err != nil {
		return nil, fault.New(op, fault.Internal, err, "")
	}
	return f, nil
}

// State is how the link stands; safe for concurrent use.
func (f *Forwarder) State() LinkState {
	f.mu.Lock()
	defer f.mu.Unlock()
	return f.state
}

func (f *Forwarder) set(state string, err error) {
	f.mu.Lock()
	defer f.mu.Unlock()
	if f.state.State != state {
		f.state.Since = f.cfg.Now()
	}
	f.state.State, f.state.Err = state, err
}

// Run forwards until ctx ends (nil), the connection is closed for good
// (fault.Unavailable: dial again), or the outbox cannot go on: it is closed,
// or the book knows more of its source than it (fault.Conflict). Run once.
func (f *Forwarder) Run(ctx context.Context) error {
	const op = "forward the outbox"
	device, _ := f.cfg.Outbox.Source().Device()
	sub, err := f.conn.Subscribe(schemas.MarksSubject(f.cfg.Contractor, device), f.heard)
	if err != nil {
		return fault.New(op, fault.Unavailable, err, "dial again")
	}
	defer func() { _ = sub.Unsubscribe() }() // the connection may be gone already; nothing is owed then
	status := f.conn.StatusChanged(nats.CONNECTED, nats.RECONNECTING, nats.DISCONNECTED, nats.CLOSED)
	defer f.conn.RemoveStatusListener(status)
	for ctx.Err() == nil {
		if f.conn.IsClosed() {
			return fault.New(op, fault.Unavailable, errors.Join(nats.ErrConnectionClosed, f.conn.LastError()), "dial again")
		}
		if !f.conn.IsConnected() {
			f.set(LinkDown, f.conn.LastError())
			select {
			case <-status:
			case <-ctx.Done():
			}
			continue
		}
		end := f.round(ctx, status)
		if err := f.after(ctx, end); err != nil {
			return fault.Wrap(op, err)
		}
	}
	return nil
}

// heard keeps the newest mark of our source for the round.
func (f *Forwarder) heard(m *nats.Msg) {
	var mark schemas.Mark
	if json.Unmarshal(m.Data, &mark) != nil || mark.Source != f.cfg.Outbox.Source() {
		return // of an earlier install of this device, or no mark: not ours
	}
	for {
		select {
		case f.mark <- mark:
			return
		case old := <-f.mark:
			if old.UpTo > mark.UpTo {
				mark = old
			}
		}
	}
}
