package hub

import (
	"context"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"hopperbook/ingest/link"
	"hopperbook/schemas/fault"
)

// A CA that tablets have pinned is never replaced in silence.
func TestAPinnedCAIsNotReplaced(t *testing.T) {
	dir := t.TempDir()
	h, err := Start(Config{Dir: dir, Listen: "127.0.0.1:0", TLS: true})
	if err != nil {
		t.Fatal(err)
	}
	h.Close()
	strange := t.TempDir()
	if _, err := makeAuthority(strange, time.Now); err != nil {
		t.Fatal(err)
	}
	files := map[string][]byte{}
	for _, name := range []string{caFile, caKeyFile} {
		if files[name], err = kept(filepath.Join(dir, name)); err != nil {
			t.Fatal(err)
		}
	}
	other := map[string][]byte{}
	for name := range files {
		if other[name], err = kept(filepath.Join(strange, name)); err != nil {
			t.Fatal(err)
		}
	}
	for what, as := range map[string]map[string][]byte{
		"no certificate": {caKeyFile: files[caKeyFile]}, "no key": {caFile: files[caFile]}, "neither": {},
		"damaged certificate": {caFile: files[caFile][:100], caKeyFile: files[caKeyFile]}, "damaged key": {caFile: files[caFile], caKeyFile: []byte("x")},
		"the key of another": {caFile: files[caFile], caKeyFile: other[caKeyFile]}, "another CA": other,
	} {
		for name := range files {
			if err := os.RemoveAll(filepath.Join(dir, name)); err != nil {
				t.Fatal(err)
			}
			if as[name] != nil {
				if err := os.WriteFile(filepath.Join(dir, name), as[name], 0o600); err != nil {
					t.Fatal(err)
				}
			}
		}
		h, err := Start(Config{Dir: dir, Listen: "127.0.0.1:0", TLS: true})
		if err == nil {
			h.Close()
		}
		if fault.CodeOf(err) != fault.Input || !strings.Contains(fault.HintOf(err), "backup") {
			t.Errorf("%s: %v (%s)", what, err, fault.HintOf(err))
		}
	}
	if err := os.Remove(filepath.Join(dir, devicesFile)); err != nil { // the way out that the hint names
		t.Fatal(err)
	}
	for name := range files {
		if err := os.RemoveAll(filepath.Join(dir, name)); err != nil {
			t.Fatal(err)
		}
	}
	if h, err = Start(Config{Dir: dir, Listen: "127.0.0.1:0", TLS: true}); err != nil {
		t.Fatal(err)
	}
	h.Close()
}

// A tablet whose clock has forgotten the year gets its events home: to it the
// hub's certificate is of the far future or the far past.
func TestATabletsClockYearsOff(t *testing.T) {
	for _, off := range []time.Duration{25 * 365 * 24 * time.Hour, -25 * 365 * 24 * time.Hour} {
		g := &guarded{t: t, lines: make(chan string, 1000), now: time.Now().Add(off)}
		h, err := Start(Config{Dir: t.TempDir(), Listen: "127.0.0.1:0", Contractor: "tussock", TLS: true, Now: g.clock})
		if err != nil {
			t.Fatal(err)
		}
		g.Hub = h
		if err := h.Remember(); err != nil {
			t.Fatal(err)
		}
		connected(t, g.enrol("sp-1")).Close()
		h.Close()
	}
}

// One code in two hands at once: one tablet gets in.
func TestOneCodeInManyHandsAtOnce(t *testing.T) {
	g := guard(t, t.TempDir())
	code := g.code("sp-1")
	var wait sync.WaitGroup
	got := make(chan link.Credentials, 8)
	for range cap(got) {
		dir := t.TempDir()
		wait.Go(func() {
			if c, err := link.Enrol(context.Background(), code, dir); err == nil {
				got <- c
			} else if fault.CodeOf(err) != fault.Conflict {
				t.Error(err)
			}
		})
	}
	wait.Wait()
	if len(got) != 1 {
		t.Fatalf("%d tablets are in", len(got))
	}
	connected(t, <-got)
}

// Where the list of devices cannot be written, nobody is let in and nobody is
// thrown out, both sides are told, and it works again afterwards.
func TestTheListOfDevicesCannotBeKept(t *testing.T) {
	dir := t.TempDir()
	g := guard(t, dir)
	old := g.enrol("sp-1")
	code, mine := g.code("sp-2"), t.TempDir()
	full := filepath.Join(dir, devicesFile+".new") // a folder in the way, as a full disk is for root too
	if err := os.Mkdir(full, 0o700); err != nil {
		t.Fatal(err)
	}
	_, err := link.Enrol(context.Background(), code, mine)
	refusedWith(t, err, "cannot keep the new key")
	g.logged("sp-2 could not be enrolled", devicesFile)
	if _, err := g.registry.Revoke("sp-1"); fault.CodeOf(err) != fault.Full || fault.HintOf(err) == "" {
		t.Errorf("revoke: %v", err)
	}
	connected(t, old)
	if err := os.Remove(full); err != nil {
		t.Fatal(err)
	}
	c, err := link.Enrol(context.Background(), code, mine)
	if err != nil {
		t.Fatal(err)
	}
	connected(t, c)
}

// Enrolled tablets know one address: another is told loudly.
func TestAnotherAddressIsTold(t *testing.T) {
	g := guard(t, t.TempDir())
	g.enrol("sp-1")
	if err := g.registry.remember("office.lan:4222", true); err != nil {
		t.Fatal(err)
	}
	g.logged("tablets reach this hub at office.lan:4222 now", "enrol them anew")
	given, err := g.NewCode("sp-1", 0, "")
	if err != nil || given.Address != "office.lan:4222" {
		t.Errorf("%+v, %v", given, err)
	}
}
