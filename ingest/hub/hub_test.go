package hub

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"iter"
	"net"
	"strings"
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
	fail    error // what the next commit returns
}

func (m *memory) Commit(_ context.Context, b ingest.Batch) (ingest.Receipt, error) {
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
	client, err := Dial(h.URL(), "tussock", "test")
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

func each(all []ingest.Outgoing) iter.Seq2[ingest.Outgoing, error] {
	return func(yield func(ingest.Outgoing, error) bool) {
		for _, o := range all {
			if !yield(o, nil) {
				return
			}
		}
	}
}

func publish(t *testing.T, r *running, all []ingest.Outgoing) {
	t.Helper()
	ctx, stop := context.WithTimeout(context.Background(), 2*time.Minute)
	defer stop()
	confirmed := 0
	sent, err := r.client.Publish(ctx, each(all), time.Minute, func(_, c int) { confirmed = c })
	if err != nil || sent != len(all) || confirmed != len(all) {
		t.Fatalf("sent %d, confirmed %d of %d: %v", sent, confirmed, len(all), err)
	}
}

func TestWhatIsPublishedIsInTheBook(t *testing.T) {
	store := newMemory()
	r := start(t, t.TempDir(), store)
	all := events(t, "sp1", 5000)
	publish(t, r, all)
	publish(t, r, all) // again: confirmed, and nothing changes
	r.mustEnd(t)
	if len(store.events) != len(all) || len(store.other) != 0 {
		t.Errorf("%d events, %d contradicting", len(store.events), len(store.other))
	}
	for _, o := range all {
		if store.events[o.Identity] != string(o.Raw) {
			t.Fatalf("%s came as %q", o.Identity, store.events[o.Identity])
		}
	}
}

// The server's duplicate window must not swallow other bytes under the same
// identity: they have to reach the quarantine.
func TestContradictingBytesReachTheBook(t *testing.T) {
	store := newMemory()
	r := start(t, t.TempDir(), store)
	publish(t, r, []ingest.Outgoing{event(t, "sp1", 1, 4000), event(t, "sp1", 1, 4001)})
	publish(t, r, []ingest.Outgoing{event(t, "sp1", 2, 4000)})
	r.mustEnd(t)
	if len(store.other) != 1 {
		t.Errorf("%d contradicting, want 1", len(store.other))
	}
}

func TestA20MBMessageEndsInTheRejects(t *testing.T) {
	store := newMemory()
	r := start(t, t.TempDir(), store)
	big := event(t, "sp1", 1, 4000)
	big.Raw = []byte(strings.Replace(string(big.Raw), `"lime"`, `"`+strings.Repeat("x", 20<<20)+`"`, 1))
	publish(t, r, []ingest.Outgoing{big})
	r.mustEnd(t)
	if len(store.rejects) != 1 || !bytes.Equal(store.rejects[0].Raw, big.Raw) || store.rejects[0].Reason.Rule != "size" {
		t.Errorf("%d rejects", len(store.rejects))
	}
	if store.rejects[0].Identity != big.Identity {
		t.Errorf("the reject of %s is known as %s", big.Identity, store.rejects[0].Identity)
	}
}

// A device that publishes in another's name is refused and moves no mark.
func TestADeviceSpeaksForItselfOnly(t *testing.T) {
	store := newMemory()
	r := start(t, t.TempDir(), store)
	forged := event(t, "sp2", 1, 4000)
	msg := r.client.message(&forged)
	msg.Subject = schemas.EventSubject("tussock", "sp1", forged.Type)
	if _, err := r.client.js.PublishMsg(context.Background(), msg); err != nil {
		t.Fatal(err)
	}
	publish(t, r, events(t, "sp1", 3)) // behind it in the stream
	r.mustEnd(t)
	if len(store.rejects) != 1 || store.rejects[0].Reason.Rule != "subject" || store.rejects[0].Identity != (schemas.Identity{}) {
		t.Errorf("rejects %+v", store.rejects)
	}
}

// Killed between commit and ack: the stream gives the messages again and the
// book finds duplicates.
func TestEndBetweenCommitAndAck(t *testing.T) {
	dir, store := t.TempDir(), newMemory()
	h, err := Start(Config{Dir: dir, Listen: "127.0.0.1:0", Contractor: "tussock"})
	if err != nil {
		t.Fatal(err)
	}
	client, err := Dial(h.URL(), "tussock", "test")
	if err != nil {
		t.Fatal(err)
	}
	all := events(t, "sp1", 200)
	for _, o := range all {
		if _, err := client.js.PublishMsg(context.Background(), client.message(&o)); err != nil {
			t.Fatal(err)
		}
	}
	in, err := h.Intake(context.Background())
	if err != nil {
		t.Fatal(err)
	}
	for got := 0; got < len(all); { // committed, never acknowledged
		batch, err := in.Fetch(context.Background(), 500)
		if err != nil {
			t.Fatal(err)
		}
		got += len(batch)
		if _, err := store.Commit(context.Background(), ingest.Check(batch)); err != nil {
			t.Fatal(err)
		}
	}
	in.Close()
	client.Close()
	h.Close()

	r := start(t, dir, store)
	publish(t, r, append(all, event(t, "sp1", 201, 4000)))
	r.mustEnd(t)
	if len(store.events) != 201 || len(store.other) != 0 {
		t.Errorf("%d events, %d contradicting; want 201, 0", len(store.events), len(store.other))
	}
}

func TestAFullDiskIsWaitedOut(t *testing.T) {
	store := newMemory()
	store.fail = fault.Newf("commit", fault.Full, "no space left on device", "make room")
	r := start(t, t.TempDir(), store)
	publish(t, r, events(t, "sp1", 10))
}

func TestAskCopiesLongAnswersAndErrors(t *testing.T) {
	r := start(t, t.TempDir(), newMemory())
	ctx, stop := context.WithTimeout(context.Background(), time.Minute)
	defer stop()
	var out bytes.Buffer
	if err := r.client.Ask(ctx, "much", nil, &out); err != nil {
		t.Fatal(err)
	}
	lines := strings.Split(strings.TrimSpace(out.String()), "\n")
	if len(lines) != 50_000 || lines[49_999] != "line 49999 of a long answer that does not fit in one message" {
		t.Errorf("%d lines, last %q", len(lines), lines[len(lines)-1])
	}
	err := r.client.Ask(ctx, "refuse", nil, &out)
	if fault.CodeOf(err) != fault.TooNew || fault.HintOf(err) != "update the program" || !strings.Contains(err.Error(), "newer version") {
		t.Errorf("err = %v, hint %q", err, fault.HintOf(err))
	}
	if err := r.client.Ask(ctx, "nonsense", nil, &out); fault.CodeOf(err) != fault.Unavailable || fault.HintOf(err) == "" {
		t.Errorf("an unknown question: %v", err)
	}
	short, cancel := context.WithCancel(ctx)
	cancel()
	if err := r.client.Ask(short, "slow", nil, &out); fault.CodeOf(err) != fault.Canceled {
		t.Errorf("a question taken back: %v", err)
	}
	if err := r.client.Ask(ctx, "much", nil, fullDisk{}); err == nil || !errors.Is(err, errFull) {
		t.Errorf("a reader that fails: %v", err)
	}
}

var errFull = errors.New("no space left")

type fullDisk struct{}

func (fullDisk) Write([]byte) (int, error) { return 0, errFull }

func TestStartSaysWhatIsWrong(t *testing.T) {
	taken, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer taken.Close()
	for _, r := range []struct {
		name string
		cfg  Config
		code fault.Code
	}{
		{"port taken", Config{Listen: taken.Addr().String()}, fault.Unavailable},
		{"no port", Config{Listen: "nonsense"}, fault.Usage},
		{"contractor", Config{Listen: "127.0.0.1:0", Contractor: "Two Words"}, fault.Usage},
		{"no server", Config{NATS: "nats://" + taken.Addr().String()}, fault.Unavailable},
	} {
		r.cfg.Dir = t.TempDir()
		h, err := Start(r.cfg)
		if err == nil {
			h.Close()
		}
		if fault.CodeOf(err) != r.code || fault.HintOf(err) == "" {
			t.Errorf("%s: %v (hint %q)", r.name, err, fault.HintOf(err))
		}
	}
}

// An existing NATS server serves as well as the embedded one, several
// contractors beside each other.
func TestAnExistingServer(t *testing.T) {
	owner, err := Start(Config{Dir: t.TempDir(), Listen: "127.0.0.1:0", Contractor: "other"})
	if err != nil {
		t.Fatal(err)
	}
	defer owner.Close()
	store := newMemory()
	r := startWith(t, Config{NATS: owner.URL(), Contractor: "tussock"}, store)
	if r.hub.URL() != owner.URL() || r.hub.server != nil {
		t.Errorf("url %s", r.hub.URL())
	}
	all := events(t, "sp1", 100)
	publish(t, r, all)
	r.mustEnd(t)
	if len(store.events) != len(all) {
		t.Errorf("%d events", len(store.events))
	}
}

func TestPublishGivesUpWithWords(t *testing.T) {
	owner, err := Start(Config{Dir: t.TempDir(), Listen: "127.0.0.1:0", Contractor: "tussock"}) // nobody writes
	if err != nil {
		t.Fatal(err)
	}
	defer owner.Close()
	client, err := Dial(owner.URL(), "tussock", "test")
	if err != nil {
		t.Fatal(err)
	}
	defer client.Close()
	_, err = client.Publish(context.Background(), each(events(t, "sp1", 3)), 50*time.Millisecond, nil)
	if fault.CodeOf(err) != fault.Unavailable || !strings.Contains(err.Error(), "3 of 3 events") || fault.HintOf(err) == "" {
		t.Errorf("err = %v", err)
	}
}

func TestPresence(t *testing.T) {
	dir := t.TempDir()
	if _, ok, err := ReadPresence(dir); ok || err != nil {
		t.Fatalf("ok %v, err %v", ok, err)
	}
	want := Presence{URL: "nats://127.0.0.1:4222", Contractor: "tussock", PID: 42}
	if err := LeavePresence(dir, want); err != nil {
		t.Fatal(err)
	}
	if got, ok, err := ReadPresence(dir); got != want || !ok || err != nil {
		t.Errorf("got %+v, %v, %v", got, ok, err)
	}
	for range 2 {
		if err := RemovePresence(dir); err != nil {
			t.Error(err)
		}
	}
}
