package reconcile

import (
	"cmp"
	"fmt"
	"slices"

	"hopperbook/reconcile/balance"
	"hopperbook/reconcile/coverage"
	"hopperbook/reconcile/plane"
	"hopperbook/reconcile/track"
	"hopperbook/schemas"
	"hopperbook/schemas/fault"
	"hopperbook/schemas/unit"
)

// ground is one field, or a part of the work in it, under one product: the unit of a field rate.
type ground struct {
	field   schemas.FieldID
	part    string
	product schemas.ProductID
}

// fields joins what the balances say of each field's mass with what the
// swaths say of its area.
func fields(reg *registers, told []*machine, found *findings) ([]Field, error) {
	var out []Field
	err := eachGround(reg, told, found, func(f Field, _ ground, _ [][]track.Segment) {
		if f.ExcludedM2 > f.CoveredErrorM2 && f.ExcludedM2 >= leastExcludedM2 {
			found.add(Finding{Kind: "exclusion_hit", Field: f.Field, Amount: f.ExcludedM2,
				Text: fmt.Sprintf("%.0f m2 of exclusion areas were spread on, with about %.0f kg of %s", f.ExcludedM2, f.ExcludedKg, f.Product)})
		}
		out = append(out, f)
	})
	return out, err
}

// eachGround hands out every field by part and product, with the machines' pieces there.
func eachGround(reg *registers, told []*machine, found *findings, take func(Field, ground, [][]track.Segment)) error {
	pieces := piecesByGround(told)
	var cover coverage.Cover // one for all fields keeps its memory
	for _, mass := range fieldMasses(told, found) {
		g := ground{mass.Field, mass.Part, mass.Product}
		f, err := field(reg, &cover, mass, pieces[g])
		if err != nil {
			return err
		}
		take(f, g, pieces[g])
	}
	return nil
}

// leastExcludedM2 is how much of an exclusion area must be spread on to be told.
const leastExcludedM2 = 1

// piecesByGround gives, per field, part and product, each machine's pieces, the
// machines in order.
func piecesByGround(told []*machine) map[ground][][]track.Segment {
	return piecesBy(told, (*machine).groundOf)
}

func piecesBy(told []*machine, of func(*machine, track.Segment, schemas.ProductID) ground) map[ground][][]track.Segment {
	out := map[ground][][]track.Segment{}
	for _, m := range told {
		mine := map[ground][]track.Segment{}
		for _, p := range m.periods {
			for _, s := range p.segments {
				if s.Field != "" {
					g := of(m, s, p.product)
					mine[g] = append(mine[g], s)
				}
			}
		}
		for g, segments := range mine {
			out[g] = append(out[g], segments)
		}
	}
	return out
}

func field(reg *registers, cover *coverage.Cover, mass balance.FieldMass, machines [][]track.Segment) (Field, error) {
	boundary := reg.ground(mass.Field).Boundary
	area, err := covered(reg, cover, mass.Field, machines)
	if err != nil {
		return Field{}, err
	}
	register := reg.fields[mass.Field].Data
	target, outside, excluded := shares(area)
	low, high := mass.Interval95()
	f := Field{
		Field: mass.Field, Name: register.Name, Customer: register.Customer, Product: mass.Product,
		BoundaryM2: rounded(boundaryM2(boundary, area.BoundaryM2), 2), CoveredM2: rounded(area.CoveredM2, 2), CoveredErrorM2: rounded(area.ErrorM2, 4),
		SwathM2: rounded(mass.SwathM2, 2), Overlap2M2: rounded(area.Overlap2M2, 2), Overlap3M2: rounded(area.Overlap3M2, 2),
		MissedM2: rounded(area.MissedM2, 2), OutsideM2: rounded(area.OutsideM2, 2),
		MassKg: rounded(target*mass.MassKg, 3), MassSdKg: rounded(target*mass.SdKg, 3), ThrownOutsideKg: rounded(outside*mass.MassKg, 3),
		ExclusionM2: rounded(area.ExclusionM2, 2), ExcludedM2: rounded(area.ExcludedM2, 2), ExcludedKg: rounded(excluded*mass.MassKg, 3),
		NominalKg:       rounded(mass.NominalKg, 3),
		SetRateKgHa:     rate(mass.NominalKg, mass.SwathM2),
		FieldRateKgHa:   max(0, rate(target*mass.MassKg, area.CoveredM2)),
		FieldRateLow:    max(0, rate(target*low, area.CoveredM2)),
		FieldRateHigh:   max(0, rate(target*high, area.CoveredM2)),
		MachineRateKgHa: rate(mass.MassKg, mass.SwathM2),
	}
	for _, c := range mass.Contributions {
		f.Open = f.Open || c.To == ""
	}
	return f, nil
}

// covered is the coverage of a field by pieces of driving, each machine's in order.
func covered(reg *registers, cover *coverage.Cover, id schemas.FieldID, lines [][]track.Segment) (coverage.Result, error) {
	boundary := reg.ground(id).Boundary
	var exclusion *plane.Polygon
	if e, ok := reg.exclusions[id]; ok {
		exclusion = &e
	}
	var swaths []coverage.Segment
	for _, pieces := range lines {
		swaths = coverage.FromTrack(swaths, boundary.Plane, pieces)
	}
	err := cover.Reset(&boundary.Polygon, exclusion, coverage.Options{})
	if err == nil {
		err = cover.Add(swaths)
	}
	if err != nil {
		return coverage.Result{}, fault.Wrap("coverage of field "+string(id), err)
	}
	return cover.Result(), nil
}

// shares of what was spread while driving in the field: what landed where it should, over the
// boundary, where swaths reach, and in exclusion areas. Each counts as often as it was
// covered, and product is taken as even across the bout width.
func shares(a coverage.Result) (target, outside, excluded float64) {
	sum := a.TargetTimesM2 + a.OutsideTimesM2 + a.ExcludedTimesM2
	if sum <= 0 {
		return 1, 0, 0
	}
	outside, excluded = a.OutsideTimesM2/sum, a.ExcludedTimesM2/sum
	return a.TargetTimesM2 / sum, outside, excluded
}

// rate is kg/ha, 0 where no area was covered.
func rate(massKg, areaM2 float64) float64 {
	return rounded(unit.NominalRate(massKg, areaM2), 4)
}

// ground finds a field's ground; every field that a segment names has one.
func (r *registers) ground(id schemas.FieldID) track.Field {
	i, ok := slices.BinarySearchFunc(r.grounds, id, func(g track.Field, id schemas.FieldID) int { return cmp.Compare(g.ID, id) })
	if !ok {
		return track.Field{ID: id}
	}
	return r.grounds[i]
}
