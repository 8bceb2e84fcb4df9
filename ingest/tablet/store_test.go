package tablet

import (
	"errors"
	"path/filepath"
	"testing"
	"time"

	"github.com/tidwall/gjson"

	"hopperbook/ingest"
	"hopperbook/ingest/outbox"
	"hopperbook/schemas"
)

// boxed is the real outbox as a Store, as cmd adapts it; copies stay in memory.
type boxed struct {
	*outbox.Outbox
	packet []byte
}

func (b *boxed) Append(entries []Entry, state func([]ingest.Outgoing) ([]byte, error)) ([]ingest.Outgoing, error) {
	all := make([]outbox.Entry, len(entries))
	for i, e := range entries {
		all[i] = outbox.Entry{At: e.At, Type: e.Type, Data: e.Data, Draft: e.Draft}
	}
	return b.AppendAll(all, state)
}

func (b *boxed) Status() Status {
	s, err := b.Outbox.Status()
	if err != nil {
		return Status{OutboxView: OutboxView{State: err.Error()}}
	}
	return Status{OutboxView{Waiting: s.Waiting}, s.Confirmed}
}

func (b *boxed) KeepPacket(p []byte) error { b.packet = p; return nil }
func (b *boxed) Packet() ([]byte, error)   { return b.packet, nil }

// stores are the fake of the tests and the real outbox; again opens what was
// closed.
func stores(t *testing.T) map[string]func(again Store) Store {
	path := filepath.Join(t.TempDir(), "outbox.db")
	return map[string]func(Store) Store{
		"fake": func(again Store) Store {
			if again != nil {
				return again
			}
			return newDisk()
		},
		"outbox": func(again Store) Store {
			var kept []byte
			if again != nil {
				old := again.(*boxed)
				kept = old.packet
				if err := old.Close(); err != nil {
					t.Fatal(err)
				}
			}
			o, err := outbox.Open(outbox.Config{Path: path, Device: "spreader-1"})
			if err != nil {
				t.Fatal(err)
			}
			t.Cleanup(func() { _ = o.Close() }) // closed already where it was opened again
			return &boxed{o, kept}
		},
	}
}

func weatherAt(at time.Time) Entry {
	return Entry{Type: schemas.TypeWeatherNoted, At: at, Data: schemas.WeatherNoted{Soil: "dry"}}
}

// TestEveryStoreKeepsItsPromises runs one suite over the fake and the outbox.
func TestEveryStoreKeepsItsPromises(t *testing.T) {
	for name, open := range stores(t) {
		t.Run(name, func(t *testing.T) {
			s := open(nil)
			if kept, err := s.State(); err != nil || kept != nil {
				t.Errorf("a new store has the state %q, %v", kept, err)
			}
			heard := s.Changed()
			made, err := s.Append([]Entry{weatherAt(morning), weatherAt(morning.Add(time.Second))}, func(made []ingest.Outgoing) ([]byte, error) {
				return []byte(made[1].Identity.String()), nil
			})
			if err != nil || len(made) != 2 || made[0].Sequence != 1 || made[1].Sequence != 2 {
				t.Fatalf("made %v, %v", made, err)
			}
			if name != "fake" { // the fake tells when a test wants it to
				<-heard
			}
			if id := gjson.GetBytes(made[0].Raw, "id").Str; len(id) != 26 {
				t.Errorf("event %s", made[0].Raw)
			}
			no := errors.New("no")
			if _, err := s.Append([]Entry{weatherAt(morning)}, func([]ingest.Outgoing) ([]byte, error) { return nil, no }); !errors.Is(err, no) {
				t.Errorf("a state that fails: %v", err)
			}
			bad := Entry{Type: schemas.TypeWeatherNoted, At: morning, Data: schemas.WeatherNoted{Soil: "lava"}}
			if _, err := s.Append([]Entry{weatherAt(morning), bad}, func([]ingest.Outgoing) ([]byte, error) { return []byte("x"), nil }); err == nil {
				t.Error("an event that breaks the contract was taken")
			}
			if s.KeepPacket([]byte("copies")) != nil || s.Status().Waiting != 2 || s.Status().Confirmed != 0 {
				t.Errorf("status %+v", s.Status())
			}
			s = open(s)
			kept, err := s.State()
			if err != nil || string(kept) != made[1].Identity.String() {
				t.Errorf("state %q, %v", kept, err)
			}
			if p, err := s.Packet(); err != nil || string(p) != "copies" {
				t.Errorf("packet %q, %v", p, err)
			}
			later, err := s.Since(1)
			if err != nil || len(later) != 1 || string(later[0].Raw) != string(made[1].Raw) || later[0].Sequence != 2 {
				t.Errorf("since 1: %v, %v", later, err)
			}
			if err := s.Keep([]byte("another")); err != nil {
				t.Fatal(err)
			}
			if kept, _ := open(s).State(); string(kept) != "another" {
				t.Errorf("state %q", kept)
			}
		})
	}
}

// TestKeyOffOverTheOutbox: the agent over the real file, opened again.
func TestKeyOffOverTheOutbox(t *testing.T) {
	open := stores(t)["outbox"]
	s := open(nil)
	b := &bench{t: t, at: morning}
	b.cfg = Config{Device: "spreader-1", Store: s, Rules: plainRules{}, Now: func() time.Time { return b.at }}
	b.restart()
	b.do(DoSetting, setLime)
	b.do(DoWho, Who{"R. Moss"})
	b.do(DoLoad, Load{Product: "lime", Method: "cells", NetKg: num(4000), Refill: true, Residual: &Residual{Method: "empty"}})
	b.drive(100, 0, 101, true, true)
	before := b.seen()
	s = open(s)
	b.cfg.Store = s
	b.at = b.at.Add(b.offset)
	b.restart()
	if after := b.seen(); after != before {
		t.Errorf("before\n%s\nafter\n%s", before, after)
	}
}

// TestADamagedEventDoesNotKeepItFromStarting: the office sees it as a reject.
func TestADamagedEventDoesNotKeepItFromStarting(t *testing.T) {
	b := readyBench(t, RoleSpreader)
	b.do(DoWeather, schemas.WeatherNoted{Soil: "dry"})
	b.do(DoLoad, Load{Product: "lime", Method: "cells", NetKg: num(10)})
	b.disk.state = nil
	b.disk.events[0].Raw = []byte(`{"specversion":"1.0"`)
	b.restart()
	if v := b.View(); len(v.Last) != 1 || v.Last[0].Type != schemas.TypeLoadWeighed {
		t.Errorf("last %+v", v.Last)
	}
}
