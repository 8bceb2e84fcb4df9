package main

import (
	"bytes"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"hopperbook/schemas/fault"
)

// runs runs the program in-process and gives what it printed.
func runs(t *testing.T, args ...string) (out string, err error) {
	t.Helper()
	app := newApp()
	var b bytes.Buffer
	app.Writer, app.ErrWriter = &b, &b
	err = app.RunContext(t.Context(), append([]string{"hopperbook-tablet"}, args...))
	return b.String(), err
}

func TestUsageIsRefusedWithAHint(t *testing.T) {
	dir := t.TempDir()
	for _, c := range []struct {
		args string
		code fault.Code
	}{
		{"nonsense", fault.Usage}, {"run here", fault.Usage}, {"run --no-such-flag", fault.Usage}, {"run --gnss nonsense", fault.Usage}, {"run --switch nonsense", fault.Usage},
		{"run --switch line:cts", fault.Usage}, {"run --gnss udp://:10110 --switch line:cts", fault.Usage}, {"run --gnss udp://:1 --replay x", fault.Usage},
		{"run --replay DIR/none", fault.NotFound}, {"run --role tractor", fault.Usage}, {"run --coarsest fine", fault.Usage}, {"run --min-speed 9 --max-speed 8", fault.Usage},
		{"run --min-speed NaN", fault.Usage}, {"run --limit-mb 0", fault.Usage}, {"run --cap-kb-s -1", fault.Usage}, {"run --device Spreader --dir DIR/a", fault.Usage},
		{"run --machine Spreader_1!", fault.Usage}, {"run --listen 0.0.0.0:0 --dir DIR/b", fault.Usage}, {"--dir DIR enrol X", fault.Usage}, {"enrol --dir DIR", fault.Usage},
		{"enrol --dir DIR HB1/not/a/code", fault.Input}, {"status --listen 127.0.0.1:1", fault.Unavailable}, {"status now", fault.Usage},
	} {
		_, err := runs(t, strings.Fields(strings.ReplaceAll(c.args, "DIR", dir))...)
		if err == nil || fault.CodeOf(err) != c.code || fault.HintOf(err) == "" {
			t.Errorf("%s: %v (%s), hint %q", c.args, err, fault.CodeOf(err), fault.HintOf(err))
		}
	}
}

func TestHelpNamesTheExitStatuses(t *testing.T) {
	out, err := runs(t, "--help")
	if err != nil || !strings.Contains(out, "0 done") || !strings.Contains(out, "8 unavailable") || !strings.Contains(out, "--gnss") {
		t.Errorf("%v: %s", err, out)
	}
}

// The tablet's program stays small and builds without cgo: neither the book's
// database nor the server is in it.
func TestWhatIsNotInTheTablet(t *testing.T) {
	for _, target := range []string{"linux/amd64", "linux/arm64", "windows/amd64", "android/arm64"} {
		system, chip, _ := strings.Cut(target, "/")
		list := exec.Command("go", "list", "-deps", "-f", "{{.ImportPath}} {{len .CgoFiles}}", ".")
		list.Env = append(os.Environ(), "CGO_ENABLED=0", "GOOS="+system, "GOARCH="+chip)
		out, err := list.CombinedOutput()
		if err != nil {
			t.Fatalf("%s: %v %s", target, err, out)
		}
		deps := strings.Split(strings.TrimSpace(string(out)), "\n")
		if len(deps) < 100 {
			t.Fatalf("%s: only %d packages", target, len(deps))
		}
		for _, d := range deps {
			if strings.Contains(d, "nats-server") || strings.Contains(d, "duckdb") || strings.HasPrefix(d, "hopperbook/ingest/hub") || !strings.HasSuffix(d, " 0") {
				t.Errorf("%s: holds %s", target, d)
			}
		}
	}
}

func TestTheUnitFileIsSound(t *testing.T) {
	if _, err := exec.LookPath("systemd-analyze"); err != nil {
		t.Skip("systemd-analyze is not installed: the unit file is not verified")
	}
	unit, err := os.ReadFile("hopperbook-tablet.service")
	if err != nil {
		t.Fatal(err)
	}
	const program = "/usr/local/bin/hopperbook-tablet run"
	if strings.Count(string(unit), "ExecStart="+program) != 1 {
		t.Fatal("the unit starts another program")
	}
	name := filepath.Join(t.TempDir(), "hopperbook-tablet.service")
	if err := os.WriteFile(name, bytes.Replace(unit, []byte(program), []byte("/bin/true run"), 1), 0o600); err != nil {
		t.Fatal(err)
	}
	if out, err := exec.Command("systemd-analyze", "verify", name).CombinedOutput(); err != nil || len(out) > 0 {
		t.Errorf("%v: %s", err, out)
	}
}
