package reports

import (
	"cmp"
	"fmt"
	"math"
	"strconv"
	"time"

	"hopperbook/reconcile"
	"hopperbook/schemas"
	"hopperbook/schemas/unit"
)

// The schema names of the answers about logs.
const (
	SchemaTrack    = "hopperbook.track/1"
	SchemaCoverage = "hopperbook.coverage/1"
)

type (
	// TrackAnswer is a receiver's log: what was read and what it comes to.
	TrackAnswer struct {
		Schema     string     `json:"schema"`
		BoutWidthM float64    `json:"bout_width_m"`
		Reading    any        `json:"reading"` // what the reader of the format says of the file
		Fixes      []TrackFix `json:"fixes"`
		reconcile.Drive
	}

	// CoverageAnswer is the areas of a log of any kind.
	CoverageAnswer struct {
		Schema     string  `json:"schema"`
		Format     string  `json:"format"`       // nmea, gpx, events
		BoutWidthM float64 `json:"bout_width_m"` // where the log names none; 0: not given
		Reading    any     `json:"reading"`      // what the reader of the format says of the file
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

// Coverage is the table of a log's areas.
func Coverage(a CoverageAnswer) Table {
	t := Table{Caption: "Coverage", Columns: []Column{{"what", "What", false}, {"m2", "m2", true}, {"ha", "ha", true}}}
	row := func(what string, m2 float64) {
		t.Rows = append(t.Rows, []string{what, number(m2, 1), number(m2/unit.M2PerHa, 4)})
	}
	row("swath (distance x bout width)", a.SwathM2)
	row("covered", a.CoveredM2)
	row("covered twice", a.Overlap2M2)
	row("three times or more", a.Overlap3M2)
	if a.BoundaryM2 > 0 {
		row("missed", a.MissedM2)
		row("outside the boundary", a.OutsideM2)
		row("boundary", a.BoundaryM2)
	}
	if a.ExclusionM2 > 0 || a.ExcludedM2 > 0 {
		if a.BoundaryM2 > 0 {
			row("exclusion areas in it", a.ExclusionM2)
		}
		row("spread in exclusion areas", a.ExcludedM2)
	}
	row("error of these at most", a.ErrorM2)
	for _, m := range a.Machines {
		t.Notes = append(t.Notes, fmt.Sprintf("%s: %d fixes, %s m driven, %s m of it spreading",
			cmp.Or(string(m.Machine), "the log"), m.UsedFixes, number(m.DistanceM, 1), number(m.SpreadM, 1)))
	}
	for _, f := range a.Findings {
		t.Notes = append(t.Notes, findingLine(f))
	}
	return t
}
