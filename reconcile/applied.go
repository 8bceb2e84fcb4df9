package reconcile

import (
	"fmt"
	"slices"
	"sort"

	"hopperbook/reconcile/applied"
	"hopperbook/reconcile/calibration"
	"hopperbook/reconcile/plane"
	"hopperbook/reconcile/track"
	"hopperbook/schemas"
	"hopperbook/schemas/fault"
)

// FieldMap is where one product landed on one field.
type FieldMap struct {
	Field         schemas.FieldID
	Name          string
	Customer      schemas.CustomerID
	Product       schemas.ProductID
	ProductName   string  // "" where the product is not registered
	SetRateKgHa   float64 // nominal mass / swath area; 0: not known
	SetRateVaries bool    // by more than 1 % of it: classes are against the mean of what was asked for
	Open          bool    // part of the mass is of a balance interval not closed yet
	Patterns      []MapPattern
	Boundary      plane.Boundary
	Exclusion     plane.Polygon // on the boundary's plane; empty: none
	Map           applied.Map
	Figures       applied.Figures // against SetRateKgHa, or against the mean where that is not known
}

// MapPattern is one pattern the map was laid with.
type MapPattern struct {
	Machine    schemas.MachineID `json:"machine"`
	TrayTest   schemas.TestID    `json:"tray_test,omitempty"` // "": none, even across the bout width
	BoutWidthM float64           `json:"bout_width_m"`        // driven; of a tray pattern the first one
	MassKg     float64           `json:"mass_kg"`
}

// Applied makes the as-applied map of a field: each segment's mass is its
// nominal mass times the flow ratio of its balance interval (by swath area where there is no
// nominal mass), laid with the machine's last tray test of the product before
// it, or evenly across the bout width where there is none. field is an
// identifier or a name only one field has; product may be "" where only one was spread. cellM 0: 1 m.
//
// fault.NotFound: no such field, nothing spread there; fault.Usage: several
// products and none named. Only machines whose fixes come near the field are balanced. Cost: that of
// Run for them, without coverage, and that of applied.Lay.
func Applied(in Input, field schemas.FieldID, product schemas.ProductID, cellM float64) (FieldMap, error) {
	found := &findings{}
	reg := readRegisters(in, found)
	id, err := reg.named(field)
	if err != nil {
		return FieldMap{}, err
	}
	ground := reg.ground(id)
	if len(ground.Boundary.Polygon.Parts) == 0 {
		return FieldMap{}, fault.Newf("map field "+string(id), fault.Input, "its boundary cannot be used", "hopperbook reconcile says what is wrong with it; register the field again")
	}
	told, err := tellAll(in, &reg, found, func(p []Pass) bool { return comeNear(p, ground.Boundary) })
	if err != nil {
		return FieldMap{}, err
	}
	laid := laidOn(id, told)
	if product, err = chosen(id, product, laid); err != nil {
		return FieldMap{}, err
	}
	laid = slices.DeleteFunc(laid, func(l laidSegment) bool { return l.product != product })
	m := FieldMap{Field: id, Name: reg.fields[id].Data.Name, Customer: reg.fields[id].Data.Customer, Product: product,
		ProductName: reg.products[product].Data.Name, Boundary: ground.Boundary, Exclusion: reg.exclusions[id]}
	m.asked(laid)
	input, err := m.input(laid, in.Trays)
	if err != nil {
		return FieldMap{}, err
	}
	input.CellM = cellM
	if m.Map, err = applied.Lay(input); err != nil {
		return FieldMap{}, fault.Wrap("map field "+string(id), err)
	}
	reference := m.SetRateKgHa
	if reference <= 0 {
		reference = m.Map.Figures(0).MeanKgHa
	}
	m.Figures = m.Map.Figures(reference)
	return m, nil
}

// comeNear reports whether a fix, or the way from the one before, may touch the boundary.
func comeNear(passes []Pass, b plane.Boundary) bool {
	var last *schemas.Fix
	for _, p := range passes {
		for i := range p.Fixes {
			f := &p.Fixes[i]
			if last == nil {
				last = f
			}
			if b.MayMeet(last.LatDeg, last.LonDeg, f.LatDeg, f.LonDeg) {
				return true
			}
			last = f
		}
	}
	return false
}

// laidSegment is a segment with the mass it spread.
type laidSegment struct {
	track.Segment
	machine schemas.MachineID
	product schemas.ProductID
	massKg  float64
	open    bool
}

// laidOn gives what lies in a field, the machines in order, each in order of time.
func laidOn(field schemas.FieldID, told []*machine) (laid []laidSegment) {
	for _, m := range told {
		flows := m.flows()
		for i, p := range m.periods {
			for _, s := range p.segments {
				if s.Field == field {
					laid = append(laid, laidSegment{s, m.id, flows[i].product, flows[i].massKg(s), flows[i].open})
				}
			}
		}
	}
	return laid
}

// flow is what one balance interval says of its segments' mass.
type flow struct {
	product               schemas.ProductID
	open                  bool
	perNominal, perSwathM float64 // kg a kg of nominal mass, kg a m2 of swath: one of the two
}

func (f flow) massKg(s track.Segment) float64 {
	return f.perNominal*s.NominalKg() + f.perSwathM*s.SwathM2()
}

// flows gives the flow of every period: the balance splits an interval's mass
// by nominal mass, without any by swath area (balance.FieldMass), and so does this.
func (m *machine) flows() []flow {
	out := make([]flow, len(m.periods))
	for i, covers := range m.intervalPeriods() {
		iv := m.balance.Intervals[i]
		f := flow{product: iv.Product, open: iv.To == ""}
		swath := 0.0
		for _, p := range covers {
			swath += track.Total(m.periods[p].segments).SwathM2
		}
		switch {
		case iv.NominalKg > 0:
			f.perNominal = iv.MassKg / iv.NominalKg
		case swath > 0:
			f.perSwathM = iv.MassKg / swath
		}
		for _, p := range covers {
			out[p] = f
		}
	}
	return out
}

// chosen is the product to map.
func chosen(field schemas.FieldID, product schemas.ProductID, laid []laidSegment) (schemas.ProductID, error) {
	op := "map field " + string(field)
	byProduct := map[schemas.ProductID]bool{}
	for _, l := range laid {
		byProduct[l.product] = true
	}
	products := sortedKeys(byProduct)
	switch {
	case len(products) == 0:
		return "", fault.Newf(op, fault.NotFound, "nothing has been spread on it", "hopperbook fields lists the fields that have been spread")
	case product == "" && len(products) > 1:
		return "", fault.Newf(op, fault.Usage, fmt.Sprintf("several products were spread on it: %s", list(products)), "name one with --product")
	case product == "":
		return products[0], nil
	case !byProduct[product]:
		return "", fault.Newf(op, fault.NotFound, fmt.Sprintf("no %s has been spread on it", product), "name one of: "+list(products))
	}
	return product, nil
}

// asked fills in what was asked for, and whether all of the mass is settled.
func (m *FieldMap) asked(laid []laidSegment) {
	var nominal, swath, low, high float64
	for i, l := range laid {
		nominal += l.NominalKg()
		swath += l.SwathM2()
		if low = min(low, l.SetRateKgHa); i == 0 {
			low = l.SetRateKgHa
		}
		high = max(high, l.SetRateKgHa)
		m.Open = m.Open || l.open
	}
	m.SetRateKgHa = rate(nominal, swath)
	m.SetRateVaries = high-low > 0.01*m.SetRateKgHa
}

// input lays segments on the field's plane, with their patterns.
func (m *FieldMap) input(laid []laidSegment, all []At[schemas.TestTray]) (applied.Input, error) {
	in := applied.Input{Field: m.Boundary.Polygon, Exclusion: m.Exclusion}
	trays := sorted(notVoid(all))
	seen := map[MapPattern]int{}
	line, last := 0, laidSegment{}
	for i, l := range laid {
		if i > 0 && (l.machine != last.machine || l.Line != last.Line) {
			line++
		}
		last = l
		if l.massKg == 0 {
			continue
		}
		use, test := patternOf(l, trays)
		k, ok := seen[use]
		if !ok {
			p, err := use.pattern(test)
			if err != nil {
				return in, fault.Wrap("map field "+string(m.Field), err)
			}
			k = len(in.Patterns)
			seen[use] = k
			in.Patterns = append(in.Patterns, p)
			use.BoutWidthM = l.BoutWidthM
			m.Patterns = append(m.Patterns, use)
		}
		m.Patterns[k].MassKg += l.massKg
		p := applied.Piece{Line: line, MassKg: l.massKg, Pattern: k}
		p.FromXM, p.FromYM = m.Boundary.Plane.Forward(l.FromLatDeg, l.FromLonDeg)
		p.ToXM, p.ToYM = m.Boundary.Plane.Forward(l.ToLatDeg, l.ToLonDeg)
		in.Pieces = append(in.Pieces, p)
	}
	for i := range m.Patterns {
		m.Patterns[i].MassKg = rounded(m.Patterns[i].MassKg, 3)
	}
	return in, nil
}

// patternOf is the machine's last tray test of the product before the
// segment; a tray pattern is the same at any bout width.
func patternOf(l laidSegment, trays []At[schemas.TestTray]) (MapPattern, schemas.TestTray) {
	n := sort.Search(len(trays), func(i int) bool { return trays[i].Time.UnixMilli() > l.FromMilli })
	for i := n - 1; i >= 0; i-- {
		if t := trays[i]; t.Machine == l.machine && t.Data.Product == l.product {
			return MapPattern{Machine: l.machine, TrayTest: t.Data.TrayTest}, t.Data
		}
	}
	return MapPattern{Machine: l.machine, BoutWidthM: l.BoutWidthM}, schemas.TestTray{}
}

func (p MapPattern) pattern(test schemas.TestTray) (applied.Pattern, error) {
	if p.TrayTest == "" {
		return applied.Even(p.BoutWidthM)
	}
	whole, err := calibration.Whole(test)
	if err != nil {
		return applied.Pattern{}, fault.Wrap("lay it with tray test "+string(test.TrayTest), err)
	}
	return applied.FromTrays(whole)
}
