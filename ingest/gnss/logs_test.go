package gnss

import (
	"bytes"
	"encoding/json"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"testing"
	"time"

	"hopperbook/schemas"
)

const kept = "../../testdata/gnss"

// expected is a TPV report of gpsd; lines of other classes are left out.
type expected struct {
	Class string    `json:"class"`
	Time  time.Time `json:"time"`
	Lat   *float64  `json:"lat"`
	Lon   *float64  `json:"lon"`
	Speed *float64  `json:"speed"` // m/s
}

// expectedByTime are the reports of a .log.chk that have time and position.
// gpsd reports several times an epoch as its sentences come in.
func expectedByTime(t *testing.T, file string) map[int64][]expected {
	t.Helper()
	data, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	all := map[int64][]expected{}
	for line := range bytes.Lines(data) {
		var e expected
		if json.Unmarshal(line, &e) != nil || e.Class != "TPV" || e.Time.IsZero() || e.Lat == nil || e.Lon == nil {
			continue // the file also holds the raw sentences
		}
		all[e.Time.UnixMilli()] = append(all[e.Time.UnixMilli()], e)
	}
	return all
}

// agreement is how the fixes of a log compare with gpsd's.
type agreement struct {
	fixes, same int
	untimed     int // gpsd reports no position for this time
	differ      []string
}

// gpsWeeks is 1024 weeks. gpsd 3.22 adds them to a date that is too old for the
// leap seconds it assumes until the receiver has told it the true ones (in
// garmin17n.log its date goes back from 2024 to 2005 from one second to the
// next), so most logs from before about 2018 come out 1024 weeks late.
const gpsWeeks = 1024 * 7 * dayMs

// compare matches by time. A fix agrees when one report of that time has its
// position within 1e-6 degrees and its speed within 0.1 km/h; where either
// has no speed, or withSpeed is false, position alone decides.
func compare(fixes []schemas.Fix, reports map[int64][]expected, withSpeed bool) agreement {
	a := agreement{fixes: len(fixes)}
	for _, f := range fixes {
		at := reports[f.UnixMilli]
		if len(at) == 0 {
			at = reports[f.UnixMilli+gpsWeeks]
		}
		same := false
		for _, e := range at {
			near := math.Abs(*e.Lat-f.LatDeg) <= 1e-6 && math.Abs(*e.Lon-f.LonDeg) <= 1e-6
			if withSpeed && e.Speed != nil && !math.IsNaN(f.SpeedKmh) {
				near = near && math.Abs(*e.Speed*3.6-f.SpeedKmh) <= 0.1
			}
			same = same || near
		}
		switch {
		case len(at) == 0:
			a.untimed++
		case same:
			a.same++
		default:
			a.differ = append(a.differ, told(f))
		}
	}
	return a
}

// peculiar are the logs that cannot be compared in full, and why.
func peculiar(log string) (skip, noSpeed string) {
	switch log {
	case "bundg_zeus_9.log":
		return "a chart plotter: GGA and RMC of one second are 2 m apart, and gpsd reports the RMC of the next second", ""
	case "hemi.log":
		return "", "gpsd reports at the GGA, before the VTG, and there puts the speed between the last two positions"
	}
	return "", ""
}

func compareLog(t *testing.T, log string) (agreement, Report) {
	t.Helper()
	data, err := os.Open(log)
	if err != nil {
		t.Fatal(err)
	}
	defer data.Close()
	fixes, report, err := Read(data, Options{})
	if err != nil {
		t.Fatal(err)
	}
	checkReport(t, report, len(fixes))
	skip, noSpeed := peculiar(filepath.Base(log))
	if skip != "" {
		return agreement{}, report
	}
	a := compare(fixes, expectedByTime(t, log+".chk"), noSpeed == "")
	for _, fix := range a.differ {
		t.Errorf("%s: differs from gpsd: %s", filepath.Base(log), fix)
	}
	return a, report
}

func TestKeptReceiverLogs(t *testing.T) {
	want := map[string]struct {
		same   int
		report Report
	}{
		"nmea-rtk.log": {122, Report{Sentences: 244, Used: 244, SkippedBytes: 669, Epochs: 122, Fixes: 122}},
		"hemi.log":     {6, Report{Sentences: 753, Used: 538, OtherKinds: 215, SkippedBytes: 753, Epochs: 215, Fixes: 6, NoFix: 209}},
		// The first of the two comes before any date, for gpsd without a time.
		"gp-320fw-2019-04-07-coldboot.log": {1, Report{Sentences: 130, Used: 43, OtherKinds: 53, NoChecksum: 7, BadChecksum: 27,
			SkippedBytes: 1346, Epochs: 19, Fixes: 2, NoFix: 17}},
		"quectel.log": {34, Report{Sentences: 312, Used: 126, OtherKinds: 186, SkippedBytes: 849, Epochs: 50, Fixes: 34, NoFix: 16}},
	}
	for log, w := range want {
		a, report := compareLog(t, filepath.Join(kept, log))
		if a.same != w.same || report != w.report {
			t.Errorf("%s: same as gpsd %d, want %d\n got %+v\nwant %+v", log, a.same, w.same, report, w.report)
		}
	}
}

func TestKeptLogHasTheQualitiesOfItsReceiver(t *testing.T) {
	data, err := os.Open(filepath.Join(kept, "nmea-rtk.log"))
	if err != nil {
		t.Fatal(err)
	}
	defer data.Close()
	fixes, _, _ := Read(data, Options{}) // field 6 of its 122 GGA is 104 times 2 and 18 times 4
	count := map[schemas.Quality]int{}
	for _, f := range fixes {
		count[f.Quality]++
	}
	if got := fmt.Sprint(count); got != "map[2:104 4:18]" {
		t.Errorf("fixes per quality: %s", got)
	}
}

// TestAllReceiverLogs reads every log of gpsd's test suite that holds GGA or
// RMC, and compares it with what gpsd made of it.
func TestAllReceiverLogs(t *testing.T) {
	dir := os.Getenv("HOPPERBOOK_RECEIVER_LOGS")
	source, err := os.ReadFile(filepath.Join(dir, "complete"))
	if dir == "" || err != nil {
		t.Skip("no recorded receiver logs: run testdata/gnss/fetch-receiver-logs DIR and set HOPPERBOOK_RECEIVER_LOGS=DIR (./test does both)")
	}
	if !bytes.HasPrefix(source, []byte("gpsd_3.22.")) {
		t.Skipf("the figures below are those of gpsd 3.22 (Debian 12), the logs here come from %s", bytes.TrimSpace(source))
	}
	// Those named are compared in full, fix by fix; the 0 of garmin-geko201 is
	// right: all its RMC are void (a simulator).
	named := map[string]int{"nmea-rtk.log": 122, "ublox-zed-f9p-nmea.log": 29, "nmea-fuzzy-cases.log": 14, "ublox-neo-m9n-nmea.log": 61,
		"skytraq-dgps.log": 96, "telit-he910.log": 187, "hemi.log": 6, "haicom-305N.log": 67, "gp-320fw-2019-04-07-coldboot.log": 1,
		"garmin-geko201.log": 0, "ublox-zed-f9p_hpg1.11.log": 654, "ais-nmea.log": 164, "sirfstarv-nmea.log": 59}
	logs, err := filepath.Glob(filepath.Join(dir, "*.log"))
	if err != nil {
		t.Fatal(err)
	}
	read, same, fixes, untimed := 0, 0, 0, 0
	for _, log := range logs {
		a, report := compareLog(t, log)
		if want, ok := named[filepath.Base(log)]; ok && a.same != want {
			t.Errorf("%s: %d fixes as gpsd has them, want %d: %+v", log, a.same, want, a)
		}
		delete(named, filepath.Base(log))
		if report.Epochs > 0 {
			read++
		}
		same, fixes, untimed = same+a.same, fixes+a.fixes, untimed+a.untimed
	}
	if len(named) != 0 || read < 90 || same < 2400 || same+untimed != fixes || untimed > 60 {
		t.Errorf("not read: %v; %d logs with epochs, %d of %d fixes as gpsd has them, %d at times gpsd does not report", named, read, same, fixes, untimed)
	}
	t.Logf("%d logs, %d fixes compared: %d as gpsd has them, %d at times gpsd does not report", read, fixes, same, untimed)
}
