package reconcile

import (
	"cmp"
	"fmt"
	"slices"
	"time"

	"hopperbook/reconcile/balance"
	"hopperbook/reconcile/coverage"
	"hopperbook/reconcile/nutrient"
	"hopperbook/reconcile/track"
	"hopperbook/schemas"
)

// NutrientAsk says whose nutrients are wanted, and held against what.
type NutrientAsk struct {
	Location *time.Location     // whose days and seasons; nil: UTC
	Season   nutrient.Period    // zero: the calendar year
	Dates    nutrient.Span      // instead of seasons; zero: seasons
	Customer schemas.CustomerID // "": of all
	Rules    []nutrient.Rules
}

// Nutrients sums what a customer's fields got and holds it against rules.
// Cost: that of Run, plus the coverage of each application.
func Nutrients(in Input, ask NutrientAsk) (nutrient.Result, error) {
	input, err := NutrientInput(in, ask)
	if err != nil {
		return nutrient.Result{}, err
	}
	return nutrient.Run(input)
}

// NutrientInput makes the applications: what one machine spread of one product
// and batch under one job on one field on one local day. Jobs are divided as
// for bills, except that work which names no job is not of one registered after
// it: what is still to spread of that must not seem spread. Their masses sum to Field.MassKg; a
// mass's error is its share of the error of what the machine spread on the
// field, so that sums over days, fields and products are as certain as the
// balance says, and a single day of several is taken as no less certain than
// the field.
func NutrientInput(in Input, ask NutrientAsk) (nutrient.Input, error) {
	g, err := gather(in, ask)
	if err != nil {
		return nutrient.Input{}, err
	}
	return g.input, nil
}

// gathered is the applications with what they were made of.
type gathered struct {
	input nutrient.Input
	reg   registers
	told  []*machine
	keys  []spreading // of input.Applications, in their order
	all   map[spreading]*spread
	crew  notes

	passes     passesOf
	notedBy    map[string][]schemas.EventID // who, how and in what weather
	measuredBy map[string][]schemas.FieldID // whose exclusion areas an application was measured to
	found      seasonFound

	history map[schemas.FieldID][]At[schemas.RegisterField] // in order
	wanted  map[schemas.FieldID]bool                        // whose applications count

	voidedLoads map[schemas.LoadID][]schemas.EventID
}

func gather(in Input, ask NutrientAsk) (*gathered, error) {
	if ask.Location == nil {
		ask.Location = time.UTC
	}
	found := &findings{apart: true}
	g := &gathered{reg: readRegisters(in, found), crew: notes{starts: sorted(in.Starts), finishes: sorted(in.Finishes), weather: sorted(in.Weather)},
		passes: indexPasses(in), notedBy: map[string][]schemas.EventID{}, voidedLoads: map[schemas.LoadID][]schemas.EventID{}, measuredBy: map[string][]schemas.FieldID{}}
	reg, out := &g.reg, &g.input
	g.crew.jobs = reg.jobs
	for _, v := range in.Voided {
		if v.Load != "" {
			g.voidedLoads[v.Load] = append(g.voidedLoads[v.Load], v.ID)
		}
	}
	reg.divideByJob(in).planned = true
	var err error
	if g.told, err = tellAll(in, reg, found, func([]Pass) bool { return true }); err != nil {
		return nil, err
	}
	*out = nutrient.Input{Location: ask.Location, Customer: ask.Customer, Season: ask.Season, Dates: ask.Dates, Rules: ask.Rules}
	for _, p := range sorted(in.Products) {
		out.Products = append(out.Products, nutrient.Product{Product: p.Data.Product, Form: p.Data.Form, At: p.Time, Event: p.ID, Analysis: p.Data.Analysis})
	}
	var cover coverage.Cover
	g.history, g.wanted = fieldHistory(in.Fields), wantedFields(in.Fields, reg.jobs, ask.Customer)
	for _, id := range sortedKeys(g.wanted) {
		versions, err := g.nutrientFields(&cover, id)
		if err != nil {
			return nil, err
		}
		out.Fields = append(out.Fields, versions...)
	}
	if err := g.applications(in, &cover, ask, found); err != nil {
		return nil, err
	}
	g.measureExclusions(in)
	g.found = g.foundOf(in, found)
	return g, nil
}

// spreading is what makes one application.
type spreading struct {
	ground
	machine schemas.MachineID
	batch   schemas.DocketID
	day     string
}

func (s spreading) compare(o spreading) int {
	return cmp.Or(cmp.Compare(s.field, o.field), cmp.Compare(s.product, o.product), cmp.Compare(s.day, o.day), cmp.Compare(s.machine, o.machine), cmp.Compare(s.batch, o.batch), cmp.Compare(s.part, o.part))
}

// name is the application's identifier: the same events give the same.
func (s spreading) name() string {
	name := fmt.Sprintf("%s/%s/%s/%s", s.field, s.day, s.product, s.machine)
	if s.batch != "" {
		name += "/" + string(s.batch)
	}
	if s.part != "" {
		name += "/job:" + s.part
	}
	return name
}

// spread is what was spread under one name.
type spread struct {
	segments []track.Segment
	massKg   float64 // landed where it was driven, outside the boundary too
	open     bool
	periods  []int // of the machine, in order
}

func (g *gathered) applications(in Input, cover *coverage.Cover, ask NutrientAsk, found *findings) error {
	reg, told, all := &g.reg, g.told, map[spreading]*spread{}
	g.all = all
	errors := map[ground]map[schemas.MachineID]balance.FieldMass{}
	batches := deliveriesOf(in.Dockets)
	for _, m := range told {
		m.addSpreads(reg, batches, ask.Location, g.wanted, all)
		for _, f := range m.balance.Fields {
			g := ground{f.Field, f.Part, f.Product}
			if errors[g] == nil {
				errors[g] = map[schemas.MachineID]balance.FieldMass{}
			}
			errors[g][m.id] = f
		}
	}
	for k := range all {
		g.keys = append(g.keys, k)
	}
	slices.SortFunc(g.keys, spreading.compare)
	target := map[ground]float64{} // of all jobs together, so that masses sum to the field's
	for g, pieces := range piecesBy(told, (*machine).wholeOf) {
		area, err := covered(reg, cover, g.field, pieces)
		if err != nil {
			return err
		}
		target[g], _, _ = shares(area)
	}
	for _, k := range g.keys {
		a, err := application(reg, cover, k, all[k], errors[k.ground][k.machine], target[k.ground.whole()], found)
		if err != nil {
			return err
		}
		g.notedBy[a.ID] = g.crew.write(&a)
		g.input.Applications = append(g.input.Applications, a)
	}
	return nil
}

// whole is the ground with all its parts.
func (g ground) whole() ground { return ground{field: g.field, product: g.product} }

func (m *machine) wholeOf(s track.Segment, p schemas.ProductID) ground {
	return ground{field: s.Field, product: p}
}

// addSpreads sorts a machine's spreading into applications.
func (m *machine) addSpreads(reg *registers, batches deliveries, zone *time.Location, wanted map[schemas.FieldID]bool, all map[spreading]*spread) {
	flows := m.flows()
	var batch schemas.DocketID
	for i, p := range m.periods {
		batch = m.batchIn(reg, batches, i, batch)
		for _, s := range p.segments {
			if !wanted[s.Field] {
				continue
			}
			k := spreading{ground{s.Field, m.partOf(s, p.product), flows[i].product}, m.id, batch, time.UnixMilli(s.FromMilli).In(zone).Format(time.DateOnly)}
			if all[k] == nil {
				all[k] = &spread{}
			}
			all[k].segments = append(all[k].segments, s)
			if n := len(all[k].periods); n == 0 || all[k].periods[n-1] != i {
				all[k].periods = append(all[k].periods, i)
			}
			all[k].massKg += flows[i].massKg(s)
			all[k].open = all[k].open || flows[i].open
		}
	}
}

// batchIn is the docket that all loads of a period are of, "" where they are of
// several or nobody knows; the one before where nothing was loaded.
func (m *machine) batchIn(reg *registers, d deliveries, period int, before schemas.DocketID) schemas.DocketID {
	if period == 0 || len(m.refills[period-1].Data.Loads) == 0 {
		return before
	}
	var batch schemas.DocketID
	for i, id := range m.refills[period-1].Data.Loads {
		l, ok := reg.loads[id]
		if !ok {
			return ""
		}
		of := schemas.DocketID(d.batch(l))
		if l.Data.Docket == "" && of == schemas.DocketID(l.Data.Stockpile) {
			return "" // of no delivery that is in the book
		}
		if i > 0 && of != batch {
			return ""
		}
		batch = of
	}
	return batch
}

func application(reg *registers, cover *coverage.Cover, k spreading, s *spread, field balance.FieldMass, target float64, found *findings) (nutrient.Application, error) {
	area, err := covered(reg, cover, k.field, [][]track.Segment{s.segments})
	first, last := s.segments[0], s.segments[len(s.segments)-1]
	a := nutrient.Application{ID: k.name(), Field: k.field, Product: k.product, Batch: k.batch, Machine: k.machine, Job: schemas.JobID(k.part),
		From: time.UnixMilli(first.FromMilli).UTC(), To: time.UnixMilli(last.ToMilli).UTC(), MassKg: max(0, target*s.massKg), AreaM2: area.CoveredM2, Open: s.open}
	_, _, excluded := shares(area)
	hitExclusion(&a, area.ExcludedM2, area.ErrorM2, excluded*s.massKg, found)
	if field.MassKg > 0 {
		for _, t := range field.Form {
			a.Shared = append(a.Shared, nutrient.Term{Key: t.Key, Kg: t.Coefficient * t.Sd * target * s.massKg / field.MassKg})
		}
	}
	return a, err
}
