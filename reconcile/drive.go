package reconcile

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"time"

	"hopperbook/reconcile/coverage"
	"hopperbook/reconcile/plane"
	"hopperbook/reconcile/track"
	"hopperbook/schemas"
	"hopperbook/schemas/fault"
)

// Log is the fixes of one machine, in any order.
type Log struct {
	Machine schemas.MachineID // "" for a bare receiver's log
	Fixes   []schemas.Fix
}

// Drive is what logs of fixes come to, whatever fields they lie in.
type Drive struct {
	UsedFixes int            `json:"used_fixes"` // of those given, after cleaning
	DistanceM float64        `json:"distance_m"`
	SpreadM   float64        `json:"spread_m"` // of it while spreading
	Machines  []MachineDrive `json:"machines"` // by name
	Areas
	Findings []Finding `json:"findings"`
}

// MachineDrive is one machine's part of a drive.
type MachineDrive struct {
	Machine   schemas.MachineID `json:"machine,omitempty"`
	UsedFixes int               `json:"used_fixes"`
	DistanceM float64           `json:"distance_m"`
	SpreadM   float64           `json:"spread_m"`
	SwathM2   float64           `json:"swath_m2"`
}

// Areas are those of the union of all swaths. With a boundary everything but
// SwathM2 and OutsideM2 counts only what lies inside it and outside exclusion areas; without one
// BoundaryM2, ExclusionM2, MissedM2 and OutsideM2 are 0.
type Areas struct {
	SwathM2     float64 `json:"swath_m2"`    // distance spread times bout width
	CoveredM2   float64 `json:"covered_m2"`  // at least once
	Overlap2M2  float64 `json:"overlap2_m2"` // twice
	Overlap3M2  float64 `json:"overlap3_m2"` // three times or more
	MissedM2    float64 `json:"missed_m2"`
	OutsideM2   float64 `json:"outside_m2"`
	ExcludedM2  float64 `json:"excluded_m2"` // spread in exclusion areas inside the boundary
	BoundaryM2  float64 `json:"boundary_m2"`
	ExclusionM2 float64 `json:"exclusion_m2"` // what exclusion areas take of the boundary
	ErrorM2     float64 `json:"error_m2"`     // estimate of the largest error of the areas but swath_m2
}

// MeasureOptions say how logs are measured.
type MeasureOptions struct {
	BoutWidthM float64          // for fixes that name none; 0: none
	Boundary   schemas.Boundary // what counts as inside; empty: no boundary
	Exclusion  schemas.Boundary // what is not to be spread; empty: nothing
	// Infer counts only what was driven at a spreading speed where a log does
	// not say whether product was leaving; else the whole drive counts there.
	Infer bool
}

// Logs are the pass logs of events by machine, each fix with the bout width
// and set rate that the machine's setting or the job gave it.
func Logs(in Input) []Log {
	reg := readRegisters(in, &findings{})
	passes := passesByMachine(in.Passes)
	logs := make([]Log, 0, len(passes))
	for _, id := range sortedKeys(passes) {
		m := &machine{id: id, settings: sorted(of(in.Settings, id))}
		logs = append(logs, Log{Machine: id, Fixes: m.fixes(&reg, passes[id])})
	}
	return logs
}

// Measure gives distance and areas of logs, each of a machine of its own: their
// swaths overlap, their ways do not join. Areas are measured on the boundary's
// plane or, without one, on a plane at the first usable fix. It refuses logs that lie
// further than plane.ReachM from there or beyond latitude 85, and a boundary that cannot be laid on a plane.
// No fixes give an empty drive: with a boundary all of it is missed.
func Measure(logs []Log, o MeasureOptions) (Drive, error) {
	d := Drive{Machines: []MachineDrive{}}
	found := &findings{list: []Finding{}}
	var bound *plane.Boundary
	if len(o.Boundary) > 0 {
		b, err := plane.NewBoundary(rings(o.Boundary))
		if err != nil {
			return d, err
		}
		bound = &b
	}
	var tracks [][]track.Segment
	logs = slices.Clone(logs)
	slices.SortStableFunc(logs, func(a, b Log) int { return cmp.Compare(a.Machine, b.Machine) })
	for _, l := range logs {
		tracks = append(tracks, d.clean(l, o, found))
	}
	areas, err := o.measureAreas(d.Machines, tracks, bound, found)
	if err != nil {
		return d, err
	}
	d.Areas, d.Findings = areas, found.sorted()
	d.DistanceM, d.SpreadM = rounded(d.DistanceM, 3), rounded(d.SpreadM, 3)
	return d, nil
}

// clean adds one machine's way to the drive and gives its segments.
func (d *Drive) clean(l Log, o MeasureOptions, found *findings) []track.Segment {
	fixes, said := l.Fixes, true
	if !o.Infer {
		fixes, said = allSpreading(fixes)
	}
	cleaned := track.Clean(fixes, track.Options{BoutWidthM: o.BoutWidthM})
	found.addTrack(l.Machine, slices.DeleteFunc(cleaned.Findings, func(f track.Finding) bool {
		// No mass is asked for here, and where product was not surely leaving no turn is
		// held against anyone.
		return f.Kind == track.NoSetRate || f.Kind == track.TightTurn && !said
	}))
	total := track.Total(cleaned.Segments)
	d.UsedFixes += cleaned.Used
	d.DistanceM += total.LengthM
	d.SpreadM += total.SpreadM
	d.Machines = append(d.Machines, MachineDrive{Machine: l.Machine, UsedFixes: cleaned.Used,
		DistanceM: rounded(total.LengthM, 3), SpreadM: rounded(total.SpreadM, 3), SwathM2: rounded(total.SwathM2, 2)})
	return cleaned.Segments
}

// exclusion lays the exclusion areas on the plane of the drive; nil: none.
func (o MeasureOptions) exclusion(on plane.Plane) (*plane.Polygon, error) {
	if len(o.Exclusion) == 0 {
		return nil, nil
	}
	p, err := on.Lay(rings(o.Exclusion))
	if err != nil {
		return nil, fault.Wrap("the exclusion areas", err)
	}
	return &p, nil
}

// measureAreas is given the machines and the track of each.
func (o MeasureOptions) measureAreas(machines []MachineDrive, tracks [][]track.Segment, bound *plane.Boundary, found *findings) (Areas, error) {
	var on plane.Plane
	var polygon *plane.Polygon
	i := slices.IndexFunc(tracks, func(t []track.Segment) bool { return len(t) > 0 })
	switch {
	case bound != nil:
		on, polygon = bound.Plane, &bound.Polygon
	case i < 0:
		return Areas{}, nil
	default:
		on = plane.At(tracks[i][0].FromLatDeg, tracks[i][0].FromLonDeg)
	}
	var swaths []coverage.Segment
	var swathM2 float64
	for i, t := range tracks {
		if err := withinReach(on, machines[i].Machine, t, bound != nil); err != nil {
			return Areas{}, err
		}
		swaths = coverage.FromTrack(swaths, on, t)
		swathM2 += track.Total(t).SwathM2
	}
	exclusion, err := o.exclusion(on)
	if err != nil {
		return Areas{}, err
	}
	for _, drawn := range []struct {
		kind, what string
		p          *plane.Polygon
	}{{"odd_boundary", "the boundary", polygon}, {"odd_exclusion", "the exclusion areas", exclusion}} {
		if drawn.p == nil {
			continue
		}
		if fault := shapeFault(*drawn.p); fault != "" {
			found.add(Finding{Kind: drawn.kind, Text: "draw " + drawn.what + " anew, what they hold is doubtful: " + fault})
		}
	}
	a, err := coverage.Measure(swaths, polygon, exclusion)
	if err != nil {
		return Areas{}, fault.Wrap("measure the drive", err)
	}
	if bound != nil && a.CoveredM2 == 0 {
		found.add(Finding{Kind: "nothing_inside", Amount: rounded(swathM2, 2),
			Text: "nothing was spread inside the boundary: is it the one of this log? (amount: m2 of swath)"})
	}
	inside := a.BoundaryM2
	if bound != nil {
		inside = boundaryM2(*bound, inside)
	}
	return Areas{
		SwathM2: rounded(swathM2, 2), CoveredM2: rounded(a.CoveredM2, 2), Overlap2M2: rounded(a.Overlap2M2, 2), Overlap3M2: rounded(a.Overlap3M2, 2),
		MissedM2: rounded(a.MissedM2, 2), OutsideM2: rounded(a.OutsideM2, 2), ExcludedM2: rounded(a.ExcludedM2, 2),
		BoundaryM2: rounded(inside, 2), ExclusionM2: rounded(a.ExclusionM2, 2), ErrorM2: rounded(a.ErrorM2, 4),
	}, nil
}

// maxLatDeg is how far north or south a plane is any good; as for boundaries.
const maxLatDeg = 85

// withinReach refuses a track that leaves the plane, and says where and when.
func withinReach(p plane.Plane, machine schemas.MachineID, segments []track.Segment, bounded bool) error {
	lat, lon := p.Origin()
	for _, s := range segments {
		polar := math.Abs(s.FromLatDeg) > maxLatDeg
		if !polar && plane.DistanceM(lat, lon, s.FromLatDeg, s.FromLonDeg) <= plane.ReachM {
			continue
		}
		who := "the log"
		if machine != "" {
			who = "the log of " + string(machine)
		}
		where := fmt.Sprintf("%s is at latitude %.4f, longitude %.4f at %s", who, s.FromLatDeg, s.FromLonDeg, time.UnixMilli(s.FromMilli).UTC().Format(time.RFC3339))
		if polar {
			return fault.Newf("measure the drive", fault.Input, fmt.Sprintf("%s; areas are measured up to latitude %d", where, maxLatDeg), "is it a position of a receiver that had none? leave it out")
		}
		from, hint := "the first position", "measure places far apart one by one: one log each"
		if bounded {
			from, hint = "the boundary", "is it the boundary of this log? longitude stands first in GeoJSON"
		}
		return fault.Newf("measure the drive", fault.Input,
			fmt.Sprintf("%s, about %s km from %s; %.0f km are possible", where, roundKm(greatCircleKm(lat, lon, s.FromLatDeg, s.FromLonDeg)), from, plane.ReachM/1000), hint)
	}
	return nil
}

// greatCircleKm is the distance on a sphere of the mean radius (haversine), right
// within 0.6 %, any distance.
func greatCircleKm(lat1Deg, lon1Deg, lat2Deg, lon2Deg float64) float64 {
	const meanRadiusKm, rad = 6371.0088, math.Pi / 180
	sinLat, sinLon := math.Sin((lat2Deg-lat1Deg)*rad/2), math.Sin((lon2Deg-lon1Deg)*rad/2)
	h := sinLat*sinLat + math.Cos(lat1Deg*rad)*math.Cos(lat2Deg*rad)*sinLon*sinLon
	return 2 * meanRadiusKm * math.Asin(math.Sqrt(min(1, h)))
}

// roundKm is a distance to two digits: 130, 19000.
func roundKm(km float64) string {
	p := math.Pow10(int(math.Floor(math.Log10(max(km, 1)))) - 1)
	return fmt.Sprintf("%.0f", math.Round(km/p)*p)
}

// allSpreading takes what a log does not say as spreading; said is false where
// there was such a fix.
func allSpreading(fixes []schemas.Fix) (out []schemas.Fix, said bool) {
	silent := func(f schemas.Fix) bool { return f.Spreading == schemas.SpreadingUnknown }
	if !slices.ContainsFunc(fixes, silent) {
		return fixes, true
	}
	out = slices.Clone(fixes)
	for i := range out {
		if silent(out[i]) {
			out[i].Spreading = schemas.SpreadingOn
		}
	}
	return out, false
}
