package main

import (
	"bufio"
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"flag"
	"fmt"
	"io"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/tidwall/gjson"

	"hopperbook/ingest/link"
	"hopperbook/ingest/link/linktest"
	"hopperbook/ingest/outbox"
	"hopperbook/schemas"
)

// Kill -9 of tablet and hub, alone and together, with a flapping link between:
// go test ./cmd/hopperbook-tablet -run TestKill -kills 200 -v
var kills = flag.Int("kills", 20, "how many random moments TestKillTabletAndHub kills at")

const (
	killDevice = "spreader-1"
	killAgent  = "TABLET_TEST_KILL" // folder of a child that is a tablet
)

// TestMain is also the tablet of TestKillTabletAndHub.
func TestMain(m *testing.M) {
	if dir := os.Getenv(killAgent); dir != "" {
		if err := agent(dir); err != nil {
			fmt.Fprintln(os.Stderr, err)
			os.Exit(1)
		}
		os.Exit(0)
	}
	os.Exit(m.Run())
}

// agent makes one entry for each byte on standard input, as a tablet does:
// outbox and forwarder. On standard output it says what was confirmed to it:
// "e" with sequence and digest (an event), "d" with a number (a draft), "b"
// with a sequence (the book has everything up to it).
func agent(dir string) error {
	o, err := outbox.Open(outbox.Config{Path: filepath.Join(dir, "outbox.db"), Device: killDevice})
	if err != nil {
		return err
	}
	c, _, err := link.ReadCredentials(dir)
	if err != nil {
		return err
	}
	conn, err := link.Dial(context.Background(), c, link.DialOptions{MinWait: 10 * time.Millisecond, MaxWait: 100 * time.Millisecond})
	if err != nil {
		return err
	}
	f, err := link.NewForwarder(conn, link.ForwardConfig{Contractor: c.Contractor, Outbox: o, Silence: 500 * time.Millisecond, MaxBackoff: 500 * time.Millisecond, Seed: uint64(os.Getpid())})
	if err != nil {
		return err
	}
	failed := make(chan error, 3)
	go func() { failed <- f.Run(context.Background()) }()
	go func() { failed <- sayBooked(o) }()
	go func() { failed <- makeEntries(o) }()
	return <-failed
}

func sayBooked(o *outbox.Outbox) error {
	for said := int64(-1); ; {
		changed := o.Changed()
		s, err := o.Status()
		if err != nil {
			return err
		}
		if s.Confirmed != said {
			said = s.Confirmed
			fmt.Printf("b %d\n", said)
		}
		<-changed
	}
}

// makeEntries turns what a killed agent was gathering into its event, then
// makes loads and pass logs in turn.
func makeEntries(o *outbox.Outbox) error {
	drafts, err := o.Drafts()
	if err != nil {
		return err
	}
	for _, d := range drafts {
		if err := enter(o, killPass(string(d.Data), d.Key)); err != nil {
			return err
		}
	}
	in := bufio.NewReader(os.Stdin)
	for n := 0; ; n++ {
		if _, err := in.ReadByte(); err != nil {
			return err
		}
		if n%3 > 0 {
			at := time.Date(2026, 3, 2, 8, 0, 0, 0, time.UTC)
			err = enter(o, outbox.Entry{At: at, Type: schemas.TypeLoadWeighed, Data: schemas.LoadWeighed{Load: "L1", Product: "lime", NetKg: 4000, Method: schemas.MethodBucket}})
		} else {
			job := fmt.Sprintf("J%d-%d", os.Getpid(), n)
			if err := o.Draft("pass", []byte(job)); err != nil {
				return err
			}
			fmt.Printf("d %s\n", job)
			err = enter(o, killPass(job, "pass"))
		}
		if err != nil {
			return err
		}
	}
}

// killPass is the pass log that a draft stands for.
func killPass(job, draft string) outbox.Entry {
	at := time.Date(2026, 3, 2, 8, 0, 0, 0, time.UTC)
	fixes := make([]schemas.Fix, 60)
	for i := range fixes {
		fixes[i] = schemas.Fix{UnixMilli: at.UnixMilli() + int64(200*i), LatDeg: 52 + float64(i)/1e5, LonDeg: 0.3, SpeedKmh: 12, HeadingDeg: 1,
			Spreading: schemas.SpreadingOn, SetRateKgHa: 2500, BoutWidthM: 12}
	}
	data, err := schemas.PassData(fixes, schemas.PassHeader{Job: schemas.JobID(job)})
	if err != nil {
		panic(err) // the fixes above are in order
	}
	return outbox.Entry{At: at, Type: schemas.TypePassLogged, Data: data, Draft: draft}
}

func enter(o *outbox.Outbox, e outbox.Entry) error {
	made, err := o.AppendAll([]outbox.Entry{e}, nil)
	if err != nil {
		return err
	}
	fmt.Printf("e %d %s\n", made[0].Sequence, killDigest(made[0].Raw))
	return nil
}

func killDigest(raw []byte) string {
	sum := sha256.Sum256(raw)
	return hex.EncodeToString(sum[:8])
}

// proc is a child process whose lines are read as they come.
type proc struct {
	cmd   *exec.Cmd
	in    io.WriteCloser
	lines *bufio.Scanner
	err   bytes.Buffer
}

func start(t *testing.T, cmd *exec.Cmd) *proc {
	t.Helper()
	p := &proc{cmd: cmd}
	cmd.Stderr = &p.err
	out, err := cmd.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if p.in, err = cmd.StdinPipe(); err != nil {
		t.Fatal(err)
	}
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	p.lines = bufio.NewScanner(out)
	t.Cleanup(func() { // of a test that ends early; one that has ended is as good
		_ = cmd.Process.Kill()
		_ = cmd.Wait()
	})
	return p
}

// season is what the test knows from outside.
type season struct {
	t         *testing.T
	hubBinary string
	dir       string
	proxy     *linktest.Proxy
	hub, cab  *proc
	events    map[int64]string // confirmed by the tablet's disk: digests
	drafts    map[string]bool
	last      int64 // sequence that was said last
	booked    int64
	units     int // entries confirmed by the disk plus entries confirmed by the book
}

func (s *season) startHub() {
	s.t.Helper()
	s.hub = start(s.t, exec.Command(s.hubBinary, "hub", "--book", filepath.Join(s.dir, "book"), "--listen", "127.0.0.1:0", "--tls"))
	if !s.hub.lines.Scan() {
		_ = s.hub.cmd.Wait() // it has ended without a word; stderr says why
		s.t.Fatalf("the hub did not come up: %s", s.hub.err.String())
	}
	url, _, _ := strings.Cut(strings.TrimPrefix(s.hub.lines.Text(), "hub ready: "), ",")
	_, addr, _ := strings.Cut(url, "://")
	s.proxy.Retarget(addr)
}

// enrol lets the tablet in, over the link that will flap.
func (s *season) enrol() {
	s.t.Helper()
	out, err := exec.Command(s.hubBinary, "enrol", killDevice, "--book", filepath.Join(s.dir, "book"), "--address", s.proxy.Addr(), "--json").Output()
	if err != nil {
		s.t.Fatalf("enrol: %v", err)
	}
	if _, err := link.Enrol(s.t.Context(), gjson.GetBytes(out, "code").Str, s.dir); err != nil {
		s.t.Fatal(err)
	}
}

func (s *season) startCab() {
	cmd := exec.Command(os.Args[0])
	cmd.Env = append(os.Environ(), killAgent+"="+s.dir)
	s.cab = start(s.t, cmd)
}

// heard notes one line of the tablet.
func (s *season) heard(line string) {
	s.t.Helper()
	var kind, word, digest string
	var seq int64
	if _, err := fmt.Sscan(line, &kind, &word, &digest); kind == "" {
		s.t.Fatalf("the tablet says %q: %v", line, err)
	}
	_, _ = fmt.Sscan(word, &seq) // a draft's word is no number
	switch kind {
	case "e":
		if old, twice := s.events[seq]; twice {
			s.t.Errorf("sequence %d was given twice (%s, %s)", seq, old, digest)
		}
		s.events[seq] = digest
		s.last = max(s.last, seq)
		s.units++
	case "d":
		s.drafts[word] = true
	case "b":
		s.units += int(max(0, seq-s.booked))
		s.booked = max(s.booked, seq)
	}
}

func (s *season) listen() {
	s.t.Helper()
	if !s.cab.lines.Scan() {
		_ = s.cab.cmd.Wait() // it has ended; stderr says why
		s.t.Fatalf("the tablet ended: %s", s.cab.err.String())
	}
	s.heard(s.cab.lines.Text())
}

// kill is kill -9; what the tablet had said before counts.
func (s *season) kill(p *proc) {
	_ = p.cmd.Process.Kill()
	for p.lines.Scan() {
		if p == s.cab {
			s.heard(p.lines.Text())
		}
	}
	_ = p.cmd.Wait() // "signal: killed" is what we asked for
}

func TestKillTabletAndHub(t *testing.T) {
	rng := rand.New(rand.NewPCG(20261125, 200))
	var cutting sync.Mutex // the proxy asks from each of its connections
	cuts := rand.New(rand.NewPCG(20261125, 201))
	proxy, err := linktest.New("", func() int64 {
		cutting.Lock()
		defer cutting.Unlock()
		return 20_000 + cuts.Int64N(200_000)
	})
	if err != nil {
		t.Fatal(err)
	}
	defer proxy.Close()
	s := &season{t: t, hubBinary: buildHub(t), dir: t.TempDir(), proxy: proxy, events: map[int64]string{}, drafts: map[string]bool{}}
	s.startHub()
	s.enrol()
	s.startCab()
	count := [3]int{}
	for range *kills {
		burst := 10 + rng.IntN(50)
		if _, err := s.cab.in.Write(make([]byte, burst)); err != nil {
			t.Fatal(err)
		}
		for moment := s.units + 1 + rng.IntN(2*burst-1); s.units < moment; {
			s.listen()
		}
		who := rng.IntN(3)
		count[who]++
		if who != 0 {
			s.kill(s.cab)
		}
		if who != 1 {
			s.kill(s.hub)
			s.startHub()
		}
		if who != 0 {
			s.startCab()
		}
	}
	if _, err := s.cab.in.Write([]byte{0}); err != nil {
		t.Fatal(err)
	}
	for before := len(s.events); len(s.events) == before || s.booked < s.last; {
		s.listen()
	}
	s.kill(s.cab)
	s.kill(s.hub)
	s.look(count)
}

// buildHub builds the hub's program.
func buildHub(t *testing.T) string {
	t.Helper()
	name := filepath.Join(t.TempDir(), "hopperbook")
	if out, err := exec.Command("go", "build", "-o", name, "hopperbook/cmd/hopperbook").CombinedOutput(); err != nil {
		t.Fatalf("go build: %v\n%s", err, out)
	}
	return name
}

// look compares the book with what the tablet was told.
func (s *season) look(count [3]int) {
	t := s.t
	t.Helper()
	cmd := exec.Command(s.hubBinary, "export", "events", "--book", filepath.Join(s.dir, "book"))
	var errOut bytes.Buffer
	cmd.Stderr = &errOut
	out, err := cmd.Output()
	if err != nil {
		t.Fatalf("export: %v\n%s", err, errOut.String())
	}
	inBook, jobs := map[int64]int{}, map[string]int{}
	for line := range strings.Lines(string(out)) {
		line = strings.TrimSuffix(line, "\n")
		seq := gjson.Get(line, "sequence").Int()
		inBook[seq]++
		if want, confirmed := s.events[seq]; confirmed && want != killDigest([]byte(line)) {
			t.Errorf("event %d is in the book with other bytes", seq)
		}
		if job := gjson.Get(line, "data.job").Str; job != "" {
			jobs[job]++
		}
	}
	for seq := range s.events {
		if inBook[seq] != 1 {
			t.Errorf("event %d was confirmed and is in the book %d times", seq, inBook[seq])
		}
	}
	for seq := int64(1); seq <= int64(len(inBook)); seq++ {
		if inBook[seq] != 1 {
			t.Errorf("sequence %d of %d is in the book %d times", seq, len(inBook), inBook[seq])
		}
	}
	for job := range s.drafts {
		if jobs[job] != 1 {
			t.Errorf("the draft of %s was kept and is in the book %d times", job, jobs[job])
		}
	}
	for job, n := range jobs {
		if n > 1 {
			t.Errorf("the pass log of %s is in the book %d times", job, n)
		}
	}
	t.Logf("%d events confirmed, %d in the book, %d drafts; killed %d times the hub, %d the tablet, %d both; the link was cut %d times",
		len(s.events), len(inBook), len(s.drafts), count[0], count[1], count[2], s.proxy.Cuts())
}
