package reconcile

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"time"

	"hopperbook/reconcile/clearance"
	"hopperbook/reconcile/coverage"
	"hopperbook/reconcile/nutrient"
	"hopperbook/reconcile/plane"
	"hopperbook/schemas"
)

// exclusionArea is one polygon not to be spread.
type exclusionArea struct {
	field   schemas.FieldID
	to      string // what it is, as buffers name it; "": not said
	rings   [][][2]float64
	latDeg  float64 // the middle of its box, and how far it reaches from there
	lonDeg  float64
	radiusM float64
}

// exclusionAreas are the polygons that fields register, in order of fields;
// those that cannot be laid on their own field's plane are left out, as
// everywhere.
func (r *registers) exclusionAreas() (out []exclusionArea) {
	for _, id := range sortedKeys(r.exclusions) {
		d := r.fields[id].Data
		for i, polygon := range rings(*d.Exclusion) {
			b, err := plane.NewBoundary([][][][2]float64{polygon})
			if err != nil {
				continue
			}
			a := exclusionArea{field: id, to: exclusionTo(d, i), rings: polygon}
			a.latDeg, a.lonDeg, a.radiusM = reach(b)
			out = append(out, a)
		}
	}
	return out
}

// exclusionTo is what polygon i of a field's exclusion is; "" where the list is
// neither one entry nor one a polygon.
func exclusionTo(d schemas.RegisterField, i int) string {
	switch len(d.ExclusionTo) {
	case 1:
		return d.ExclusionTo[0]
	case len(*d.Exclusion):
		return d.ExclusionTo[i]
	}
	return ""
}

// reach is the middle of a boundary's box and half the box's diagonal.
func reach(b plane.Boundary) (latDeg, lonDeg, radiusM float64) {
	lat, lon, halfLat, halfLon := b.BoxDeg()
	return lat, lon, plane.DistanceM(lat, lon, lat+halfLat, plane.WrapDeg(lon+halfLon)) * 1.01 // the narrower corner is the nearer one
}

// farM is how far from a field exclusion areas still are its neighbours: more
// than any buffer that a rule asks for.
const farM = 1000

// neighbour is the areas of one kind near a field, on its plane.
type neighbour struct {
	to     string
	fields []schemas.FieldID // whose registers they stand in
	areas  []plane.Polygon   // each by itself: two fields may register the same creek
}

// neighbours are the exclusion areas near a field by what they are, its own and those of others.
// O(areas).
func (r *registers) neighbours(all []exclusionArea, id schemas.FieldID) []neighbour {
	b := r.ground(id).Boundary
	if len(b.Polygon.Parts) == 0 {
		return nil
	}
	lat, lon, radiusM := reach(b)
	by := map[string]*neighbour{}
	for i := range all {
		a := &all[i]
		if plane.DistanceM(lat, lon, a.latDeg, a.lonDeg) > radiusM+a.radiusM+farM {
			continue
		}
		laid, err := b.Plane.Lay([][][][2]float64{a.rings})
		if err != nil {
			continue
		}
		if by[a.to] == nil {
			by[a.to] = &neighbour{to: a.to}
		}
		n := by[a.to]
		n.areas = append(n.areas, laid)
		n.fields = append(n.fields, a.field)
	}
	out := make([]neighbour, 0, len(by))
	for _, to := range sortedKeys(by) {
		by[to].fields = slices.Compact(by[to].fields)
		out = append(out, *by[to])
	}
	return out
}

// distanceM is to the nearest of them; infinite where there is no swath.
func (n neighbour) distanceM(swaths []coverage.Segment) float64 {
	nearest := math.Inf(1)
	for _, area := range n.areas {
		if m, ok := clearance.DistanceM(swaths, area); ok {
			nearest = min(nearest, m)
		}
	}
	return nearest
}

// measureExclusions gives each application its distances.
func (g *gathered) measureExclusions(in Input) {
	all := g.reg.exclusionAreas()
	if len(all) == 0 {
		return
	}
	near := map[schemas.FieldID][]neighbour{}
	for i := range g.input.Applications {
		a := &g.input.Applications[i]
		if _, known := near[a.Field]; !known {
			near[a.Field] = g.reg.neighbours(all, a.Field)
		}
		if len(near[a.Field]) == 0 {
			continue
		}
		swaths := coverage.FromTrack(nil, g.reg.ground(a.Field).Boundary.Plane, g.all[g.keys[i]].segments)
		for _, n := range near[a.Field] {
			if m := n.distanceM(swaths); m <= farM {
				a.Measured = append(a.Measured, nutrient.Measured{To: n.to, DistanceM: rounded(m, 2), ReceiverM: g.passes.receiverM(a.Machine, a.From, a.To)})
				g.measuredBy[a.ID] = append(g.measuredBy[a.ID], n.fields...)
			}
		}
	}
}

// receiverM is how far off a position of a quality may be, in m (95 %): common
// practice, no source. Where on the machine the receiver is mounted is not in it.
func receiverM(q schemas.Quality) float64 {
	switch q {
	case schemas.QualityRTKFixed:
		return 0.05
	case schemas.QualityRTKFloat:
		return 0.5
	case schemas.QualityDGNSS:
		return 1
	case schemas.QualityGNSS, schemas.QualityPPS:
		return 3
	}
	return 10
}

// passesOf is the pass logs that hold fixes, by machine and start.
type passesOf map[schemas.MachineID]*machinePasses

type machinePasses struct {
	passes  []*Pass
	longest time.Duration
}

func indexPasses(in Input) passesOf {
	x := passesOf{}
	for i := range in.Passes {
		p := &in.Passes[i]
		if len(p.Fixes) == 0 {
			continue
		}
		m := x[p.Machine]
		if m == nil {
			m = &machinePasses{}
			x[p.Machine] = m
		}
		m.passes = append(m.passes, p)
		m.longest = max(m.longest, p.end().Sub(p.start()))
	}
	for _, m := range x {
		slices.SortFunc(m.passes, func(p, q *Pass) int { return cmp.Or(p.start().Compare(q.start()), cmp.Compare(p.ID, q.ID)) })
	}
	return x
}

func (p *Pass) end() time.Time { return time.UnixMilli(p.Fixes[len(p.Fixes)-1].UnixMilli).UTC() }

// during gives a machine's pass logs that meet [from, to]. O(log n + those around).
func (x passesOf) during(machine schemas.MachineID, from, to time.Time) (out []*Pass) {
	m := x[machine]
	if m == nil {
		return nil
	}
	i, _ := slices.BinarySearchFunc(m.passes, from.Add(-m.longest), func(p *Pass, at time.Time) int { return p.start().Compare(at) })
	for ; i < len(m.passes) && !m.passes[i].start().After(to); i++ {
		if !m.passes[i].end().Before(from) {
			out = append(out, m.passes[i])
		}
	}
	return out
}

// receiverM is that of the worst fix in a time.
func (x passesOf) receiverM(machine schemas.MachineID, from, to time.Time) (worst float64) {
	for _, p := range x.during(machine, from, to) {
		for i := range p.Fixes {
			if f := &p.Fixes[i]; f.UnixMilli >= from.UnixMilli() && f.UnixMilli <= to.UnixMilli() && f.Quality != schemas.QualityNone {
				worst = max(worst, receiverM(f.Quality))
			}
		}
	}
	return worst
}

// exclusionKinds says where what exclusion areas are cannot be told.
func exclusionKinds(d schemas.RegisterField) string {
	if n := len(d.ExclusionTo); d.Exclusion != nil && n > 1 && n != len(*d.Exclusion) {
		return fmt.Sprintf("exclusion_to has %d entries for %d areas: what they are is taken as not said", n, len(*d.Exclusion))
	}
	return ""
}
