package exchange

import (
	"encoding/xml"
	"errors"
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"
	"time"

	"hopperbook/schemas"
	"hopperbook/schemas/fault"
)

// The limits of a GPX document: deeper nesting and longer values are none that
// the format knows, and would cost memory.
const (
	maxGPXDepth = 64
	maxGPXValue = 100 // bytes of a time, fix or speed
)

// GPX reads the track points of a GPX document (GPX 1.1 Schema, topografix.com,
// 2004; 1.0 reads the same) as fixes in the order of the file, about 72 bytes of memory each;
// waypoints and routes are left out. A point needs a position and a time; a time without a
// zone is UTC, as the format says. Speed in m/s and course in degrees are taken from the point (as GPX
// 1.0 has them) or from its extensions, by the names speed and course; else they are
// NaN. The element fix gives the quality: none, dgps and pps as named, else QualityGNSS.
//
// Segments of a track are not told apart: what lies between them is a gap by its time.
// Anything else that is no GPX track is a fault.Input with the line it stands on.
func GPX(r io.Reader) ([]schemas.Fix, error) {
	g := gpxReader{xml: xml.NewDecoder(r)}
	for {
		token, err := g.xml.Token()
		switch {
		case errors.Is(err, io.EOF) && len(g.fixes) > 0:
			return g.fixes, nil
		case errors.Is(err, io.EOF):
			return nil, g.fault(errors.New("it holds no track point"), "export a track, not a route or waypoints alone")
		case err != nil:
			return nil, g.fault(err, "is the file whole? export it again, as GPX 1.1 in UTF-8")
		}
		if err := g.take(token); err != nil {
			return nil, g.fault(err, "GPX track points need lat, lon and a time; export the track with its times")
		}
	}
}

type gpxReader struct {
	xml   *xml.Decoder
	path  []string // local names of the elements we are in
	point gpxPoint
	value []byte // text of the element under way
	fixes []schemas.Fix
}

type gpxPoint struct {
	fix     schemas.Fix
	hasTime bool
}

func (g *gpxReader) fault(err error, hint string) error {
	line, _ := g.xml.InputPos()
	return fault.New(fmt.Sprintf("read GPX, line %d", line), fault.Input, err, hint)
}

func (g *gpxReader) take(token xml.Token) error {
	switch t := token.(type) {
	case xml.StartElement:
		return g.start(t)
	case xml.CharData:
		if room := maxGPXValue - len(g.value); g.inPoint() && room > 0 {
			g.value = append(g.value, t[:min(len(t), room)]...)
		}
	case xml.EndElement:
		return g.end(t.Name.Local)
	}
	return nil
}

// inPoint reports whether we are below a track point: gpx, trk, trkseg, trkpt.
func (g *gpxReader) inPoint() bool { return len(g.path) > 4 && g.path[3] == "trkpt" }

func (g *gpxReader) start(e xml.StartElement) error {
	name := e.Name.Local
	switch {
	case len(g.path) == 0 && name != "gpx":
		return fmt.Errorf("the document is a %q, not a GPX file", name)
	case len(g.path) == maxGPXDepth:
		return fmt.Errorf("elements are nested deeper than %d", maxGPXDepth)
	}
	g.path = append(g.path, name)
	g.value = g.value[:0]
	if name == "trkpt" && len(g.path) == 4 && g.path[1] == "trk" && g.path[2] == "trkseg" {
		return g.startPoint(e)
	}
	return nil
}

func (g *gpxReader) startPoint(e xml.StartElement) error {
	g.point = gpxPoint{fix: schemas.Fix{LatDeg: math.NaN(), LonDeg: math.NaN(), SpeedKmh: math.NaN(), HeadingDeg: math.NaN(),
		SetRateKgHa: math.NaN(), BoutWidthM: math.NaN(), Quality: schemas.QualityGNSS}}
	f := &g.point.fix
	for _, a := range e.Attr {
		v, err := strconv.ParseFloat(strings.TrimSpace(a.Value), 64)
		switch a.Name.Local {
		case "lat":
			if err != nil || !(math.Abs(v) <= 90) {
				return fmt.Errorf("a track point's lat is %.40q, not degrees from -90 to 90", a.Value)
			}
			f.LatDeg = v
		case "lon":
			if err != nil || !(math.Abs(v) <= 180) {
				return fmt.Errorf("a track point's lon is %.40q, not degrees from -180 to 180", a.Value)
			}
			f.LonDeg = v
		}
	}
	if math.IsNaN(f.LatDeg) || math.IsNaN(f.LonDeg) {
		return errors.New("a track point has no lat or no lon")
	}
	return nil
}

func (g *gpxReader) end(name string) error {
	if g.inPoint() {
		if err := g.member(name, strings.TrimSpace(string(g.value))); err != nil {
			return err
		}
	}
	g.value = g.value[:0]
	if name == "trkpt" && len(g.path) == 4 {
		if !g.point.hasTime {
			return fmt.Errorf("track point %d has no time", len(g.fixes)+1)
		}
		g.fixes = append(g.fixes, g.point.fix)
	}
	g.path = g.path[:len(g.path)-1]
	return nil
}

// member takes one value of a track point. Only its time must be right: what else
// cannot be read counts as not given.
func (g *gpxReader) member(name, text string) error {
	f := &g.point.fix
	own := len(g.path) == 5
	switch {
	case own && name == "time":
		at, err := gpxTime(text)
		if err != nil {
			return fmt.Errorf("track point %d has the time %.40q, which is none", len(g.fixes)+1, text)
		}
		f.UnixMilli, g.point.hasTime = at.UnixMilli(), true
	case own && name == "fix":
		f.Quality = gpxQuality(text)
	case name == "speed" && (own || g.path[4] == "extensions"):
		f.SpeedKmh = within(text, 0, 100) * 3.6
	case name == "course" && (own || g.path[4] == "extensions"):
		f.HeadingDeg = within(text, 0, 360)
	}
	return nil
}

// gpxTime reads an xsd:dateTime; without a zone it is UTC.
func gpxTime(text string) (time.Time, error) {
	at, err := time.Parse(time.RFC3339Nano, text)
	if err != nil {
		at, err = time.Parse("2006-01-02T15:04:05", text) // takes fractions too
	}
	return at.UTC(), err
}

func gpxQuality(fix string) schemas.Quality {
	switch fix {
	case "none":
		return schemas.QualityNone
	case "dgps":
		return schemas.QualityDGNSS
	case "pps":
		return schemas.QualityPPS
	}
	return schemas.QualityGNSS
}

// within is a number in a range; NaN for anything else.
func within(text string, low, high float64) float64 {
	v, err := strconv.ParseFloat(text, 64)
	if err != nil || !(v >= low && v <= high) {
		return math.NaN()
	}
	return v
}
