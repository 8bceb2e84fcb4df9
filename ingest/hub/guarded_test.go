package hub

import (
	"context"
	"fmt"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/nats-io/nats.go"

	"hopperbook/ingest/link"
	"hopperbook/schemas"
)

// guarded is a hub with TLS on loopback, a clock of its own and its log.
type guarded struct {
	*Hub
	t     *testing.T
	lines chan string

	mu  sync.Mutex
	now time.Time
}

func (g *guarded) clock() time.Time {
	g.mu.Lock()
	defer g.mu.Unlock()
	return g.now
}

func (g *guarded) later(d time.Duration) {
	g.mu.Lock()
	defer g.mu.Unlock()
	g.now = g.now.Add(d)
}

func guard(t *testing.T, dir string) *guarded {
	t.Helper()
	g := &guarded{t: t, lines: make(chan string, 1000), now: time.Now()}
	h, err := Start(Config{Dir: dir, Listen: "127.0.0.1:0", Contractor: "tussock", TLS: true, Now: g.clock, Logf: func(f string, v ...any) { g.lines <- fmt.Sprintf(f, v...) }})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(h.Close)
	if err := h.Remember(); err != nil {
		t.Fatal(err)
	}
	g.Hub = h
	return g
}

// logged waits for a line of the log with all the words.
func (g *guarded) logged(words ...string) {
	g.t.Helper()
	all := func(line string) bool {
		for _, w := range words {
			if !strings.Contains(line, w) {
				return false
			}
		}
		return true
	}
	for quiet := time.After(20 * time.Second); ; {
		select {
		case line := <-g.lines:
			if all(line) {
				return
			}
		case <-quiet:
			g.t.Fatalf("the log never says %q", words)
		}
	}
}

// refusals counts what the kept list says of a reason and device.
func (g *guarded) refusals(why Reason, d schemas.DeviceID) (n int) {
	for _, r := range g.registry.Refused() {
		if r.Reason == why && r.Device == d {
			n += r.Count
		}
	}
	return n
}

func (g *guarded) code(d schemas.DeviceID) string {
	g.t.Helper()
	given, err := g.NewCode(d, 0, "")
	if err != nil {
		g.t.Fatal(err)
	}
	return given.Code
}

func (g *guarded) enrol(d schemas.DeviceID) link.Credentials {
	g.t.Helper()
	c, err := link.Enrol(context.Background(), g.code(d), g.t.TempDir())
	if err != nil {
		g.t.Fatal(err)
	}
	return c
}

// tablet is a device's connection and what it heard of its link.
type tablet struct {
	*nats.Conn
	up, refused chan struct{}
	down        chan error
}

func dial(t *testing.T, c link.Credentials) *tablet {
	t.Helper()
	w := &tablet{up: make(chan struct{}, 100), refused: make(chan struct{}, 100), down: make(chan error, 100)}
	conn, err := link.Dial(context.Background(), c, link.DialOptions{MinWait: 5 * time.Millisecond, MaxWait: 20 * time.Millisecond,
		Up:      func() { offer(w.up, struct{}{}) },
		Down:    func(err error) { offer(w.down, err) },
		Refused: func(error) { offer(w.refused, struct{}{}) }})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(conn.Close)
	w.Conn = conn
	return w
}

// offer never waits: a test that listens takes the first.
func offer[T any](c chan T, v T) {
	select {
	case c <- v:
	default:
	}
}

func await[T any](t *testing.T, c <-chan T, what string) (v T) {
	t.Helper()
	select {
	case v = <-c:
	case <-time.After(20 * time.Second):
		t.Fatalf("waited in vain: %s", what)
	}
	return v
}

func connected(t *testing.T, c link.Credentials) *tablet {
	t.Helper()
	w := dial(t, c)
	await(t, w.up, "the link of "+string(c.Device))
	return w
}

// denied reports whether the server refused the subject just used.
func (w *tablet) denied(t *testing.T, verb, subject string) bool {
	t.Helper()
	if err := w.FlushTimeout(10 * time.Second); err != nil {
		t.Fatal(err)
	}
	err := w.LastError()
	return err != nil && strings.Contains(err.Error(), "for "+verb+` to "`+subject+`"`)
}
