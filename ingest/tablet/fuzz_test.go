package tablet

import (
	"bytes"
	"compress/flate"
	"context"
	"encoding/json"
	"math/rand/v2"
	"sync"
	"testing"
	"time"

	"hopperbook/schemas"
)

// FuzzCommand: whatever the page sends, nothing panics, no event breaks the
// contract (the disk of the tests refuses such, and that is a failure here), a
// refusal has a key and leaves no trace, and what is kept can be read again.
func FuzzCommand(f *testing.F) {
	for _, seed := range [][2]string{
		{DoLoad, `{"product":"lime","method":"bucket","lifts_kg":[1200,1300],"tare_kg":200,"refill":true,"residual":{"method":"level","share":0.2}}`},
		{DoLoad, `{"product":"lime","net_kg":1e308,"confirm":true}`},
		{DoRefill, `{"loads":["from-loader"],"residual":{"method":"cells","kg":12.5},"told_kg":7}`},
		{DoTray, `{"product":"lime","bout_width_m":10,"tray_spacing_m":1,"tray_width_m":0.5,"tray_length_m":0.5,"masses_g":[1,null,3]}`},
		{DoCatch, `{"product":"lime","gate_mm":60,"collected_kg":40,"bout_width_m":10,"distance_m":20,"catch_test":"\u0000"}`},
		{DoTry, `{"test":"density","data":{"mass_kg":1,"volume_l":0}}`},
		{DoSetting, `{"bout_width_m":-0,"set_rate_kg_ha":null,"rate_mode":"fast"}`},
		{DoWho, `{"operator":"\ud800"}`},
		{DoPick, `{"job":"j1"}`}, {DoStart, `{"override_reason":"x"}`}, {DoFinish, `[]`}, {DoUndo, `{}`}, {DoNotice, `{"notice":"n1"}`},
		{DoCheck, `{"item":"guard","value":1,"unit":"mm","pass":false,"note":"` + "\x7f" + `"}`}, {DoSpread, `{"on":true}`}, {DoWeather, `{"soil":"dry"}`},
		{DoDensity, `{"MASS_KG":5,"volume_l":4,"product":"urea"}`},
	} {
		f.Add(seed[0], []byte(seed[1]), true)
	}
	f.Fuzz(func(t *testing.T, name string, body []byte, spreader bool) {
		role := RoleSpreader
		if !spreader {
			role = RoleLoader
		}
		b := readyBench(t, role)
		for range 2 {
			state, events := string(b.disk.state), len(b.disk.events)
			_, err := b.Do(context.Background(), name, body)
			if err == nil {
				continue
			}
			r, ok := RefusalOf(err)
			if !ok || r.Key == "" || r.Key == KeyDisk {
				t.Fatalf("%s %s: %v", name, body, err)
			}
			if string(b.disk.state) != state || len(b.disk.events) != events {
				t.Fatalf("%s %s: refused (%v) and left a trace", name, body, err)
			}
		}
		before := b.seen()
		b.restart()
		if after := b.seen(); after != before {
			t.Fatalf("%s %s: before restart\n%s\nafter\n%s", name, body, before, after)
		}
	})
}

// FuzzSnapshot: no bytes on the disk keep the agent from starting.
func FuzzSnapshot(f *testing.F) {
	b := readyBench(f, RoleSpreader)
	randomDays(b, 1, 10, func(*rand.Rand) {})
	f.Add(b.disk.state, b.disk.packet)
	f.Add([]byte(`{"schema":"hopperbook.tablet/1","driven":{"by":[{}]},"own":[{"type":"load.weighed"}]}`), []byte(`{"schema":"hopperbook.cab/1"}`))
	f.Fuzz(func(t *testing.T, state, packet []byte) {
		b := newBench(t, RoleSpreader)
		b.disk.state, b.disk.packet = state, packet
		if json.Valid(state) { // what the fuzzer can shape, packed as the agent packs it
			b.disk.state = packed(t, state)
		}
		c, err := New(b.cfg)
		if err != nil {
			return
		}
		if _, err := json.Marshal(c.View()); err != nil {
			t.Fatal(err)
		}
	})
}

func packed(t *testing.T, plain []byte) []byte {
	t.Helper()
	var out bytes.Buffer
	w, err := flate.NewWriter(&out, flate.BestSpeed)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := w.Write(plain); err != nil {
		t.Fatal(err)
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	return out.Bytes()
}

// TestAllAtOnce: pages, receiver, link and operator at the same time; the race
// detector looks on.
func TestAllAtOnce(t *testing.T) {
	b := readyBench(t, RoleSpreader)
	b.do(DoSetting, setLime)
	var all sync.WaitGroup
	run := func(n int, act func(i int)) {
		all.Go(func() {
			for i := range n {
				act(i)
			}
		})
	}
	p := packet("spreader-1", morning.Add(time.Hour))
	run(100, func(int) { b.View() })
	run(300, func(i int) {
		b.OnFix(fixAt(morning.Add(time.Duration(i)*time.Second), 0, float64(5*i), true), "switch")
		b.Driving()
	})
	run(20, func(int) {
		if _, err := b.Do(context.Background(), DoWeather, []byte(`{"soil":"dry","wind_m_s":1,"wind_from_deg":0,"rain_mm":0}`)); err != nil {
			t.Error(err)
		}
	})
	run(20, func(int) {
		if _, err := b.Do(context.Background(), DoLoad, []byte(`{"product":"lime","method":"cells","net_kg":100}`)); err != nil {
			t.Error(err)
		}
	})
	run(20, func(i int) {
		b.SetGNSS([]string{"poor", "good"}[i%2])
		b.SetLink(LinkView{State: "up", Since: morning.Add(time.Duration(i))})
		if err := b.TakePacket(p); err != nil {
			t.Error(err)
		}
	})
	all.Wait()
	loads := map[schemas.LoadID]bool{}
	for _, l := range b.View().Waiting {
		loads[l.Load] = true
	}
	if len(loads) != 21 {
		t.Errorf("%d loads, want 20 and the office's", len(loads))
	}
}
