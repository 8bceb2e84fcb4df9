package hub

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"sync"
	"testing"
	"time"

	"github.com/oklog/ulid/v2"

	"hopperbook/ingest"
	"hopperbook/schemas"
	"hopperbook/schemas/fault"
)

// memory is a book in memory: enough of one to see the bus work.
type memory struct {
	mu      sync.Mutex
	events  map[schemas.Identity]string
	other   []string // same identity, other bytes
	rejects []ingest.Reject
	fail    error         // what the next commit returns
	gate    chan struct{} // commits wait until it is closed
}

func (m *memory) hang(gate chan struct{}) {
	m.mu.Lock()
	defer m.mu.Unlock()
	m.gate = gate
}

func (m *memory) Commit(_ context.Context, b ingest.Batch) (ingest.Receipt, error) {
	m.mu.Lock()
	gate := m.gate
	m.mu.Unlock()
	if gate != nil {
		<-gate
	}
	m.mu.Lock()
	defer m.mu.Unlock()
	if err := m.fail; err != nil {
		m.fail = nil
		return ingest.Receipt{}, err
	}
	var r ingest.Receipt
	touched := map[schemas.Source]bool{}
	for _, e := range b.Events {
		switch old, ok := m.events[e.Identity]; {
		case !ok:
			m.events[e.Identity] = string(e.Raw)
			r.Stored++
		case old == string(e.Raw):
			r.Duplicate++
		default:
			m.other = append(m.other, string(e.Raw))
			r.Quarantined++
		}
		touched[e.Source] = true
	}
	for _, x := range b.Rejects {
		m.rejects = append(m.rejects, x)
		m.events[x.Identity] = ""
		r.Rejected++
		touched[x.Identity.Source] = true
	}
	for s := range touched {
		r.Marks = append(r.Marks, m.mark(s))
	}
	return r, nil
}

func (m *memory) mark(s schemas.Source) schemas.Mark {
	mark := schemas.Mark{Source: s}
	for {
		if _, ok := m.events[schemas.Identity{Source: s, Sequence: mark.UpTo + 1}]; !ok {
			return mark
		}
		mark.UpTo++
	}
}

// Questions and Answer make it a desk as well.
func (m *memory) Questions() []string { return []string{"marks", "much", "refuse", "slow"} }

func (m *memory) Answer(ctx context.Context, question string, params []byte, w io.Writer) error {
	m.mu.Lock()
	defer m.mu.Unlock()
	switch question {
	case "much":
		for i := range 50_000 {
			if _, err := fmt.Fprintf(w, "line %d of a long answer that does not fit in one message\n", i); err != nil {
				return err
			}
		}
		return nil
	case "refuse":
		return fault.Newf("look into the book", fault.TooNew, "made by a newer version", "update the program")
	case "slow":
		<-ctx.Done()
		return ctx.Err()
	}
	var p struct{ Sources []schemas.Source }
	if err := json.Unmarshal(params, &p); err != nil {
		return err
	}
	marks := []schemas.Mark{}
	for _, s := range p.Sources {
		marks = append(marks, m.mark(s))
	}
	return json.NewEncoder(w).Encode(marks)
}

// running is a hub with its writer; end stops both and waits.
type running struct {
	hub    *Hub
	end    func() error
	client *Client
}

func start(t *testing.T, dir string, store *memory) *running {
	t.Helper()
	return startWith(t, Config{Dir: dir, Listen: "127.0.0.1:0", Contractor: "tussock", Logf: t.Logf}, store)
}

func startWith(t *testing.T, cfg Config, store *memory) *running {
	t.Helper()
	h, err := Start(cfg)
	if err != nil {
		t.Fatal(err)
	}
	ctx, stop := context.WithCancel(context.Background())
	in, err := h.Intake(ctx)
	if err != nil {
		t.Fatal(err)
	}
	if err := h.Serve(ctx, store); err != nil {
		t.Fatal(err)
	}
	w := ingest.Writer{Source: in, Store: store, Announcer: h, RetryWait: time.Millisecond}
	done := make(chan error, 1)
	go func() { done <- w.Run(ctx) }()
	client, err := h.Dial("test")
	if err != nil {
		t.Fatal(err)
	}
	var once sync.Once
	r := &running{hub: h, client: client}
	r.end = func() (err error) {
		once.Do(func() {
			client.Close()
			stop()
			err = <-done
			in.Close()
			h.Close()
		})
		return err
	}
	t.Cleanup(func() { r.mustEnd(t) })
	return r
}

// mustEnd stops hub and writer, after which the book in memory may be read.
func (r *running) mustEnd(t *testing.T) {
	t.Helper()
	if err := r.end(); err != nil {
		t.Errorf("the writer ended with %v", err)
	}
}

func newMemory() *memory { return &memory{events: map[schemas.Identity]string{}} }

func event(t testing.TB, device schemas.DeviceID, seq int64, kg float64) ingest.Outgoing {
	t.Helper()
	id := schemas.Identity{Source: schemas.DeviceSource(device, "a"), Sequence: seq}
	at := time.Date(2026, 3, 2, 8, 0, int(seq%60), 0, time.UTC)
	entropy := bytes.NewReader([]byte(fmt.Sprintf("%010d", seq)))
	raw, err := schemas.Write(id, schemas.EventID(ulid.MustNew(ulid.Timestamp(at), entropy).String()), schemas.TypeLoadWeighed, at,
		schemas.LoadWeighed{Load: schemas.LoadID(fmt.Sprintf("L%d", seq)), Product: "lime", NetKg: kg, Method: "bucket"})
	if err != nil {
		t.Fatal(err)
	}
	return ingest.Outgoing{Identity: id, Type: schemas.TypeLoadWeighed, Raw: raw}
}

func events(t testing.TB, device schemas.DeviceID, n int64) []ingest.Outgoing {
	all := make([]ingest.Outgoing, 0, n)
	for i := range n {
		all = append(all, event(t, device, i+1, 4000+float64(i)))
	}
	return all
}

func publish(t *testing.T, r *running, all []ingest.Outgoing) {
	t.Helper()
	ctx, stop := context.WithTimeout(context.Background(), 2*time.Minute)
	defer stop()
	confirmed := 0
	sent, err := r.client.Publish(ctx, ingest.Each(all), time.Minute, func(_, c int) { confirmed = c })
	if err != nil || sent != len(all) || confirmed != len(all) {
		t.Fatalf("sent %d, confirmed %d of %d: %v", sent, confirmed, len(all), err)
	}
}
