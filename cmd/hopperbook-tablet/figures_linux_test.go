package main

import (
	"bufio"
	"flag"
	"fmt"
	"io"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"

	bolt "go.etcd.io/bbolt"
)

var figures = flag.Bool("figures", false, "measure the tablet's program: size, memory after a day, start to first fix, CPU at 10 Hz (about 2 min)")

// TestFigures prints what the program needs; it asserts nothing about time.
//
//	go test ./cmd/hopperbook-tablet -run Figures -figures -v
func TestFigures(t *testing.T) {
	if !*figures {
		t.Skip("measured with -figures")
	}
	dir := t.TempDir()
	program := filepath.Join(dir, "hopperbook-tablet")
	build := exec.Command("go", "build", "-trimpath", "-ldflags=-s -w", "-o", program, ".")
	build.Env = append(os.Environ(), "CGO_ENABLED=0")
	if out, err := build.CombinedOutput(); err != nil {
		t.Fatalf("%v %s", err, out)
	}
	info, err := os.Stat(program)
	if err != nil {
		t.Fatal(err)
	}
	t.Logf("binary: %.1f MB", float64(info.Size())/1e6)

	day := filepath.Join(dir, "day.nmea")
	writeLog(t, day, 10*time.Hour, 5)
	p := startTablet(t, program, filepath.Join(dir, "day"), "file:"+day+"?speed=max")
	p.await(t, "ended")
	t.Logf("10 h at 5 Hz replayed in %.1f s", time.Since(p.began).Seconds())
	t.Logf("resident after the day: %s (peak %s)", p.memory(t, "VmRSS"), p.memory(t, "VmHWM"))
	user, system := p.stop(t)
	t.Logf("CPU of the day: %.1f s user, %.1f s system; outbox %s", user.Seconds(), system.Seconds(), sizeOf(t, filepath.Join(dir, "day", "outbox.db")))
	p = startTablet(t, program, filepath.Join(dir, "day"), "file:"+day+"?speed=1")
	p.await(t, "open")
	t.Logf("started on that outbox, receiver open after %.2f s", time.Since(p.began).Seconds())
	p.stop(t)

	half := filepath.Join(dir, "half.nmea")
	writeLog(t, half, time.Minute, 10)
	p = startTablet(t, program, filepath.Join(dir, "half"), "file:"+half+"?speed=1&times=shifted")
	t.Logf("start to first fix on the disk: %.2f s", p.firstDraft(t, filepath.Join(dir, "half", "outbox.db")).Seconds())
	time.Sleep(30*time.Second - time.Since(p.began))
	rss, alive := p.memory(t, "VmRSS"), time.Since(p.began)
	user, system = p.stop(t)
	t.Logf("10 Hz in real time: %.2f s user, %.2f s system in %.0f s, %.1f %% of a core; resident %s", user.Seconds(), system.Seconds(), alive.Seconds(),
		100*(user+system).Seconds()/alive.Seconds(), rss)
}

type tabletProcess struct {
	command *exec.Cmd
	began   time.Time
	lines   chan string
}

func startTablet(t *testing.T, program, dir, gnss string) *tabletProcess {
	t.Helper()
	p := &tabletProcess{command: exec.Command(program, "run", "--dir", dir, "--device", "spreader-1", "--listen", "127.0.0.1:0", "--gnss", gnss), lines: make(chan string, 1000)}
	told, err := p.command.StderrPipe()
	if err != nil {
		t.Fatal(err)
	}
	p.began = time.Now()
	if err := p.command.Start(); err != nil {
		t.Fatal(err)
	}
	go func() {
		defer close(p.lines)
		for lines := bufio.NewScanner(told); lines.Scan(); {
			p.lines <- lines.Text()
		}
	}()
	return p
}

func (p *tabletProcess) await(t *testing.T, end string) {
	t.Helper()
	for line := range p.lines {
		if strings.HasPrefix(line, "receiver file:") && strings.HasSuffix(line, end) {
			return
		}
	}
	t.Fatal("it ended first")
}

// firstDraft waits until the outbox's file, looked at from outside, has the
// bucket of drafts filled.
func (p *tabletProcess) firstDraft(t *testing.T, name string) time.Duration {
	t.Helper()
	for time.Since(p.began) < time.Minute {
		if draftIn(name) {
			return time.Since(p.began)
		}
		time.Sleep(10 * time.Millisecond)
	}
	t.Fatal("no draft came")
	return 0
}

// draftIn looks into a copy: the file itself is locked.
func draftIn(name string) bool {
	raw, err := os.ReadFile(name)
	copied := name + ".copy"
	if err != nil || os.WriteFile(copied, raw, 0o600) != nil {
		return false
	}
	db, err := bolt.Open(copied, 0o600, &bolt.Options{ReadOnly: true})
	if err != nil {
		return false
	}
	defer db.Close()
	found := false
	_ = db.View(func(tx *bolt.Tx) error { // what cannot be read yet has no draft
		if b := tx.Bucket([]byte("drafts")); b != nil {
			k, _ := b.Cursor().First()
			found = k != nil
		}
		return nil
	})
	return found
}

func (p *tabletProcess) memory(t *testing.T, field string) string {
	t.Helper()
	raw, err := os.ReadFile(fmt.Sprintf("/proc/%d/status", p.command.Process.Pid))
	if err != nil {
		t.Fatal(err)
	}
	for line := range strings.Lines(string(raw)) {
		if rest, ok := strings.CutPrefix(line, field+":"); ok {
			kb, _ := strconv.Atoi(strings.Fields(rest)[0])
			return fmt.Sprintf("%.1f MB", float64(kb)*1024/1e6)
		}
	}
	return "?"
}

func (p *tabletProcess) stop(t *testing.T) (user, system time.Duration) {
	t.Helper()
	if err := p.command.Process.Signal(syscall.SIGTERM); err != nil {
		t.Fatal(err)
	}
	for line := range p.lines {
		t.Log("  ", line)
	}
	if err := p.command.Wait(); err != nil {
		t.Fatal(err)
	}
	return p.command.ProcessState.UserTime(), p.command.ProcessState.SystemTime()
}

func sizeOf(t *testing.T, name string) string {
	t.Helper()
	info, err := os.Stat(name)
	if err != nil {
		t.Fatal(err)
	}
	return fmt.Sprintf("%.1f MB", float64(info.Size())/1e6)
}

// writeLog drives to and fro at 12 km/h with a short stand every 20 min, as a
// receiver with GGA, RMC and VTG would send it.
func writeLog(t *testing.T, name string, long time.Duration, hz int) {
	t.Helper()
	f, err := os.Create(name)
	if err != nil {
		t.Fatal(err)
	}
	w := bufio.NewWriter(f)
	start := time.Date(2026, 3, 23, 6, 0, 0, 0, time.UTC)
	x, y, heading := 0.0, 0.0, 0.0
	for i := range int(long.Seconds()) * hz {
		at := start.Add(time.Duration(i) * time.Second / time.Duration(hz))
		kmh := 12.0
		if i/hz%1200 >= 1080 {
			kmh = 0.02
		}
		y += math.Cos(heading) * kmh / 3.6 / float64(hz)
		if y > 400 || y < 0 {
			heading, x, y = math.Pi-heading, x+24, max(0, min(400, y))
		}
		writeEpoch(w, at, 50+y/111200, 8+math.Mod(x, 2400)/71700, kmh, heading*180/math.Pi)
	}
	if err := w.Flush(); err != nil {
		t.Fatal(err)
	}
	if err := f.Close(); err != nil {
		t.Fatal(err)
	}
}

func writeEpoch(w io.Writer, at time.Time, lat, lon, kmh, course float64) {
	angle := func(v float64, digits int) string {
		whole := math.Floor(v)
		return fmt.Sprintf("%0*d%010.7f", digits, int(whole), (v-whole)*60)
	}
	clock := at.Format("150405.00")
	for _, body := range []string{
		fmt.Sprintf("GNGGA,%s,%s,N,%s,E,4,18,0.6,212.4,M,47.0,M,1.0,0000", clock, angle(lat, 2), angle(lon, 3)),
		fmt.Sprintf("GNRMC,%s,A,%s,N,%s,E,%.3f,%.2f,%s,,,R", clock, angle(lat, 2), angle(lon, 3), kmh/1.852, course, at.Format("020106")),
		fmt.Sprintf("GNVTG,%.2f,T,,M,%.3f,N,%.3f,K,R", course, kmh/1.852, kmh),
	} {
		var sum byte
		for i := range len(body) {
			sum ^= body[i]
		}
		fmt.Fprintf(w, "$%s*%02X\r\n", body, sum)
	}
}
