package demo

import (
	"context"
	"strings"
	"testing"
	"time"

	"github.com/nats-io/nats.go"

	"hopperbook/cmd/internal/office"
	"hopperbook/ingest"
	"hopperbook/ingest/exchange"
	"hopperbook/ingest/hub"
	"hopperbook/ingest/link"
	"hopperbook/schemas"
)

// lasting runs a hub of the book that tablets come to, for as long as do takes.
func lasting(t *testing.T, dir string, do func(context.Context, *hub.Hub)) {
	t.Helper()
	cfg := office.Config{BookDir: dir, Listen: "127.0.0.1:0", TLS: true, Lasting: true, Quiet: 20 * time.Millisecond, Logf: t.Logf}
	err := office.WithOwnHub(context.Background(), cfg, func(ctx context.Context, bus *hub.Hub) error {
		do(ctx, bus)
		return nil
	})
	if err != nil {
		t.Error(err)
	}
}

// crew is a tablet that keeps its packet.
type crew struct {
	t     *testing.T
	creds link.Credentials
	conn  *nats.Conn
	news  chan struct{}
	held  *schemas.CabPacket
}

func aboard(ctx context.Context, t *testing.T, creds link.Credentials) *crew {
	t.Helper()
	c := &crew{t: t, creds: creds, news: make(chan struct{}, 100)}
	up := make(chan struct{}, 100)
	var err error
	if c.conn, err = link.Dial(ctx, creds, link.DialOptions{Up: func() { up <- struct{}{} }}); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(c.conn.Close)
	select {
	case <-up:
	case <-time.After(60 * time.Second):
		t.Fatal("the tablet never reaches the hub")
	}
	if _, err := link.WatchNews(c.conn, creds, func() { c.news <- struct{}{} }); err != nil {
		t.Fatal(err)
	}
	c.fetch(ctx)
	return c
}

// fetch takes the packet where it is another.
func (c *crew) fetch(ctx context.Context) {
	c.t.Helper()
	digest := ""
	if c.held != nil {
		digest = c.held.Digest
	}
	p, err := link.FetchPacket(ctx, c.conn, c.creds, digest)
	if err != nil {
		c.t.Fatal(err)
	}
	if p != nil {
		c.held = p
	}
}

// until follows the news until the packet is as wanted.
func (c *crew) until(ctx context.Context, what string, wanted func(*schemas.CabPacket) bool) {
	c.t.Helper()
	for patience := time.After(60 * time.Second); !wanted(c.held); {
		select {
		case <-c.news:
			c.fetch(ctx)
		case <-patience:
			c.t.Fatalf("the packet never has %s; its notices: %v", what, kinds(c.held))
		}
	}
}

func kinds(p *schemas.CabPacket) (out []string) {
	for _, n := range p.Notices {
		out = append(out, n.Kind)
	}
	return out
}

func knows(customer schemas.CustomerID) func(*schemas.CabPacket) bool {
	return func(p *schemas.CabPacket) bool {
		for _, c := range p.Customers {
			if c.Customer == customer {
				return true
			}
		}
		return false
	}
}

func register(ctx context.Context, t *testing.T, bus *hub.Hub, customer string) {
	t.Helper()
	client, err := bus.Dial("test")
	if err != nil {
		t.Fatal(err)
	}
	defer client.Close()
	line := `{"type":"register.customer","time":"2026-04-01T08:00:00Z","data":{"customer":"` + customer + `","name":"Invented farm"}}`
	file := strings.NewReader(line)
	if _, err := client.Publish(ctx, exchange.Events(file), time.Minute, nil); err != nil {
		t.Fatal(err)
	}
}

// The demo's week, and a lasting hub on its book: the crew of spreader-3 gets
// exactly one notice to recalibrate, the others none; started again, the hub
// raises nothing twice; acknowledged, it is gone.
//
// tripwire: one story, told from end to end.
func TestTheDemoRaisesOneNotice(t *testing.T) {
	dir := t.TempDir()
	report, err := Run(context.Background(), Config{Office: office.Config{BookDir: dir, Logf: t.Logf}, Seed: 1, Faults: true}, func(int, int, int) {})
	if err != nil {
		t.Fatal(err)
	}
	if report.Booked != int64(report.Published+report.Issued) {
		t.Errorf("booked %d of %d published and issued: a hub inside a command raises nothing", report.Booked, report.Published+report.Issued)
	}
	tablets := map[schemas.DeviceID]link.Credentials{}
	one := func(p *schemas.CabPacket) bool { return len(p.Notices) == 1 }
	lasting(t, dir, func(ctx context.Context, bus *hub.Hub) {
		for _, d := range []schemas.DeviceID{"spreader-1", "spreader-3"} {
			given, err := bus.NewCode(d, 0, "")
			if err != nil {
				t.Fatal(err)
			}
			if tablets[d], err = link.Enrol(ctx, given.Code, t.TempDir()); err != nil {
				t.Fatal(err)
			}
		}
		drifting := aboard(ctx, t, tablets["spreader-3"])
		drifting.until(ctx, "a notice", one)
		if n := drifting.held.Notices[0]; n.Kind != "recalibrate" || n.Machine != "spreader-3" || !strings.Contains(n.Text, "Recalibrate. With") || len(n.Evidence) == 0 {
			t.Errorf("notice %+v", n)
		}
		register(ctx, t, bus, "C-late-1")
		drifting.until(ctx, "the customer", knows("C-late-1"))
		if !one(drifting.held) {
			t.Errorf("spreader-3 is told %v", kinds(drifting.held))
		}
		holding := aboard(ctx, t, tablets["spreader-1"])
		if len(holding.held.Notices) != 0 {
			t.Errorf("spreader-1 is told %v", kinds(holding.held))
		}
		wholePacket(t, holding.held)
	})
	lasting(t, dir, func(ctx context.Context, bus *hub.Hub) {
		again := tablets["spreader-3"]
		again.Hub = strings.TrimPrefix(bus.URL(), "tls://") // it took another free port
		drifting := aboard(ctx, t, again)
		register(ctx, t, bus, "C-late-2") // known to the tablet after the next plan
		drifting.until(ctx, "the customer", knows("C-late-2"))
		if !one(drifting.held) {
			t.Errorf("started again, spreader-3 is told %v", kinds(drifting.held))
		}
		acknowledge(ctx, t, bus, drifting.held.Notices[0])
		drifting.until(ctx, "the end of the notice", func(p *schemas.CabPacket) bool { return len(p.Notices) == 0 })
		register(ctx, t, bus, "C-late-3")
		drifting.until(ctx, "the customer", knows("C-late-3"))
		if len(drifting.held.Notices) != 0 {
			t.Errorf("acknowledged, spreader-3 is told %v", kinds(drifting.held))
		}
	})
}

func acknowledge(ctx context.Context, t *testing.T, bus *hub.Hub, n schemas.NoticeRaised) {
	t.Helper()
	client, err := bus.Dial("test")
	if err != nil {
		t.Fatal(err)
	}
	defer client.Close()
	id := schemas.Identity{Source: schemas.DeviceSource(schemas.DeviceID(n.Machine), "ack"), Sequence: 1}
	raw, err := schemas.Write(id, "01HZY3Q2Q3W4E5R6T7Y8V9B0NM", schemas.TypeNoticeAcknowledged, time.Date(2026, 4, 1, 9, 0, 0, 0, time.UTC),
		schemas.NoticeAcknowledged{Notice: n.Notice, Machine: n.Machine, Kind: n.Kind, Text: n.Text})
	if err != nil {
		t.Fatal(err)
	}
	if _, err := client.Publish(ctx, ingest.Each([]ingest.Outgoing{{Identity: id, Type: schemas.TypeNoticeAcknowledged, Raw: raw}}), time.Minute, nil); err != nil {
		t.Fatal(err)
	}
}

// wholePacket looks whether a spreader's packet has what a cab needs.
func wholePacket(t *testing.T, p *schemas.CabPacket) {
	t.Helper()
	for what, n := range map[string]int{"fields": len(p.Fields), "machines": len(p.Machines), "products": len(p.Products), "customers": len(p.Customers),
		"stockpiles": len(p.Stockpile), "settings": len(p.Settings), "catch tests": len(p.Catch), "drift": len(p.Drift), "rates": len(p.Rates)} {
		if n == 0 {
			t.Errorf("the packet has no %s", what)
		}
	}
	for refill, r := range p.Rates {
		if r.MachineRateKgHa < r.LowKgHa || r.MachineRateKgHa > r.HighKgHa || r.LowKgHa <= 0 {
			t.Errorf("%s: %+v", refill, r)
		}
	}
}
