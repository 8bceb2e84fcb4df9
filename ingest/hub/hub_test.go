package hub

import (
	"context"
	"net"
	"testing"

	"github.com/nats-io/nats-server/v2/server"

	"hopperbook/schemas"
	"hopperbook/schemas/fault"
)

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

// somebodysOwn is a NATS server that knows nothing of hopperbook.
func somebodysOwn(t *testing.T) string {
	t.Helper()
	s, err := server.NewServer(&server.Options{Host: "127.0.0.1", Port: server.RANDOM_PORT, JetStream: true, StoreDir: t.TempDir(), MaxPayload: maxPayload, MaxPending: 4 * maxPayload, NoSigs: true, NoLog: true})
	if err != nil {
		t.Fatal(err)
	}
	s.Start()
	t.Cleanup(func() {
		s.Shutdown()
		s.WaitForShutdown()
	})
	if !s.ReadyForConnections(startTimeout) {
		t.Fatal("the server does not come up")
	}
	return s.ClientURL()
}

// An existing NATS server serves as well as the embedded one, several
// contractors beside each other.
func TestAnExistingServer(t *testing.T) {
	url := somebodysOwn(t)
	for _, contractor := range []schemas.ContractorID{"other", "tussock"} {
		store := newMemory()
		r := startWith(t, Config{NATS: url, Contractor: contractor}, store)
		if r.hub.URL() != url || r.hub.server != nil {
			t.Errorf("url %s", r.hub.URL())
		}
		if _, err := r.hub.Registry(); fault.CodeOf(err) != fault.Usage || fault.HintOf(err) == "" {
			t.Errorf("its users are ours: %v", err)
		}
		all := events(t, "sp1", 100)
		publish(t, r, all)
		r.mustEnd(t)
		if len(store.events) != len(all) {
			t.Errorf("%d events", len(store.events))
		}
	}
}

// A second hub of the contractor must not take the first one's events away.
func TestASecondHubOnTheSameServerIsRefused(t *testing.T) {
	first := start(t, t.TempDir(), newMemory())
	publish(t, first, events(t, "sp1", 10)) // it pulls by now
	second, err := Start(Config{NATS: first.hub.URL(), Contractor: "tussock", Access: first.hub.access})
	if err != nil {
		t.Fatal(err)
	}
	defer second.Close()
	if _, err := second.Intake(context.Background()); fault.CodeOf(err) != fault.Held || fault.HintOf(err) == "" {
		t.Errorf("err = %v", err)
	}
	publish(t, first, events(t, "sp1", 20))
}

// A client can tell which hub answers.
func TestHelloTellsHubsApart(t *testing.T) {
	a, b := start(t, t.TempDir(), newMemory()), start(t, t.TempDir(), newMemory())
	for _, r := range []*running{a, b} {
		got, err := r.client.Hello(context.Background())
		if err != nil || got != r.hub.Presence() {
			t.Errorf("hello %+v, %v; want %+v", got, err, r.hub.Presence())
		}
	}
	if a.hub.Presence().Token == b.hub.Presence().Token {
		t.Error("two hubs share a token")
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
