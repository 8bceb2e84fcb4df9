package hub

import (
	"context"
	"strings"
	"testing"
	"time"

	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"
	"github.com/nats-io/nkeys"

	"hopperbook/ingest/link"
	"hopperbook/schemas"
	"hopperbook/schemas/fault"
)

// Each device tries every subject of both devices and of the office.
// tripwire: one table of subjects, a line each.
func TestADeviceHasItsOwnSubjectsOnly(t *testing.T) {
	g := guard(t, t.TempDir())
	ids := []schemas.DeviceID{"sp-1", "sp-10"}
	for _, me := range ids {
		w := connected(t, g.enrol(me))
		for _, d := range ids {
			mine := d == me
			for subject, may := range map[string]bool{
				"book.tussock." + string(d) + ".load.weighed":   mine,
				"book.other." + string(d) + ".load.weighed":     false,
				"cab.tussock." + string(d):                      mine,
				"marks.tussock." + string(d):                    false,
				"cabnews.tussock." + string(d):                  false,
				schemas.DeviceInbox("tussock", d) + ".x":        false,
				"enrol.tussock":                                 false,
				"ask.tussock.export":                            false,
				"$JS.API.STREAM.PURGE.BOOK-tussock":             false,
				"$JS.API.CONSUMER.CREATE.BOOK-tussock":          false,
				"$SRV.PING":                                     false,
				"book.tussock._office.notice.raised":            false,
				"$JS.ACK.BOOK-tussock.ingest.1.1.1.1.0":         false,
				"book.tussock." + string(d):                     false,
				schemas.EnrolInbox + ".x":                       false,
				"$SYS.REQ.SERVER.PING":                          false,
				"_INBOX.anything":                               false,
				"book.tussock." + string(d) + "x.load.weighed":  false,
				"book.tussockx." + string(d) + ".load.weighed":  false,
				"book.tussock." + string(d) + ".pass.logged":    mine,
				"marks.tussock._office":                         false,
				"hopperbook." + string(d):                       false,
				"book.tussock._files.register.field":            false,
				"$JS.API.DIRECT.GET.BOOK-tussock":               false,
				"$KV.x.y":                                       false,
				"book.tussock." + string(d) + ".register.field": mine,
			} {
				if err := w.Publish(subject, nil); err != nil {
					t.Fatal(err)
				}
				if w.denied(t, "Publish", subject) == may {
					t.Errorf("%s may publish %s: want %v", me, subject, may)
				}
			}
			for subject, may := range map[string]bool{
				"marks.tussock." + string(d):                  mine,
				"cabnews.tussock." + string(d):                mine,
				schemas.DeviceInbox("tussock", d) + ".>":      mine,
				schemas.DeviceInbox("tussock", d) + ".a.b":    mine,
				"book.tussock." + string(d) + ".>":            false,
				"cab.tussock." + string(d):                    false,
				"marks.tussock.*":                             false,
				"marks.>":                                     false,
				">":                                           false,
				"_INBOX.>":                                    false,
				"_INBOX_DEVICE.tussock.>":                     false,
				"_INBOX_DEVICE.>":                             false,
				schemas.EnrolInbox + ".>":                     false,
				"enrol.tussock":                               false,
				"ask.tussock.*":                               false,
				"$JS.API.>":                                   false,
				"cabnews.*." + string(d):                      false,
				"marks.other." + string(d):                    false,
				schemas.DeviceInbox("other", d) + ".>":        false,
				"$JS.EVENT.ADVISORY.>":                        false,
				"book.tussock." + string(d) + ".load.weighed": false,
			} {
				sub, err := w.SubscribeSync(subject)
				if err != nil {
					t.Fatal(err)
				}
				if w.denied(t, "Subscription", subject) == may {
					t.Errorf("%s may read %s: want %v", me, subject, may)
				}
				_ = sub.Unsubscribe() // a refused one is gone already
			}
		}
	}
	g.logged("refused: the device may not publish or read there", "device sp-1,", "subject marks.tussock.sp-10")
	if g.refusals(NotAllowed, "sp-1") == 0 {
		t.Error("the list has none of sp-1")
	}
}

// A device's events reach the stream and are acknowledged into its own inbox.
func TestADevicePublishesIntoTheStream(t *testing.T) {
	g := guard(t, t.TempDir())
	w := connected(t, g.enrol("sp-1"))
	js, err := jetstream.New(w.Conn)
	if err != nil {
		t.Fatal(err)
	}
	e := event(t, "sp-1", 1, 4000)
	ack, err := js.Publish(context.Background(), schemas.EventSubject("tussock", "sp-1", e.Type), e.Raw)
	if err != nil || ack.Stream != "BOOK-tussock" {
		t.Errorf("ack %+v, %v", ack, err)
	}
}

// A reply subject is the asker's choice; it is no way to speak with the hub's
// rights on another's subjects.
func TestAReplySubjectGivesNoRights(t *testing.T) {
	g := guard(t, t.TempDir())
	if err := g.ServeCab(context.Background(), cabOf(func(d schemas.DeviceID, _ string) (*schemas.CabPacket, error) {
		return &schemas.CabPacket{Schema: schemas.SchemaCab, Device: d}, nil
	})); err != nil {
		t.Fatal(err)
	}
	a, b := g.enrol("sp-1"), g.enrol("sp-2")
	wa, wb := connected(t, a), connected(t, b)
	marks, err := wb.SubscribeSync("marks.tussock.sp-2")
	if err != nil {
		t.Fatal(err)
	}
	if err := wb.Flush(); err != nil {
		t.Fatal(err)
	}
	for _, reply := range []string{"marks.tussock.sp-2", schemas.DeviceInbox("tussock", "sp-2") + ".x", "ask.tussock.hello"} {
		if err := wa.PublishRequest("cab.tussock.sp-1", reply, []byte("{}")); err != nil {
			t.Fatal(err)
		}
	}
	if p, err := link.FetchPacket(context.Background(), wa.Conn, a, ""); err != nil || p.Device != "sp-1" {
		t.Fatalf("%+v, %v", p, err)
	}
	if err := g.Announce(context.Background(), []schemas.Mark{{Source: "/devices/sp-2/a", UpTo: 7}}); err != nil {
		t.Fatal(err)
	}
	if m, err := marks.NextMsg(20 * time.Second); err != nil || !strings.Contains(string(m.Data), `"up_to":7`) {
		t.Errorf("first on its marks: %v, %v", m, err)
	}
}

type cabOf func(schemas.DeviceID, string) (*schemas.CabPacket, error)

func (f cabOf) Cab(_ context.Context, d schemas.DeviceID, digest string) (*schemas.CabPacket, error) {
	return f(d, digest)
}

func TestTheTabletsPacket(t *testing.T) {
	g := guard(t, t.TempDir())
	c := g.enrol("sp-1")
	w := connected(t, c)
	news := make(chan struct{}, 1)
	if _, err := link.WatchNews(w.Conn, c, func() { offer(news, struct{}{}) }); err != nil {
		t.Fatal(err)
	}
	if _, err := link.FetchPacket(context.Background(), w.Conn, c, ""); fault.CodeOf(err) != fault.Unavailable || fault.HintOf(err) == "" {
		t.Errorf("without a desk: %v", err)
	}
	err := g.ServeCab(context.Background(), cabOf(func(d schemas.DeviceID, digest string) (*schemas.CabPacket, error) {
		switch digest {
		case "same":
			return nil, nil
		case "broken":
			return nil, fault.Newf("make the packet", fault.TooNew, "made by a newer version", "update the program")
		}
		return &schemas.CabPacket{Schema: schemas.SchemaCab, Device: d, Digest: "new"}, nil
	}))
	if err != nil {
		t.Fatal(err)
	}
	if p, err := link.FetchPacket(context.Background(), w.Conn, c, "old"); err != nil || p == nil || p.Digest != "new" || p.Device != "sp-1" {
		t.Errorf("%+v, %v", p, err)
	}
	if p, err := link.FetchPacket(context.Background(), w.Conn, c, "same"); err != nil || p != nil {
		t.Errorf("%+v, %v", p, err)
	}
	if _, err := link.FetchPacket(context.Background(), w.Conn, c, "broken"); fault.CodeOf(err) != fault.TooNew || fault.HintOf(err) != "update the program" {
		t.Errorf("%v, %s", err, fault.HintOf(err))
	}
	if err := g.CabNews("sp-1"); err != nil {
		t.Fatal(err)
	}
	await(t, news, "the news")
}

// Revoked, a device is off within seconds and stays off; the others do not
// notice.
func TestRevokingCutsOneOffAndDisturbsNobody(t *testing.T) {
	g := guard(t, t.TempDir())
	bad, good := connected(t, g.enrol("sp-1")), connected(t, g.enrol("sp-2"))
	office, err := g.Dial("office")
	if err != nil {
		t.Fatal(err)
	}
	defer office.Close()
	if on := g.Connected(); !on["sp-1"] || !on["sp-2"] || len(on) != 2 {
		t.Errorf("connected: %v", on)
	}
	began := time.Now()
	if gone, err := g.registry.Revoke("sp-1"); err != nil || gone.RevokedAt.IsZero() {
		t.Fatalf("%+v, %v", gone, err)
	}
	await(t, bad.down, "the end of the revoked link")
	await(t, bad.refused, "the refusal of the next try")
	t.Logf("cut off and refused after %v", time.Since(began))
	g.logged("refused: the device was revoked, device sp-1")
	for name, conn := range map[string]*nats.Conn{"sp-2": good.Conn, "office": office.conn, "hub": g.conn} {
		if err := conn.Flush(); err != nil || conn.Stats().Reconnects != 0 {
			t.Errorf("%s: %v, %d reconnects", name, err, conn.Stats().Reconnects)
		}
	}
	if on := g.Connected(); on["sp-1"] || !on["sp-2"] {
		t.Errorf("connected: %v", on)
	}
	if bad.Conn.IsConnected() {
		t.Error("the revoked tablet is connected")
	}
	if _, err := g.registry.Revoke("sp-9"); fault.CodeOf(err) != fault.NotFound || fault.HintOf(err) == "" {
		t.Errorf("revoke nobody: %v", err)
	}
	connected(t, g.enrol("sp-1")) // a new code lets the name back in, with a new key
}

// A new tablet of a device takes the name from the old one.
func TestANewTabletTakesTheNameOver(t *testing.T) {
	g := guard(t, t.TempDir())
	old := connected(t, g.enrol("sp-1"))
	next := g.enrol("sp-1")
	await(t, old.refused, "the refusal of the old tablet")
	connected(t, next)
	if list := g.registry.Devices(); len(list) != 1 || !list[0].RevokedAt.IsZero() {
		t.Errorf("devices %+v", list)
	}
	g.logged("refused: no enrolled device has this key")
}

func TestStrangersAreRefused(t *testing.T) {
	g := guard(t, t.TempDir())
	c := g.enrol("sp-1")
	public := g.registry.Devices()[0].PublicKey
	stranger, err := nkeys.CreateUser()
	if err != nil {
		t.Fatal(err)
	}
	strange, err := stranger.PublicKey()
	if err != nil {
		t.Fatal(err)
	}
	trust := func(o *nats.Options) error {
		opts, err := Access{CAPEM: []byte(c.CAPEM)}.options()
		if err != nil {
			return err
		}
		return opts[0](o)
	}
	for _, r := range []struct {
		who    nats.Option
		why    Reason
		device schemas.DeviceID
	}{
		{nats.Name("nobody"), NoCredentials, ""},
		{nats.UserInfo("sp-1", "sp-1"), NoCredentials, ""},
		{nats.Nkey(strange, stranger.Sign), UnknownKey, ""},
		{nats.Nkey(public, stranger.Sign), BadSignature, "sp-1"},
		{nats.Nkey(public, func([]byte) ([]byte, error) { return []byte("?"), nil }), BadSignature, "sp-1"},
	} {
		before := g.refusals(r.why, r.device)
		conn, err := nats.Connect(g.URL(), trust, r.who)
		if err == nil {
			conn.Close()
			t.Errorf("%s: connected", r.why)
		}
		if g.refusals(r.why, r.device) != before+1 {
			t.Errorf("%s: not in the list", r.why)
		}
	}
	// Without TLS nobody is spoken to.
	if conn, err := nats.Connect(strings.Replace(g.URL(), "tls:", "nats:", 1), nats.UserInfo(schemas.EnrolUser, schemas.EnrolUser)); err == nil {
		conn.Close()
		t.Error("connected without the hub's CA")
	}
}

// On a network TLS is not asked for, it is there.
func TestAnOpenPortHasTLS(t *testing.T) {
	dir := t.TempDir()
	h, err := Start(Config{Dir: dir, Listen: "0.0.0.0:0"})
	if err != nil {
		t.Fatal(err)
	}
	defer h.Close()
	if !strings.HasPrefix(h.URL(), "tls://127.0.0.1:") {
		t.Errorf("url %s", h.URL())
	}
	access, err := ReadAccess(dir)
	if err != nil {
		t.Fatal(err)
	}
	client, err := Dial(h.URL(), "", "office", access)
	if err != nil {
		t.Fatal(err)
	}
	client.Close()
	plain, err := Start(Config{Dir: t.TempDir(), Listen: "localhost:0"})
	if err != nil {
		t.Fatal(err)
	}
	defer plain.Close()
	if !strings.HasPrefix(plain.URL(), "nats://localhost:") {
		t.Errorf("url %s", plain.URL())
	}
	if conn, err := nats.Connect(plain.URL()); err == nil {
		conn.Close()
		t.Error("loopback lets anybody in")
	}
}
