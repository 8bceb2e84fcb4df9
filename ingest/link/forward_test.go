package link

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"github.com/nats-io/nats-server/v2/server"
	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"

	"hopperbook/ingest/link/linktest"
	"hopperbook/schemas"
	"hopperbook/schemas/fault"
)

func TestForwardsInOrderAndTrims(t *testing.T) {
	b, o := startBus(t, server.Options{}), openOutbox(t)
	b.stream(t, jetstream.StreamConfig{})
	b.keep(t)
	all := weigh(t, o, 300)
	f := forward(t, dial(t, b.server.ClientURL()), ForwardConfig{Outbox: o, Window: 40})
	until(t, "the book has all", o.Changed, empty(o))
	all = append(all, weigh(t, o, 5)...) // and what comes later
	until(t, "the book has all", o.Changed, empty(o))
	b.once(t, all)
	b.mu.Lock()
	defer b.mu.Unlock()
	for i, id := range b.order {
		if id != all[i].Identity.String() {
			t.Fatalf("event %d in the stream is %s", i+1, id)
		}
	}
	if s := f.State(); s.State != LinkUp || s.Err != nil {
		t.Errorf("the link is %+v", s)
	}
}

// A link that is cut again and again after a few events gets everything
// across, once.
func TestFlappingLinkMakesProgress(t *testing.T) {
	b, o := startBus(t, server.Options{}), openOutbox(t)
	b.stream(t, jetstream.StreamConfig{})
	b.keep(t)
	all := weigh(t, o, 200) // about 80 kB
	rng := rand.New(rand.NewPCG(20261125, 6))
	proxy, err := linktest.New(b.server.Addr().String(), func() int64 { return 4_000 + rng.Int64N(12_000) })
	if err != nil {
		t.Fatal(err)
	}
	defer proxy.Close()
	forward(t, dial(t, "nats://"+proxy.Addr()), ForwardConfig{Outbox: o, Silence: 100 * time.Millisecond})
	until(t, "the book has all", o.Changed, empty(o))
	b.once(t, all)
	if n := proxy.Cuts(); n < 10 {
		t.Errorf("the link was cut %d times only", n)
	}
}

// A confirmation that is lost on the way comes again, though the stream would
// take every event sent again for a duplicate.
func TestLostConfirmationComesAgain(t *testing.T) {
	b, o := startBus(t, server.Options{}), openOutbox(t)
	b.stream(t, jetstream.StreamConfig{})
	b.drop = 3
	b.keep(t)
	all := weigh(t, o, 5)
	forward(t, dial(t, b.server.ClientURL()), ForwardConfig{Outbox: o, Silence: 50 * time.Millisecond})
	until(t, "the book has all", o.Changed, empty(o))
	b.once(t, all)
}

// What the stream has taken and lost is sent again.
func TestStreamThatLosesIsFilledAgain(t *testing.T) {
	b, o := startBus(t, server.Options{}), openOutbox(t)
	b.stream(t, jetstream.StreamConfig{Duplicates: 100 * time.Millisecond})
	all := weigh(t, o, 20)
	forward(t, dial(t, b.server.ClientURL()), ForwardConfig{Outbox: o, Silence: 150 * time.Millisecond})
	stream, err := b.js.Stream(t.Context(), "BOOK-own")
	if err != nil {
		t.Fatal(err)
	}
	until(t, "the stream has all", tick, func() bool {
		info, err := stream.Info(t.Context())
		return err == nil && info.State.Msgs >= 20
	})
	if err := stream.Purge(t.Context()); err != nil {
		t.Fatal(err)
	}
	b.keep(t)
	until(t, "the book has all", o.Changed, empty(o))
	b.once(t, all)
}

// A hub that is not there yet is waited for, and said.
func TestHubThatComesLater(t *testing.T) {
	b, o := startBus(t, server.Options{}), openOutbox(t)
	all := weigh(t, o, 3)
	f := forward(t, dial(t, b.server.ClientURL()), ForwardConfig{Outbox: o, MaxBackoff: 50 * time.Millisecond})
	until(t, "it says that no hub takes events", tick, func() bool { s := f.State(); return s.State == LinkDown && s.Err != nil })
	b.stream(t, jetstream.StreamConfig{})
	b.keep(t)
	until(t, "the book has all", o.Changed, empty(o))
	b.once(t, all)
}

// longPass is a pass log of more than 8 KiB.
func longPass(t testing.TB) schemas.PassLogged {
	t.Helper()
	fixes := make([]schemas.Fix, 400)
	for i := range fixes {
		fixes[i] = schemas.Fix{UnixMilli: began.UnixMilli() + int64(200*i), LatDeg: 52 + float64(i)/1e6, LonDeg: 0.3, SpeedKmh: 12,
			HeadingDeg: math.NaN(), Spreading: schemas.SpreadingOn, SetRateKgHa: 2500, BoutWidthM: 12}
	}
	p, err := schemas.PassData(fixes, schemas.PassHeader{})
	if err != nil {
		t.Fatal(err)
	}
	return p
}

// One event that the bus or the stream finds too large is reported and holds
// nothing else back.
func TestTooLargeEventBlocksNothing(t *testing.T) {
	for name, c := range map[string]struct {
		opts   server.Options
		stream jetstream.StreamConfig
	}{
		"for the bus":    {server.Options{MaxPayload: 8 << 10}, jetstream.StreamConfig{}},
		"for the stream": {server.Options{}, jetstream.StreamConfig{MaxMsgSize: 8 << 10}},
	} {
		t.Run(name, func(t *testing.T) {
			b, o := startBus(t, c.opts), openOutbox(t)
			b.stream(t, c.stream)
			b.keep(t)
			all := weigh(t, o, 2)
			big, err := o.Append(began, schemas.TypePassLogged, longPass(t), nil)
			if err != nil {
				t.Fatal(err)
			}
			all = append(all, weigh(t, o, 2)...)
			f := forward(t, dial(t, b.server.ClientURL()), ForwardConfig{Outbox: o})
			until(t, "one waits", o.Changed, func() bool { s, err := o.Status(); return err == nil && s.Waiting == 1 })
			b.once(t, all)
			if s := f.State(); s.State != LinkRefused || fault.HintOf(s.Err) == "" {
				t.Errorf("the link is %+v", s)
			}
			if left, err := o.After(0, 0, 0); err != nil || len(left) != 1 || left[0].Identity != big.Identity {
				t.Errorf("%d events left (%v), want the large one", len(left), err)
			}
		})
	}
}

// A device that may not publish is refused, and said so.
func TestForbiddenToSend(t *testing.T) {
	none := server.Permissions{Publish: &server.SubjectPermission{Deny: []string{"book.>"}}}
	b, o := startBus(t, server.Options{Users: []*server.User{{Username: "hub", Password: "hub"}, {Username: "cab", Password: "cab", Permissions: &none}}}), openOutbox(t)
	b.stream(t, jetstream.StreamConfig{})
	weigh(t, o, 1)
	f := forward(t, dial(t, b.server.ClientURL(), nats.UserInfo("cab", "cab")), ForwardConfig{Outbox: o, AckWait: 50 * time.Millisecond, MaxBackoff: 50 * time.Millisecond})
	until(t, "it is refused", tick, func() bool { s := f.State(); return s.State == LinkRefused && fault.HintOf(s.Err) != "" })
}

// An outbox that is an old copy of itself sends nothing more.
func TestOldCopyEnds(t *testing.T) {
	b, o := startBus(t, server.Options{}), openOutbox(t)
	b.stream(t, jetstream.StreamConfig{})
	f, err := NewForwarder(dial(t, b.server.ClientURL()), ForwardConfig{Contractor: "own", Outbox: o})
	if err != nil {
		t.Fatal(err)
	}
	done := make(chan error, 1)
	go func() { done <- f.Run(t.Context()) }()
	until(t, "it ends", tick, func() bool {
		if err := b.Announce(t.Context(), []schemas.Mark{{Source: o.Source(), UpTo: 7}}); err != nil {
			t.Fatal(err)
		}
		return f.State().State == LinkRefused
	})
	if err := <-done; fault.CodeOf(err) != fault.Conflict || f.State().State != LinkRefused {
		t.Errorf("it ended with %v and is %+v", err, f.State())
	}
}
