package link

import (
	"bytes"
	"compress/gzip"
	"context"
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/nats-io/nats-server/v2/server"
	"github.com/nats-io/nats.go/jetstream"
	"github.com/nats-io/nkeys"

	"hopperbook/schemas"
	"hopperbook/schemas/fault"
)

func sound(t testing.TB) Credentials {
	t.Helper()
	pair, err := nkeys.CreateUser()
	if err != nil {
		t.Fatal(err)
	}
	seed, err := pair.Seed()
	if err != nil {
		t.Fatal(err)
	}
	return Credentials{Schema: schemaCredentials, Hub: "127.0.0.1:4222", Contractor: "own", Device: "sp-1", Seed: string(seed)}
}

// Damaged credentials are said, with what to do, and never used by half.
func TestDamagedCredentials(t *testing.T) {
	dir, good := t.TempDir(), sound(t)
	if _, ok, err := ReadCredentials(dir); ok || err != nil {
		t.Errorf("never enrolled: %v, %v", ok, err)
	}
	if err := keep(filepath.Join(dir, credentialsFile), good); err != nil {
		t.Fatal(err)
	}
	if c, ok, err := ReadCredentials(dir); c != good || !ok || err != nil {
		t.Errorf("sound: %v, %v", ok, err)
	}
	raw, err := os.ReadFile(filepath.Join(dir, credentialsFile))
	if err != nil {
		t.Fatal(err)
	}
	with := func(old, new string) []byte {
		if !bytes.Contains(raw, []byte(old)) {
			t.Fatalf("no %s to damage", old)
		}
		return bytes.Replace(raw, []byte(old), []byte(new), 1)
	}
	for what, r := range map[string]struct {
		raw  []byte
		code fault.Code
	}{
		"empty": {nil, fault.Input}, "cut off": {raw[:len(raw)/2], fault.Input}, "zeros": {make([]byte, 300), fault.Input},
		"no object": {[]byte("[]"), fault.Input}, "an empty object": {[]byte("{}"), fault.TooNew}, "of a newer version": {with("credentials/1", "credentials/2"), fault.TooNew},
		"seed cut": {with(good.Seed, good.Seed[:20]), fault.Input}, "no seed": {with(good.Seed, ""), fault.Input},
		"no hub": {with("127.0.0.1:4222", "127.0.0.1"), fault.Input}, "a far hub without a CA": {with("127.0.0.1:4222", "office.lan:4222"), fault.Input},
		"a CA that is none": {with(`"seed"`, `"ca_pem":"x","seed"`), fault.Input}, "no name": {with("sp-1", "Sp 1"), fault.Input},
	} {
		if err := os.WriteFile(filepath.Join(dir, credentialsFile), r.raw, 0o600); err != nil {
			t.Fatal(err)
		}
		if _, ok, err := ReadCredentials(dir); ok || fault.CodeOf(err) != r.code || fault.HintOf(err) == "" {
			t.Errorf("%s: ok %v, %v (%s, hint %q)", what, ok, err, fault.CodeOf(err), fault.HintOf(err))
		}
	}
	if _, err := Dial(t.Context(), Credentials{}, DialOptions{}); err == nil {
		t.Error("dials without credentials")
	}
}

// An outbox that was offline while its confirmations were lost gets on though
// the stream's duplicate window swallows every event it sends again.
func TestOfflineWithinTheDuplicateWindow(t *testing.T) {
	b, o := startBus(t, server.Options{}), openOutbox(t)
	b.stream(t, jetstream.StreamConfig{}) // the window is two minutes
	all := weigh(t, o, 40)
	b.drop = 1 << 30 // nothing is heard while it is online
	b.keep(t)
	ctx, off := context.WithCancel(t.Context())
	first, err := NewForwarder(dial(t, b.server.ClientURL()), ForwardConfig{Contractor: "own", Outbox: o})
	if err != nil {
		t.Fatal(err)
	}
	done := make(chan error, 1)
	go func() { done <- first.Run(ctx) }()
	until(t, "the book has all and the tablet knows nothing", tick, func() bool {
		b.mu.Lock()
		defer b.mu.Unlock()
		return len(b.order) >= len(all)
	})
	off()
	if err := <-done; err != nil {
		t.Fatal(err)
	}
	if s, err := o.Status(); err != nil || s.Waiting != 40 {
		t.Fatalf("%+v, %v", s, err)
	}
	b.mu.Lock()
	b.drop = 0
	b.mu.Unlock()
	all = append(all, weigh(t, o, 3)...)
	forward(t, dial(t, b.server.ClientURL()), ForwardConfig{Outbox: o})
	until(t, "the outbox is empty", o.Changed, empty(o))
	b.once(t, all)
}

func FuzzReadPacket(f *testing.F) {
	good, err := json.Marshal(schemas.CabPacket{Schema: schemas.SchemaCab, Device: "sp-1", Digest: "d"})
	if err != nil {
		f.Fatal(err)
	}
	var b bytes.Buffer
	zip := gzip.NewWriter(&b)
	if _, err := zip.Write(good); err != nil {
		f.Fatal(err)
	}
	if err := zip.Close(); err != nil {
		f.Fatal(err)
	}
	for _, seed := range [][]byte{nil, good, b.Bytes(), b.Bytes()[:20], []byte("{}"), []byte(strings.Replace(string(good), "sp-1", "sp-2", 1))} {
		f.Add(seed)
	}
	f.Fuzz(func(t *testing.T, raw []byte) {
		p, err := readPacket(raw, "sp-1")
		switch {
		case err != nil && (p != nil || fault.CodeOf(err) != fault.Input || fault.HintOf(err) == ""):
			t.Errorf("%v beside %+v, hint %q", err, p, fault.HintOf(err))
		case err == nil && p == nil && len(raw) > 0:
			t.Error("something was read as nothing")
		case p != nil && (p.Device != "sp-1" || p.Schema != schemas.SchemaCab):
			t.Errorf("a packet of %s, %s", p.Device, p.Schema)
		}
	})
}
