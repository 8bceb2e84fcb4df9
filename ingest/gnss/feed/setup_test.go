package feed

import (
	"bytes"
	"context"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"sync"
	"testing"
	"time"

	"hopperbook/ingest/gnss"
	"hopperbook/schemas"
)

// heard keeps what a feed says and lets tests wait for it.
type heard struct {
	mu       sync.Mutex
	fixes    []schemas.Fix
	at       []time.Time
	statuses []Status
	switches []string
	ownLine  []Status
	changed  chan struct{}
}

func newHeard() *heard { return &heard{changed: make(chan struct{}, 1)} }

func (h *heard) note(add func()) {
	h.mu.Lock()
	defer h.mu.Unlock()
	add()
	select {
	case h.changed <- struct{}{}:
	default:
	}
}

func (h *heard) Fix(f schemas.Fix, at time.Time) {
	h.note(func() { h.fixes, h.at = append(h.fixes, f), append(h.at, at) })
}
func (h *heard) Status(s Status)       { h.note(func() { h.statuses = append(h.statuses, s) }) }
func (h *heard) SwitchStatus(s Status) { h.note(func() { h.ownLine = append(h.ownLine, s) }) }

func (h *heard) Switch(on, known bool) {
	said := "unknown"
	switch {
	case known && on:
		said = "on"
	case known:
		said = "off"
	}
	h.note(func() {
		if n := len(h.switches); n == 0 || h.switches[n-1] != said {
			h.switches = append(h.switches, said)
		}
	})
}

// until waits for a condition on what was heard.
func (h *heard) until(t *testing.T, what string, met func() bool) {
	t.Helper()
	limit := time.After(20 * time.Second)
	for {
		h.mu.Lock()
		ok := met()
		h.mu.Unlock()
		if ok {
			return
		}
		select {
		case <-h.changed:
		case <-limit:
			t.Fatalf("waited in vain for %s; heard %d fixes, statuses %+v, switch %v %+v", what, len(h.fixes), h.statuses, h.switches, h.ownLine)
		}
	}
}

func (h *heard) states() []State {
	h.mu.Lock()
	defer h.mu.Unlock()
	var all []State
	for _, s := range h.statuses {
		if len(all) == 0 || all[len(all)-1] != s.State {
			all = append(all, s.State)
		}
	}
	return all
}

func address(t *testing.T, text string) Address {
	t.Helper()
	a, err := ParseReceiver(text)
	if err != nil {
		t.Fatal(err)
	}
	return a
}

func switchAddress(t *testing.T, text string) Address {
	t.Helper()
	a, err := ParseSwitch(text)
	if err != nil {
		t.Fatal(err)
	}
	return a
}

// receive listens in the background; stop ends it and gives its error.
func receive(t *testing.T, cfg Config, h *heard) (stop func() error) {
	t.Helper()
	ctx, cancel := context.WithCancel(t.Context())
	done := make(chan error, 1)
	go func() { done <- Receive(ctx, cfg, h) }()
	return func() error { cancel(); return <-done }
}

// recorded is a real receiver's log and its fixes as the decoder gives them.
func recorded(t *testing.T) (log []byte, want []schemas.Fix) {
	t.Helper()
	log, err := os.ReadFile(filepath.Join("..", "..", "..", "testdata", "gnss", "nmea-rtk.log"))
	if err != nil {
		t.Fatal(err)
	}
	want, _, err = gnss.Read(bytes.NewReader(log), gnss.Options{})
	if err != nil || len(want) < 50 {
		t.Fatalf("the recorded log gives %d fixes, %v", len(want), err)
	}
	return log, want
}

// sentence adds the checksum.
func sentence(body string) string {
	var sum byte
	for i := range len(body) {
		sum ^= body[i]
	}
	return fmt.Sprintf("$%s*%02X\r\n", body, sum)
}

// epochAt is one second's RMC.
func epochAt(second int) string {
	return sentence(fmt.Sprintf("GPRMC,1000%02d.00,A,4807.0380,N,01131.0000,E,5.40,84.4,230326,,,A", second))
}

// opens gives connections in turn; nil: opening fails. After the last, opening
// fails always.
func opens(conns ...io.ReadCloser) opener {
	n := 0
	return func(context.Context) (io.ReadCloser, error) {
		if n++; n > len(conns) || conns[n-1] == nil {
			return nil, fmt.Errorf("attempt %d failed", n)
		}
		return conns[n-1], nil
	}
}

// last is the last status; the lock is held, or the feed has ended or waits.
// now is what was heard so far, for a receiver that still runs; within until, last.
func (h *heard) now() (fixes int, last Status) {
	h.mu.Lock()
	defer h.mu.Unlock()
	return len(h.fixes), h.last()
}

func (h *heard) last() Status {
	if len(h.statuses) == 0 {
		return Status{}
	}
	return h.statuses[len(h.statuses)-1]
}

// said is what the switch said.
func (h *heard) said() []string {
	h.mu.Lock()
	defer h.mu.Unlock()
	return slices.Clone(h.switches)
}

func last(of []string) string {
	if len(of) == 0 {
		return ""
	}
	return of[len(of)-1]
}
