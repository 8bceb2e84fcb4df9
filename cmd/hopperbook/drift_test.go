package main

import (
	"bytes"
	"encoding/xml"
	"image/png"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"hopperbook/reports"
	"hopperbook/schemas/fault"
)

// The verdict and its chart from a book: one file as named, whole pictures,
// the points only when asked for.
func TestDriftAndItsChart(t *testing.T) {
	dir, out := t.TempDir(), t.TempDir()
	must(t, squareField(), "publish", "-", "--book", dir)
	picture := filepath.Join(out, "one.png")
	drifts := decode[reports.DriftAnswer](t, must(t, "", "drift", "--machine", "sp1", "--product", "urea", "--json", "--chart", picture, "--book", dir))
	if len(drifts.Drifts) != 1 || drifts.Drifts[0].State != "holding" || drifts.Drifts[0].Points != nil || drifts.Drifts[0].TolerancePct != 5 {
		t.Errorf("%+v", drifts)
	}
	raw, err := os.ReadFile(picture)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := png.Decode(bytes.NewReader(raw)); err != nil {
		t.Error(err)
	}
	must(t, "", "drift", "--chart", filepath.Join(out, "one.SVG"), "--csv", "--book", dir)
	if raw, err = os.ReadFile(filepath.Join(out, "one.SVG")); err != nil || xml.Unmarshal(raw, &struct{}{}) != nil || !bytes.Contains(raw, []byte("sp1 with urea")) {
		t.Errorf("%v in %.200s", err, raw)
	}
	points := decode[reports.DriftAnswer](t, must(t, "", "drift", "--points", "--json", "--book", dir)).Drifts[0].Points
	if len(points) != 1 || points[0].Load != 1 || !(points[0].RatioLow < points[0].Ratio && points[0].Ratio < points[0].RatioHigh) {
		t.Errorf("points %+v", points)
	}
	for name, c := range map[string]struct {
		args []string
		exit int
		says string
	}{
		"a machine that is not there": {[]string{"--machine", "sp7"}, fault.NotFound.Exit(), "there are: sp1 with urea"},
		"another kind of picture":     {[]string{"--chart", filepath.Join(out, "x.gif")}, fault.Usage.Exit(), ".png or .svg"},
		"a folder that is not there":  {[]string{"--chart", filepath.Join(out, "no", "x.png")}, fault.Usage.Exit(), "folder that exists"},
		"two forms":                   {[]string{"--json", "--csv"}, fault.Usage.Exit(), "choose one"},
		"points nowhere":              {[]string{"--points"}, fault.Usage.Exit(), "--points without --json"},
		"an argument":                 {[]string{"sp1"}, fault.Usage.Exit(), "takes no argument"},
	} {
		_, stderr, exit := command(t, "", slices.Concat([]string{"drift", "--book", dir}, c.args)...)
		if exit != c.exit || !strings.Contains(stderr, c.says) {
			t.Errorf("%s: exit %d, want %d; %s", name, exit, c.exit, stderr)
		}
	}
	idle := t.TempDir() // a book of an event that makes no balance interval
	must(t, line("register.machine", "2026-03-02T07:00:00Z", `{"machine":"sp1","name":"One","hopper_m3":6}`), "publish", "-", "--book", idle)
	if _, stderr, exit := command(t, "", "drift", "--chart", picture, "--book", idle); exit != fault.NotFound.Exit() || !strings.Contains(stderr, "nothing to draw") {
		t.Errorf("a book without loads: exit %d, %s", exit, stderr)
	}
}

func TestChartFiles(t *testing.T) {
	charts := []reports.DriftChart{{Machine: "sp1", Product: "lime"}, {Machine: "sp1", Product: "super 9/p"}, {Machine: "sp1", Product: "super 9_p"}, {Product: "../../etc"}}
	want := []string{"out/drift-sp1-lime.png", "out/drift-sp1-super_9_p.png", "out/drift-sp1-super_9_p-2.png", "out/drift-unnamed-______etc.png"}
	if got := chartFiles("out/drift.png", charts); !slices.Equal(got, want) {
		t.Errorf("%v, want %v", got, want)
	}
	if got := chartFiles("out/drift.png", charts[3:]); !slices.Equal(got, []string{"out/drift.png"}) {
		t.Errorf("one chart: %v", got)
	}
}
