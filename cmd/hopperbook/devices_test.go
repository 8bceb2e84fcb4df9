package main

import (
	"encoding/json"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"hopperbook/ingest/hub"
	"hopperbook/ingest/link"
	"hopperbook/reports"
	"hopperbook/schemas"
	"hopperbook/schemas/fault"
)

func devicesOf(t *testing.T, args ...string) reports.DevicesAnswer {
	t.Helper()
	return decode[reports.DevicesAnswer](t, must(t, "", append([]string{"devices", "--json"}, args...)...))
}

// A tablet is let in, seen, cut off and let in again, by the commands alone.
func TestEnrolDevicesRevoke(t *testing.T) {
	dir := t.TempDir()
	running := startHub(t, dir)
	if info, err := os.Stat(filepath.Join(dir, "hub.json")); err != nil || info.Mode().Perm() != 0o600 {
		t.Errorf("the hub's note: %v, %v", info, err)
	}
	if a := devicesOf(t, "--book", dir); len(a.Devices) != 0 || len(a.Refused) != 0 || a.Schema != reports.SchemaDevices {
		t.Errorf("a new book: %+v", a)
	}
	png := filepath.Join(t.TempDir(), "code.png")
	given := decode[hub.GivenCode](t, must(t, "", "enrol", "spreader-1", "--json", "--good-for", "2h", "--png", png, "--book", dir))
	if given.Device != "spreader-1" || given.TLS || time.Until(given.ExpiresAt) > 2*time.Hour || "nats://"+given.Address != running.url {
		t.Errorf("%+v", given)
	}
	if info, err := os.Stat(png); err != nil || info.Mode().Perm() != 0o600 {
		t.Errorf("the QR code: %v, %v", info, err)
	}
	if a := devicesOf(t, "--book", dir); len(a.Devices) != 1 || a.Devices[0].State != reports.DeviceCodeGiven {
		t.Errorf("a code given: %+v", a)
	}
	creds, err := link.Enrol(t.Context(), given.Code, t.TempDir())
	if err != nil {
		t.Fatal(err)
	}
	up, refused := make(chan struct{}, 10), make(chan error, 10)
	conn, err := link.Dial(t.Context(), creds, link.DialOptions{MinWait: 10 * time.Millisecond, MaxWait: 50 * time.Millisecond, Up: func() { up <- struct{}{} },
		Refused: func(err error) {
			select {
			case refused <- err:
			default:
			}
		}})
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close()
	<-up
	if a := devicesOf(t, "--book", dir); len(a.Devices) != 1 || a.Devices[0].State != reports.DeviceEnrolled || !a.Devices[0].Connected {
		t.Errorf("enrolled: %+v", a)
	}
	if gone := decode[hub.Device](t, must(t, "", "revoke", "spreader-1", "--json", "--book", dir)); gone.RevokedAt.IsZero() {
		t.Errorf("%+v", gone)
	}
	if err := <-refused; fault.HintOf(err) == "" {
		t.Errorf("the tablet hears %v", err)
	}
	a := devicesOf(t, "--book", dir)
	if len(a.Devices) != 1 || a.Devices[0].State != reports.DeviceRevoked || a.Devices[0].Connected || len(a.Refused) == 0 || a.Refused[0].Reason != string(hub.Revoked) {
		t.Errorf("revoked: %+v", a)
	}
	for _, form := range [][]string{nil, {"--csv"}} {
		if out := must(t, "", append([]string{"devices", "--book", dir}, form...)...); !strings.Contains(out, "spreader-1") {
			t.Errorf("devices %v: %s", form, out)
		}
		if out := must(t, "", append([]string{"devices", "--refused", "--book", dir}, form...)...); !strings.Contains(out, "revoked") {
			t.Errorf("devices --refused %v: %s", form, out)
		}
	}
	if out := must(t, "", "enrol", "spreader-1", "--book", dir); !strings.Contains(out, "HB1/") || !strings.Contains(out, "on this machine alone") {
		t.Errorf("enrol says %s", out)
	}
	running.end(t)
}

// What cannot be done is said with what to do.
func TestEnrolAndRevokeRefuse(t *testing.T) {
	dir := t.TempDir()
	startHub(t, dir)
	if out, stderr, exit := command(t, "", "revoke", "nobody", "--book", dir); exit != fault.NotFound.Exit() || out != "" || !strings.Contains(stderr, "hopperbook devices") {
		t.Errorf("revoke nobody: exit %d, %q, %q", exit, out, stderr)
	}
	for _, args := range [][]string{{"enrol"}, {"enrol", "Two Words"}, {"enrol", "a", "b"}, {"enrol", "a", "--good-for", "0s"}, {"enrol", "a", "--address", "nowhere"}, {"revoke"}, {"devices", "x"}} {
		if _, stderr, exit := command(t, "", append(args, "--book", dir)...); exit != fault.Usage.Exit() || strings.Count(strings.TrimSpace(stderr), "\n") < 1 {
			t.Errorf("%v: exit %d, %q", args, exit, stderr)
		}
	}
}

// Codes are made and tablets cut off while the hub does not run too, and in a
// folder that has moved.
func TestEnrolAndRevokeWithoutAHub(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "book")
	if _, stderr, exit := command(t, "", "enrol", "sp-1", "--book", dir); exit != fault.Usage.Exit() || !strings.Contains(stderr, "--listen") {
		t.Errorf("a hub that was never started: exit %d, %s", exit, stderr)
	}
	startHub(t, dir).end(t)
	moved := dir + "-moved"
	if err := os.Rename(dir, moved); err != nil {
		t.Fatal(err)
	}
	given := decode[hub.GivenCode](t, must(t, "", "enrol", "sp-1", "--json", "--book", moved))
	dead := hub.Presence{URL: "nats://" + given.Address, Contractor: "own", PID: 1, Token: "of a hub long dead"}
	raw, err := json.Marshal(dead)
	if err == nil {
		err = os.WriteFile(filepath.Join(moved, "hub.json"), raw, 0o600)
	}
	if err != nil {
		t.Fatal(err)
	}
	if a := devicesOf(t, "--book", moved); len(a.Devices) != 1 || a.Devices[0].State != reports.DeviceCodeGiven {
		t.Errorf("beside a dead hub's note: %+v", a)
	}
	must(t, "", "revoke", "sp-1", "--book", moved) // voids the code
	if a := devicesOf(t, "--book", moved); len(a.Devices) != 0 {
		t.Errorf("after that: %+v", a)
	}
}

// A hub on the network says where tablets find it, and its codes name that.
func TestAHubOnTheNetwork(t *testing.T) {
	dir := t.TempDir()
	cmd := exec.Command(programFor(t), "hub", "--book", dir, "--listen", "0.0.0.0:0")
	out, err := cmd.StdoutPipe()
	if err == nil {
		err = cmd.Start()
	}
	if err != nil {
		t.Fatal(err)
	}
	defer func() { // it must not outlive the test
		_ = cmd.Process.Kill()
		_ = cmd.Wait()
	}()
	said := make([]byte, 0, 1000)
	for strings.Count(string(said), "\n") < 2 {
		n, err := out.Read(said[len(said):cap(said)])
		if said = said[:len(said)+n]; err != nil {
			t.Fatalf("%v after %s", err, said)
		}
	}
	given := decode[hub.GivenCode](t, must(t, "", "enrol", "sp-1", "--json", "--book", dir))
	if !given.TLS || !strings.Contains(string(said), "tablets reach it at "+given.Address) {
		t.Errorf("the hub says\n%s\nand the code is for %s", said, given.Address)
	}
	code, err := schemas.ParseEnrolCode(given.Code)
	if err != nil {
		t.Fatal(err)
	}
	_, port, err := net.SplitHostPort(code.Hub) // loopback stands for the network
	if err != nil {
		t.Fatal(err)
	}
	code.Hub = net.JoinHostPort("127.0.0.1", port)
	if _, err := link.Enrol(t.Context(), code.String(), t.TempDir()); err != nil {
		t.Error(err)
	}
}
