package main

import (
	"bufio"
	"bytes"
	"context"
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"github.com/oklog/ulid/v2"

	"hopperbook/ingest"
	"hopperbook/ingest/hub"
	"hopperbook/schemas"
)

// program builds the real program once for all tests that need processes.
var program = sync.OnceValues(func() (string, error) {
	dir, err := os.MkdirTemp("", "hopperbook-test-")
	if err != nil {
		return "", err
	}
	name := filepath.Join(dir, "hopperbook")
	if out, err := exec.Command("go", "build", "-o", name, ".").CombinedOutput(); err != nil {
		return "", fmt.Errorf("go build: %w\n%s", err, out)
	}
	return name, nil
})

func TestMain(m *testing.M) {
	code := m.Run()
	if name, err := program(); err == nil && testing.Testing() {
		os.RemoveAll(filepath.Dir(name))
	}
	os.Exit(code)
}

func programFor(t *testing.T) string {
	t.Helper()
	name, err := program()
	if err != nil {
		t.Fatal(err)
	}
	return name
}

// command runs the program to its end.
func command(t *testing.T, stdin string, args ...string) (stdout, stderr string, exit int) {
	t.Helper()
	cmd := exec.Command(programFor(t), args...)
	var out, errOut bytes.Buffer
	cmd.Stdin, cmd.Stdout, cmd.Stderr = strings.NewReader(stdin), &out, &errOut
	if err := cmd.Run(); err != nil && cmd.ProcessState == nil {
		t.Fatal(err)
	}
	return out.String(), errOut.String(), cmd.ProcessState.ExitCode()
}

// process is a hub of its own process.
type process struct {
	cmd *exec.Cmd
	url string
}

// startHub starts a hub and waits for the line that says it is ready.
func startHub(t *testing.T, dir string) *process {
	t.Helper()
	cmd := exec.Command(programFor(t), "hub", "--book", dir, "--listen", "127.0.0.1:0")
	var errOut bytes.Buffer
	cmd.Stderr = &errOut
	out, err := cmd.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { // of tests that leave it running; one that has ended is as good
		_ = cmd.Process.Kill()
		_ = cmd.Wait()
	})
	line, err := bufio.NewReader(out).ReadString('\n')
	if err != nil {
		_ = cmd.Wait() // it has ended without a word; stderr says why
		t.Fatalf("the hub did not come up: %v\n%s", err, errOut.String())
	}
	url, _, _ := strings.Cut(strings.TrimPrefix(line, "hub ready: "), ",")
	return &process{cmd, url}
}

// dial connects as the office does that has the book's folder.
func (p *process) dial(t *testing.T, dir string) *hub.Client {
	t.Helper()
	access, err := hub.ReadAccess(dir)
	if err != nil {
		t.Fatal(err)
	}
	client, err := hub.Dial(p.url, "", "test", access)
	if err != nil {
		t.Fatal(err)
	}
	return client
}

// kill ends the hub as a power cut would.
func (p *process) kill() {
	_ = p.cmd.Process.Kill() // kill -9; a hub that is gone already is as good
}

// end stops the hub in good order.
func (p *process) end(t *testing.T) {
	t.Helper()
	if err := p.cmd.Process.Signal(syscall.SIGTERM); err != nil {
		t.Fatal(err)
	}
	if err := p.cmd.Wait(); err != nil {
		t.Errorf("the hub ended with %v", err)
	}
}

func loadEvents(t *testing.T, devices, each int) []ingest.Outgoing {
	t.Helper()
	var all []ingest.Outgoing
	for seq := 1; seq <= each; seq++ {
		for d := 1; d <= devices; d++ {
			id := schemas.Identity{Source: schemas.DeviceSource(schemas.DeviceID(fmt.Sprintf("ld%d", d)), "a"), Sequence: int64(seq)}
			at := time.Date(2026, 3, 2, 8, 0, 0, 0, time.UTC).Add(time.Duration(seq) * time.Minute)
			entropy := bytes.NewReader([]byte(fmt.Sprintf("%02d%08d", d, seq)))
			raw, err := schemas.Write(id, schemas.EventID(ulid.MustNew(ulid.Timestamp(at), entropy).String()), schemas.TypeLoadWeighed, at,
				schemas.LoadWeighed{Load: schemas.LoadID(fmt.Sprintf("L%d-%d", d, seq)), Product: "lime", NetKg: 4000, Method: schemas.MethodBucket})
			if err != nil {
				t.Fatal(err)
			}
			all = append(all, ingest.Outgoing{Identity: id, Type: schemas.TypeLoadWeighed, Raw: raw})
		}
	}
	return all
}

// notHeld is what a tablet would send again: everything the book does not
// have, at most window of it.
func notHeld(t *testing.T, client *hub.Client, all []ingest.Outgoing, window int) []ingest.Outgoing {
	t.Helper()
	ctx, stop := context.WithTimeout(context.Background(), time.Minute)
	defer stop()
	marks, err := client.Marks(ctx)
	if err != nil {
		t.Fatal(err)
	}
	by := map[schemas.Source]schemas.Mark{}
	for _, m := range marks {
		by[m.Source] = m
	}
	var left []ingest.Outgoing
	for _, o := range all {
		if !by[o.Source].Holds(o.Sequence) && len(left) < window {
			left = append(left, o)
		}
	}
	return left
}

// Kill -9 of the hub at 50 random moments during a publish: after restarts
// and resends nothing is missing and nothing is double.
func TestKillTheHubAtFiftyMoments(t *testing.T) {
	const kills, window = 50, 300
	dir, all := t.TempDir(), loadEvents(t, 3, 2500)
	rng := rand.New(rand.NewPCG(20261125, 50))
	during := 0
	for range kills {
		p := startHub(t, dir)
		client := p.dial(t, dir)
		left := notHeld(t, client, all, window)
		moment := 1 + rng.IntN(2*len(left)-1) // counted in events sent plus events confirmed
		ctx, stop := context.WithCancel(context.Background())
		_, err := client.Publish(ctx, ingest.Each(left), time.Minute, func(sent, confirmed int) {
			if sent+confirmed >= moment {
				p.kill()
				stop()
			}
		})
		stop()
		if err != nil {
			during++
		}
		p.kill()
		_ = p.cmd.Wait() // "signal: killed" is what we asked for
		client.Close()
	}
	if during < kills/2 {
		t.Errorf("only %d of %d kills fell into a publish", during, kills)
	}

	p := startHub(t, dir)
	client := p.dial(t, dir)
	defer client.Close()
	ctx, stop := context.WithTimeout(context.Background(), 2*time.Minute)
	defer stop()
	if _, err := client.Publish(ctx, ingest.Each(notHeld(t, client, all, len(all))), time.Minute, nil); err != nil {
		t.Fatal(err)
	}
	p.end(t)

	out, stderr, exit := command(t, "", "export", "events", "--book", dir)
	if exit != 0 {
		t.Fatalf("export: exit %d\n%s", exit, stderr)
	}
	count := map[string]int{}
	for line := range strings.Lines(out) {
		count[strings.TrimSuffix(line, "\n")]++
	}
	for _, o := range all {
		if n := count[string(o.Raw)]; n != 1 {
			t.Fatalf("%s is in the book %d times", o.Identity, n)
		}
	}
	if len(count) != len(all) {
		t.Errorf("%d different events in the book, %d were published", len(count), len(all))
	}
}
