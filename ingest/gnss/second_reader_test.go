package gnss

import (
	"bufio"
	"bytes"
	"encoding/json"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"testing"
)

// second is what nmea-simple understands of one sentence; 0 where a field is empty.
type second struct {
	Kind        string   `json:"kind"`
	TimeOfDayMs *int64   `json:"timeOfDayMs"`
	UnixMs      *int64   `json:"unixMs"`
	Lat         float64  `json:"lat"`
	Lon         float64  `json:"lon"`
	FixType     string   `json:"fixType"`
	Status      string   `json:"status"`
	SpeedKnots  *float64 `json:"speedKnots"`
	TrackTrue   float64  `json:"trackTrue"`
}

// ourReadings are the sentences of the four kinds with a right checksum.
func ourReadings(t *testing.T, log string) (all []reading, texts []string) {
	data, err := os.Open(log)
	if err != nil {
		t.Fatal(err)
	}
	defer data.Close()
	var f framer
	scan := bufio.NewScanner(data)
	scan.Split(f.split)
	for scan.Scan() {
		if f.flaw != sound || kindOf(scan.Bytes()) == other {
			continue
		}
		r, ok := read(scan.Bytes())
		if !ok {
			t.Errorf("%s: malformed: %s", log, scan.Text())
		}
		all, texts = append(all, r), append(texts, scan.Text())
	}
	return all, texts
}

func TestSecondReaderAgrees(t *testing.T) {
	outside := filepath.Join("..", "..", "testdata", "outside")
	if _, err := os.Stat(filepath.Join(outside, "node_modules", "nmea-simple")); err != nil {
		t.Skip("the second reader is not installed: run npm ci in testdata/outside (./test does)")
	}
	node, err := exec.LookPath("node")
	if err != nil {
		t.Skip("the second reader needs node, which is not on the PATH")
	}
	logs, _ := filepath.Glob(filepath.Join(kept, "*.log"))
	if len(logs) < 3 {
		t.Fatalf("only %d logs in %s", len(logs), kept)
	}
	for _, log := range logs {
		printed, err := exec.Command(node, filepath.Join(outside, "nmea-second-reader.mjs"), log).Output()
		if err != nil {
			t.Fatalf("%s: %v", log, err)
		}
		ours, texts := ourReadings(t, log)
		lines := bytes.Split(bytes.TrimSpace(printed), []byte("\n"))
		if len(lines) != len(ours) {
			t.Errorf("%s: the second reader takes %d sentences, we %d", log, len(lines), len(ours))
			continue
		}
		for i, line := range lines {
			var theirs second
			if err := json.Unmarshal(line, &theirs); err != nil {
				t.Fatal(err)
			}
			if why := ours[i].differs(theirs); why != "" {
				t.Errorf("%s: %s differs: %s\nours %+v\ntheirs %s", filepath.Base(log), why, texts[i], ours[i], line)
			}
		}
	}
}

// differs names the first value on which the two readers disagree.
func (r reading) differs(o second) string {
	switch {
	case o.Kind != [...]string{gga: "GGA", rmc: "RMC", vtg: "VTG", zda: "ZDA"}[r.kind]:
		return "kind"
	case r.kind != vtg && r.clockMs != noClock && r.clockMs != *o.TimeOfDayMs:
		return "time of day"
	case r.day != noDay && r.day*dayMs+r.clockMs != *o.UnixMs:
		return "date"
	case r.kind == rmc && (r.state == fixed) != (o.Status == "valid"):
		return "status"
	case r.state == fixed && (!near(r.latDeg, o.Lat, 1e-9) || !near(r.lonDeg, o.Lon, 1e-9)):
		return "position"
	case r.kind == gga && o.FixType != [...]string{"none", "fix", "delta", "pps", "rtk", "frtk", "estimated", "manual", "simulation"}[r.quality]:
		return "quality"
	case !math.IsNaN(r.speedKmh) && !near(r.speedKmh, *o.SpeedKnots*1.852, 1e-9):
		return "speed"
	case !math.IsNaN(r.headingDeg) && r.headingDeg != o.TrackTrue:
		return "course"
	}
	return ""
}
