package main

import (
	"encoding/json"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"hopperbook/reconcile/plane"
	"hopperbook/reports"
	"hopperbook/schemas/fault"
)

// The known lattice: a field of 200 m x 100 m, lines north and south at x = 10,
// 30, ... 190 m from y = -10 to 110 m, bout width 24 m; the line at 90 m is left out.
// By hand:
//
//	swath    9 lines x 120 m x 24 m                                    = 25920
//	missed   between 82 and 98 m: 16 m x 100 m                         =  1600
//	covered  200 m x 100 m - 1600                                      = 18400
//	overlap  7 pairs of neighbours share 4 m x 100 m                   =  2800
//	outside  (204 m x 120 m - 20000) - 16 m x 20 m at the missing line =  4160
var latticeAreas = map[string]float64{"swath_m2": 25920, "covered_m2": 18400, "overlap2_m2": 2800, "overlap3_m2": 0,
	"missed_m2": 1600, "outside_m2": 4160, "excluded_m2": 0}

// Without the boundary: 204 m x 120 m - 16 m x 120 m; and the overlaps are 120 m long.
var latticeUnion = map[string]float64{"swath_m2": 25920, "covered_m2": 22560, "overlap2_m2": 3360, "overlap3_m2": 0,
	"missed_m2": 0, "outside_m2": 0, "excluded_m2": 0}

var latticePlane = plane.At(-46.1, 168.3)

type latticeFix struct {
	at       time.Time
	lat, lon float64
}

// latticeLines are the nine lines, a fix each 4 m and second, a minute between them.
func latticeLines() (lines [][]latticeFix) {
	at := time.Date(2026, 3, 2, 8, 0, 0, 0, time.UTC)
	for i := range 10 {
		if i == 4 {
			continue
		}
		var line []latticeFix
		for k := range 31 {
			y := -10 + 4*float64(k)
			if i%2 == 1 {
				y = 110 - 4*float64(k)
			}
			lat, lon := latticePlane.Inverse(10+20*float64(i), y)
			line = append(line, latticeFix{at, lat, lon})
			at = at.Add(time.Second)
		}
		lines = append(lines, line)
		at = at.Add(time.Minute)
	}
	return lines
}

func latticeGPX() string {
	var b strings.Builder
	b.WriteString(`<?xml version="1.0"?><gpx version="1.1" xmlns="http://www.topografix.com/GPX/1/1"><trk>`)
	for _, line := range latticeLines() {
		b.WriteString("<trkseg>")
		for _, f := range line {
			fmt.Fprintf(&b, `<trkpt lat="%.10f" lon="%.10f"><time>%s</time></trkpt>`, f.lat, f.lon, f.at.Format(time.RFC3339))
		}
		b.WriteString("</trkseg>")
	}
	return b.String() + "</trk></gpx>"
}

func latticeNMEA() string {
	var b strings.Builder
	for _, line := range latticeLines() {
		for _, f := range line {
			angle := func(deg float64, digits int) string {
				whole, part := math.Modf(math.Abs(deg))
				return fmt.Sprintf("%0*d%010.7f", digits, int(whole), part*60)
			}
			body := fmt.Sprintf("GNRMC,%s,A,%s,S,%s,E,7.8,,%s,,,R", f.at.Format("150405.00"), angle(f.lat, 2), angle(f.lon, 3), f.at.Format("020106"))
			sum := byte(0)
			for i := range len(body) {
				sum ^= body[i]
			}
			fmt.Fprintf(&b, "$%s*%02X\r\n", body, sum)
		}
	}
	return b.String()
}

// latticeEvents logs the lines on two machines in turn, after a setting, with
// other members of each pass log.
func latticeEvents(setting, more string) string {
	var b strings.Builder
	if setting != "" {
		b.WriteString(line("setting.changed", "2026-03-02T07:00:00Z", `{"machine":"sp1",`+setting+"}") + "\n")
		b.WriteString(line("setting.changed", "2026-03-02T07:00:00Z", `{"machine":"sp2",`+setting+"}") + "\n")
	}
	for i, l := range latticeLines() {
		var dt, lat, lon, speed, on []string
		for k, f := range l {
			dt, lat, lon = append(dt, fmt.Sprint(1000*k)), append(lat, fmt.Sprintf("%.10f", f.lat)), append(lon, fmt.Sprintf("%.10f", f.lon))
			speed, on = append(speed, "14.4"), append(on, "1")
		}
		list := func(name string, v []string) string { return `"` + name + `":[` + strings.Join(v, ",") + `]` }
		data := fmt.Sprintf(`{"machine":"sp%d","start":%q,%s,%s,%s,%s,%s%s}`, 1+i%2, l[0].at.Format(time.RFC3339),
			list("dt_ms", dt), list("lat", lat), list("lon", lon), list("speed_kmh", speed), list("spreading", on), more)
		b.WriteString(line("pass.logged", l[0].at.Format(time.RFC3339), data) + "\n")
	}
	return b.String()
}

// boundaryFile writes rectangles in metres on the lattice's plane as GeoJSON.
func boundaryFile(t *testing.T, rectangles ...[4]float64) string {
	t.Helper()
	type feature struct {
		Type     string         `json:"type"`
		Geometry map[string]any `json:"geometry"`
	}
	var features []feature
	for _, r := range rectangles {
		var ring [][2]float64
		for _, p := range [][2]float64{{r[0], r[1]}, {r[2], r[1]}, {r[2], r[3]}, {r[0], r[3]}, {r[0], r[1]}} {
			lat, lon := latticePlane.Inverse(p[0], p[1])
			ring = append(ring, [2]float64{lon, lat})
		}
		features = append(features, feature{"Feature", map[string]any{"type": "Polygon", "coordinates": [][][2]float64{ring}}})
	}
	raw, err := json.Marshal(map[string]any{"type": "FeatureCollection", "features": features})
	if err != nil {
		t.Fatal(err)
	}
	return writeFile(t, "boundary.geojson", string(raw))
}

func writeFile(t *testing.T, name, text string) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), name)
	if err := os.WriteFile(path, []byte(text), 0o644); err != nil {
		t.Fatal(err)
	}
	return path
}

// areasOf runs the command and gives its JSON, with the numbers by key.
func areasOf(t *testing.T, args ...string) (reports.CoverageAnswer, map[string]float64) {
	t.Helper()
	out := must(t, "", append([]string{"coverage", "--json"}, args...)...)
	numbers := map[string]float64{}
	for key, v := range decode[map[string]any](t, out) {
		if n, ok := v.(float64); ok {
			numbers[key] = n
		}
	}
	return decode[reports.CoverageAnswer](t, out), numbers
}

func compareAreas(t *testing.T, name string, got, want map[string]float64) {
	t.Helper()
	for key, w := range want {
		g, ok := got[key]
		if !ok || math.Abs(g-w) > max(1e-4*w, 0.5) {
			t.Errorf("%s: %s is %v (given %v), want %v", name, key, g, ok, w)
		}
	}
	if e, ok := got["error_m2"]; !ok || e < 0 || e > 2 {
		t.Errorf("%s: error_m2 %v", name, e)
	}
}

// Each format by its content, whatever the file is called, with the same areas.
func TestCoverageOfAKnownLattice(t *testing.T) {
	field := boundaryFile(t, [4]float64{0, 0, 200, 100})
	halves := boundaryFile(t, [4]float64{0, 0, 120, 100}, [4]float64{100, 0, 200, 100}) // 20 m of them twice
	const set24, in24 = `"product":"super","bout_width_m":24,"set_rate_kg_ha":200`, `,"bout_width_m":24`
	for _, c := range []struct {
		name, text, format string
		args               []string
		machines           int
	}{
		{"gpx", latticeGPX(), "gpx", []string{"--bout-width", "24"}, 1},
		{"nmea", latticeNMEA(), "nmea", []string{"--bout-width", "24"}, 1},
		{"inferred", latticeNMEA(), "nmea", []string{"--bout-width", "24", "--infer"}, 1},
		{"width of the log", latticeEvents("", in24), "events", nil, 2},
		{"width of the log before that of the flag", latticeEvents("", in24), "events", []string{"--bout-width", "12"}, 2},
		{"width of the setting", latticeEvents(set24, ""), "events", nil, 2},
		{"width of the flag", latticeEvents("", ""), "events", []string{"--bout-width", "24"}, 2},
		{"an event twice and one refused", latticeEvents("", in24) + latticeEvents("", in24) + "{}\n", "events", nil, 2},
	} {
		file := writeFile(t, "log.txt", c.text)
		for _, boundary := range []string{"", field, halves} {
			args, want := append([]string{file}, c.args...), latticeUnion
			if boundary != "" {
				args, want = append(args, "--boundary", boundary), latticeAreas
			}
			answer, got := areasOf(t, args...)
			compareAreas(t, c.name, got, want)
			if answer.Format != c.format || len(answer.Machines) != c.machines || answer.Schema != "hopperbook.coverage/1" || math.Abs(answer.DistanceM-9*120) > 0.1 {
				t.Errorf("%s: format %s, machines %+v, %v m", c.name, answer.Format, answer.Machines, answer.DistanceM)
			}
			if boundary == halves && math.Abs(got["boundary_m2"]-20000) > 1 {
				t.Errorf("%s: the union of overlapping halves has %v m2", c.name, got["boundary_m2"])
			}
		}
	}
}

func TestCoverageTables(t *testing.T) {
	file, field := writeFile(t, "x", latticeGPX()), boundaryFile(t, [4]float64{0, 0, 200, 100})
	out := must(t, "", "coverage", file, "--bout-width", "24", "--boundary", field)
	for _, want := range []string{"covered ", "18400.", "1.8400", "missed ", "outside the boundary", "the log: 279 fixes, 1080.0 m driven", "gap: "} {
		if !strings.Contains(out, want) {
			t.Errorf("no %q in\n%s", want, out)
		}
	}
	if out := must(t, "", "coverage", file, "--bout-width", "24", "--csv"); !strings.HasPrefix(out, "what,m2,ha\n") || strings.Contains(out, "missed") {
		t.Errorf("CSV %s", out)
	}
}

// The recorded logs of real receivers: what cannot be checked by hand must at
// least agree with the track command and with itself.
func TestCoverageOfRecordedLogs(t *testing.T) {
	measured := 0
	for _, name := range []string{"nmea-rtk.log", "hemi.log", "quectel.log", "gp-320fw-2019-04-07-coldboot.log"} {
		args := []string{filepath.Join("..", "..", "testdata", "gnss", name), "--bout-width", "18"}
		_, stderr, exit := command(t, "", append([]string{"track"}, args...)...)
		if exit != 0 {
			if _, says, same := command(t, "", append([]string{"coverage"}, args...)...); same != exit || says != stderr {
				t.Errorf("%s: track says %q, coverage %q", name, stderr, says)
			}
			continue
		}
		drive := decode[reports.TrackAnswer](t, must(t, "", append([]string{"track", "--json"}, args...)...))
		answer, got := areasOf(t, args...)
		if answer.Format != "nmea" || answer.Areas != drive.Areas || answer.DistanceM != drive.DistanceM {
			t.Errorf("%s: %+v, by the track %+v", name, answer.Drive, drive.Drive)
		}
		once := got["covered_m2"] - got["overlap2_m2"] - got["overlap3_m2"]
		if once < 0 || (got["covered_m2"] > 0) != (got["distance_m"] > 0) {
			t.Errorf("%s: %v", name, got)
		}
		measured += btoi(got["covered_m2"] > 100)
		// A boundary far around it holds everything, one elsewhere nothing.
		f := drive.Fixes[0]
		at := plane.At(f.LatDeg, f.LonDeg)
		around := func(x float64) string {
			var ring []string
			for _, p := range [][2]float64{{x - 9000, -9000}, {x + 9000, -9000}, {x + 9000, 9000}, {x - 9000, 9000}, {x - 9000, -9000}} {
				lat, lon := at.Inverse(p[0], p[1])
				ring = append(ring, fmt.Sprintf("[%.9f,%.9f]", lon, lat))
			}
			return writeFile(t, "b", `{"type":"Polygon","coordinates":[[`+strings.Join(ring, ",")+`]]}`)
		}
		_, in := areasOf(t, append(args, "--boundary", around(0))...)
		if math.Abs(in["covered_m2"]-got["covered_m2"]) > 1e-4*got["covered_m2"]+0.5 || in["outside_m2"] > 0.5 {
			t.Errorf("%s: covered %v inside a boundary around it, %v without", name, in["covered_m2"], got["covered_m2"])
		}
		away, out := areasOf(t, append(args, "--boundary", around(30000))...)
		if out["covered_m2"] != 0 || math.Abs(out["outside_m2"]-got["covered_m2"]) > 1e-4*got["covered_m2"]+0.5 || len(away.Findings) == 0 {
			t.Errorf("%s: beside the boundary %v", name, out)
		}
	}
	if measured < 2 {
		t.Errorf("only %d logs cover anything", measured)
	}
}

func btoi(b bool) int {
	if b {
		return 1
	}
	return 0
}

func TestCoverageRefusals(t *testing.T) {
	gpx, events := writeFile(t, "a", latticeGPX()), writeFile(t, "b", latticeEvents("", ""))
	point := writeFile(t, "c", `{"type":"Feature","geometry":{"type":"Point","coordinates":[168.3,-46.1]}}`)
	far := writeFile(t, "d", `{"type":"Polygon","coordinates":[[[10,50],[10.01,50],[10.01,50.01],[10,50]]]}`)
	continents := writeFile(t, "l", latticeGPX()[:len(latticeGPX())-len("</trk></gpx>")]+
		`<trkseg><trkpt lat="52.1" lon="1.3"><time>2026-03-03T08:00:00Z</time></trkpt><trkpt lat="52.1001" lon="1.3"><time>2026-03-03T08:00:01Z</time></trkpt></trkseg></trk></gpx>`)
	swapped := writeFile(t, "e", `{"type":"Polygon","coordinates":[[[-46.1,168.3],[-46.1,168.4],[-46.2,168.4],[-46.1,168.3]]]}`)
	continent := writeFile(t, "f", `{"type":"Polygon","coordinates":[[[10,50],[30,50],[30,60],[10,50]]]}`)
	for _, c := range []struct {
		args []string
		code fault.Code
		says string
	}{
		{[]string{}, fault.Usage, "takes one FILE"},
		{[]string{"no-such-file"}, fault.NotFound, "check the file's name"},
		{[]string{t.TempDir(), "--bout-width", "24"}, fault.Input, "readable file"},
		{[]string{writeFile(t, "g", ""), "--bout-width", "24"}, fault.Input, "it is empty"},
		{[]string{writeFile(t, "h", "lat,lon\n1,2\n"), "--bout-width", "24"}, fault.Input, "neither NMEA 0183 nor GPX nor events"},
		{[]string{writeFile(t, "i", "$GPGGA,1,2*33\n"), "--bout-width", "24"}, fault.Input, "no fix"},
		{[]string{writeFile(t, "j", line("job.finished", "2026-03-02T08:00:00Z", `{"job":"J1"}`))}, fault.Input, "no pass log in 1 events"},
		{[]string{point}, fault.Input, "1 lines break the contract"},
		{[]string{writeFile(t, "k", strings.ReplaceAll(latticeGPX(), "time>", "desc>")), "--bout-width", "24"}, fault.Input, "track point 1 has no time"},
		{[]string{continents, "--bout-width", "24"}, fault.Input, "longitude 1.3000 at 2026-03-03T08:00:00Z, about 19000 km from the first position; 100 km are possible"},
		{[]string{gpx}, fault.Usage, "--bout-width"},
		{[]string{gpx, "--bout-width", "0.1"}, fault.Usage, "--bout-width"},
		{[]string{events, "--bout-width", "300"}, fault.Usage, "--bout-width"},
		{[]string{gpx, "--bout-width", "24", "--boundary", "no-such-file"}, fault.NotFound, "--boundary: open no-such-file"},
		{[]string{gpx, "--bout-width", "24", "--exclusion", "no-such-file"}, fault.NotFound, "--exclusion: open no-such-file"},
		{[]string{gpx, "--bout-width", "24", "--exclusion", point}, fault.Input, `"Point", not a Polygon`},
		{[]string{gpx, "--bout-width", "24", "--boundary", gpx}, fault.Input, "no GeoJSON object"},
		{[]string{gpx, "--bout-width", "24", "--boundary", point}, fault.Input, `"Point", not a Polygon`},
		{[]string{gpx, "--bout-width", "24", "--boundary", swapped}, fault.Input, "longitude stands first"},
		{[]string{gpx, "--bout-width", "24", "--boundary", continent}, fault.Input, "100 km from its middle"},
		{[]string{gpx, "--bout-width", "24", "--boundary", far}, fault.Input, "is it the boundary of this log?"},
	} {
		out, stderr, exit := command(t, "", append([]string{"coverage"}, c.args...)...)
		if exit != c.code.Exit() || !strings.Contains(stderr, c.says) || out != "" {
			t.Errorf("coverage %v: exit %d, want %d; says %q, want %q", c.args, exit, c.code.Exit(), stderr, c.says)
		}
	}
	// Events that name no bout width give no area and say so.
	answer, got := areasOf(t, events)
	if got["swath_m2"] != 0 || answer.DistanceM < 1000 || len(answer.Findings) == 0 || answer.Findings[len(answer.Findings)-1].Kind != "no_bout_width" {
		t.Errorf("%v %+v", got, answer.Findings)
	}
}
