package feed

import (
	"context"
	"errors"
	"fmt"
	"io"
	"net"
	"reflect"
	"strings"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"go.bug.st/serial"

	"hopperbook/schemas/fault"
)

// wired is a port whose lines are set by the test.
type wired struct {
	mu     sync.Mutex
	bits   serial.ModemStatusBits
	broken bool
	closed chan struct{}
}

func (w *wired) Read([]byte) (int, error) {
	select {
	case <-w.closed:
		return 0, io.ErrClosedPipe
	case <-time.After(pollRead):
		return 0, nil
	}
}
func (w *wired) Close() error { close(w.closed); return nil }

func (w *wired) GetModemStatusBits() (*serial.ModemStatusBits, error) {
	w.mu.Lock()
	defer w.mu.Unlock()
	if w.broken {
		return nil, errors.New("inappropriate ioctl")
	}
	bits := w.bits
	return &bits, nil
}

func (w *wired) set(change func(*serial.ModemStatusBits)) {
	w.mu.Lock()
	defer w.mu.Unlock()
	change(&w.bits)
}

func watch(t *testing.T, cfg Config, h *heard) (stop func() error) {
	t.Helper()
	ctx, cancel := context.WithCancel(t.Context())
	done := make(chan error, 1)
	go func() { done <- Watch(ctx, cfg, h) }()
	return func() error { cancel(); return <-done }
}

func TestWords(t *testing.T) {
	for _, c := range []struct {
		text string
		want string
	}{
		{"1\n", "on unknown"}, {"0\n1\n", "off on unknown"}, {" 1 \r\n", "on unknown"}, {"1", "on unknown"}, {"on\n10\n\n1\n", "on unknown"}, {"01\n", "unknown"}, {"", "unknown"},
		{"1\n1\n1\n0\n", "on off unknown"},
	} {
		for _, invert := range []bool{false, true} {
			h := newHeard()
			k := &keeper{tell: h.SwitchStatus}
			k.cfg.Address.Invert = invert
			if err := readWords(k, strings.NewReader(c.text), h.Switch); fault.CodeOf(err) != fault.Unavailable {
				t.Errorf("%q: %v", c.text, err)
			}
			got := strings.Join(h.switches, " ")
			if invert {
				got = strings.NewReplacer("off", "on", "on", "off", "unknown", "unknown").Replace(got)
			}
			if got != c.want {
				t.Errorf("%q: %s, want %s", c.text, got, c.want)
			}
			if n := k.status.Report.Used + k.status.Report.Malformed; n != int64(len(strings.Split(strings.TrimSuffix(c.text, "\n"), "\n"))) && c.text != "" {
				t.Errorf("%q: %d lines counted", c.text, n)
			}
		}
	}
}

func FuzzWords(f *testing.F) {
	f.Add([]byte("1\n0\n x\n"))
	f.Add([]byte(strings.Repeat("1", 300)))
	f.Fuzz(func(t *testing.T, text []byte) {
		h := newHeard()
		k := &keeper{tell: h.SwitchStatus}
		if err := readWords(k, strings.NewReader(string(text)), h.Switch); err == nil {
			t.Error("the end is no error")
		}
		if n := len(h.switches); n == 0 || h.switches[n-1] != "unknown" {
			t.Errorf("at the end it is %v", h.switches)
		}
	})
}

// A switch that is not heard any more is unknown, never still on.
func TestASilentSwitchIsUnknown(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		h := newHeard()
		conn, in := net.Pipe()
		stop := watch(t, Config{Address: switchAddress(t, "tcp://switch:1"), open: opens(conn)}, h)
		for range 10 {
			_, _ = io.WriteString(in, "1\n")
			time.Sleep(5 * time.Second)
		}
		if !reflect.DeepEqual(h.said(), []string{"on"}) {
			t.Fatalf("switch %v", h.switches)
		}
		time.Sleep(8 * time.Second)
		synctest.Wait()
		if !reflect.DeepEqual(h.said(), []string{"on", "unknown"}) {
			t.Errorf("switch %v", h.switches)
		}
		if err := stop(); err != nil {
			t.Error(err)
		}
	})
}

func TestASwitchOverUDP(t *testing.T) {
	free, err := net.ListenPacket("udp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	to := free.LocalAddr().String()
	_ = free.Close()
	h := newHeard()
	stop := watch(t, Config{Address: switchAddress(t, "udp://"+to)}, h)
	h.until(t, "the socket", func() bool { return len(h.ownLine) > 0 && h.ownLine[len(h.ownLine)-1].State == Open })
	conn, err := net.Dial("udp", to)
	if err != nil {
		t.Fatal(err)
	}
	for _, word := range []string{"1", "0\n", "1"} { // with and without the line's end
		fmt.Fprint(conn, word)
	}
	h.until(t, "on off on", func() bool { return fmt.Sprint(h.switches) == "[on off on]" })
	if err := stop(); err != nil {
		t.Error(err)
	}
}

func TestALineOfTheReceiversPort(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		h, raw := newHeard(), &wired{closed: make(chan struct{})}
		cfg := Config{Address: address(t, "serial:///dev/x"), Switch: switchAddress(t, "line:dsr"), SilentAfter: time.Hour, open: opens(newPort(raw))}
		stop := receive(t, cfg, h)
		set := func(on bool, hold time.Duration) {
			raw.set(func(b *serial.ModemStatusBits) { b.DSR = on })
			time.Sleep(hold)
		}
		set(false, time.Second+pollLine/2) // off the ticks
		for range 7 {                      // a bouncing contact, never twice the same at a look
			set(true, pollLine)
			set(false, pollLine)
		}
		set(true, time.Second)
		raw.set(func(b *serial.ModemStatusBits) { b.CTS, b.DCD, b.RI = true, true, true })
		time.Sleep(time.Second)
		set(false, time.Second)
		if want := []string{"off", "on", "off"}; !reflect.DeepEqual(h.said(), want) {
			t.Errorf("switch %v, want %v", h.switches, want)
		}
		if err := stop(); err != nil {
			t.Error(err)
		}
		if last(h.said()) != "unknown" {
			t.Errorf("after the end it is %v", h.switches)
		}
	})
}

func TestAPortWithoutLinesSaysSo(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		h := newHeard()
		raw := &wired{closed: make(chan struct{}), broken: true}
		stop := receive(t, Config{Address: address(t, "serial:///dev/x"), Switch: switchAddress(t, "line:cts"), open: opens(newPort(raw))}, h)
		synctest.Wait()
		if last := h.ownLine[len(h.ownLine)-1]; last.State != Failed || last.Hint == "" {
			t.Errorf("status %+v", last)
		}
		_ = stop()
	})
	err := Receive(t.Context(), Config{Address: address(t, "udp://:10110"), Switch: switchAddress(t, "line:cts")}, newHeard())
	if fault.CodeOf(err) != fault.Usage {
		t.Errorf("a line of a UDP receiver: %v", err)
	}
}

func TestALineOfAnotherPort(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		h, raw := newHeard(), &wired{closed: make(chan struct{})}
		stop := watch(t, Config{Address: switchAddress(t, "serial:///dev/y?line=cts&invert=yes"), open: opens(newPort(raw))}, h)
		time.Sleep(time.Minute) // the port says nothing, and need not
		raw.set(func(b *serial.ModemStatusBits) { b.CTS = true })
		time.Sleep(time.Second)
		if want := []string{"on", "off"}; !reflect.DeepEqual(h.said(), want) {
			t.Errorf("switch %v, want %v", h.switches, want)
		}
		if err := stop(); err != nil {
			t.Error(err)
		}
	})
}
