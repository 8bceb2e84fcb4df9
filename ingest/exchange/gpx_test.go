package exchange

import (
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"
	"time"

	"hopperbook/schemas"
	"hopperbook/schemas/fault"
)

const gpxHead = `<?xml version="1.0" encoding="UTF-8"?>
<gpx version="1.1" creator="test" xmlns="http://www.topografix.com/GPX/1/1" xmlns:x="urn:x">`

func gpxTrack(points string) string {
	return gpxHead + "<trk><trkseg>" + points + "</trkseg></trk></gpx>"
}

func TestGPX(t *testing.T) {
	doc := gpxHead + `
 <metadata><time>2020-01-01T00:00:00Z</time></metadata>
 <wpt lat="1" lon="1"><time>2020-01-01T00:00:00Z</time></wpt>
 <rte><rtept lat="2" lon="2"><time>2020-01-01T00:00:00Z</time></rtept></rte>
 <trk><name>a</name><trkseg>
  <trkpt lat="-46.1" lon=" 168.3 "><ele>3</ele><time>2026-03-02T08:00:00Z</time></trkpt>
  <trkpt lat="-46.2" lon="168.4"><time>
     2026-03-02T18:00:01.250+10:00 </time><fix>dgps</fix><extensions><x:deep><x:speed>2.5</x:speed><x:course>359.5</x:course></x:deep></extensions></trkpt>
 </trkseg><trkseg>
  <trkpt lon="-180" lat="90"><time>2026-03-02T08:00:05</time><fix>none</fix><speed>-1</speed><course>400</course></trkpt>
  <trkpt lon="180" lat="-90"><time>2026-03-02T08:00:06.5</time><fix>pps</fix><speed>10</speed><course>0</course><x:time>no</x:time></trkpt>
 </trkseg></trk>
 <trk><trkseg><trkpt lat="0" lon="0"><time>1969-12-31T23:59:59Z</time><fix>3d</fix></trkpt></trkseg></trk>
</gpx>`
	_, err := GPX(strings.NewReader(doc))
	if err == nil || !strings.Contains(err.Error(), "track point 4 has the time") {
		t.Errorf("err = %v", err) // a time is a time, whatever its prefix
	}
	got, err := GPX(strings.NewReader(strings.Replace(doc, "<x:time>no</x:time>", "", 1)))
	if err != nil {
		t.Fatal(err)
	}
	day := time.Date(2026, 3, 2, 8, 0, 0, 0, time.UTC).UnixMilli()
	nan := math.NaN()
	want := []schemas.Fix{
		{UnixMilli: day, LatDeg: -46.1, LonDeg: 168.3, SpeedKmh: nan, HeadingDeg: nan, Quality: schemas.QualityGNSS},
		{UnixMilli: day + 1250, LatDeg: -46.2, LonDeg: 168.4, SpeedKmh: 9, HeadingDeg: 359.5, Quality: schemas.QualityDGNSS},
		{UnixMilli: day + 5000, LatDeg: 90, LonDeg: -180, SpeedKmh: nan, HeadingDeg: nan, Quality: schemas.QualityNone},
		{UnixMilli: day + 6500, LatDeg: -90, LonDeg: 180, SpeedKmh: 36, HeadingDeg: 0, Quality: schemas.QualityPPS},
		{UnixMilli: -1000, SpeedKmh: nan, HeadingDeg: nan, Quality: schemas.QualityGNSS},
	}
	if len(got) != len(want) {
		t.Fatalf("%d fixes", len(got))
	}
	for i, w := range want {
		w.SetRateKgHa, w.BoutWidthM = nan, nan
		if a, b := fmt.Sprintf("%+v", got[i]), fmt.Sprintf("%+v", w); a != b {
			t.Errorf("fix %d: %s\nwant %s", i, a, b)
		}
	}
}

func TestGPXRefusals(t *testing.T) {
	const at = "<time>2026-03-02T08:00:00Z</time>"
	point := func(attr, in string) string { return gpxTrack("<trkpt " + attr + ">" + in + "</trkpt>") }
	for _, c := range []struct{ name, doc, says string }{
		{"empty", "", "no track point"},
		{"no XML", "lat,lon\n1,2", "no track point"},
		{"other XML", "<kml><trk/></kml>", `"kml", not a GPX file`},
		{"no track", gpxHead + `<rte><rtept lat="1" lon="1">` + at + `</rtept></rte></gpx>`, "no track point"},
		{"no time", point(`lat="1" lon="1"`, ""), "track point 1 has no time"},
		{"time below something else", point(`lat="1" lon="1"`, "<extensions>"+at+"</extensions>"), "track point 1 has no time"},
		{"bad time", point(`lat="1" lon="1"`, "<time>yesterday</time>"), `"yesterday", which is none`},
		{"no lat", point(`lon="1"`, at), "no lat or no lon"},
		{"NaN", point(`lat="NaN" lon="1"`, at), `lat is "NaN"`},
		{"lon off", point(`lat="1" lon="180.5"`, at), `lon is "180.5"`},
		{"comma", point(`lat="1,5" lon="1"`, at), `lat is "1,5"`},
		{"cut", strings.TrimSuffix(point(`lat="1" lon="1"`, at), "</trkseg></trk></gpx>"), "line 2"},
		{"other end", gpxHead + "<trk></trkseg>", "closed by"},
		{"deep", gpxHead + strings.Repeat("<a>", 100), "deeper than 64"},
		{"entity bomb", `<!DOCTYPE a [<!ENTITY b "bbbb">]>` + gpxTrack("<trkpt lat='1' lon='1'><time>&b;</time></trkpt>"), "entity"},
		{"UTF-16", strings.Replace(point(`lat="1" lon="1"`, at), "UTF-8", "UTF-16", 1), "utf-16"},
	} {
		fixes, err := GPX(strings.NewReader(c.doc))
		if err == nil || fault.CodeOf(err) != fault.Input || fault.HintOf(err) == "" || !strings.Contains(strings.ToLower(err.Error()), strings.ToLower(c.says)) || fixes != nil {
			t.Errorf("%s: %v (%d fixes), want %q", c.name, err, len(fixes), c.says)
		}
	}
	if _, err := GPX(failing{}); fault.CodeOf(err) != fault.Input || !strings.Contains(err.Error(), "the stick was pulled") {
		t.Errorf("err = %v", err)
	}
}

// What is written comes back: the oracle of the reader is the writer.
func TestGPXComesBack(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 2))
	var doc strings.Builder
	var want []schemas.Fix
	for range 500 {
		f := schemas.Fix{UnixMilli: 1e12 + rng.Int64N(1e12), LatDeg: 180*rng.Float64() - 90, LonDeg: 360*rng.Float64() - 180, SpeedKmh: 100 * rng.Float64()}
		fmt.Fprintf(&doc, `<trkpt lat="%v" lon="%v"><extensions><speed>%v</speed></extensions><time>%s</time></trkpt>`+"\n",
			f.LatDeg, f.LonDeg, f.SpeedKmh/3.6, time.UnixMilli(f.UnixMilli).UTC().Format(time.RFC3339Nano))
		want = append(want, f)
	}
	got, err := GPX(strings.NewReader(gpxTrack(doc.String())))
	if err != nil || len(got) != len(want) {
		t.Fatalf("%d fixes, %v", len(got), err)
	}
	for i, w := range want {
		if g := got[i]; g.UnixMilli != w.UnixMilli || g.LatDeg != w.LatDeg || g.LonDeg != w.LonDeg || math.Abs(g.SpeedKmh-w.SpeedKmh) > 1e-9 {
			t.Errorf("%+v, want %+v", g, w)
		}
	}
}

func FuzzGPX(f *testing.F) {
	f.Add(gpxTrack(`<trkpt lat="1" lon="2"><time>2026-03-02T08:00:00Z</time><speed>3</speed></trkpt>`))
	f.Add("<gpx><trk><trkseg><trkpt lat='1' lon='1'><a><b><trkpt/></b></a><time>2026-01-01T00:00:00</time></trkpt></trkseg></trk></gpx>")
	f.Add("<gpx><gpx><trkseg><trkpt")
	f.Fuzz(func(t *testing.T, text string) {
		fixes, err := GPX(strings.NewReader(text))
		if (err == nil) != (len(fixes) > 0) {
			t.Fatalf("%d fixes and %v", len(fixes), err)
		}
		for _, x := range fixes {
			if !(math.Abs(x.LatDeg) <= 90 && math.Abs(x.LonDeg) <= 180) || x.SpeedKmh < 0 || x.SpeedKmh > 360 {
				t.Fatalf("%+v", x)
			}
		}
	})
}
