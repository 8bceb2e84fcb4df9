package link

import (
	"context"
	"encoding/json"
	"fmt"
	"path/filepath"
	"sync"
	"testing"
	"time"

	"github.com/nats-io/nats-server/v2/server"
	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"

	"hopperbook/ingest"
	"hopperbook/ingest/outbox"
	"hopperbook/ingest/storetest"
	"hopperbook/schemas"
)

var began = time.Date(2026, 3, 2, 8, 0, 0, 0, time.UTC)

const patience = 30 * time.Second // of a test that waits for what must come

func openOutbox(t testing.TB) *outbox.Outbox {
	t.Helper()
	o, err := outbox.Open(outbox.Config{Path: filepath.Join(t.TempDir(), "outbox.db"), Device: "spreader-1"})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = o.Close() }) // a test that closed it itself is as good
	return o
}

// weigh puts n loads into the outbox, in one transaction.
func weigh(t testing.TB, o *outbox.Outbox, n int) []ingest.Outgoing {
	t.Helper()
	entries := make([]outbox.Entry, n)
	for i := range entries {
		entries[i] = outbox.Entry{At: began, Type: schemas.TypeLoadWeighed,
			Data: schemas.LoadWeighed{Load: schemas.LoadID(fmt.Sprintf("L%d", i)), Product: "lime", NetKg: 4000, Method: schemas.MethodBucket}}
	}
	made, err := o.AppendAll(entries, nil)
	if err != nil {
		t.Fatal(err)
	}
	return made
}

// bus is a NATS server with the stream, and a book behind it.
type bus struct {
	server *server.Server
	js     jetstream.JetStream
	conn   *nats.Conn
	store  storetest.Fake
	drop   int // announcements still to be lost
	mu     sync.Mutex
	order  []string
}

func startBus(t testing.TB, opts server.Options) *bus {
	t.Helper()
	opts.Host, opts.Port, opts.JetStream, opts.StoreDir, opts.NoSigs = "127.0.0.1", server.RANDOM_PORT, true, t.TempDir(), true
	s, err := server.NewServer(&opts)
	if err != nil {
		t.Fatal(err)
	}
	s.Start()
	if !s.ReadyForConnections(patience) {
		t.Fatal("the server does not come up")
	}
	t.Cleanup(func() { s.Shutdown(); s.WaitForShutdown() })
	conn, err := nats.Connect("", nats.InProcessServer(s), nats.UserInfo("hub", "hub"))
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(conn.Close)
	js, err := jetstream.New(conn)
	if err != nil {
		t.Fatal(err)
	}
	return &bus{server: s, js: js, conn: conn}
}

func (b *bus) stream(t testing.TB, cfg jetstream.StreamConfig) {
	t.Helper()
	cfg.Name, cfg.Subjects, cfg.Retention = "BOOK-own", []string{"book.own.>"}, jetstream.WorkQueuePolicy
	if _, err := b.js.CreateStream(t.Context(), cfg); err != nil {
		t.Fatal(err)
	}
}

// keep books what the stream has until the test ends.
func (b *bus) keep(t testing.TB) {
	t.Helper()
	consumer, err := b.js.CreateConsumer(t.Context(), "BOOK-own", jetstream.ConsumerConfig{Durable: "ingest", AckPolicy: jetstream.AckExplicitPolicy})
	if err != nil {
		t.Fatal(err)
	}
	ctx, stop := context.WithCancel(context.Background())
	done := make(chan error, 1)
	w := ingest.Writer{Source: intake{consumer}, Store: b, Announcer: b}
	go func() { done <- w.Run(ctx) }()
	t.Cleanup(func() {
		stop()
		if err := <-done; err != nil {
			t.Error(err)
		}
	})
}

// Commit implements ingest.Store.
func (b *bus) Commit(ctx context.Context, batch ingest.Batch) (ingest.Receipt, error) {
	b.mu.Lock()
	defer b.mu.Unlock()
	for _, e := range batch.Events {
		b.order = append(b.order, e.Identity.String())
	}
	return b.store.Commit(ctx, batch)
}

// Announce implements ingest.Announcer.
func (b *bus) Announce(_ context.Context, marks []schemas.Mark) error {
	b.mu.Lock()
	defer b.mu.Unlock()
	for _, m := range marks {
		if b.drop--; b.drop >= 0 {
			continue
		}
		raw, err := json.Marshal(m)
		if err != nil {
			return err
		}
		if err := b.conn.Publish(schemas.MarksSubject("own", schemas.PublishDevice(m.Source)), raw); err != nil {
			return err
		}
	}
	return nil
}

type intake struct{ consumer jetstream.Consumer }

func (in intake) Fetch(ctx context.Context, max int) (all []ingest.Delivery, err error) {
	batch, err := in.consumer.Fetch(max, jetstream.FetchMaxWait(20*time.Millisecond))
	if err != nil {
		return nil, err
	}
	for m := range batch.Messages() {
		all = append(all, ingest.Delivery{Data: m.Data(), Subject: m.Subject(), MsgID: m.Headers().Get(schemas.HeaderMsgID), Received: began, Handle: m})
	}
	return all, batch.Error()
}

func (in intake) Ack(all []ingest.Delivery) error {
	for _, d := range all {
		if err := d.Handle.(jetstream.Msg).DoubleAck(context.Background()); err != nil {
			return err
		}
	}
	return nil
}

// dial connects as a tablet does.
func dial(t testing.TB, url string, opts ...nats.Option) *nats.Conn {
	t.Helper()
	opts = append([]nats.Option{nats.MaxReconnects(-1), nats.ReconnectWait(5 * time.Millisecond), nats.ReconnectJitter(0, 0),
		nats.IgnoreDiscoveredServers(), nats.RetryOnFailedConnect(true), nats.ErrorHandler(func(*nats.Conn, *nats.Subscription, error) {})}, opts...)
	conn, err := nats.Connect(url, opts...)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(conn.Close)
	return conn
}

// forward runs a forwarder until the test ends.
func forward(t testing.TB, conn *nats.Conn, cfg ForwardConfig) *Forwarder {
	t.Helper()
	cfg.Contractor = "own"
	f, err := NewForwarder(conn, cfg)
	if err != nil {
		t.Fatal(err)
	}
	ctx, stop := context.WithCancel(context.Background())
	done := make(chan error, 1)
	go func() { done <- f.Run(ctx) }()
	t.Cleanup(func() {
		stop()
		if err := <-done; err != nil {
			t.Error(err)
		}
	})
	return f
}

// until waits for what must come; changed wakes it.
func until(t testing.TB, what string, changed func() <-chan struct{}, ok func() bool) {
	t.Helper()
	limit := time.NewTimer(patience)
	defer limit.Stop()
	for {
		wake := changed()
		if ok() {
			return
		}
		select {
		case <-wake:
		case <-limit.C:
			t.Fatalf("waited too long until %s", what)
		}
	}
}

// tick wakes a watcher of what has no channel of its own.
func tick() <-chan struct{} {
	c := make(chan struct{})
	time.AfterFunc(5*time.Millisecond, func() { close(c) })
	return c
}

func empty(o *outbox.Outbox) func() bool {
	return func() bool {
		s, err := o.Status()
		return err == nil && s.Waiting == 0
	}
}

// once looks that the book has each event exactly once, byte for byte.
func (b *bus) once(t testing.TB, all []ingest.Outgoing) {
	t.Helper()
	count := map[string]int{}
	err := b.store.Export(t.Context(), func(raw []byte) error {
		count[string(raw)]++
		return nil
	})
	if err != nil || len(count) != len(all) {
		t.Errorf("%d different events in the book (%v), want %d", len(count), err, len(all))
	}
	for _, o := range all {
		if n := count[string(o.Raw)]; n != 1 {
			t.Errorf("%s is in the book %d times", o.Identity, n)
		}
	}
}
