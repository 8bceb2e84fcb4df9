package cab

import (
	"context"
	"hash/fnv"
	"sync"
	"sync/atomic"
	"time"

	"github.com/nats-io/nats.go"

	"hopperbook/ingest/link"
	"hopperbook/ingest/outbox"
	"hopperbook/ingest/tablet"
	"hopperbook/schemas/fault"
)

const (
	credentialsEvery = 3 * time.Second // a tablet that is enrolled while it runs
	packetEvery      = 5 * time.Minute // besides news and every new connection
	linkEvery        = time.Second
	dialAgainAfter   = 5 * time.Second
)

// office keeps the link to the hub: it forwards, fetches the copies, and tells
// the agent how the link stands.
type office struct {
	dir            string
	box            *outbox.Outbox
	agent          *tablet.Cab
	bytesPerSecond int
	log            func(format string, args ...any)
	refused        atomic.Pointer[error] // nil: not refused since the last connection
}

// run waits for credentials and works with them until they change or ctx ends.
func (o *office) run(ctx context.Context) {
	var with link.Credentials
	var stop func()
	defer func() {
		if stop != nil {
			stop()
		}
	}()
	told := ""
	for {
		creds, enrolled, err := link.ReadCredentials(o.dir)
		switch {
		case err != nil && told != err.Error():
			told = err.Error()
			o.log("link: %s", fault.Message(err))
		case err == nil && enrolled && creds != with:
			if stop != nil {
				stop()
			}
			with, stop = creds, o.begin(ctx, creds)
		}
		select {
		case <-ctx.Done():
			return
		case <-time.After(credentialsEvery):
		}
	}
}

// begin works with credentials until stop, which waits.
func (o *office) begin(ctx context.Context, creds link.Credentials) (stop func()) {
	ctx, cancel := context.WithCancel(ctx)
	done := make(chan struct{})
	go func() {
		defer close(done)
		for ctx.Err() == nil {
			if err := o.session(ctx, creds); err != nil && ctx.Err() == nil {
				o.log("link: %s", fault.Message(err))
			}
			select {
			case <-ctx.Done():
			case <-time.After(dialAgainAfter):
			}
		}
	}()
	return func() { cancel(); <-done }
}

// session is one connection, which comes back by itself when it breaks.
func (o *office) session(ctx context.Context, creds link.Credentials) error {
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	fetch := make(chan struct{}, 1)
	news := func() {
		select {
		case fetch <- struct{}{}:
		default: // one fetch brings it all
		}
	}
	var down atomic.Value // why the link is down, as it was told; "": it is up
	conn, err := link.Dial(ctx, creds, link.DialOptions{
		Up: func() {
			o.refused.Store(nil)
			down.Store("")
			o.log("link up: %s as %s", creds.Hub, creds.Device)
			news()
		},
		Down: func(err error) {
			// A tablet may try for a fortnight: each reason is told once. nil: closed here.
			if err != nil && down.Swap(err.Error()) != err.Error() {
				o.log("link down: %v", err)
			}
		},
		Refused: func(err error) { o.refuse(err) },
	})
	if err != nil {
		return err
	}
	defer conn.Close()
	h := fnv.New64a()
	_, _ = h.Write([]byte(o.box.Source())) // a hash never fails
	forward, err := link.NewForwarder(conn, link.ForwardConfig{Contractor: creds.Contractor, Outbox: o.box, BytesPerSecond: o.bytesPerSecond, Seed: h.Sum64()})
	if err != nil {
		return err
	}
	if _, err := link.WatchNews(conn, creds, news); err != nil {
		return err
	}
	var beside sync.WaitGroup
	beside.Go(func() { o.copies(ctx, conn, creds, fetch) })
	beside.Go(func() { o.watch(ctx, forward) })
	err = forward.Run(ctx)
	cancel()
	beside.Wait()
	return err
}

func (o *office) refuse(err error) {
	if o.refused.Swap(&err) == nil {
		o.log("link refused: %s", fault.Message(err))
	}
}

// copies fetches the office's copies until ctx ends.
func (o *office) copies(ctx context.Context, conn *nats.Conn, creds link.Credentials, fetch <-chan struct{}) {
	again := time.NewTicker(packetEvery)
	defer again.Stop()
	digest, told := "", ""
	for {
		select {
		case <-ctx.Done():
			return
		case <-again.C:
		case <-fetch:
		}
		if !conn.IsConnected() {
			continue
		}
		packet, err := link.FetchPacket(ctx, conn, creds, digest)
		if err == nil && packet != nil {
			if err = o.agent.TakePacket(*packet); err == nil {
				digest = packet.Digest
			}
		}
		problem := ""
		if err != nil && ctx.Err() == nil {
			problem = fault.Message(err)
		}
		if problem != told && problem != "" {
			o.log("the office's copies: %s", problem)
		}
		told = problem
	}
}

// watch tells the agent how the link stands until ctx ends. It waits for
// nothing else: a fetch may take long.
func (o *office) watch(ctx context.Context, forward *link.Forwarder) {
	look := time.NewTicker(linkEvery)
	defer look.Stop()
	for {
		o.tell(forward.State())
		select {
		case <-ctx.Done():
			o.agent.SetLink(tablet.LinkView{State: link.LinkDown})
			return
		case <-look.C:
		}
	}
}

func (o *office) tell(s link.LinkState) {
	if o.refused.Load() != nil {
		s.State = link.LinkRefused
	}
	o.agent.SetLink(tablet.LinkView{State: s.State, Since: s.Since})
}
