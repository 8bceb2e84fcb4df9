package reports

import (
	"math"
	"strconv"
	"time"

	"hopperbook/reconcile"
	"hopperbook/schemas"
)

// SchemaTrack names the shape of TrackAnswer's JSON.
const SchemaTrack = "hopperbook.track/1"

type (
	// TrackAnswer is a receiver's log: what was read and what it comes to.
	TrackAnswer struct {
		Schema     string     `json:"schema"`
		BoutWidthM float64    `json:"bout_width_m"`
		Reading    any        `json:"reading"` // what the reader of the format says of the file
		Fixes      []TrackFix `json:"fixes"`
		reconcile.Drive
	}

	// TrackFix is one fix; what the receiver did not give is left out.
	TrackFix struct {
		Time       time.Time       `json:"time"`
		LatDeg     float64         `json:"lat_deg"`
		LonDeg     float64         `json:"lon_deg"`
		SpeedKmh   *float64        `json:"speed_kmh,omitempty"`
		HeadingDeg *float64        `json:"heading_deg,omitempty"`
		Quality    schemas.Quality `json:"quality"` // NMEA 0183 GGA quality code
	}
)

// TrackFixes shows fixes as JSON can hold them.
func TrackFixes(fixes []schemas.Fix) []TrackFix {
	out := make([]TrackFix, len(fixes))
	for i, f := range fixes {
		out[i] = TrackFix{Time: time.UnixMilli(f.UnixMilli).UTC(), LatDeg: f.LatDeg, LonDeg: f.LonDeg,
			SpeedKmh: known(f.SpeedKmh), HeadingDeg: known(f.HeadingDeg), Quality: f.Quality}
	}
	return out
}

func known(v float64) *float64 {
	if math.IsNaN(v) {
		return nil
	}
	return &v
}

// Track is the table of a log.
func Track(a TrackAnswer) Table {
	t := Table{Caption: "Track", Columns: []Column{{"what", "What", false}, {"value", "Value", true}}}
	row := func(what, value string) { t.Rows = append(t.Rows, []string{what, value}) }
	row("fixes", strconv.Itoa(len(a.Fixes)))
	if n := len(a.Fixes); n > 0 {
		row("from (UTC)", a.Fixes[0].Time.Format("2006-01-02 15:04:05"))
		row("to (UTC)", a.Fixes[n-1].Time.Format("2006-01-02 15:04:05"))
	}
	row("distance m", number(a.DistanceM, 1))
	row("swath m2", number(a.SwathM2, 1))
	row("covered m2", number(a.CoveredM2, 1))
	row("covered twice m2", number(a.Overlap2M2, 1))
	row("three times or more m2", number(a.Overlap3M2, 1))
	for _, f := range a.Findings {
		t.Notes = append(t.Notes, findingLine(f))
	}
	return t
}
