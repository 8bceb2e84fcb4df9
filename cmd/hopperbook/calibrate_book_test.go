package main

import (
	"bytes"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"hopperbook/reports"
	"hopperbook/schemas/fault"
)

// calibrated is a day of tests with invented numbers, as bare lines.
const calibrated = `{"type":"register.machine","time":"2026-03-01T06:00:00Z","data":{"machine":"sp1","name":"Spreader One (invented)","hopper_m3":6}}
{"type":"register.product","time":"2026-03-01T06:00:00Z","data":{"product":"urea","name":"Urea (invented)","form":"granular","bulk_density_kg_m3":700}}
{"type":"setting.changed","time":"2026-03-02T06:00:00Z","data":{"machine":"sp1","product":"urea","bout_width_m":10,"set_rate_kg_ha":200,"disc_set":"granular"}}
{"type":"test.density","time":"2026-03-02T07:00:00Z","data":{"machine":"sp1","product":"urea","mass_kg":16.2,"volume_l":20,"tare_kg":1,"repeats":[16.1,16.2,16.3]}}
{"type":"test.catch","time":"2026-03-02T07:10:00Z","data":{"machine":"sp1","catch_test":"C1","product":"urea","gate_mm":40,"collected_kg":21,"tare_kg":1,"repeats":[20.9,21,21.1],"bout_width_m":10,"distance_m":100}}
{"type":"test.catch","time":"2026-03-02T07:20:00Z","data":{"machine":"sp1","catch_test":"C2","product":"urea","gate_mm":60,"collected_kg":31,"tare_kg":1,"repeats":[30.9,31,31.1],"bout_width_m":10,"distance_m":100}}
{"type":"test.tray","time":"2026-03-01T07:30:00Z","data":{"machine":"sp1","tray_test":"T0","product":"urea","bout_width_m":10,"tray_spacing_m":1,"tray_width_m":0.5,"tray_length_m":0.5,"masses_g":[1,9,1]}}
{"type":"test.tray","time":"2026-03-02T07:30:00Z","data":{"machine":"sp1","tray_test":"T1","product":"urea","bout_width_m":10,"tray_spacing_m":1,"tray_width_m":0.5,"tray_length_m":0.5,"wind_m_s":1,"masses_g":[0,1,2,null,4,5,6,7,8,9,10,9,8,7,6,5,4,3,2,1,0]}}
{"type":"test.overlap","time":"2026-03-02T08:30:00Z","data":{"machine":"sp1","overlap_test":"O1","product":"urea","at_driving_line_g":[10,10.1,9.9],"between_lines_g":[9.9,10,10.1]}}
{"type":"check.machine","time":"2026-03-02T06:30:00Z","data":{"machine":"sp1","item":"belt_sag","position":"left","value":60,"unit":"mm","pass":true}}
{"type":"check.machine","time":"2026-03-02T06:31:00Z","data":{"machine":"sp1","item":"pto_guard","value":1,"unit":"-","pass":true}}
`

func TestCalibrateFromTheBook(t *testing.T) {
	dir := t.TempDir()
	book := []string{"--book", filepath.Join(dir, "book")}
	must(t, calibrated, append([]string{"publish", "-"}, book...)...)
	ask := func(args ...string) string {
		return must(t, "", append(append([]string{"calibrate"}, args...), book...)...)
	}

	tray := decode[reports.TrayAnswer](t, ask("tray", "--machine", "sp1", "--json"))
	if tray.Test != "T1" || tray.Machine != "sp1" || *tray.WidestBoutWidthM != 13 || tray.Findings[0].Kind != "tray_filled" {
		t.Errorf("the last tray test: %+v", tray)
	}
	if first := decode[reports.TrayAnswer](t, ask("tray", "--test", "T0", "--json")); first.Test != "T0" {
		t.Errorf("the one named: %+v", first)
	}
	density := decode[reports.DensityAnswer](t, ask("density", "--product", "urea", "--json"))
	if math.Abs(density.DensityKgM3-760) > 1e-9 || len(density.Against) != 1 || density.Against[0].DensityKgM3 != 700 || !density.Against[0].BeyondUncertainty {
		t.Errorf("against the register: %+v", density)
	}
	catch := decode[reports.CatchAnswer](t, ask("catch", "--machine", "sp1", "--json"))
	if catch.Test != "C2" || math.Abs(*catch.RateKgHa-300) > 1e-9 {
		t.Errorf("%+v", catch)
	}
	gate := decode[reports.GateAnswer](t, ask("gate", "--machine", "sp1", "--rate", "250", "--bout-width", "10", "--json"))
	if len(gate.Gates) != 1 || gate.Gates[0].DiscSet != "granular" || math.Abs(*gate.Gates[0].GateMm-50) > 1e-9 {
		t.Errorf("the setting's discs are the curve's: %+v", gate)
	}
	if overlap := decode[reports.OverlapAnswer](t, ask("overlap", "--machine", "sp1", "--json")); overlap.Verdict != "even" || overlap.Test != "O1" {
		t.Errorf("%+v", overlap)
	}
	if text := ask("checks"); !strings.Contains(text, "belt sag left") || !strings.Contains(text, "both sides equally") || strings.Contains(text, "NO START") {
		t.Errorf("checks:\n%s", text)
	}
}

// The certificate of the same book is the same bytes, drawn or not.
func TestTheCertificateOfTheBook(t *testing.T) {
	dir := t.TempDir()
	book := []string{"--book", filepath.Join(dir, "book")}
	must(t, calibrated, append([]string{"publish", "-"}, book...)...)
	ask := func(args ...string) string {
		return must(t, "", append(append([]string{"calibrate"}, args...), book...)...)
	}
	for _, r := range []struct {
		args []string
		exit int
		says string
	}{
		{[]string{"tray", "--machine", "sp2"}, fault.NotFound.Exit(), "no test.tray in it is asked for"},
		{[]string{"certificate", "sp2"}, fault.NotFound.Exit(), "tested are: sp1"},
		{[]string{"certificate", "sp1", "--product", "lime"}, fault.NotFound.Exit(), "it was tested with: urea"},
		{[]string{"certificate", "sp1", "--as-of", "1.3.2026"}, fault.Usage.Exit(), "is no day"},
		{[]string{"certificate", "sp1", "--as-of", "2026-02-28"}, fault.NotFound.Exit(), "no catch test and no tray test up to 2026-02-28"},
		{[]string{"certificate", "sp1", "--valid-days", "0"}, fault.Usage.Exit(), "above zero"},
		{[]string{"certificate", "sp1", "--pdf", filepath.Join(dir, "x.pdf"), "--paper", "a5"}, fault.Usage.Exit(), "no paper a5"},
		{[]string{"certificate"}, fault.Usage.Exit(), "MACHINE"},
	} {
		_, stderr, exit := command(t, "", append(append([]string{"calibrate"}, r.args...), book...)...)
		if exit != r.exit || !strings.Contains(stderr, r.says) {
			t.Errorf("%v: exit %d, %s", r.args, exit, stderr)
		}
	}

	var files [2][]byte
	for i := range files {
		pdf, html := filepath.Join(dir, "c.pdf"), filepath.Join(dir, "c.html")
		text := ask("certificate", "sp1", "--pdf", pdf, "--html", html)
		if !strings.Contains(text, "Spreader One (invented) (sp1) with Urea (invented) (urea): VALID") || !strings.Contains(text, "Caution: Local codes") {
			t.Errorf("certificate:\n%s", text)
		}
		a, err1 := os.ReadFile(pdf)
		b, err2 := os.ReadFile(html)
		if err1 != nil || err2 != nil || !bytes.HasPrefix(a, []byte("%PDF-")) || !bytes.Contains(b, []byte("sample standard deviation")) {
			t.Fatalf("%v %v %.20s", err1, err2, a)
		}
		files[i] = append(a, b...)
	}
	if !bytes.Equal(files[0], files[1]) {
		t.Error("the same book gives other bytes")
	}
	if early := decode[reports.CertificateAnswer](t, ask("certificate", "sp1", "--as-of", "2026-03-01", "--json")); early.Validity.Valid || early.Tray.Test.TrayTest != "T0" || len(early.Catches) != 0 {
		t.Errorf("as of the day before: %+v", early.Validity)
	}
}

// A bare job.started line is refused while a safety check stands failed, and
// nothing of its file is sent; under an override it is booked with it. An event
// that was made elsewhere has happened: it is booked and found.
func TestPublishRefusesAnUnsafeStart(t *testing.T) {
	dir := t.TempDir()
	book := []string{"--book", dir}
	publish := func(lines string, flags ...string) (stderr string, exit int) {
		_, stderr, exit = command(t, lines, append(append([]string{"publish", "-"}, book...), flags...)...)
		return stderr, exit
	}
	const (
		failed = `{"type":"check.machine","time":"2026-03-02T06:00:00Z","data":{"machine":"sp1","item":"hitch_chain","value":0,"unit":"-","pass":false,"note":"link open"}}` + "\n"
		passed = `{"type":"check.machine","time":"2026-03-02T09:00:00Z","data":{"machine":"sp1","item":"hitch_chain","value":1,"unit":"-","pass":true}}` + "\n"
		made   = `{"specversion":"1.0","id":"01HZY3Q2Q3W4E5R6T7Y8V9B0NM","source":"/devices/sp1/a","sequence":"1","type":"job.started","time":"2026-03-02T07:30:00Z","dataschema":"job.started/1","data":{"job":"J9"}}` + "\n"
	)
	start := func(job, hour, more string) string {
		return `{"type":"job.started","time":"2026-03-02T` + hour + `:00:00Z","data":{ "job":"` + job + `","machine":"sp1"` + more + `}}` + "\n"
	}
	if stderr, exit := publish(failed + start("J1", "07", "")); exit != fault.Conflict.Exit() || !strings.Contains(stderr, "job J1 of sp1; nothing was sent") || !strings.Contains(stderr, "hitch chain: noted as failed (link open)") || !strings.Contains(stderr, "--override REASON") {
		t.Fatalf("in one file: exit %d %s", exit, stderr)
	}
	if out := must(t, "", append([]string{"export", "events"}, book...)...); out != "" {
		t.Fatalf("something was sent: %s", out)
	}
	for lines, want := range map[string]string{
		failed + `{"type":"job.started","time":"2026-03-02T07:00:00Z","data":{"job":"J1"}}` + "\n": "the start names no machine, and a safety check of sp1 has failed",
		strings.Replace(failed, `,"pass":false`, "", 1) + start("J1", "07", ""):                    "a machine check beside a job's start breaks the contract",
	} {
		if stderr, exit := publish(lines); exit == 0 || !strings.Contains(stderr, want) {
			t.Errorf("exit %d %s, want %s", exit, stderr, want)
		}
	}
	if stderr, exit := publish(start("J0", "05", "") + failed); exit != 0 {
		t.Fatalf("started before it failed: %s", stderr)
	}
	if _, exit := publish(start("J1", "07", "")); exit != fault.Conflict.Exit() {
		t.Fatalf("the book's check: exit %d", exit)
	}
	if stderr, exit := publish(start("J1", "07", ""), "--override", "chain fetched"); exit != fault.Usage.Exit() || !strings.Contains(stderr, "--operator NAME") {
		t.Fatalf("nobody answers for it: exit %d %s", exit, stderr)
	}
	for _, r := range []struct{ lines, flag, name string }{
		{start("J2", "07", ""), "--override=chain \"fetched\"", "--operator=Wren Marlow"},
		{start("J3", "07", `,"operator":"Lark Ashby"`), "--override=short way on the yard", "--json"},
		{start("J4", "07", `,"override":{"reason":"as noted","operator":"Wren Marlow"}`), "--json", "--json"},
		{made, "--json", "--json"},
		{passed + start("J5", "10", ""), "--override=never needed", "--operator=Wren Marlow"},
	} {
		if stderr, exit := publish(r.lines, r.flag, r.name); exit != 0 {
			t.Fatalf("%s: exit %d %s", r.lines, exit, stderr)
		}
	}
	events := must(t, "", append([]string{"export", "events"}, book...)...)
	for want, n := range map[string]int{
		`"override":{"reason":"chain \"fetched\"","operator":"Wren Marlow"},"job":"J2"`: 1, `"override":{"reason":"short way on the yard","operator":"Lark Ashby"}`: 1, "never needed": 0, `"job":"J9"`: 1, `"job":"J5"`: 1, `"job":"J1"`: 0,
	} {
		if strings.Count(events, want) != n {
			t.Errorf("%d times %q in\n%s", strings.Count(events, want), want, events)
		}
	}
	found := must(t, "", append([]string{"reconcile", "--json"}, book...)...)
	if strings.Count(found, `"unsafe_start"`) != 1 || strings.Count(found, `"start_overridden"`) != 3 {
		t.Errorf("%s", found)
	}
	copied := t.TempDir()
	must(t, events, "publish", "-", "--book", copied)
	if got := must(t, "", "export", "events", "--book", copied); got != events {
		t.Error("a book with an unsafe start is not rebuilt from its export")
	}
}
