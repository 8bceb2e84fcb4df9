package link

import (
	"context"
	"math"
	"math/rand/v2"
	"reflect"
	"strings"
	"testing"
	"time"

	"github.com/nats-io/nats-server/v2/server"
	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"

	"hopperbook/ingest"
	"hopperbook/ingest/link/linktest"
	"hopperbook/ingest/outbox"
	"hopperbook/schemas"
)

func TestGrown(t *testing.T) {
	for _, c := range []struct {
		base, bound time.Duration
		tries       int
		want        time.Duration
	}{
		{time.Second, time.Minute, 0, time.Second}, {time.Second, time.Minute, 1, time.Second}, {time.Second, time.Minute, 2, 2 * time.Second},
		{time.Second, time.Minute, 6, 32 * time.Second}, {time.Second, time.Minute, 7, time.Minute}, {time.Second, time.Minute, 1 << 30, time.Minute},
		{time.Hour, time.Minute, 1, time.Minute},
	} {
		if got := grown(c.base, c.tries, c.bound); got != c.want {
			t.Errorf("grown(%v, %d, %v) is %v, want %v", c.base, c.tries, c.bound, got, c.want)
		}
	}
}

// The wait for a confirmation grows with the rounds that brought none, and by
// a second for each 8 KiB under way.
func TestQuietTime(t *testing.T) {
	for _, c := range []struct {
		tries, bytes int
		want         time.Duration
	}{
		{1, 0, 10 * time.Second}, {2, 0, 20 * time.Second}, {1, 8 << 10, 11 * time.Second}, {3, 256 << 10, 72 * time.Second}, {99, 0, 5 * time.Minute},
	} {
		r := round{Forwarder: &Forwarder{tries: c.tries, cfg: ForwardConfig{Silence: 10 * time.Second}}, bytes: c.bytes}
		if got := r.quietTime(); got != c.want {
			t.Errorf("after %d rounds with %d bytes under way it is quiet for %v, want %v", c.tries, c.bytes, got, c.want)
		}
	}
}

// Full jitter: pauses lie evenly between nothing and the bound, the same for
// the same seed and others for another.
func TestPausesAreSpread(t *testing.T) {
	draw := func(seed uint64) (all []time.Duration) {
		f, err := NewForwarder(new(nats.Conn), ForwardConfig{Contractor: "own", Outbox: openOutbox(t), Backoff: time.Second, MaxBackoff: 8 * time.Second, Seed: seed})
		if err != nil {
			t.Fatal(err)
		}
		f.tries = 3
		for range 4000 {
			all = append(all, f.pauseTime())
		}
		return all
	}
	a := draw(1)
	if !reflect.DeepEqual(a, draw(1)) || reflect.DeepEqual(a, draw(2)) {
		t.Error("the pauses are not the seed's")
	}
	var sum, squares float64
	for _, p := range a {
		if p < 0 || p > 4*time.Second {
			t.Fatalf("a pause of %v after 3 tries, at most 4 s are wanted", p)
		}
		sum += p.Seconds()
		squares += p.Seconds() * p.Seconds()
	}
	// An even spread over 4 s has mean 2 and standard deviation 4/sqrt(12); of
	// 4000 draws the mean is within 0.1 in all but one of 10^7 seeds.
	mean := sum / 4000
	if sd := math.Sqrt(squares/4000 - mean*mean); math.Abs(mean-2) > 0.1 || math.Abs(sd-4/math.Sqrt(12)) > 0.1 {
		t.Errorf("mean %v s and standard deviation %v s, want 2 and %v", mean, sd, 4/math.Sqrt(12))
	}
}

// Under a cap the clock of what is sent moves by bytes over rate, whatever the
// pieces; a pause saves nothing up.
func TestBandwidthCap(t *testing.T) {
	now := began
	f := &Forwarder{cfg: ForwardConfig{BytesPerSecond: 1000, Now: func() time.Time { return now }}}
	f.spend(500)
	f.spend(250)
	f.spend(250)
	if got := f.free.Sub(began); got != time.Second {
		t.Errorf("1000 bytes at 1000 B/s take %v", got)
	}
	now = began.Add(time.Hour)
	f.spend(4000)
	if got := f.free.Sub(now); got != 4*time.Second {
		t.Errorf("after a pause 4000 bytes take %v", got)
	}
	free := &Forwarder{cfg: ForwardConfig{Now: func() time.Time { return now }}}
	free.spend(1 << 40)
	if !free.free.IsZero() {
		t.Error("without a cap something waits")
	}
}

// With a cap that lets one event go and the next only after an hour, one goes;
// by the clock of the forwarder, not by the test's.
func TestCapHoldsBack(t *testing.T) {
	b, o := startBus(t, server.Options{}), openOutbox(t)
	b.stream(t, jetstream.StreamConfig{})
	b.keep(t)
	weigh(t, o, 5)
	forward(t, dial(t, b.server.ClientURL()), ForwardConfig{Outbox: o, BytesPerSecond: 1, Now: func() time.Time { return began }})
	until(t, "one is booked", o.Changed, func() bool { s, err := o.Status(); return err == nil && s.Confirmed >= 1 })
	if s, err := o.Status(); err != nil || s.Waiting != 4 {
		t.Errorf("%d wait (%v), want 4", s.Waiting, err)
	}
}

// roughPass is a pass log as a receiver on a rough field gives it: the last
// digits of everything are noise.
func roughPass(t testing.TB, rng *rand.Rand, n int) schemas.PassLogged {
	t.Helper()
	fixes := make([]schemas.Fix, n)
	for i := range fixes {
		fixes[i] = schemas.Fix{UnixMilli: began.UnixMilli() + int64(200*i), LatDeg: 52 + float64(i)*7e-6 + rng.NormFloat64()*1e-8, LonDeg: 0.3 + rng.NormFloat64()*3e-8,
			SpeedKmh: 14 + rng.NormFloat64()/4, HeadingDeg: 180 + rng.NormFloat64(), Spreading: schemas.SpreadingOn, SetRateKgHa: 2500, BoutWidthM: 12,
			Quality: schemas.QualityGNSS}
	}
	p, err := schemas.PassData(fixes, schemas.PassHeader{Job: "J1", Field: "F1"})
	if err != nil {
		t.Fatal(err)
	}
	return p
}

// Where bytes are dear the tablet dials a websocket, which NATS compresses:
// the events are the same, the link carries less.
func TestWebsocketCarriesLess(t *testing.T) {
	passed := func(scheme string, opts ...nats.Option) int64 {
		b, o := startBus(t, server.Options{Websocket: server.WebsocketOpts{Host: "127.0.0.1", Port: server.RANDOM_PORT, NoTLS: true, Compression: true}}), openOutbox(t)
		b.stream(t, jetstream.StreamConfig{})
		b.keep(t)
		var all []ingest.Outgoing
		rng := rand.New(rand.NewPCG(1, 9))
		for range 20 {
			out, err := o.Append(began, schemas.TypePassLogged, roughPass(t, rng, 300), nil)
			if err != nil {
				t.Fatal(err)
			}
			all = append(all, out)
		}
		target := b.server.Addr().String()
		if scheme == "ws" {
			target = b.server.WebsocketURL()[len("ws://"):]
		}
		proxy, err := linktest.New(target, nil)
		if err != nil {
			t.Fatal(err)
		}
		defer proxy.Close()
		conn := dial(t, scheme+"://"+proxy.Addr(), opts...)
		forward(t, conn, ForwardConfig{Outbox: o})
		until(t, "the book has all", o.Changed, empty(o))
		b.once(t, all)
		return proxy.Passed()
	}
	plain, packed := passed("nats"), passed("ws", nats.Compression(true))
	t.Logf("plain %d bytes, websocket %d bytes", plain, packed)
	if packed > plain*2/3 {
		t.Errorf("a websocket carries %d bytes, plain %d", packed, plain)
	}
}

// What a hub says is bytes from outside: whatever it says, nothing leaves the
// outbox that a mark of its source does not name.
func FuzzHeard(f *testing.F) {
	o := openOutbox(f)
	weigh(f, o, 3)
	f.Add([]byte(`{"source":"` + string(o.Source()) + `","up_to":-1,"above":[[1,2]]}`))
	f.Add([]byte(`{"source":"/devices/spreader-1/x","up_to":3}`))
	f.Add([]byte(`{"up_to":1e400}`))
	f.Fuzz(func(t *testing.T, raw []byte) {
		fw := &Forwarder{cfg: ForwardConfig{Outbox: o}, mark: make(chan schemas.Mark, 1)}
		fw.heard(&nats.Msg{Data: raw})
		fw.heard(&nats.Msg{Data: raw})
		select {
		case mark := <-fw.mark:
			if mark.Source != o.Source() {
				t.Fatalf("a mark of %s", mark.Source)
			}
			mark.UpTo = min(mark.UpTo, 0) // keep the three for the next input
			_ = o.Trim(mark)              // refused or taken; what counts is below
		default:
		}
		left, err := o.Since(0)
		if s, err2 := o.Status(); err != nil || err2 != nil || len(left) != 3 || s.Waiting < 0 || s.Waiting > 3 {
			t.Fatalf("%d events left, status %+v (%v, %v)", len(left), s, err, err2)
		}
	})
}

// BenchmarkForward sends pass logs of 60 fixes from the outbox until all are
// confirmed, and in the same run publishes the same events bare, asynchronously
// and with the same window, until the stream has taken all: what the bus allows
// at best. The book behind it takes at once.
func BenchmarkForward(b *testing.B) {
	const events = 2000
	bus := startBus(b, server.Options{})
	bus.stream(b, jetstream.StreamConfig{})
	rng := rand.New(rand.NewPCG(1, 9))
	entries := make([]outbox.Entry, events)
	for i := range entries {
		entries[i] = outbox.Entry{At: began, Type: schemas.TypePassLogged, Data: roughPass(b, rng, 60)}
	}
	conn := dial(b, bus.server.ClientURL())
	bus.confirmAtOnce(b)
	var ours, bare time.Duration
	for b.Loop() {
		o := openOutbox(b)
		all, err := o.AppendAll(entries, nil)
		if err != nil {
			b.Fatal(err)
		}
		start := time.Now()
		f, err := NewForwarder(conn, ForwardConfig{Contractor: "own", Outbox: o})
		if err != nil {
			b.Fatal(err)
		}
		ctx, stop := context.WithCancel(context.Background())
		done := make(chan error, 1)
		go func() { done <- f.Run(ctx) }()
		until(b, "all are confirmed", o.Changed, empty(o))
		ours += time.Since(start)
		stop()
		if err := <-done; err != nil {
			b.Fatal(err)
		}
		start = time.Now()
		publishBare(b, conn, all)
		bare += time.Since(start)
	}
	b.ReportMetric(events*float64(b.N)/ours.Seconds(), "events/s")
	b.ReportMetric(events*float64(b.N)/bare.Seconds(), "bare-events/s")
	b.ReportMetric(bare.Seconds()/ours.Seconds(), "of-bare")
}

// publishBare publishes under other message IDs, so that nothing is a
// duplicate to the stream.
func publishBare(b *testing.B, conn *nats.Conn, all []ingest.Outgoing) {
	b.Helper()
	js, err := jetstream.New(conn, jetstream.WithPublishAsyncMaxPending(1024))
	if err != nil {
		b.Fatal(err)
	}
	for i := range all {
		m := &nats.Msg{Subject: schemas.EventSubject("own", "bare", all[i].Type), Data: all[i].Raw,
			Header: nats.Header{schemas.HeaderMsgID: {schemas.MessageID(all[i].Identity, all[i].Raw) + "/bare"}}}
		if _, err := js.PublishMsgAsync(m, jetstream.WithStallWait(patience)); err != nil {
			b.Fatal(err)
		}
	}
	select {
	case <-js.PublishAsyncComplete():
	case <-time.After(patience):
		b.Fatal("the stream does not take all")
	}
}

// confirmAtOnce stands for a book without a cost: it takes what comes and says
// the mark after each batch.
func (b *bus) confirmAtOnce(t *testing.B) {
	t.Helper()
	consumer, err := b.js.CreateConsumer(t.Context(), "BOOK-own", jetstream.ConsumerConfig{Durable: "ingest", AckPolicy: jetstream.AckExplicitPolicy, MaxAckPending: 50_000})
	if err != nil {
		t.Fatal(err)
	}
	ctx, stop := context.WithCancel(context.Background())
	t.Cleanup(stop)
	go func() {
		for ctx.Err() == nil {
			batch, err := consumer.FetchNoWait(500)
			if err != nil {
				return // the server has ended
			}
			var last jetstream.Msg
			for m := range batch.Messages() {
				if last = m; m.Ack() != nil {
					return
				}
			}
			if last == nil {
				continue
			}
			id, _, _ := strings.Cut(last.Headers().Get(schemas.HeaderMsgID), "@")
			identity, ok := schemas.ParseIdentity(id)
			if !ok {
				return
			}
			if err := b.Announce(ctx, []schemas.Mark{{Source: identity.Source, UpTo: identity.Sequence}}); err != nil {
				return
			}
		}
	}()
}
