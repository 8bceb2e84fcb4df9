package schemas

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"github.com/tidwall/gjson"
	"hopperbook/schemas/fault"
)

// PassHeader is what a pass log says once for all its fixes; "" where it does
// not say. Machine is data.machine alone; Event.Machine knows the device.
type PassHeader struct {
	Job     JobID
	Field   FieldID
	Machine MachineID
}

// PassFixes appends the fixes of a pass.logged's data, which Read has checked,
// to dst. One walk over the text, O(fixes).
//
// A log without a quality list counts as QualityGNSS: QualityNone would say
// that the receiver had no position, but somebody found these worth logging.
// Other optional values are NaN where the log has none. Times below a
// millisecond are cut off.
func PassFixes(data string, dst []Fix) ([]Fix, PassHeader, error) {
	var h PassHeader
	var lists passLists
	gjson.Parse(data).ForEach(func(key, v gjson.Result) bool {
		switch name := key.String(); name {
		case "start":
			lists.start, lists.hasStart = parseTime(v.Str)
		case "job":
			h.Job = JobID(v.Str)
		case "field":
			h.Field = FieldID(v.Str)
		case "machine":
			h.Machine = MachineID(v.Str)
		case "bout_width_m":
			lists.boutWidthM = v
		default:
			if i := slices.Index(passListNames[:], name); i >= 0 {
				lists.of[i] = v
			}
		}
		return true
	})
	dst, err := lists.appendTo(dst)
	if err != nil {
		return dst, h, fault.New("read the fixes of a pass log", fault.Input, err, "")
	}
	return dst, h, nil
}

// The lists of a pass log; dt_ms makes the fixes.
const (
	listDt = iota
	listLat
	listLon
	listSpeed
	listSpreading
	listSetRate
	listHeading
	listQuality
)

var passListNames = [...]string{listDt: "dt_ms", listLat: "lat", listLon: "lon", listSpeed: "speed_kmh", listSpreading: "spreading",
	listSetRate: "set_rate_kg_ha", listHeading: "heading_deg", listQuality: "quality"}

type passLists struct {
	start      time.Time
	hasStart   bool
	of         [len(passListNames)]gjson.Result
	boutWidthM gjson.Result
}

func (p *passLists) appendTo(dst []Fix) ([]Fix, error) {
	if !p.hasStart {
		return dst, fmt.Errorf("start is missing or no time")
	}
	blank := Fix{LatDeg: math.NaN(), LonDeg: math.NaN(), SpeedKmh: math.NaN(), HeadingDeg: math.NaN(),
		SetRateKgHa: math.NaN(), BoutWidthM: math.NaN(), Quality: QualityGNSS}
	if p.boutWidthM.Exists() {
		blank.BoutWidthM = p.boutWidthM.Num
	}
	if rate := p.of[listSetRate]; rate.Type == gjson.Number {
		blank.SetRateKgHa = rate.Num
	}
	startMs, from := p.start.UnixMilli(), len(dst)
	dst = slices.Grow(dst, strings.Count(p.of[listDt].Raw, ",")+1)
	eachNumber(p.of[listDt].Raw, func(v float64) {
		fix := blank
		fix.UnixMilli = startMs + int64(v)
		dst = append(dst, fix)
	})
	for i := listLat; i < len(p.of); i++ {
		if !p.of[i].IsArray() {
			continue
		}
		if n := fill(dst[from:], i, p.of[i].Raw); n != len(dst)-from {
			return dst[:from], fmt.Errorf("%s has %d entries, dt_ms has %d", passListNames[i], n, len(dst)-from)
		}
	}
	return dst, nil
}

// fill sets one list's value in every fix and counts the entries.
func fill(fixes []Fix, list int, text string) int {
	n := 0
	eachNumber(text, func(v float64) {
		if n < len(fixes) {
			fixes[n].set(list, v)
		}
		n++
	})
	return n
}

func (f *Fix) set(list int, v float64) {
	switch list {
	case listLat:
		f.LatDeg = v
	case listLon:
		f.LonDeg = v
	case listSpeed:
		f.SpeedKmh = v
	case listSpreading:
		f.Spreading = SpreadingOff + Spreading(v)
	case listSetRate:
		f.SetRateKgHa = v
	case listHeading:
		f.HeadingDeg = v
	case listQuality:
		f.Quality = Quality(v)
	}
}

// eachNumber hands out the numbers of a JSON list, up to the first entry that
// is none (checked data has no such).
func eachNumber(list string, fn func(float64)) {
	if !strings.HasSuffix(list, "]") {
		return
	}
	for i := nextEntry(list, 1); list[i] != ']'; i = nextEntry(list, i) {
		v, end := number(list, i)
		if end == i {
			return
		}
		fn(v)
		i = end
	}
}

// PassData makes the data of a pass log from fixes in order of time.
// Positions are rounded to 1e-9 degrees (0.1 mm), speeds to 0.001 km/h and
// headings to 0.01 degrees, which is what the book keeps.
//
// A pass log needs a speed and a known spreading state at every fix and one
// bout width for all. Headings are left out when a fix has none (they follow
// from the positions); set rates must be given for all fixes or none. When
// every fix is QualityGNSS the list is left out, which reads the same.
func PassData(fixes []Fix, h PassHeader) (PassLogged, error) {
	p := PassLogged{Job: h.Job, Field: h.Field, Machine: h.Machine}
	if err := passable(fixes); err != nil {
		return p, fault.New("make a pass log", fault.Input, err, "")
	}
	first := fixes[0]
	p.Start = time.UnixMilli(first.UnixMilli).UTC().Format(time.RFC3339Nano)
	for i := range fixes {
		f := &fixes[i]
		p.DtMs = append(p.DtMs, f.UnixMilli-first.UnixMilli)
		p.Lat = append(p.Lat, round(f.LatDeg, 1e9))
		p.Lon = append(p.Lon, round(f.LonDeg, 1e9))
		p.SpeedKmh = append(p.SpeedKmh, round(f.SpeedKmh, 1e3))
		p.Spreading = append(p.Spreading, int64(f.Spreading-SpreadingOff))
		p.HeadingDeg = append(p.HeadingDeg, round(f.HeadingDeg, 1e2))
		p.SetRateKgHa.Each = append(p.SetRateKgHa.Each, f.SetRateKgHa)
		p.Quality = append(p.Quality, int64(f.Quality))
	}
	if !math.IsNaN(first.BoutWidthM) {
		p.BoutWidthM = &first.BoutWidthM
	}
	p.trim()
	return p, nil
}

// trim drops the lists that say nothing.
func (p *PassLogged) trim() {
	if slices.ContainsFunc(p.HeadingDeg, math.IsNaN) {
		p.HeadingDeg = nil
	}
	rates := p.SetRateKgHa.Each
	switch {
	case math.IsNaN(rates[0]):
		p.SetRateKgHa = NumberOrList{}
	case !slices.ContainsFunc(rates, func(r float64) bool { return r != rates[0] }):
		p.SetRateKgHa = NumberOrList{One: &rates[0]}
	}
	if !slices.ContainsFunc(p.Quality, func(q int64) bool { return q != int64(QualityGNSS) }) {
		p.Quality = nil
	}
}

func round(v, perUnit float64) float64 { return math.Round(v*perUnit) / perUnit }

// passable names the first fix that cannot stand in one pass log.
func passable(fixes []Fix) error {
	if len(fixes) == 0 {
		return fmt.Errorf("there are no fixes")
	}
	first := &fixes[0]
	for i := range fixes {
		f := &fixes[i]
		switch {
		case i > 0 && f.UnixMilli < fixes[i-1].UnixMilli:
			return fmt.Errorf("fix %d is earlier than the one before", i)
		case math.IsNaN(f.SpeedKmh):
			return fmt.Errorf("fix %d has no speed", i)
		case f.Spreading == SpreadingUnknown:
			return fmt.Errorf("fix %d does not say whether it is spreading", i)
		case f.BoutWidthM != first.BoutWidthM && !(math.IsNaN(f.BoutWidthM) && math.IsNaN(first.BoutWidthM)):
			return fmt.Errorf("fix %d has another bout width; begin a new log where it changes", i)
		case math.IsNaN(f.SetRateKgHa) != math.IsNaN(first.SetRateKgHa):
			return fmt.Errorf("fix %d: a set rate is given for some fixes only; begin a new log there", i)
		}
	}
	return nil
}
