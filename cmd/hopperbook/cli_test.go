package main

import (
	"encoding/json"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/urfave/cli/v2"

	"hopperbook/reports"
	"hopperbook/schemas/fault"
)

// must runs the program and wants it to succeed.
func must(t *testing.T, stdin string, args ...string) string {
	t.Helper()
	out, stderr, exit := command(t, stdin, args...)
	if exit != 0 {
		t.Fatalf("hopperbook %s: exit %d\n%s", strings.Join(args, " "), exit, stderr)
	}
	return out
}

func decode[T any](t *testing.T, raw string) T {
	t.Helper()
	var v T
	if err := json.Unmarshal([]byte(raw), &v); err != nil {
		t.Fatalf("%v in %.200s", err, raw)
	}
	return v
}

// Export, publish into an empty book, reconcile: the same bytes. And once
// more, which changes nothing.
func TestABookIsRebuiltFromItsExport(t *testing.T) {
	a, b := t.TempDir(), t.TempDir()
	demo := decode[reports.Demo](t, must(t, "", "demo", "--dir", a, "--seed", "1", "--json"))
	if !demo.Named || demo.Booked != int64(demo.Published+demo.Issued) || demo.FieldsInside*10 < 9*len(demo.Fields) {
		t.Errorf("named %v, booked %d of %d, inside %d of %d", demo.Named, demo.Booked, demo.Published, demo.FieldsInside, len(demo.Fields))
	}
	events := must(t, "", "export", "events", "--book", a)
	want := must(t, "", "reconcile", "--json", "--book", a)
	for range 2 {
		published := decode[struct{ Published, NotBooked int }](t, must(t, events, "publish", "-", "--json", "--book", b))
		if published.Published != demo.Published+demo.Issued || published.NotBooked != 0 {
			t.Fatalf("%+v, want %d", published, demo.Published+demo.Issued)
		}
		if got := must(t, "", "reconcile", "--json", "--book", b); got != want {
			t.Fatal("the rebuilt book reconciles to other bytes")
		}
		if must(t, "", "export", "events", "--book", b) != events {
			t.Fatal("the rebuilt book exports other bytes")
		}
	}
	for name, args := range map[string][]string{"fields": {"fields"}, "drift": {"drift"}, "balance": {"balance", "spreader-1"}, "stock": {"stock"}, "summary": {"reconcile"}, "gaps": {"gaps"}, "rejects": {"rejects"}} {
		for _, form := range [][]string{nil, {"--json"}, {"--csv"}} {
			if out := must(t, "", slices.Concat(args, form, []string{"--book", b})...); len(out) == 0 {
				t.Errorf("%s %v prints nothing", name, form)
			}
		}
	}
	if out := must(t, "", "stock", "--book", b); !strings.Contains(out, "a docket is missing") || !strings.Contains(out, "not in the book: d-") {
		t.Errorf("the missing docket is not named in\n%s", out)
	}
	if out := must(t, "", "drift", "--book", b); !strings.Contains(out, "RECALIBRATE spreader-3: since load") || !strings.Contains(out, "a step since load 9") || !strings.Contains(out, "check: Look at the lifts") {
		t.Errorf("the drifting machine and what to check are not named in\n%s", out)
	}
}

const header = `{"type":"%s","time":"%s","data":%s}`

func line(typ, at, data string) string { return fmt.Sprintf(header, typ, at, data) }

// Ugly input: each ends in the rejects with its rule and whole, or is booked
// with a flag; the good events beside it are booked.
//
// tripwire: one table of ugly input and one file of it, read from top to end.
func TestUglyInputIsKeptWithAReason(t *testing.T) {
	const at = "2026-03-02T08:00:00Z"
	weigh := func(kg string) string {
		return line("load.weighed", at, `{"load":"L1","product":"lime","net_kg":`+kg+`,"method":"bucket"}`)
	}
	pass := func(lists string) string {
		return line("pass.logged", at, `{"machine":"sp1","start":"`+at+`",`+lists+`}`)
	}
	own := func(seq, kg string) string {
		return `{"specversion":"1.0","id":"01HZY3Q2Q3W4E5R6T7Y8V9B0NM","source":"/devices/ld1/a","sequence":"` + seq + `","type":"load.weighed","time":"` + at +
			`","dataschema":"load.weighed/1","data":{"load":"L9","product":"lime","net_kg":` + kg + `,"method":"bucket"}}`
	}
	cases := []struct{ name, line, kind, rule string }{
		{"good", weigh("4000"), "", ""},
		{"truncated", weigh("4000")[:70], "rejected", "json"},
		{"out of range", weigh("4000000"), "rejected", "maximum"},
		{"unknown type", line("load.guessed", at, "{}"), "rejected", "known"},
		{"unknown version", strings.Replace(weigh("4000"), `{"type"`, `{"dataschema":"load.weighed/7","type"`, 1), "rejected", "version"},
		{"20 MB", weigh("4000" + strings.Repeat(" ", 20<<20)), "rejected", "size"},
		{"NaN", weigh("NaN"), "rejected", "json"},
		{"infinite", weigh("1e999"), "rejected", "finite"},
		{"empty lists", pass(`"dt_ms":[],"lat":[],"lon":[],"speed_kmh":[],"spreading":[]`), "rejected", "minItems"},
		{"unequal lists", pass(`"dt_ms":[0,1],"lat":[1,1],"lon":[1],"speed_kmh":[1,1],"spreading":[1,1]`), "rejected", "equalLength"},
		{"zero position", pass(`"dt_ms":[0,1],"lat":[0,0],"lon":[0,0],"speed_kmh":[1,1],"spreading":[1,1]`), "", ""},
		{"clock", strings.Replace(weigh("4001"), "2026-", "2016-", 1), "clock", ""},
		{"own", own("1", "4000"), "", ""},
		{"the same again", own("1", "4000"), "", ""},
		{"the same, other bytes", own("1", "4100"), "contradicting", ""},
		{"after a gap", own("5", "4000"), "", ""},
	}
	var file strings.Builder
	want := map[string]string{} // raw line -> kind
	good, odd := 0, 0
	for _, c := range cases {
		file.WriteString(c.line + "\n")
		switch {
		case c.kind == "" && c.name != "the same again", c.kind == "clock":
			good++
		}
		if c.kind != "" {
			odd++
		}
		want[c.name] = c.kind
	}
	dir := t.TempDir()
	out := must(t, file.String(), "publish", "-", "--book", dir)
	if !strings.Contains(out, fmt.Sprintf("%d events published", len(cases))) || !strings.Contains(out, fmt.Sprintf("%d of them are kept but not booked", odd-1)) {
		t.Errorf("publish says %q", out)
	}
	kept := decode[reports.RejectsAnswer](t, must(t, "", "rejects", "--json", "--book", dir)).Rejects
	if len(kept) != odd {
		t.Errorf("%d kept, want %d", len(kept), odd)
	}
	for _, c := range cases {
		if c.kind == "" {
			continue
		}
		tail := c.line[len(c.line)-min(40, len(c.line)):]
		i := slices.IndexFunc(kept, func(r reports.Reject) bool {
			return r.Kind == c.kind && (c.rule == "" || r.Rule == c.rule) && strings.HasSuffix(r.Raw, tail) && len(r.Raw) >= len(c.line)
		})
		if i < 0 || kept[i].Detail == "" || kept[i].Hint == "" {
			t.Errorf("%s: not kept whole as %s by rule %q with words and a hint", c.name, c.kind, c.rule)
		}
	}
	if n := strings.Count(must(t, "", "export", "events", "--book", dir), "\n"); n != good {
		t.Errorf("%d events booked, want %d", n, good)
	}
	gaps := decode[reports.GapsAnswer](t, must(t, "", "gaps", "--json", "--book", dir)).Gaps
	if len(gaps) != 1 || gaps[0] != (reports.Gap{Source: "/devices/ld1/a", From: 2, To: 4}) {
		t.Errorf("gaps %+v", gaps)
	}
	if out := must(t, "", "reconcile", "--book", dir); !strings.Contains(out, "null_position sp1") {
		t.Errorf("no finding of the zero positions in\n%s", out)
	}
}

// A rejected event, repaired and published again under its identity, is booked.
func TestARejectCanBeRepaired(t *testing.T) {
	dir := t.TempDir()
	bad := `{"specversion":"1.0","id":"01HZY3Q2Q3W4E5R6T7Y8V9B0NM","source":"/devices/ld1/a","sequence":"1","type":"load.weighed","time":"2026-03-02T08:00:00Z","dataschema":"load.weighed/1","data":{"load":"L9","product":"lime","net_kg":-5,"method":"bucket"}}`
	must(t, bad, "publish", "-", "--book", dir)
	must(t, strings.Replace(bad, "-5", "4000", 1), "publish", "-", "--book", dir)
	kept := decode[reports.RejectsAnswer](t, must(t, "", "rejects", "--json", "--book", dir)).Rejects
	if len(kept) != 1 || !kept[0].Repaired {
		t.Errorf("rejects %+v", kept)
	}
	if out := must(t, "", "export", "events", "--book", dir); !strings.Contains(out, "4000") {
		t.Errorf("export %q", out)
	}
}

// A running hub answers the commands; without its note they say who holds the
// book.
func TestCommandsAskTheHubOrSayWhoHoldsTheBook(t *testing.T) {
	dir := t.TempDir()
	hub := startHub(t, dir)
	must(t, line("register.customer", "2026-03-02T08:00:00Z", `{"customer":"C1","name":"Invented farm"}`), "publish", "-", "--book", dir)
	if out := must(t, "", "export", "events", "--book", dir); strings.Count(out, "\n") != 1 {
		t.Errorf("export through the hub: %q", out)
	}
	if out := must(t, "", "gaps", "--nats", hub.url, "--book", dir); !strings.Contains(out, "None") {
		t.Errorf("gaps through its URL: %q", out)
	}
	if _, stderr, exit := command(t, "", "gaps", "--nats", hub.url, "--book", t.TempDir()); exit != fault.Usage.Exit() || !strings.Contains(stderr, "office.nk") {
		t.Errorf("without the book's key: exit %d, %s", exit, stderr)
	}
	_, stderr, exit := command(t, "", "hub", "--book", dir, "--listen", "127.0.0.1:0")
	if exit != fault.Held.Exit() || !strings.Contains(stderr, "already runs") {
		t.Errorf("a second hub: exit %d, %s", exit, stderr)
	}
	if err := os.Remove(filepath.Join(dir, "hub.json")); err != nil {
		t.Fatal(err)
	}
	_, stderr, exit = command(t, "", "fields", "--book", dir)
	if exit != fault.Held.Exit() || !strings.Contains(stderr, fmt.Sprint(hub.cmd.Process.Pid)) {
		t.Errorf("the book is held by %d: exit %d, %s", hub.cmd.Process.Pid, exit, stderr)
	}
	hub.end(t)
	if out := must(t, "", "export", "events", "--book", dir); strings.Count(out, "\n") != 1 {
		t.Errorf("export from the book itself: %q", out)
	}
}

// A killed hub leaves its note. Another book's hub that listens there by then
// must not answer for it.
func TestAStaleNoteLeadsToNoOtherBook(t *testing.T) {
	dir, other := t.TempDir(), t.TempDir()
	hub := startHub(t, dir)
	defer hub.end(t)
	must(t, line("register.customer", "2026-03-02T08:00:00Z", `{"customer":"C1","name":"Invented farm"}`), "publish", "-", "--book", dir)
	note := fmt.Sprintf(`{"url":%q,"contractor":"own","pid":1,"token":"of a hub long dead"}`, hub.url)
	if err := os.WriteFile(filepath.Join(other, "hub.json"), []byte(note), 0o644); err != nil {
		t.Fatal(err)
	}
	if out, stderr, exit := command(t, "", "export", "events", "--book", other); exit != fault.NotFound.Exit() || out != "" {
		t.Errorf("exit %d, printed %q, says %q", exit, out, stderr)
	}
}

// A book knows whose it is: the contractor is named once, because the stream
// beside the book bears that name.
func TestABookKnowsItsContractor(t *testing.T) {
	dir := t.TempDir()
	must(t, line("register.customer", "2026-03-02T08:00:00Z", `{"customer":"C1","name":"Invented farm"}`), "publish", "-", "--book", dir, "--contractor", "tussock")
	hub := startHub(t, dir)
	if out := must(t, "", "export", "events", "--book", dir); strings.Count(out, "\n") != 1 {
		t.Errorf("export: %q", out)
	}
	hub.end(t)
	_, stderr, exit := command(t, "", "fields", "--book", dir, "--contractor", "other")
	if exit != fault.Conflict.Exit() || !strings.Contains(stderr, "it is the book of tussock") {
		t.Errorf("another contractor's name: exit %d, %s", exit, stderr)
	}
}

func TestExitStatusesAndHints(t *testing.T) {
	empty := t.TempDir()
	for _, r := range []struct {
		args []string
		exit int
		says string
	}{
		{[]string{"--help"}, 0, ""},
		{[]string{"publish", "--help"}, 0, ""},
		{[]string{"--version"}, 0, ""},
		{[]string{"feilds"}, 2, `Did you mean "fields"?`},
		{[]string{"fields", "--bok", "x"}, 2, "--help"},
		{[]string{"fields", "extra"}, 2, "takes no argument"},
		{[]string{"publish"}, 2, "takes one FILE"},
		{[]string{"publish", "no-such-file", "--book", empty}, 5, "check the file's name"},
		{[]string{"fields", "--book", empty}, 5, "no book"},
		{[]string{"fields", "--contractor", "Two Words"}, 2, "lower-case"},
		{[]string{"fields", "--nats", "nats://127.0.0.1:1"}, 8, "start one with: hopperbook hub"},
		{[]string{"track", "doc.go"}, 2, "--bout-width"},
		{[]string{"track", "doc.go", "--bout-width", "18"}, 4, "NMEA 0183"},
		{[]string{"track", "doc.go", "--bout-width", "18", "--day", "yesterday"}, 2, "--day"},
		{[]string{"hub", "--book", empty, "--listen", "nowhere"}, 2, "host:port"},
		{[]string{"fields", "--book", "doc.go"}, 2, "a folder"},
		{[]string{"fields", "--json", "--csv", "--book", empty}, 2, "choose one"},
		{[]string{"export", "everything"}, 2, "export events"},
		{[]string{"export", "events", "extra"}, 2, "hopperbook export events --help"},
		{[]string{"export", "events", "--bok", "x"}, 2, "hopperbook export events --help"},
	} {
		_, stderr, exit := command(t, "", r.args...)
		if exit != r.exit || !strings.Contains(stderr, r.says) {
			t.Errorf("hopperbook %s: exit %d, want %d; says %q, want %q", strings.Join(r.args, " "), exit, r.exit, stderr, r.says)
		}
	}
	dir := t.TempDir()
	must(t, "", "publish", "doc.go", "--book", dir) // every line a reject, none lost
	if _, stderr, exit := command(t, "", "demo", "--dir", dir); exit != fault.Conflict.Exit() || !strings.Contains(stderr, "already holds a book") {
		t.Errorf("demo into a book: exit %d, %s", exit, stderr)
	}
}

// Flags may stand behind the file's name; the library alone would take them
// for arguments.
func TestFlagsFirst(t *testing.T) {
	app := newApp()
	for _, r := range []struct{ in, want string }{
		{"hb track day.nmea --bout-width 18 --json", "hb track --bout-width 18 --json -- day.nmea"},
		{"hb track --bout-width=18 day.nmea --json", "hb track --bout-width=18 --json -- day.nmea"},
		{"hb publish - --book x", "hb publish --book x -- -"},
		{"hb export events --book x", "hb export events --book x"},
		{"hb publish -- --odd-name", "hb publish -- --odd-name"},
		{"hb --help", "hb --help"},
		{"hb", "hb"},
		{"hb nonsense --json", "hb --json -- nonsense"},
	} {
		if got := strings.Join(flagsFirst(app, strings.Fields(r.in)), " "); got != r.want {
			t.Errorf("%q became %q, want %q", r.in, got, r.want)
		}
	}
}

// Every command has help with a sentence of its own, and every table --json.
func TestHelpIsComplete(t *testing.T) {
	var walk func([]*cli.Command)
	walk = func(commands []*cli.Command) {
		for _, c := range commands {
			if len(c.Usage) < 10 {
				t.Errorf("%s has no usage", c.Name)
			}
			for _, f := range c.Flags {
				if doc, ok := f.(cli.DocGenerationFlag); ok && doc.GetUsage() == "" {
					t.Errorf("%s --%s has no usage", c.Name, f.Names()[0])
				}
			}
			walk(c.Subcommands)
		}
	}
	walk(newApp().Commands)
}

// The kept logs of real receivers through the command: every fix that gpsd's
// expected result reports at the same instant lies within 1e-6 degrees.
func TestTrackOfARecordedLog(t *testing.T) {
	name := filepath.Join("..", "..", "testdata", "gnss", "nmea-rtk.log")
	answer := decode[struct {
		Fixes     []reports.TrackFix `json:"fixes"`
		DistanceM float64            `json:"distance_m"`
		SwathM2   float64            `json:"swath_m2"`
		CoveredM2 float64            `json:"covered_m2"`
	}](t, must(t, "", "track", name, "--bout-width", "18", "--json"))
	want := map[string][2]float64{}
	raw, err := os.ReadFile(name + ".chk")
	if err != nil {
		t.Fatal(err)
	}
	for l := range strings.Lines(string(raw)) {
		var tpv struct {
			Class    string
			Time     string
			Lat, Lon *float64
		}
		if json.Unmarshal([]byte(l), &tpv) == nil && tpv.Class == "TPV" && tpv.Lat != nil {
			want[tpv.Time] = [2]float64{*tpv.Lat, *tpv.Lon}
		}
	}
	compared := 0
	for _, f := range answer.Fixes {
		if w, ok := want[f.Time.Format("2006-01-02T15:04:05.000Z")]; ok {
			compared++
			if math.Abs(f.LatDeg-w[0]) > 1e-6 || math.Abs(f.LonDeg-w[1]) > 1e-6 {
				t.Errorf("%s: %v %v, gpsd says %v", f.Time, f.LatDeg, f.LonDeg, w)
			}
		}
	}
	if compared < 100 || len(answer.Fixes) != 122 {
		t.Errorf("%d fixes, %d compared", len(answer.Fixes), compared)
	}
	if math.Abs(answer.SwathM2-18*answer.DistanceM) > 1 || answer.CoveredM2 < 18 {
		t.Errorf("distance %v, swath %v, covered %v", answer.DistanceM, answer.SwathM2, answer.CoveredM2)
	}
}
