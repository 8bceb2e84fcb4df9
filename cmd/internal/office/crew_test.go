package office

import (
	"context"
	"encoding/json"
	"sync/atomic"
	"testing"
	"testing/synctest"
	"time"

	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"
	"github.com/nats-io/nkeys"

	"hopperbook/cmd/internal/desk"
	"hopperbook/ingest"
	"hopperbook/ingest/book"
	"hopperbook/ingest/hub"
	"hopperbook/schemas"
)

// Under a bulk load nothing is worked out for each commit: a pass waits for
// quiet, comes in the end where there is none, and rests four times as long as
// it took.
func TestPassesUnderBulkLoad(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		const quiet, takes = 2 * time.Second, 3 * time.Second
		c := &crews{cfg: Config{Quiet: quiet}, nudge: make(chan struct{}, 1)}
		ctx, stop := context.WithCancel(t.Context())
		var at []time.Time
		ended := make(chan struct{})
		var nobody atomic.Bool
		go func() {
			defer close(ended)
			c.passes(ctx, func() bool { return !nobody.Load() }, func(context.Context) error {
				at = append(at, time.Now())
				time.Sleep(takes)
				return nil
			})
		}()
		began := time.Now()
		c.changed()
		time.Sleep(quiet + takes + time.Second)
		synctest.Wait()
		if len(at) != 1 || at[0].Sub(began) != quiet {
			t.Fatalf("one change: passes at %v", at)
		}
		time.Sleep(restShare * takes)
		const commits = 6000
		for range commits { // ten minutes of a commit every 100 ms
			c.changed()
			time.Sleep(100 * time.Millisecond)
		}
		last := time.Now()
		time.Sleep(time.Minute)
		synctest.Wait()
		// Each change is looked at after at most 15 quiets, or after the rest.
		if n := len(at) - 1; n < 15 || n > 22 {
			t.Errorf("%d commits made %d passes", commits, n)
		}
		for i := 2; i < len(at); i++ {
			if gap := at[i].Sub(at[i-1]); gap < takes+restShare*takes || gap > longestWait*quiet+takes+time.Second {
				t.Errorf("pass %d came after %v", i, gap)
			}
		}
		if !at[len(at)-1].After(last) {
			t.Error("no pass after the last commit")
		}
		nobody.Store(true)
		n := len(at)
		c.changed()
		time.Sleep(time.Minute)
		synctest.Wait()
		if len(at) != n {
			t.Error("a pass for nobody")
		}
		stop()
		<-ended
	})
}

// desked is a book with its bus and its crews; writing begins when asked.
type desked struct {
	book *book.Book
	bus  *hub.Hub
	*crews
	end func()
}

func openDesk(t *testing.T, dir string, writing bool) *desked {
	t.Helper()
	must := func(err error) {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
	}
	ctx, stop := context.WithCancel(context.Background())
	opened, err := book.Open(ctx, dir, book.Options{})
	must(err)
	cfg := Config{BookDir: dir, Listen: "127.0.0.1:0", Contractor: "own"}
	bus, err := start(cfg)
	must(err)
	answering := desk.New(opened)
	must(bus.Serve(ctx, front{answering, bus}))
	c, err := newCrews(cfg, answering, opened, bus)
	must(err)
	d := &desked{book: opened, bus: bus, crews: c}
	wrote := make(chan error, 1)
	wrote <- nil
	if writing {
		intake, err := bus.Intake(ctx)
		must(err)
		<-wrote
		go func() {
			defer intake.Close()
			w := ingest.Writer{Source: intake, Store: opened, Announcer: bus}
			wrote <- w.Run(ctx)
		}()
	}
	d.end = func() {
		t.Helper()
		stop()
		must(<-wrote)
		c.client.Close()
		bus.Close()
		must(opened.Close())
	}
	return d
}

// streamOf looks at the stream as the office does.
func streamOf(t *testing.T, url, dir string) jetstream.Stream {
	t.Helper()
	must := func(err error) {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
	}
	access, err := hub.ReadAccess(dir)
	must(err)
	key, err := nkeys.FromSeed(access.Seed)
	must(err)
	public, err := key.PublicKey()
	must(err)
	conn, err := nats.Connect(url, nats.Nkey(public, key.Sign), nats.NoReconnect())
	must(err)
	t.Cleanup(conn.Close)
	js, err := jetstream.New(conn)
	must(err)
	stream, err := js.Stream(t.Context(), "BOOK-own")
	must(err)
	return stream
}

// The hub dies between the stream, which has a notice, and the book, which has
// not: after the restart it is there once, and no other with it.
func TestANoticeIsRaisedOnce(t *testing.T) {
	dir := t.TempDir()
	d := openDesk(t, dir, false)
	for _, kg := range []float64{4000, 4100} { // one identity, two contents: that is to be told
		at := time.Date(2026, 3, 2, 8, 0, 0, 0, time.UTC)
		raw, err := schemas.Write(schemas.Identity{Source: "/devices/ld1/a", Sequence: 1}, "01HZY3Q2Q3W4E5R6T7Y8V9B0NM", schemas.TypeLoadWeighed, at,
			schemas.LoadWeighed{Load: "L1", Product: "lime", NetKg: kg, Method: schemas.MethodBucket})
		if err != nil {
			t.Fatal(err)
		}
		event, bad := schemas.Read(raw)
		if bad != nil {
			t.Fatal(bad)
		}
		if _, err := d.book.Commit(t.Context(), ingest.Batch{Events: []ingest.Received{{Event: event, At: at}}}); err != nil {
			t.Fatal(err)
		}
	}
	// No writer: the notice gets as far as the stream.
	stream := streamOf(t, d.bus.URL(), dir)
	ctx, kill := context.WithCancel(t.Context())
	raised := make(chan error, 1)
	go func() { raised <- d.notices(ctx) }()
	for info := stream.CachedInfo(); info.State.Msgs == 0; {
		var err error
		if info, err = stream.Info(t.Context()); err != nil {
			t.Fatal(err)
		}
	}
	kill()
	if err := <-raised; err == nil {
		t.Fatal("it was confirmed without a book")
	}
	d.end()

	d = openDesk(t, dir, true)
	for range 3 {
		if err := d.pass(t.Context()); err != nil {
			t.Fatal(err)
		}
	}
	count := 0
	err := d.book.Export(t.Context(), func(raw []byte) error {
		var e struct{ Type schemas.EventType }
		if err := json.Unmarshal(raw, &e); err != nil {
			return err
		}
		if e.Type == schemas.TypeNoticeRaised {
			count++
		}
		return nil
	})
	if err != nil || count != 1 {
		t.Errorf("%d notices in the book (%v)", count, err)
	}
	troubles, err := d.book.Troubles(t.Context(), false)
	if err != nil || len(troubles) != 1 { // the load's
		t.Errorf("%+v, %v", troubles, err)
	}
	d.end()
}
