package exchange

import (
	"bytes"
	"regexp"
)

// Format is what a log's bytes look like.
type Format string

// The formats of logs.
const (
	FormatUnknown Format = ""
	FormatNMEA    Format = "nmea"   // NMEA 0183 sentences, for ingest/gnss
	FormatGPX     Format = "gpx"    // for GPX
	FormatEvents  Format = "events" // JSON lines, for Events
)

// SniffBytes is how much of a file's beginning Sniff should be given.
const SniffBytes = 64 << 10

// Sniff tells the format of a log from its first bytes, whatever its name: an
// XML document with a gpx element, a JSON object, or else anything in which an
// NMEA sentence begins (logs may start in the middle of one, or with other protocols).
func Sniff(head []byte) Format {
	text := bytes.TrimLeft(bytes.TrimPrefix(head, []byte("\ufeff")), " \t\r\n")
	switch {
	case bytes.HasPrefix(text, []byte("<")) && gpxElement.Match(text):
		return FormatGPX
	case bytes.HasPrefix(text, []byte("{")):
		return FormatEvents
	case nmeaSentence.Match(text):
		return FormatNMEA
	}
	return FormatUnknown
}

var (
	gpxElement   = regexp.MustCompile(`<([\w.-]+:)?gpx[\s>]`)
	nmeaSentence = regexp.MustCompile(`\$[A-Z][A-Z0-9]{4},`)
)
