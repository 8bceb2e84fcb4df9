package reconcile

import (
	"cmp"
	"slices"

	"hopperbook/reconcile/balance"
	"hopperbook/reconcile/coverage"
	"hopperbook/reconcile/track"
	"hopperbook/schemas"
	"hopperbook/schemas/fault"
	"hopperbook/schemas/unit"
)

// ground is one field under one product: the unit of a field rate.
type ground struct {
	field   schemas.FieldID
	product schemas.ProductID
}

// fields joins what the balances say of each field's mass with what the
// swaths say of its area.
func fields(reg *registers, told []*machine, found *findings) ([]Field, error) {
	pieces := piecesByGround(told)
	var out []Field
	for _, mass := range fieldMasses(told, found) {
		f, err := field(reg, mass, pieces[ground{mass.Field, mass.Product}])
		if err != nil {
			return nil, err
		}
		out = append(out, f)
	}
	return out, nil
}

// piecesByGround gives, per field and product, each machine's pieces, the
// machines in order.
func piecesByGround(told []*machine) map[ground][][]track.Segment {
	out := map[ground][][]track.Segment{}
	for _, m := range told {
		mine := map[ground][]track.Segment{}
		for _, p := range m.periods {
			for _, s := range p.segments {
				if s.Field != "" {
					g := ground{s.Field, p.product}
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

func field(reg *registers, mass balance.FieldMass, machines [][]track.Segment) (Field, error) {
	boundary := reg.ground(mass.Field).Boundary
	var swaths []coverage.Segment
	for _, pieces := range machines {
		swaths = coverage.FromTrack(swaths, boundary.Plane, pieces)
	}
	area, err := coverage.Measure(swaths, &boundary.Polygon, nil)
	if err != nil {
		return Field{}, fault.Wrap("coverage of field "+string(mass.Field), err)
	}
	register := reg.fields[mass.Field].Data
	inside := insideShare(area)
	low, high := mass.Interval95()
	f := Field{
		Field: mass.Field, Name: register.Name, Customer: register.Customer, Product: mass.Product,
		BoundaryM2: rounded(boundaryM2(boundary, area.BoundaryM2), 2), CoveredM2: rounded(area.CoveredM2, 2), CoveredErrorM2: rounded(area.ErrorM2, 4),
		SwathM2: rounded(mass.SwathM2, 2), Overlap2M2: rounded(area.Overlap2M2, 2), Overlap3M2: rounded(area.Overlap3M2, 2),
		MissedM2: rounded(area.MissedM2, 2), OutsideM2: rounded(area.OutsideM2, 2),
		MassKg: rounded(inside*mass.MassKg, 3), MassSdKg: rounded(inside*mass.SdKg, 3), ThrownOutsideKg: rounded((1-inside)*mass.MassKg, 3),
		NominalKg:       rounded(mass.NominalKg, 3),
		SetRateKgHa:     rate(mass.NominalKg, mass.SwathM2),
		FieldRateKgHa:   max(0, rate(inside*mass.MassKg, area.CoveredM2)),
		FieldRateLow:    max(0, rate(inside*low, area.CoveredM2)),
		FieldRateHigh:   max(0, rate(inside*high, area.CoveredM2)),
		MachineRateKgHa: rate(mass.MassKg, mass.SwathM2),
	}
	for _, c := range mass.Contributions {
		f.Open = f.Open || c.To == ""
	}
	return f, nil
}

// insideShare is the share of what was spread while driving in the field that
// landed inside its boundary: swaths reach over it by OutsideM2, taken as hit
// once, and product is taken as even across the bout width.
func insideShare(a coverage.Result) float64 {
	if a.SwathM2 <= 0 {
		return 1
	}
	return max(0, 1-a.OutsideM2/a.SwathM2)
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
