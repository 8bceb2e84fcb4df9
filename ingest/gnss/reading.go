package gnss

import (
	"bytes"
	"math"
	"strings"

	"hopperbook/schemas"
)

type kind uint8

const (
	other kind = iota
	gga
	rmc
	vtg
	zda
)

// state is what a sentence says about the position.
type state uint8

const (
	silent state = iota // it was not sent, or does not speak of a position
	void                // there is no fix
	fixed               // there is one
)

const (
	noClock = -1
	noDay   = -1

	knotKmh = 1.852 // exactly: the nautical mile is 1852 m
)

// reading is what one sentence says. Floats not given are NaN.
type reading struct {
	kind       kind
	state      state
	quality    schemas.Quality
	clockMs    int64 // of the day, UTC; noClock
	day        int64 // since 1970-01-01; noDay
	latDeg     float64
	lonDeg     float64
	speedKmh   float64
	headingDeg float64
}

// fields are the comma-separated parts of a sentence; [0] is the address.
// Those beyond the array are not needed by any of the four sentences.
type fields struct {
	at    [14][]byte
	count int // of all, also those not kept
}

func (f *fields) split(body []byte) {
	f.count = bytes.Count(body, []byte{','}) + 1
	for i := range f.at {
		comma := bytes.IndexByte(body, ',')
		if comma < 0 {
			f.at[i], body = body, nil
			continue
		}
		f.at[i], body = body[:comma], body[comma+1:]
	}
}

// kindOf tells the kind from "$ttSSS,": any talker, but not a proprietary
// sentence (address with P).
func kindOf(sentence []byte) kind {
	if len(sentence) < 7 || sentence[6] != ',' || sentence[1] == 'P' {
		return other
	}
	switch string(sentence[3:6]) {
	case "GGA":
		return gga
	case "RMC":
		return rmc
	case "VTG":
		return vtg
	case "ZDA":
		return zda
	}
	return other
}

// read understands a sentence with a right checksum, "$...*hh". Not ok means
// malformed: a field that is needed cannot be what the sentence says it is.
func read(sentence []byte) (r reading, ok bool) {
	r = reading{kind: kindOf(sentence), clockMs: noClock, day: noDay,
		latDeg: math.NaN(), lonDeg: math.NaN(), speedKmh: math.NaN(), headingDeg: math.NaN()}
	if r.kind == other {
		return r, true
	}
	var f fields
	f.split(sentence[1 : len(sentence)-3])
	switch r.kind {
	case gga:
		ok = r.gga(&f)
	case rmc:
		ok = r.rmc(&f)
	case vtg:
		ok = r.vtg(&f)
	case zda:
		ok = r.zda(&f)
	}
	return r, ok
}

func (r *reading) gga(f *fields) (ok bool) {
	if f.count < 7 {
		return false
	}
	quality, ok := integer(f.at[6])
	if len(f.at[6]) > 0 && (!ok || quality > int(schemas.QualitySimulator)) {
		return false
	}
	r.quality = schemas.Quality(quality)
	satellites, counted := integer(f.at[7])
	guess := counted && satellites == 0 && r.quality < schemas.QualityEstimated
	return r.timedPosition(f.at[1], f.at[2:6], r.quality != schemas.QualityNone && !guess)
}

// rmcModes are the FAA mode indicators of RMC field 12 as GGA qualities.
const rmcModes = "NADPRFEMS"

func (r *reading) rmc(f *fields) bool {
	if f.count < 10 {
		return false
	}
	status := string(f.at[2])
	mode := -1
	if len(f.at[12]) == 1 {
		mode = strings.IndexByte(rmcModes, f.at[12][0])
	}
	switch {
	case status != "A" && status != "D":
		r.quality = schemas.QualityNone
	case mode >= 0:
		r.quality = schemas.Quality(mode)
	case status == "D":
		r.quality = schemas.QualityDGNSS
	default:
		r.quality = schemas.QualityGNSS
	}
	if !r.timedPosition(f.at[1], f.at[3:7], r.quality != schemas.QualityNone) {
		return false
	}
	if r.state == void {
		return true
	}
	day, ok := dateField(f.at[9])
	r.day = day
	return ok && r.motion(f.at[8], f.at[7], knotKmh)
}

// vtg reads the form with letters (8 fields or more) and the old one without
// (4 fields: course true, course magnetic, knots, km/h).
func (r *reading) vtg(f *fields) bool {
	switch {
	case f.count == 5:
		return r.motion(f.at[1], f.at[3], knotKmh)
	case f.count < 9:
		return false
	case string(f.at[9]) == "N":
		return true
	case len(f.at[5]) > 0:
		return r.motion(f.at[1], f.at[5], knotKmh)
	}
	return r.motion(f.at[1], f.at[7], 1)
}

func (r *reading) zda(f *fields) bool {
	if f.count < 5 {
		return false
	}
	if len(f.at[1]) == 0 || len(f.at[2]) == 0 || len(f.at[3]) == 0 || len(f.at[4]) == 0 {
		return true
	}
	clockMs, clockOK := clock(f.at[1])
	day, dayOK := integer(f.at[2])
	month, monthOK := integer(f.at[3])
	year, yearOK := integer(f.at[4])
	if !clockOK || !dayOK || !monthOK || !yearOK {
		return false
	}
	r.clockMs = clockMs
	r.day, dayOK = dayOf(year, month, day)
	return dayOK
}

// timedPosition reads clock, latitude and longitude. Without a fix the rest
// may be anything (receivers send old or empty values) and is not looked at.
func (r *reading) timedPosition(at []byte, position [][]byte, claimed bool) bool {
	clockMs, clockOK := clock(at)
	if clockOK {
		r.clockMs = clockMs
	}
	r.state = void
	if !claimed || (len(position[0]) == 0 && len(position[2]) == 0) {
		return true
	}
	lat, latOK := angle(position[0], position[1], 'N', 'S', 90)
	lon, lonOK := angle(position[2], position[3], 'E', 'W', 180)
	if !clockOK || clockMs == noClock || !latOK || !lonOK {
		return false
	}
	if lat == 0 && lon == 0 {
		return true
	}
	r.state, r.latDeg, r.lonDeg = fixed, lat, lon
	return true
}

// motion reads course and speed, either of which may be empty.
func (r *reading) motion(course, speed []byte, kmh float64) bool {
	var ok bool
	if len(course) > 0 {
		if r.headingDeg, ok = decimal(course); !ok || r.headingDeg > 360 {
			return false
		}
	}
	if len(speed) > 0 {
		v, ok := decimal(speed)
		r.speedKmh = v * kmh
		return ok
	}
	return true
}
