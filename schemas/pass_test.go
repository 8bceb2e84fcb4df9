package schemas

import (
	"encoding/json"
	"fmt"
	"math"
	"math/rand/v2"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"
)

func passJSON(t testing.TB, p PassLogged) string {
	t.Helper()
	raw, err := json.Marshal(p)
	if err != nil {
		t.Fatal(err)
	}
	return string(raw)
}

// sameFixes compares with NaN equal to NaN.
func sameFixes(a, b []Fix) bool {
	return fmt.Sprintf("%v", a) == fmt.Sprintf("%v", b)
}

func TestPassFixes(t *testing.T) {
	nan := math.NaN()
	at := time.Date(2026, 3, 1, 8, 30, 0, 0, time.UTC).UnixMilli()
	cases := []struct {
		name, data string
		want       []Fix
		header     PassHeader
	}{
		{"the least a log can hold", `{"start":"2026-03-01T08:30:00Z","dt_ms":[0],"lat":[-41.5],"lon":[174],"speed_kmh":[12.5],"spreading":[1]}`,
			[]Fix{{at, -41.5, 174, 12.5, nan, nan, nan, QualityGNSS, SpreadingOn}}, PassHeader{}},
		{"everything, dt_ms last", `{"machine":"m","field":"f","job":"j","quality":[4,0],"heading_deg":[0,359.9],"bout_width_m":18,"set_rate_kg_ha":[100,2.5e2],
			"spreading":[0,1],"speed_kmh":[0,1e1],"lon":[1,2],"lat":[3,4],"start":"2026-03-01T09:30:00.5+01:00","unknown":[1,2,3],"dt_ms":[ 0 , 200 ]}`,
			[]Fix{{at + 500, 3, 1, 0, 0, 100, 18, QualityRTKFixed, SpreadingOff}, {at + 700, 4, 2, 10, 359.9, 250, 18, QualityNone, SpreadingOn}},
			PassHeader{"j", "f", "m"}},
		{"one rate for all", `{"start":"2026-03-01T08:30:00Z","dt_ms":[0,0],"lat":[1,1],"lon":[1,1],"speed_kmh":[1,1],"spreading":[0,0],"set_rate_kg_ha":75}`,
			[]Fix{{at, 1, 1, 1, nan, 75, nan, QualityGNSS, SpreadingOff}, {at, 1, 1, 1, nan, 75, nan, QualityGNSS, SpreadingOff}}, PassHeader{}},
	}
	for _, c := range cases {
		got, header, err := PassFixes(c.data, nil)
		if err != nil || !sameFixes(got, c.want) || header != c.header {
			t.Errorf("%s:\n got %v %v (%v)\nwant %v %v", c.name, got, header, err, c.want, c.header)
		}
	}
}

func TestPassFixesAppendsAndRefuses(t *testing.T) {
	keep := []Fix{{UnixMilli: 1}}
	for _, data := range []string{`{}`, `{"start":"soon","dt_ms":[0]}`, `{"start":"2026-03-01T08:30:00Z","dt_ms":[0,1],"lat":[1]}`,
		`{"start":"2026-03-01T08:30:00Z","dt_ms":[0],"lat":[1,2]}`} {
		if got, _, err := PassFixes(data, slices.Clone(keep)); err == nil || len(got) != 1 {
			t.Errorf("%s: %d fixes, error %v", data, len(got), err)
		}
	}
	good := `{"start":"2026-03-01T08:30:00Z","dt_ms":[0],"lat":[1],"lon":[1],"speed_kmh":[1],"spreading":[0]}`
	if got, _, err := PassFixes(good, keep); err != nil || len(got) != 2 || got[0] != keep[0] {
		t.Errorf("appending: %v, %v", got, err)
	}
}

// randomFixes are on the grid that PassData keeps.
func randomFixes(r *rand.Rand) []Fix {
	fixes := make([]Fix, 1+r.IntN(40))
	width, rate, heading, plain := math.NaN(), r.IntN(3), r.IntN(2) == 0, r.IntN(2) == 0
	if r.IntN(2) == 0 {
		width = float64(5+r.IntN(400)) / 10
	}
	at := int64(1.7e12) + r.Int64N(1e9)
	for i := range fixes {
		at += r.Int64N(1000)
		f := Fix{UnixMilli: at, LatDeg: round(r.Float64()*180-90, 1e9), LonDeg: round(r.Float64()*360-180, 1e9), SpeedKmh: round(r.Float64()*30, 1e3),
			HeadingDeg: math.NaN(), SetRateKgHa: math.NaN(), BoutWidthM: width, Quality: QualityGNSS, Spreading: SpreadingOff + Spreading(r.IntN(2))}
		if heading {
			f.HeadingDeg = round(r.Float64()*360, 1e2)
		}
		if !plain {
			f.Quality = Quality(r.IntN(9))
		}
		switch rate {
		case 1:
			f.SetRateKgHa = 180
		case 2:
			f.SetRateKgHa = float64(r.IntN(500))
		}
		fixes[i] = f
	}
	return fixes
}

// What PassData makes keeps the contract, and PassFixes is its inverse and
// agrees with encoding/json.
func TestPassDataRoundTrip(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 1))
	for range 300 {
		fixes, header := randomFixes(r), PassHeader{Job: "j", Field: "f", Machine: "m"}
		data, err := PassData(fixes, header)
		if err != nil {
			t.Fatal(err)
		}
		text := passJSON(t, data)
		info, _ := lookup(TypePassLogged)
		raw, err := Write(Identity{"/office/pc", 1}, "01J00000000000000000000000", TypePassLogged, time.UnixMilli(fixes[0].UnixMilli), data)
		if err != nil {
			t.Fatal(err)
		}
		if _, bad := Read(raw); bad != nil {
			t.Fatalf("%s breaks the contract: %v", info.Type, bad)
		}
		got, gotHeader, err := PassFixes(text, nil)
		if err != nil || gotHeader != header || !sameFixes(got, fixes) {
			t.Fatalf("got %v %v %v\nwant %v", got, gotHeader, err, fixes)
		}
		var slow PassLogged
		if err := json.Unmarshal([]byte(text), &slow); err != nil {
			t.Fatal(err)
		}
		for i, f := range got {
			if f.LatDeg != slow.Lat[i] || f.LonDeg != slow.Lon[i] || f.SpeedKmh != slow.SpeedKmh[i] {
				t.Fatalf("fix %d: %v disagrees with encoding/json", i, f)
			}
		}
	}
}

func TestPassDataRefuses(t *testing.T) {
	ok := Fix{LatDeg: 1, LonDeg: 1, SpeedKmh: 1, HeadingDeg: math.NaN(), SetRateKgHa: math.NaN(), BoutWidthM: 24, Quality: QualityGNSS, Spreading: SpreadingOn}
	for name, spoil := range map[string]func(*Fix){
		"earlier":      func(f *Fix) { f.UnixMilli = -1 },
		"no speed":     func(f *Fix) { f.SpeedKmh = math.NaN() },
		"no state":     func(f *Fix) { f.Spreading = SpreadingUnknown },
		"other width":  func(f *Fix) { f.BoutWidthM = 12 },
		"no width":     func(f *Fix) { f.BoutWidthM = math.NaN() },
		"a rate alone": func(f *Fix) { f.SetRateKgHa = 1 },
	} {
		bad := ok
		spoil(&bad)
		if _, err := PassData([]Fix{ok, bad}, PassHeader{}); err == nil {
			t.Errorf("%s: accepted", name)
		}
	}
	if _, err := PassData(nil, PassHeader{}); err == nil {
		t.Error("no fixes: accepted")
	}
	half := ok
	half.HeadingDeg = 90
	if p, err := PassData([]Fix{ok, half}, PassHeader{}); err != nil || p.HeadingDeg != nil {
		t.Errorf("headings of some fixes: %v, %v; want them left out", p.HeadingDeg, err)
	}
}

func FuzzPassFixes(f *testing.F) {
	f.Add(`{"start":"2026-03-01T08:30:00Z","dt_ms":[0,200],"lat":[1,1.5],"lon":[1,-1e1],"speed_kmh":[1,2],"spreading":[0,1],"quality":[4,5]}`)
	f.Fuzz(func(t *testing.T, data string) {
		raw := `{"specversion":"1.0","id":"01J00000000000000000000000","source":"/office/pc","sequence":"1","type":"pass.logged",` +
			`"time":"2026-03-01T08:30:00Z","dataschema":"pass.logged/1","data":` + data + `}`
		e, bad := Read([]byte(raw))
		if bad != nil {
			PassFixes(data, nil) // whatever it says, it must not panic
			return
		}
		var slow PassLogged
		fixes, header, err := PassFixes(e.Data, nil)
		if err != nil {
			t.Fatalf("checked data refused: %v", err)
		}
		if strings.Contains(data, `\`) || json.Unmarshal([]byte(e.Data), &slow) != nil {
			return // encoding/json also matches keys whatever their case
		}
		if len(fixes) != len(slow.DtMs) {
			t.Fatalf("%d fixes, want %d", len(fixes), len(slow.DtMs))
		}
		if want := (PassHeader{slow.Job, slow.Field, slow.Machine}); !reflect.DeepEqual(header, want) && !strings.ContainsAny(data, "JFM") {
			t.Fatalf("header %v, want %v", header, want)
		}
	})
}

func BenchmarkPassFixes(b *testing.B) {
	r := rand.New(rand.NewPCG(3, 3))
	fixes := randomFixes(r)
	for len(fixes) < 30 {
		fixes = randomFixes(r)
	}
	data, err := PassData(fixes, PassHeader{})
	if err != nil {
		b.Fatal(err)
	}
	text := passJSON(b, data)
	var buf []Fix
	for b.Loop() {
		buf, _, _ = PassFixes(text, buf[:0])
	}
	b.ReportMetric(float64(b.N*len(fixes))/b.Elapsed().Seconds(), "fixes/s")
}
