package cab

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"net/http"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"hopperbook/ingest/gnss"
	"hopperbook/ingest/gnss/feed"
	"hopperbook/ingest/outbox"
	"hopperbook/ingest/tablet"
	"hopperbook/schemas"
	"hopperbook/schemas/fault"
)

// lines is what was told a person.
type lines struct {
	mu  sync.Mutex
	all []string
	say chan string
}

func (l *lines) log(format string, args ...any) {
	line := fmt.Sprintf(format, args...)
	l.mu.Lock()
	defer l.mu.Unlock()
	l.all = append(l.all, line)
	select {
	case l.say <- line:
	default:
	}
}

func (l *lines) text() string {
	l.mu.Lock()
	defer l.mu.Unlock()
	return strings.Join(l.all, "\n")
}

// await waits until a line that begins so was told.
func (l *lines) await(t *testing.T, begin string) {
	t.Helper()
	limit := time.After(30 * time.Second)
	for !strings.Contains("\n"+l.text(), "\n"+begin) {
		select {
		case <-l.say:
		case <-limit:
			t.Fatalf("waited in vain for %q; told:\n%s", begin, l.text())
		}
	}
}

func config(t *testing.T, dir string, l *lines) Config {
	t.Helper()
	return Config{Dir: dir, Device: "spreader-1", Role: tablet.RoleSpreader, Listen: "127.0.0.1:0", Log: l.log}
}

// begin runs a tablet; stop ends it and gives its error.
func begin(t *testing.T, cfg Config) (Ready, func() error) {
	t.Helper()
	ctx, cancel := context.WithCancel(t.Context())
	ready, done := make(chan Ready, 1), make(chan error, 1)
	go func() { done <- Run(ctx, cfg, func(r Ready) { ready <- r }) }()
	select {
	case r := <-ready:
		return r, func() error { cancel(); return <-done }
	case err := <-done:
		t.Fatalf("it did not start: %v", err)
	}
	panic("unreachable")
}

// events is every event on a tablet's disk.
func events(t *testing.T, dir string) (all []schemas.Event) {
	t.Helper()
	box, err := outbox.Open(outbox.Config{Path: filepath.Join(dir, outboxFile), Device: "spreader-1"})
	if err != nil {
		t.Fatal(err)
	}
	defer box.Close()
	made, err := box.Since(0)
	if err != nil {
		t.Fatal(err)
	}
	for _, m := range made {
		e, bad := schemas.Read(m.Raw)
		if bad != nil {
			t.Fatal(bad)
		}
		all = append(all, e)
	}
	return all
}

func passFixes(t *testing.T, all []schemas.Event) (fixes []schemas.Fix) {
	t.Helper()
	var err error
	for _, e := range all {
		if e.Type == schemas.TypePassLogged {
			if fixes, _, err = schemas.PassFixes(e.Data, fixes); err != nil {
				t.Fatal(err)
			}
		}
	}
	return fixes
}

func get(t *testing.T, url string) []byte {
	t.Helper()
	answer, err := http.Get(url)
	if err != nil {
		t.Fatal(err)
	}
	defer answer.Body.Close()
	body, err := io.ReadAll(answer.Body)
	if err != nil || answer.StatusCode != http.StatusOK {
		t.Fatalf("%s: %s %v", url, answer.Status, err)
	}
	return body
}

func TestWithNothingItServesThePageAndSaysWhatIsMissing(t *testing.T) {
	l := &lines{say: make(chan string, 100)}
	r, stop := begin(t, config(t, filepath.Join(t.TempDir(), "new", "folder"), l))
	if len(r.Missing) != 2 || !strings.Contains(r.Missing[0], "--gnss") || !strings.Contains(r.Missing[1], "enrol spreader-1") {
		t.Errorf("missing %q", r.Missing)
	}
	if page := get(t, r.URL); !bytes.Contains(page, []byte("<html")) {
		t.Errorf("the page is %.80s", page)
	}
	var v tablet.View
	if err := json.Unmarshal(get(t, r.URL+"view"), &v); err != nil {
		t.Fatal(err)
	}
	if v.Device != "spreader-1" || v.GNSS.State != "none" || v.Link.State != "off" || v.Outbox.State != "ok" || len(v.Checks) == 0 {
		t.Errorf("view %+v", v)
	}
	if err := stop(); err != nil {
		t.Error(err)
	}
}

const rtkLog = "../../../testdata/gnss/nmea-rtk.log"

func TestARecordedLogBecomesPassLogs(t *testing.T) {
	raw, err := os.ReadFile(rtkLog)
	if err != nil {
		t.Fatal(err)
	}
	want, _, err := gnss.Read(bytes.NewReader(raw), gnss.Options{})
	if err != nil {
		t.Fatal(err)
	}
	l, dir := &lines{say: make(chan string, 100)}, t.TempDir()
	cfg := config(t, dir, l)
	cfg.GNSS = feed.Address{Kind: feed.File, Place: rtkLog}
	_, stop := begin(t, cfg)
	l.await(t, "receiver: ")
	if err := stop(); err != nil {
		t.Fatal(err)
	}
	got := passFixes(t, events(t, dir))
	if len(got) == 0 || len(got) > len(want) {
		t.Fatalf("%d fixes in pass logs, %d in the log", len(got), len(want))
	}
	at := map[int64]schemas.Fix{}
	for _, f := range want {
		at[f.UnixMilli] = f
	}
	for i, f := range got {
		if w, ok := at[f.UnixMilli]; !ok || f.LatDeg-w.LatDeg > 1e-9 || w.LatDeg-f.LatDeg > 1e-9 || f.Quality != w.Quality || f.Spreading != schemas.SpreadingOff {
			t.Errorf("fix %d is %+v, recorded %+v", i, f, w)
		}
	}
	if told := fmt.Sprintf("pass logs: %d fixes in, %d logged, 0 too coarse, 0 impossible, 0 repeated, %d thinned", len(want), len(got), len(want)-len(got)); !strings.Contains(l.text(), told) {
		t.Errorf("told %s, want %s", l.text(), told)
	}
}

// A draft that a power cut left becomes a pass log once, however often the
// tablet starts.
func TestADraftBecomesAPassLogOnce(t *testing.T) {
	dir := t.TempDir()
	box, err := outbox.Open(outbox.Config{Path: filepath.Join(dir, outboxFile), Device: "spreader-1"})
	if err != nil {
		t.Fatal(err)
	}
	p, err := schemas.PassData([]schemas.Fix{{UnixMilli: 1_790_000_000_000, LatDeg: 50, LonDeg: 8, SpeedKmh: 12, Quality: schemas.QualityRTKFixed, Spreading: schemas.SpreadingOn, BoutWidthM: 24, SetRateKgHa: 120}},
		schemas.PassHeader{Job: "J-1"})
	if err != nil {
		t.Fatal(err)
	}
	raw, err := json.Marshal(p)
	if err != nil {
		t.Fatal(err)
	}
	kept := drafts{box}
	if err := kept.Put("pass-1", raw); err != nil {
		t.Fatal(err)
	}
	if all, err := kept.All(); err != nil || len(all) != 1 || all[0].Key != "pass-1" || !bytes.Equal(all[0].Data, raw) {
		t.Fatalf("drafts %v, %v", all, err)
	}
	if err := box.Close(); err != nil {
		t.Fatal(err)
	}
	for range 3 {
		_, stop := begin(t, config(t, dir, &lines{say: make(chan string, 100)}))
		if err := stop(); err != nil {
			t.Fatal(err)
		}
	}
	if got := passFixes(t, events(t, dir)); len(got) != 1 || got[0].Spreading != schemas.SpreadingOn {
		t.Errorf("fixes %+v", got)
	}
}

func TestASecondTabletOnTheSameFolderOrPortIsRefused(t *testing.T) {
	l, dir := &lines{say: make(chan string, 100)}, t.TempDir()
	cfg := config(t, dir, l)
	r, stop := begin(t, cfg)
	if err := Run(t.Context(), cfg, func(Ready) { t.Error("it runs") }); fault.CodeOf(err) != fault.Held || fault.HintOf(err) == "" {
		t.Errorf("the same folder: %v", err)
	}
	cfg.Dir, cfg.Listen = t.TempDir(), strings.TrimSuffix(strings.TrimPrefix(r.URL, "http://"), "/")
	if err := Run(t.Context(), cfg, func(Ready) { t.Error("it runs") }); fault.CodeOf(err) != fault.Held || fault.HintOf(err) == "" {
		t.Errorf("the same port: %v", err)
	}
	if err := stop(); err != nil {
		t.Error(err)
	}
}

func TestThePageIsNotOpenedToANetworkUnasked(t *testing.T) {
	for listen, refused := range map[string]bool{"0.0.0.0:0": true, ":0": true, "[::]:0": true, "example:0": true, "127.0.0.1:0": false, "localhost:0": false, "127.0.0.1": true} {
		cfg := Config{Listen: listen}
		ln, err := listenPage(cfg)
		if refused != (fault.CodeOf(err) == fault.Usage && err != nil) {
			t.Errorf("%s: %v", listen, err)
		}
		if err == nil {
			_ = ln.Close()
		}
	}
	ln, err := listenPage(Config{Listen: "0.0.0.0:0", Hosts: []string{"cab.example"}})
	if err != nil {
		t.Fatalf("with a name: %v", err)
	}
	_ = ln.Close()
}

func TestDeviceNames(t *testing.T) {
	dir := t.TempDir()
	if err := MayEnrol(dir, "anything"); err != nil {
		t.Errorf("a new folder: %v", err)
	}
	if got, err := Device(dir, ""); err != nil || !schemas.ValidToken(string(got)) {
		t.Errorf("of the computer: %q, %v", got, err)
	}
	dir = t.TempDir()
	for i, c := range []struct {
		asked, want schemas.DeviceID
		code        fault.Code
	}{{"spreader-1", "spreader-1", 0}, {"", "spreader-1", 0}, {"spreader-1", "spreader-1", 0}, {"spreader-2", "", fault.Conflict}, {"Spreader 1", "", fault.Usage}} {
		got, err := Device(dir, c.asked)
		if got != c.want || err != nil && fault.CodeOf(err) != c.code || (err == nil) != (c.want != "") {
			t.Errorf("%d: %q, %v", i, got, err)
		}
	}
	if err := MayEnrol(dir, "spreader-1"); err != nil {
		t.Error(err)
	}
	if err := MayEnrol(dir, "spreader-2"); fault.CodeOf(err) != fault.Conflict || !strings.Contains(fault.HintOf(err), "spreader-1") {
		t.Errorf("another device's code: %v", err)
	}
}

func TestTheOfficesCopiesAreReplacedWhole(t *testing.T) {
	s := store{dir: t.TempDir()}
	if raw, err := s.Packet(); raw != nil || err != nil {
		t.Errorf("a new folder has %q, %v", raw, err)
	}
	for _, text := range []string{"first", "second, longer", "3"} {
		if err := s.KeepPacket([]byte(text)); err != nil {
			t.Fatal(err)
		}
		if raw, err := s.Packet(); string(raw) != text || err != nil {
			t.Errorf("%q, %v", raw, err)
		}
	}
	names, err := os.ReadDir(s.dir)
	if err != nil || len(names) != 1 {
		t.Errorf("left behind: %v, %v", names, err)
	}
	s.dir = filepath.Join(s.dir, "none")
	if err := s.KeepPacket(nil); fault.HintOf(err) == "" {
		t.Errorf("no folder: %v", err)
	}
}

func TestAReceiverThatIsNotThereStopsNothing(t *testing.T) {
	l := &lines{say: make(chan string, 100)}
	cfg := config(t, t.TempDir(), l)
	cfg.GNSS = feed.Address{Kind: feed.Serial, Place: filepath.Join(t.TempDir(), "tty"), Baud: 4800}
	cfg.Switch = feed.Address{Kind: feed.UDP, Place: "127.0.0.1:1000000"}
	r, stop := begin(t, cfg)
	l.await(t, "receiver serial://")
	l.await(t, "switch udp://")
	if got := get(t, r.URL+"view"); !bytes.Contains(got, []byte(`"state":"none"`)) {
		t.Errorf("view %s", got)
	}
	if err := stop(); err != nil {
		t.Error(err)
	}
	for _, line := range l.all {
		if strings.HasPrefix(line, "receiver") && !strings.Contains(line, "\n  ") {
			t.Errorf("%q says not what to do", line)
		}
	}
	if n := len(slices.DeleteFunc(slices.Clone(l.all), func(s string) bool { return !strings.HasPrefix(s, "receiver") })); n != 1 {
		t.Errorf("it is told %d times", n)
	}
}
