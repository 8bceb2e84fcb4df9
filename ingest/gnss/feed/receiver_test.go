package feed

import (
	"context"
	"fmt"
	"io"
	"net"
	"os"
	"path/filepath"
	"reflect"
	"slices"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"hopperbook/schemas"
	"hopperbook/schemas/fault"
)

// same compares fixes whose floats may be NaN.
func same(a, b []schemas.Fix) bool { return fmt.Sprint(a) == fmt.Sprint(b) }

func TestTheSameLogByFileTCPAndUDP(t *testing.T) {
	log, want := recorded(t)
	t.Run("file", func(t *testing.T) {
		h := newHeard()
		path := filepath.Join(t.TempDir(), "day.nmea")
		if err := os.WriteFile(path, log, 0o600); err != nil {
			t.Fatal(err)
		}
		if err := Receive(t.Context(), Config{Address: address(t, "file:"+path+"?speed=max")}, h); err != nil {
			t.Fatal(err)
		}
		if !same(h.fixes, want) || h.states()[len(h.states())-1] != Ended {
			t.Errorf("got %d fixes of %d, %v", len(h.fixes), len(want), h.states())
		}
	})
	t.Run("tcp, broken off in every way", func(t *testing.T) {
		server, err := net.Listen("tcp", "127.0.0.1:0")
		if err != nil {
			t.Fatal(err)
		}
		defer server.Close()
		go serveInParts(server, log, 4)
		h := newHeard()
		stop := receive(t, Config{Address: address(t, "tcp://"+server.Addr().String()), Jitter: func() float64 { return -0.5 }}, h)
		h.until(t, "all fixes", func() bool { return len(h.fixes) >= len(want) && h.last().Opened > 4 })
		if err := stop(); err != nil {
			t.Fatal(err)
		}
		if !same(h.fixes, want) {
			t.Errorf("got %d fixes of %d", len(h.fixes), len(want))
		}
	})
	t.Run("udp", func(t *testing.T) {
		free, err := net.ListenPacket("udp", "127.0.0.1:0")
		if err != nil {
			t.Fatal(err)
		}
		to := free.LocalAddr().String()
		_ = free.Close()
		h := newHeard()
		stop := receive(t, Config{Address: address(t, "udp://"+to)}, h)
		h.until(t, "the socket", func() bool { return h.last().State == Open })
		conn, err := net.Dial("udp", to)
		if err != nil {
			t.Fatal(err)
		}
		sent := 0
		for part := range slices.Chunk(log, 1000) {
			if _, err := conn.Write(part); err != nil {
				t.Fatal(err)
			}
			if sent++; sent%50 == 0 { // not more than the socket's buffer holds
				n := sent * len(want) * 1000 / len(log) * 9 / 10
				h.until(t, "fixes so far", func() bool { return len(h.fixes) >= n-10 })
			}
		}
		h.until(t, "all but the last fix", func() bool { return len(h.fixes) >= len(want)-1 })
		if err := stop(); err != nil { // the end completes the last epoch
			t.Fatal(err)
		}
		if !same(h.fixes, want) {
			t.Errorf("got %d fixes of %d", len(h.fixes), len(want))
		}
	})
}

// serveInParts sends a log in parts that end between two epochs, each over a
// connection of its own.
func serveInParts(server net.Listener, log []byte, parts int) {
	lines := strings.SplitAfter(string(log), "\n")
	var cuts []int
	for i, l := range lines {
		if strings.Contains(l, "GGA,") {
			cuts = append(cuts, i)
		}
	}
	from := 0
	for part := range parts {
		conn, err := server.Accept()
		if err != nil {
			return
		}
		to := len(lines)
		if part < parts-1 {
			to = cuts[(part+1)*len(cuts)/parts]
		}
		_, _ = io.WriteString(conn, strings.Join(lines[from:to], ""))
		from = to
		_ = conn.Close()
	}
	for {
		conn, err := server.Accept()
		if err != nil {
			return
		}
		_ = conn.Close()
	}
}

func TestPausesGrowAndDiffer(t *testing.T) {
	for _, c := range []struct {
		failures int
		jitter   float64
		want     time.Duration
	}{
		{0, 0.5, 500 * time.Millisecond}, {1, 0.5, 500 * time.Millisecond}, {2, 0.5, time.Second}, {6, 0.5, 16 * time.Second}, {7, 0.5, 30 * time.Second},
		{1 << 40, 0.5, 30 * time.Second}, {3, 0, time.Second}, {3, 0.999, 2998 * time.Millisecond},
	} {
		if got := pause(c.failures, c.jitter); got != c.want {
			t.Errorf("after %d failures, jitter %g: %v, want %v", c.failures, c.jitter, got, c.want)
		}
	}
}

// A receiver that cannot be opened is tried for ever, less and less often.
func TestOpensAgainForEver(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		h, began := newHeard(), time.Now()
		stop := receive(t, Config{Address: address(t, "tcp://receiver:1"), Jitter: func() float64 { return 0.5 }, open: opens()}, h)
		time.Sleep(time.Hour)
		if err := stop(); err != nil {
			t.Fatal(err)
		}
		_, last := h.now()
		// 0.5+1+2+4+8+16 s, then each 30 s: 7 + (3600-31.5)/30.
		if last.Failures != 125 || last.Problem == "" || last.Opened != 0 || !last.Since.After(began) {
			t.Errorf("after an hour: %+v", last)
		}
	})
}

// A receiver that spoke and broke off is opened again at once, however often it
// could not be opened before.
func TestABreakAfterBytesIsNoFailure(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		h := newHeard()
		conn := io.NopCloser(strings.NewReader(epochAt(0)))
		stop := receive(t, Config{Address: address(t, "tcp://receiver:1"), Jitter: func() float64 { return 0.5 }, open: opens(nil, nil, nil, nil, conn, nil)}, h)
		time.Sleep(7500 * time.Millisecond) // 0.5+1+2+4 s
		synctest.Wait()
		if n, last := h.now(); n != 1 || last.Failures != 0 || last.Opened != 1 {
			t.Fatalf("%d fixes, %+v", n, last)
		}
		time.Sleep(500 * time.Millisecond)
		synctest.Wait()
		if _, last := h.now(); last.Failures != 1 {
			t.Errorf("half a second later: %+v", last)
		}
		_ = stop()
	})
}

// A datagram is whole however little of it is read at a time.
func TestADatagramIsReadInPieces(t *testing.T) {
	conn, err := net.ListenPacket("udp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	d := &datagrams{conn: conn}
	defer d.Close()
	to, err := net.Dial("udp", conn.LocalAddr().String())
	if err != nil {
		t.Fatal(err)
	}
	var got strings.Builder
	for _, text := range []string{epochAt(0), epochAt(1)} {
		fmt.Fprint(to, text)
		for range len(text) {
			var one [1]byte
			if n, err := d.Read(one[:]); n != 1 || err != nil {
				t.Fatal(n, err)
			}
			got.WriteByte(one[0])
		}
	}
	if want := epochAt(0) + epochAt(1); got.String() != want {
		t.Errorf("read %q, want %q", got.String(), want)
	}
}

func TestSilenceIsNoticedAndTheConnectionOpenedAgain(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		h := newHeard()
		first, firstIn := net.Pipe()
		second, secondIn := net.Pipe()
		stop := receive(t, Config{Address: address(t, "tcp://receiver:1"), Jitter: func() float64 { return 0.5 }, open: opens(first, second)}, h)
		for second := range 30 { // slower than the limit, which each byte restarts
			_, _ = io.WriteString(firstIn, epochAt(second))
			time.Sleep(9 * time.Second)
		}
		if got := h.states(); slices.Contains(got, Silent) {
			t.Fatalf("called silent while it spoke: %v", got)
		}
		time.Sleep(2 * time.Second)
		synctest.Wait()
		if got := h.states(); !slices.Contains(got, Silent) {
			t.Fatalf("states %v, want silent", got)
		}
		if _, err := firstIn.Write([]byte("x")); err == nil {
			t.Error("the silent connection is still open")
		}
		_, _ = io.WriteString(secondIn, epochAt(40)+epochAt(41))
		synctest.Wait()
		if got := h.states(); got[len(got)-1] != Open {
			t.Errorf("states %v, want open at the end", got)
		}
		if n, _ := h.now(); n != 31 { // the end of the first completes its last epoch
			t.Errorf("%d fixes", n)
		}
		if err := stop(); err != nil || len(h.fixes) != 32 {
			t.Errorf("stopped with %v and %d fixes", err, len(h.fixes))
		}
	})
}

// A receiver that sends only GGA has no date of its own: after a break the
// next one goes on from the fix before and the time that has passed.
func TestTheDayGoesOnOverABreak(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		h := newHeard()
		first, firstIn := net.Pipe()
		second, secondIn := net.Pipe()
		again := time.Now().Add(25 * time.Hour)
		both := opens(first, second)
		open := func(ctx context.Context) (io.ReadCloser, error) {
			if n, _ := h.now(); n > 0 && time.Now().Before(again) {
				return nil, errSilent
			}
			return both(ctx)
		}
		stop := receive(t, Config{Address: address(t, "tcp://receiver:1"), SilentAfter: time.Hour, open: open}, h)
		_, _ = io.WriteString(firstIn, epochAt(0))
		synctest.Wait()
		_ = firstIn.Close()
		time.Sleep(25*time.Hour + time.Minute)
		_, _ = io.WriteString(secondIn, sentence("GPGGA,110000.00,4807.0380,N,01131.0000,E,4,08,0.9,545.4,M,46.9,M,,"))
		synctest.Wait()
		_ = stop()
		if want := time.Date(2026, 3, 24, 11, 0, 0, 0, time.UTC).UnixMilli(); len(h.fixes) != 2 || h.fixes[1].UnixMilli != want {
			t.Errorf("fixes %+v", h.fixes)
		}
	})
}

func TestReplayKeepsItsPace(t *testing.T) {
	const epochs = 31
	var log strings.Builder
	for s := range epochs {
		log.WriteString(epochAt(s))
	}
	recordedAt := time.Date(2026, 3, 23, 10, 0, 0, 0, time.UTC)
	for _, c := range []struct {
		options string
		takes   time.Duration
		shifted bool
	}{
		{"", 30 * time.Second, false}, {"?speed=10", 3 * time.Second, false}, {"?speed=0.5&times=shifted", time.Minute, true}, {"?speed=max", 0, false}, {"?speed=max&times=shifted", 0, true},
	} {
		synctest.Test(t, func(t *testing.T) {
			h, began := newHeard(), time.Now()
			cfg := Config{Address: address(t, "file:day.nmea"+c.options), open: opens(io.NopCloser(strings.NewReader(log.String())))}
			if err := Receive(t.Context(), cfg, h); err != nil {
				t.Fatal(err)
			}
			first := recordedAt
			if c.shifted {
				first = began
			}
			if took := time.Since(began); took != c.takes || len(h.fixes) != epochs {
				t.Errorf("%s: took %v for %d fixes", c.options, took, len(h.fixes))
			}
			for i, f := range h.fixes {
				if want := first.Add(time.Duration(i) * time.Second).UnixMilli(); f.UnixMilli != want {
					t.Errorf("%s: fix %d has time %d, want %d", c.options, i, f.UnixMilli, want)
				}
				if want := began.Add(time.Duration(i) * c.takes / (epochs - 1)); h.at[i] != want {
					t.Errorf("%s: fix %d came at %v, want %v", c.options, i, h.at[i], want)
				}
			}
		})
	}
}

func TestGarbageIsToldAndCounted(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		h := newHeard()
		conn, in := net.Pipe()
		stop := receive(t, Config{Address: address(t, "serial:///dev/x"), open: opens(conn)}, h)
		for range 40 {
			_, _ = in.Write([]byte(strings.Repeat("\xf3~\x81\x00", 25)))
		}
		synctest.Wait()
		_, last := h.now()
		if last.State != Garbled || !strings.Contains(last.Hint, "baud") {
			t.Errorf("status %+v", last)
		}
		half := epochAt(1)
		_, _ = io.WriteString(in, epochAt(0)+half[:len(half)/2]+epochAt(2)+strings.Replace(epochAt(3), "4807", "4808", 1)+strings.TrimSpace(epochAt(4))+epochAt(5)+"\r\n")
		synctest.Wait()
		_ = stop()
		_, last = h.now()
		var seconds []int64
		for _, f := range h.fixes {
			seconds = append(seconds, f.UnixMilli/1000%60)
		}
		if want := []int64{0, 2, 4, 5}; !slices.Equal(seconds, want) {
			t.Errorf("fixes of seconds %v, want %v", seconds, want)
		}
		if r := last.Report; r.SkippedBytes < 4000 || r.BadChecksum != 1 || r.NoChecksum != 1 || r.Used != 4 {
			t.Errorf("report %+v", r)
		}
		if got := h.states(); !reflect.DeepEqual(got, []State{Opening, Open, Garbled, Open}) {
			t.Errorf("states %v", got)
		}
	})
}

func TestAMissingFileIsAnError(t *testing.T) {
	err := Receive(t.Context(), Config{Address: address(t, "file:"+filepath.Join(t.TempDir(), "none"))}, newHeard())
	if fault.CodeOf(err) != fault.NotFound || fault.HintOf(err) == "" {
		t.Errorf("got %v", err)
	}
}
