package gnss

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"math"
	"math/rand/v2"
	"strings"
	"testing"
	"testing/iotest"
	"time"

	"hopperbook/schemas"
	"hopperbook/schemas/fault"
)

// told is a fix as one line: time, position, speed, course, quality.
func told(f schemas.Fix) string {
	at := time.UnixMilli(f.UnixMilli).UTC().Format("2006-01-02T15:04:05.000")
	return fmt.Sprintf("%s %.4f %.4f %.3f %.1f q%d", at, f.LatDeg, f.LonDeg, f.SpeedKmh, f.HeadingDeg, f.Quality)
}

func TestEpochsBecomeFixes(t *testing.T) {
	const at = "5000.000,N,00930.000,E"
	cases := []struct {
		name   string
		bodies string // one sentence each
		want   string
	}{
		{"RMC alone (gpsd 3.22 driver comment)", "GPRMC,225446.33,A,4916.45,N,12311.12,W,000.5,054.7,191194,020.3,E,A",
			"1994-11-19T22:54:46.330 49.2742 -123.1853 0.926 54.7 q1"},
		{"RMC of 11 fields", "GPRMC,225446,A,4916.45,N,12311.12,W,10,,191194,020.3,E", "1994-11-19T22:54:46.000 49.2742 -123.1853 18.520 NaN q1"},
		{"RMC of 13 fields, RTK", "GNRMC,225446,A,4916.45,N,12311.12,W,,,191124,,,R,V", "2024-11-19T22:54:46.000 49.2742 -123.1853 NaN NaN q4"},
		{"RMC of 9 fields has no variation", "GPRMC,225446,A,4916.45,N,12311.12,W,1,2,191194", "1994-11-19T22:54:46.000 49.2742 -123.1853 1.852 2.0 q1"},
		{"RMC status D", "GPRMC,225446,D,4916.45,N,12311.12,W,1,2,191194", "1994-11-19T22:54:46.000 49.2742 -123.1853 1.852 2.0 q2"},
		{"RMC mode says not valid", "GPRMC,225446,A,4916.45,N,12311.12,W,1,2,191194,,,N", ""},
		{"GGA leads the position, RMC the motion",
			"GNGGA,100000," + at + ",4,12,0.5,,M,,M,,|GNRMC,100000,A,5000.001,N,00930.001,E,5,90,010626,,,D|GPVTG,91,T,,M,6,N,11.1,K,A",
			"2026-06-01T10:00:00.000 50.0000 9.5000 9.260 90.0 q4"},
		{"the order within an epoch is free",
			"GNRMC,100000,A,5000.001,N,00930.001,E,5,90,010626,,,D|GPVTG,91,T,,M,6,N,11.1,K,A|GNGGA,100000," + at + ",4,12,0.5,,M,,M,,",
			"2026-06-01T10:00:00.000 50.0000 9.5000 9.260 90.0 q4"},
		{"ZDA dates, VTG moves",
			"GPGGA,100000," + at + ",1,|GPVTG,220.86,T,,M,2.550,N,4.724,K,A|GPZDA,100000.00,01,06,2026,00,00",
			"2026-06-01T10:00:00.000 50.0000 9.5000 4.723 220.9 q1"},
		{"VTG km/h where knots are empty", "GPGGA,100000," + at + ",1,|GPVTG,1,T,,M,,N,4.724,K,A|GPZDA,100000.00,01,06,2026,00,00",
			"2026-06-01T10:00:00.000 50.0000 9.5000 4.724 1.0 q1"},
		{"VTG of the old form", "GPGGA,100000," + at + ",1,|GPVTG,054.7,034.4,005.5,010.2|GPZDA,100000.00,01,06,2026,00,00",
			"2026-06-01T10:00:00.000 50.0000 9.5000 10.186 54.7 q1"},
		{"VTG mode N says nothing", "GPGGA,100000," + at + ",1,|GPVTG,1,T,,M,3,N,4.724,K,N|GPZDA,100000.00,01,06,2026,00,00",
			"2026-06-01T10:00:00.000 50.0000 9.5000 NaN NaN q1"},
		{"VTG before its epoch",
			"GPVTG,1,T,,M,1,N,,K,A|GPGGA,100000," + at + ",1,|GPZDA,100000,01,06,2026,00,00|GPVTG,2,T,,M,2,N,,K,A|GPGGA,100001," + at + ",1,|",
			"2026-06-01T10:00:00.000 50.0000 9.5000 1.852 1.0 q1|2026-06-01T10:00:01.000 50.0000 9.5000 3.704 2.0 q1"},
		{"over midnight", "GPRMC,235959.5,A," + at + ",1,1,311225|GPGGA,000000.0," + at + ",5,|GPGGA,000000.5," + at + ",5,",
			"2025-12-31T23:59:59.500 50.0000 9.5000 1.852 1.0 q1|2026-01-01T00:00:00.000 50.0000 9.5000 NaN NaN q5|2026-01-01T00:00:00.500 50.0000 9.5000 NaN NaN q5"},
		{"waiting for the date over midnight", "GPGGA,235959," + at + ",1,|GPGGA,000000," + at + ",1,|GPRMC,000001,A," + at + ",,,010126",
			"2025-12-31T23:59:59.000 50.0000 9.5000 NaN NaN q1|2026-01-01T00:00:00.000 50.0000 9.5000 NaN NaN q1|2026-01-01T00:00:01.000 50.0000 9.5000 NaN NaN q1"},
		{"a date without a fix is not trusted", "GPRMC,100000,V,,,,,x,,000000,,,N|GPRMC,100000,V,,,,,,,161206,,,N|GPGGA,100000,,,,,0,|GPZDA,100000,16,12,2006,,|GPGGA,100001," + at + ",1,", ""},
		{"void wins over a GGA", "GPGGA,100000," + at + ",1,|GPRMC,100000,V," + at + ",1,1,010626,,,N", ""},
		{"empty quality is no fix", "GPGGA,100000," + at + ",,,,|GPRMC,100000,A," + at + ",1,1,010626,,,A", ""},
		{"no satellites, no fix", "GPGGA,100000," + at + ",1,00,|GPZDA,100000,01,06,2026,,", ""},
		{"dead reckoning needs none", "GPGGA,100000," + at + ",6,00,|GPZDA,100000,01,06,2026,,", "2026-06-01T10:00:00.000 50.0000 9.5000 NaN NaN q6"},
		{"a sentence without time and fix ends the epoch", "GPRMC,100000,A," + at + ",,,010626|GPRMC,,V,,,,,,,,,,N|GPVTG,1,T,,M,5,N,,K,A",
			"2026-06-01T10:00:00.000 50.0000 9.5000 NaN NaN q1"},
		{"one GGA of several has the fix", "GPGGA,100000," + at + ",1,|GLGGA,100000,,,,,0,|GNRMC,100000,A," + at + ",,,010626",
			"2026-06-01T10:00:00.000 50.0000 9.5000 NaN NaN q1"},
		{"0 N 0 E is no place", "GPRMC,100000,A,0000.000,N,00000.000,E,0,0,010626", ""},
		{"the equator is one", "GPRMC,100000,A,0000.000,N,00930.000,E,0,0,010626", "2026-06-01T10:00:00.000 0.0000 9.5000 0.000 0.0 q1"},
		{"a new day comes with its date", "GPRMC,100000,A," + at + ",0,0,010626|GPRMC,090000,A," + at + ",0,0,150626",
			"2026-06-01T10:00:00.000 50.0000 9.5000 0.000 0.0 q1|2026-06-15T09:00:00.000 50.0000 9.5000 0.000 0.0 q1"},
	}
	for _, c := range cases {
		var stream, got strings.Builder
		for body := range strings.SplitSeq(c.bodies, "|") {
			stream.WriteString(sentence(body))
		}
		fixes, report, err := Read(strings.NewReader(stream.String()), Options{})
		for i, f := range fixes {
			got.WriteString([]string{"", "|"}[min(i, 1)] + told(f))
		}
		if err != nil || got.String() != c.want || report.Malformed+report.BadChecksum != 0 {
			t.Errorf("%s: %v, %+v\n got %s\nwant %s", c.name, err, report, got.String(), c.want)
		}
		checkReport(t, report, len(fixes))
	}
}

// checkReport holds for every stream that was read to its end.
func checkReport(t *testing.T, r Report, fixes int) {
	t.Helper()
	if r.Sentences != r.Used+r.OtherKinds+r.NoChecksum+r.BadChecksum+r.Malformed ||
		r.Epochs != r.Fixes+r.NoFix+r.Undated || r.Fixes != int64(fixes) {
		t.Errorf("the report does not add up: %+v, %d fixes", r, fixes)
	}
}

func TestImpossibleContentIsMalformed(t *testing.T) {
	for _, body := range []string{
		"GPGGA,100000", "GPGGA,250000,5000,N,00900,E,1,", "GPGGA,,5000,N,00900,E,1,", "GPGGA,100000,9100,N,00900,E,1,",
		"GPGGA,100000,5060,N,00900,E,1,", "GPGGA,100000,5000,N,18100,E,1,", "GPGGA,100000,5000,X,00900,E,1,", "GPGGA,100000,5000,N,,,1,",
		"GPGGA,100000,5000,N,00900,E,9,", "GPGGA,100000,5000,N,00900,E,A,", "GPGGA,100000,NaN,N,00900,E,1,",
		"GPRMC,100000,A", "GPRMC,100000,A,5000,N,00900,E,1,1,310226", "GPRMC,100000,A,5000,N,00900,E,Inf,1,010626",
		"GPRMC,100000,A,5000,N,00900,E,-1,1,010626", "GPRMC,100000,A,5000,N,00900,E,1,361,010626",
		"GPVTG,1,T", "GPVTG,361,T,,M,1,N,,K", "GPVTG,1,T,,M,x,N,,K", "GPZDA,100000,1", "GPZDA,100000,30,02,2026,,", "GPZDA,100000,01,06,0026,,",
	} {
		_, report, err := Read(strings.NewReader(sentence(body)), Options{})
		if want := (Report{Sentences: 1, Malformed: 1, SkippedBytes: 2}); err != nil || report != want {
			t.Errorf("%s: %+v, %v", body, report, err)
		}
	}
}

func TestReportCounts(t *testing.T) {
	const at = "5000.000,N,00930.000,E"
	stream := "# log\n" + sentence("GPGGA,,,,,,0,,,,M,,M,,") + sentence("GPGGA,095959,,,,,0,") +
		sentence("GPRMC,100002,A,"+at+",,,010626") + sentence("GPRMC,100001,A,"+at+",,,010626") +
		sentence("GPGSV,1,1,00") + sentence("PXGGA,1") + "$GPGGA,1000\r\n" + "$GPGGA,100000*00\r\n" + sentence("GPZDA,1") + "$GPTXT," + strings.Repeat("x", 1018)
	_, got, err := Read(strings.NewReader(stream), Options{})
	want := Report{Sentences: 10, Used: 4, OtherKinds: 2, NoChecksum: 1, BadChecksum: 1, Malformed: 2, SkippedBytes: 6 + 2*9 + 1,
		Epochs: 4, Fixes: 2, NoFix: 2, Backwards: 1}
	if err != nil || got != want {
		t.Errorf("%v\n got %+v\nwant %+v", err, got, want)
	}
}

func TestWithoutADate(t *testing.T) {
	var stream strings.Builder
	const count = maxHeld + 100
	for i := range count {
		stream.WriteString(sentence(fmt.Sprintf("GPGGA,%02d%02d%02d,5000,N,00930,E,1,", i/3600, i/60%60, i%60)))
	}
	fixes, report, _ := Read(strings.NewReader(stream.String()), Options{})
	if report.Undated != count || len(fixes) != 0 {
		t.Errorf("no date: %d fixes, %+v", len(fixes), report)
	}
	fixes, report, _ = Read(strings.NewReader(stream.String()), Options{FirstDay: time.Date(2026, 6, 1, 17, 0, 0, 0, time.UTC)})
	if len(fixes) != count || report.Undated != 0 || told(fixes[0]) != "2026-06-01T00:00:00.000 50.0000 9.5000 NaN NaN q1" {
		t.Errorf("day given: %d fixes, %+v", len(fixes), report)
	}
	dated := stream.String() + sentence("GPZDA,030000,01,06,2026,,")
	fixes, report, _ = Read(strings.NewReader(dated), Options{})
	if len(fixes) != count-maxHeld/2 || report.Undated != maxHeld/2 || fixes[len(fixes)-1].UnixMilli != time.Date(2026, 6, 1, 2, 18, 11, 0, time.UTC).UnixMilli() {
		t.Errorf("date after many: %d fixes, %+v", len(fixes), report)
	}
}

// script writes random epochs as a receiver would, in a random but steady
// order of sentences with noise between, and says what must be read from it.
func script(random *rand.Rand) (stream []byte, want []schemas.Fix) {
	at := time.Date(2026, 6, 1, 23, 59, 50, 0, time.UTC)
	order := random.Perm(4)
	var out bytes.Buffer
	for range 40 {
		at = at.Add(time.Duration(100*(1+random.IntN(40))) * time.Millisecond)
		latMin, lonMin := random.IntN(89*60*10000), random.IntN(179*60*10000)
		lat := fmt.Sprintf("%02d%07.4f", latMin/600000, float64(latMin%600000)/10000)
		lon := fmt.Sprintf("%03d%07.4f", lonMin/600000, float64(lonMin%600000)/10000)
		ns, ew := random.IntN(2), random.IntN(2)
		position := lat + "," + "NS"[ns:ns+1] + "," + lon + "," + "EW"[ew:ew+1]
		quality, centiknots, course := 1+random.IntN(8), random.IntN(2000), random.IntN(3600)
		speed := fmt.Sprintf("%d.%02d", centiknots/100, centiknots%100)
		clock := at.Format("150405.00")
		bodies := []string{
			fmt.Sprintf("GNGGA,%s,%s,%d,12,0.5,100.0,M,46.9,M,,", clock, position, quality),
			fmt.Sprintf("GNRMC,%s,A,%s,%s,%.1f,%s,,,A", clock, position, speed, float64(course)/10, at.Format("020106")),
			fmt.Sprintf("GNVTG,%.1f,T,,M,%s,N,,K,A", float64(course)/10, speed),
			"GNZDA," + clock + "," + at.Format("02,01,2006") + ",00,00",
		}
		for _, i := range order {
			out.WriteString(sentence(bodies[i]))
			out.WriteString([]string{"", "\xb5b\x01\x07\x05$GP\x00", "# note\r\n", sentence("GPGSV,1,1,00"), "$GPGGA,1"}[random.IntN(5)])
		}
		want = append(want, schemas.Fix{UnixMilli: at.UnixMilli(), Quality: schemas.Quality(quality),
			LatDeg:   float64(latMin) / 600000 * float64(1-2*ns),
			LonDeg:   float64(lonMin) / 600000 * float64(1-2*ew),
			SpeedKmh: float64(centiknots) * 0.01852, HeadingDeg: float64(course) / 10})
	}
	return out.Bytes(), want
}

func TestReadsBackWhatAReceiverWouldWrite(t *testing.T) {
	for seed := range uint64(60) {
		stream, want := script(rand.New(rand.NewPCG(seed, 5)))
		fixes, report, err := Read(bytes.NewReader(stream), Options{})
		checkReport(t, report, len(fixes))
		if err != nil || len(fixes) != len(want) {
			t.Fatalf("seed %d: %v, %d fixes, want %d", seed, err, len(fixes), len(want))
		}
		for i, got := range fixes {
			if w := want[i]; got.UnixMilli != w.UnixMilli || got.Quality != w.Quality || !near(got.LatDeg, w.LatDeg, 1e-12) ||
				!near(got.LonDeg, w.LonDeg, 1e-12) || !near(got.SpeedKmh, w.SpeedKmh, 1e-12) || got.HeadingDeg != w.HeadingDeg {
				t.Fatalf("seed %d, fix %d: %s, want %s", seed, i, told(got), told(w))
			}
		}
	}
}

func near(a, b, within float64) bool { return math.Abs(a-b) <= within }

// How the bytes are cut into reads changes nothing.
func TestAnyCutOfTheBytesIsTheSame(t *testing.T) {
	for seed := range uint64(20) {
		stream, _ := script(rand.New(rand.NewPCG(seed, 6)))
		wantFixes, wantReport, _ := Read(bytes.NewReader(stream), Options{})
		for name, r := range map[string]io.Reader{
			"one byte":       iotest.OneByteReader(bytes.NewReader(stream)),
			"half":           iotest.HalfReader(bytes.NewReader(stream)),
			"error with EOF": iotest.DataErrReader(bytes.NewReader(stream)),
		} {
			fixes, report, err := Read(r, Options{})
			if err != nil || report != wantReport || fmt.Sprint(fixes) != fmt.Sprint(wantFixes) {
				t.Errorf("seed %d, %s: %v %+v, want %+v", seed, name, err, report, wantReport)
			}
		}
	}
}

// A live port gives a fix as soon as the next epoch begins, whatever comes later.
func TestLiveFixComesWithTheNextEpoch(t *testing.T) {
	port, receiver := io.Pipe()
	defer port.Close()
	go func() {
		io.WriteString(receiver, sentence("GPRMC,100000,A,5000,N,00930,E,1,1,010626"))
		io.WriteString(receiver, strings.TrimSpace(sentence("GPRMC,100001,A,5000,N,00930,E,1,1,010626")))
		// Nothing more comes and the pipe stays open.
	}()
	d := NewDecoder(port, Options{})
	fix, err := d.Next()
	if got := told(fix); err != nil || got != "2026-06-01T10:00:00.000 50.0000 9.5000 1.852 1.0 q1" {
		t.Errorf("%s, %v", got, err)
	}
	if r := d.Report(); r.Used != 2 || r.Fixes != 1 {
		t.Errorf("report while reading: %+v", r)
	}
}

func TestAFailingPortGivesItsFixesFirst(t *testing.T) {
	pulled := errors.New("cable pulled")
	r := io.MultiReader(strings.NewReader(sentence("GPRMC,100000,A,5000,N,00930,E,1,1,010626")), iotest.ErrReader(pulled))
	fixes, _, err := Read(r, Options{})
	if len(fixes) != 1 || !errors.Is(err, pulled) || fault.CodeOf(err) != fault.Unavailable || fault.HintOf(err) == "" {
		t.Errorf("%d fixes, %v", len(fixes), err)
	}
	d := NewDecoder(strings.NewReader(""), Options{})
	for range 2 {
		if _, err := d.Next(); err != io.EOF {
			t.Errorf("end of stream: %v", err)
		}
	}
}

func TestWhatAReceiverDoesNotSayIsNaN(t *testing.T) {
	fixes, _, _ := Read(strings.NewReader(sentence("GPRMC,100000,A,5000,N,00930,E,,,010626")), Options{})
	f := fixes[0]
	for name, v := range map[string]float64{"speed": f.SpeedKmh, "heading": f.HeadingDeg, "set rate": f.SetRateKgHa, "bout width": f.BoutWidthM} {
		if !math.IsNaN(v) {
			t.Errorf("%s = %v", name, v)
		}
	}
	if f.Spreading != schemas.SpreadingUnknown {
		t.Errorf("spreading = %v", f.Spreading)
	}
}
