package main

import (
	"fmt"
	"math"
	"net"
	"strings"
	"sync"
	"testing"
	"time"

	"hopperbook/ingest/tablet/page/pagetest"
	"hopperbook/schemas"
)

// receiver replays a log to whoever connects: it stands until it is told to
// drive, and is never silent, as receivers are.
type receiver struct {
	t  *testing.T
	ln net.Listener

	mu      sync.Mutex
	conn    net.Conn
	at      time.Time
	y       float64 // m north of 50 N 8 E
	heading float64 // rad
}

func newReceiver(t *testing.T) *receiver {
	t.Helper()
	ln, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	r := &receiver{t: t, ln: ln, at: time.Date(2026, 3, 23, 7, 0, 0, 0, time.UTC)}
	t.Cleanup(func() { _ = ln.Close() })
	go func() {
		for {
			conn, err := ln.Accept()
			if err != nil {
				return
			}
			r.mu.Lock()
			r.conn = conn
			r.mu.Unlock()
		}
	}()
	go func() {
		for t.Context().Err() == nil {
			r.mu.Lock()
			if r.conn != nil {
				r.replay(1, 0)
			}
			r.mu.Unlock()
			time.Sleep(200 * time.Millisecond)
		}
	}()
	return r
}

func (r *receiver) address() string { return "tcp://" + r.ln.Addr().String() }

// drive replays bouts of 400 m at 12 km/h, to and fro on one line.
func (r *receiver) drive(bouts int) {
	r.t.Helper()
	r.mu.Lock()
	defer r.mu.Unlock()
	if err := r.replay(bouts*600, 12); err != nil {
		r.t.Fatal(err)
	}
}

// replay sends fixes at 5 Hz; mu is held.
func (r *receiver) replay(fixes int, kmh float64) error {
	var log strings.Builder
	for range fixes {
		r.at = r.at.Add(200 * time.Millisecond)
		r.y += math.Cos(r.heading) * kmh / 3.6 / 5
		writeEpoch(&log, r.at, 50+r.y/111200, 8.0001, kmh, r.heading*180/math.Pi)
		if r.y > 399.9 || r.y < 0.1 && kmh > 0 {
			r.heading = math.Pi - r.heading
		}
	}
	_, err := r.conn.Write([]byte(log.String()))
	return err
}

// seen waits until the page's view satisfies a JavaScript expression of v.
func (d *aDay) seen(what, js string) {
	d.t.Helper()
	ok := pagetest.Eval[bool](d.c, `(async () => { for (const end = Date.now() + 12000; Date.now() < end; await new Promise((go) => setTimeout(go, 50))) {
		const v = await (await fetch('view')).json(); if (`+js+`) return true; } return false; })()`)
	if !ok {
		d.t.Fatalf("%s: not seen; the view is %s", what, pagetest.Eval[string](d.c, `fetch('view').then((r) => r.text())`))
	}
}

// there waits until the agent has had all that was replayed so far.
func (d *aDay) there(r *receiver) {
	d.t.Helper()
	r.mu.Lock()
	at := r.at.UnixMilli()
	r.mu.Unlock()
	d.seen("the last fix", fmt.Sprintf("v.gnss.state === 'good' && Date.parse(v.at) >= %d && v.gnss.speed_kmh < 1", at))
}

// spread is what a day's pass logs hold, in fixes and metres of spreading.
func spread(t *testing.T, passes []string) (fixes int, spreadM float64) {
	t.Helper()
	for _, data := range passes {
		all, _, err := schemas.PassFixes(data, nil)
		if err != nil {
			t.Fatal(err)
		}
		fixes += len(all)
		for _, f := range all {
			if f.Spreading == schemas.SpreadingOn {
				spreadM += f.SpeedKmh / 3.6 / 5
			}
		}
	}
	return fixes, spreadM
}

func (d *aDay) spreadAsDriven(h *realHub, bouts float64) {
	d.t.Helper()
	var data []string
	for _, p := range d.hold(h.events()) {
		data = append(data, p.Get("data").Raw)
	}
	fixes, spreadM := spread(d.t, data)
	if spreadM < bouts*400-15 || spreadM > bouts*400+15 {
		d.t.Errorf("%d fixes in %d pass logs spread over %.0f m, driven %.0f m", fixes, len(data), spreadM, bouts*400)
	}
}

func TestADayWithoutAnythingThenTheOffice(t *testing.T) {
	ctx := pagetest.Browser(t)
	dir, r := t.TempDir(), newReceiver(t)
	c := startCab(t, dir, r.address())
	d := &aDay{t: t, c: pagetest.Enter(t, ctx, c.url, 800, 1280)}
	d.seen("the receiver", `v.gnss.state === 'good' && v.at < '2026-04'`)
	d.setUp(true)
	d.tests(true)
	d.takeBack()
	d.load()
	d.c.Tap("spread-on") // no job of the office, no field: the hand tells
	d.seen("spreading by hand", `v.work.spreading === 'on' && v.work.marked_by === 'hand'`)
	r.drive(2)
	d.there(r)
	d.seen("the hopper falls", `Math.abs(v.hopper.kg - (4910.5 - 2 * 0.96 * 2500)) < 60`)
	d.c.To("home")
	d.c.Tap("spread-auto")
	d.seen("no more", `v.work.marked_by !== 'hand'`)
	d.load()
	if got := pagetest.Eval[bool](d.c, `document.querySelector('[data-sign=unsent]').classList.contains('warn') && document.querySelector('[data-sign=link]').innerText.includes('Not enrolled')`); !got {
		t.Errorf("offline the head says:\n%s", d.c.Text("#head"))
	}
	c.stop() // key-off; the next morning in the yard
	h := newHub(t)
	h.publish(office()...)
	c = startCab(t, dir, "")
	t.Cleanup(func() {
		if t.Failed() {
			c.mu.Lock()
			defer c.mu.Unlock()
			t.Logf("the tablet said:\n%s\nthe hub said:\n%s", c.told.String(), h.hub.err.String())
		}
	})
	d.c = pagetest.Enter(t, ctx, c.url, 800, 1280)
	h.enrol(dir)
	d.allSent()
	d.spreadAsDriven(h, 2)
	d.officeShows(3)
}

// officeShows: the registers, the jobs and the office's judgement of the
// calibration are on the page. The office works it out anew when
// its last pass is four times as long ago as it took: a busy machine has a while.
func (d *aDay) officeShows(jobs int) {
	d.t.Helper()
	d.c.Until("linked", `document.querySelector('[data-sign=link]').classList.contains('good')`)
	for range 8 {
		if pagetest.Eval[bool](d.c, `(async () => { for (const end = Date.now() + 10000; Date.now() < end; await new Promise((go) => setTimeout(go, 50))) {
			if ((await (await fetch('view')).json()).drift !== null) return true; } return false; })()`) {
			break
		}
	}
	d.c.To("job")
	d.c.Until("jobs", fmt.Sprintf(`document.querySelectorAll('#main button.entry').length === %d`, jobs))
	if got := d.c.Text("#main"); !strings.Contains(got, "Mid Piece") || !strings.Contains(got, "Ground lime") || !strings.Contains(got, "Alder Farm") {
		d.t.Errorf("the jobs:\n%s", got)
	}
	d.c.To("setting")
	if got := d.c.Text("#main"); !strings.Contains(got, "Ground lime") {
		d.t.Errorf("the setting:\n%s", got)
	}
	d.c.To("home")
	if got := d.c.Text("[data-sign=drift]"); strings.Contains(got, "not known") {
		d.t.Errorf("the office has judged, and the page says %q", got)
	}
}

func TestADayWithThePacketOfTheYard(t *testing.T) {
	ctx := pagetest.Browser(t)
	h := newHub(t)
	h.publish(office()...)
	dir, r := t.TempDir(), newReceiver(t)
	h.enrol(dir)
	c := startCab(t, dir, r.address())
	d := &aDay{t: t, c: pagetest.Enter(t, ctx, c.url, 360, 640)}
	d.seen("the office's jobs", `v.jobs.length === 3`)
	h.cut()
	d.seen("no link", `v.link.state === 'down'`)
	d.seen("the receiver", `v.gnss.state === 'good' && v.at < '2026-04'`)
	d.setUp(false)
	d.tests(false)
	d.takeBack()
	d.c.To("job")
	d.c.Until("nearest first", `[...document.querySelectorAll('#main button.entry')].map((e) => e.dataset.key).join() === 'j-near/near,j-mid/mid,j-far/far'`)
	d.c.Tap("j-near/near")
	d.c.Screen("home")
	d.load()
	d.c.Tap("start")
	d.c.Until("working", `document.querySelector('[data-key=to-finish]') !== null`)
	d.booked("job.started", `{"job":"j-near","field":"near","operator":"Wren Marlow"}`)
	r.drive(2)
	d.there(r)
	d.seen("by speed and field", `v.work.marked_by === 'speed_and_field' && v.work.in_field === 'near' && v.hopper.ha_left > 0`)
	d.load()
	d.c.Tap("to-finish")
	d.c.Screen("finish")
	d.c.Tap("finish")
	d.c.Screen("home")
	d.booked("job.finished", `{"job":"j-near","field":"near"}`)
	c.stop()
	h.mend()
	c = startCab(t, dir, "")
	d.c = pagetest.Enter(t, ctx, c.url, 360, 640)
	d.allSent()
	d.spreadAsDriven(h, 2)
	d.officeShows(2) // the finished one is gone
}
