package reconcile

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
	"time"

	"hopperbook/reconcile/drift"
	"hopperbook/reconcile/nutrient"
	"hopperbook/schemas"
	"hopperbook/schemas/unit"
)

// Season is what a customer's records are made of: the applications with what
// each comes from, and what was planned beside what was given.
type Season struct {
	Input   nutrient.Input
	Origins []Origin // of Input.Applications, in their order
	Planned []Planned
	found   seasonFound
}

// Origin is where an application's figures come from.
type Origin struct {
	Application string
	Certificate InForce
	Uses        []schemas.EventID // events, sorted
}

// InForce is the calibration of a machine with a product at the end of the day
// on which it spread; what its loads have said since of that calibration
// stands against it.
type InForce struct {
	CatchTest schemas.TestID // "": no catch test was made by then
	TestedAt  time.Time
	Valid     bool
	Until     time.Time
	Reasons   []string // why it does not hold
}

// Planned is what a job asked for on a field beside what was given there.
type Planned struct {
	Job          schemas.JobID
	Field        schemas.FieldID
	Product      schemas.ProductID
	SetRateKgHa  float64
	AreaM2       float64 // of the field that may be spread; 0: not known
	PlannedKg    float64 // 0 where the area is not known
	GivenKg      float64
	GivenKgHa    float64 // over AreaM2
	Applications []string
	Others       []string // applications while the field was another customer's: their records show them
	OthersKg     float64  // of GivenKg
}

// Seasonal puts together what a season's records need. Cost: that of
// NutrientInput and, for each machine, product and day, a certificate from what
// is told already (no pass is read again).
func Seasonal(in Input, ask NutrientAsk) (Season, error) {
	g, err := gather(in, ask)
	if err != nil {
		return Season{}, err
	}
	s := Season{Input: g.input, found: g.found}
	c := certifier{in: WithDiscSets(in), g: g, made: map[certificateOf]InForce{}, drifts: map[schemas.MachineID][]Drift{}}
	for i := range g.input.Applications {
		a := &g.input.Applications[i]
		m := g.told[slices.IndexFunc(g.told, func(m *machine) bool { return m.id == a.Machine })]
		force, err := c.inForce(m, a, cmp.Or(ask.Location, time.UTC))
		if err != nil {
			return Season{}, err
		}
		s.Origins = append(s.Origins, Origin{Application: a.ID, Certificate: force, Uses: g.uses(in, m, g.all[g.keys[i]], *a)})
	}
	s.Planned = g.planned()
	return s, nil
}

type certificateOf struct {
	machine schemas.MachineID
	product schemas.ProductID
	day     string
}

// certifier makes each certificate once.
type certifier struct {
	in     Input
	g      *gathered
	made   map[certificateOf]InForce
	drifts map[schemas.MachineID][]Drift
}

func (c *certifier) inForce(m *machine, a *nutrient.Application, loc *time.Location) (InForce, error) {
	local := a.From.In(loc)
	key := certificateOf{m.id, a.Product, local.Format(time.DateOnly)}
	if f, ok := c.made[key]; ok {
		return f, nil
	}
	ask := CertificateAsk{Machine: m.id, Product: a.Product, AsOf: time.Date(local.Year(), local.Month(), local.Day()+1, 0, 0, 0, 0, loc).Add(-time.Nanosecond).UTC()}
	f := InForce{Reasons: []string{}}
	catch, ok := m.inForce(a.Product, a.From)
	if ok {
		against, err := c.against(m, catch)
		if err != nil {
			return f, err
		}
		made, err := m.certify(c.in, &c.g.reg, ask, against)
		if err != nil {
			return f, err
		}
		f = InForce{CatchTest: catch.Data.CatchTest, TestedAt: catch.Time, Valid: made.Validity.Valid, Until: made.Validity.Until, Reasons: made.Validity.Reasons}
	} else {
		f.Reasons = append(f.Reasons, fmt.Sprintf("no catch test with %s was made by then", a.Product))
	}
	c.made[key] = f
	return f, nil
}

// against is what the loads spread on a calibration say of it, up to now.
func (c *certifier) against(m *machine, catch At[schemas.TestCatch]) (out []string, err error) {
	drifts, ok := c.drifts[m.id]
	if !ok {
		if drifts, err = m.driftsOf(c.in.Policy); err != nil {
			return nil, err
		}
		c.drifts[m.id] = drifts
	}
	for _, d := range drifts {
		if d.Product == catch.Data.Product && d.State == string(drift.Recalibrate) && d.Since.Equal(catch.Time) {
			out = append(out, fmt.Sprintf("its loads say that the flow has changed by %+.1f %% since load %d", d.SizePct, d.ChangeLoad))
		}
	}
	return out, nil
}

// uses names the events of an application: registers, the passes, the refills
// that its balance intervals lie between with their loads and dockets, the
// settings and the catch test in force, and what the crew noted.
func (g *gathered) uses(in Input, m *machine, s *spread, a nutrient.Application) (out []schemas.EventID) {
	add := func(ids ...schemas.EventID) { out = append(out, ids...) }
	add(g.notedBy[a.ID]...)
	add(g.reg.fields[a.Field].ID, registeredAt(g.history[a.Field], a.From).ID, g.reg.machines[m.id].ID, g.reg.jobs[a.Job].ID)
	for _, p := range in.Products {
		if p.Data.Product == a.Product {
			add(p.ID)
		}
	}
	for _, p := range g.passes.during(m.id, a.From, a.To) {
		add(p.ID)
	}
	for _, id := range g.measuredBy[a.ID] {
		add(g.reg.fields[id].ID)
	}
	dockets := map[schemas.DocketID]bool{a.Batch: true}
	from, to := m.closedAround(s.periods)
	for _, r := range m.refills[from:to] {
		add(r.ID)
		for _, id := range r.Data.Loads {
			l := g.reg.loads[id]
			add(l.ID)
			add(g.voidedLoads[id]...)
			dockets[l.Data.Docket] = true
		}
	}
	first, last := a.From, a.To
	if from < to {
		first, last = earlier(first, m.refills[from].Time), later(last, m.refills[to-1].Time)
	}
	for _, v := range in.Voided {
		if v.Machine == m.id && !v.Time.Before(first) && !v.Time.After(last) {
			add(v.ID)
		}
	}
	for _, d := range in.Dockets {
		if d.Data.Docket != "" && dockets[d.Data.Docket] {
			add(d.ID)
		}
	}
	for i, set := range m.settings {
		if !set.Time.After(a.To) && (i+1 == len(m.settings) || m.settings[i+1].Time.After(a.From)) {
			add(set.ID)
		}
	}
	if catch, ok := m.inForce(a.Product, a.From); ok {
		add(catch.ID)
	}
	slices.Sort(out)
	return slices.DeleteFunc(slices.Compact(out), func(id schemas.EventID) bool { return id == "" })
}

func earlier(a, b time.Time) time.Time {
	if b.Before(a) {
		return b
	}
	return a
}

func later(a, b time.Time) time.Time {
	if b.After(a) {
		return b
	}
	return a
}

// closedAround is the refills [from, to) that hold the balance intervals of
// some periods: an interval goes on where a residual is not known.
func (m *machine) closedAround(periods []int) (from, to int) {
	first, last := periods[0]-1, periods[len(periods)-1] // the refill before the first, the one after the last
	index := func(id schemas.RefillID) int {
		return slices.IndexFunc(m.refills, func(r At[schemas.HopperRefilled]) bool { return r.Data.Refill == id })
	}
	from, to = max(0, first), min(last+1, len(m.refills))
	for _, iv := range m.balance.Intervals {
		lo, hi := index(iv.From), index(iv.To)
		if hi < 0 {
			hi = len(m.refills)
		}
		if lo <= last-1 && first < hi { // they share a period: period i lies after refill i-1
			from, to = max(0, min(from, lo)), min(max(to, hi+1), len(m.refills))
		}
	}
	return from, to
}

// planned compares the customer's jobs with what was given under them, by job
// and field, whosever the field is by now.
func (g *gathered) planned() []Planned {
	type key struct {
		job   schemas.JobID
		field schemas.FieldID
	}
	all := map[key]*Planned{}
	for id, job := range g.reg.jobs {
		for _, field := range job.Data.Fields {
			f, known := g.input.FieldAt(field, job.Time)
			if whose := cmp.Or(job.Data.Customer, f.Customer); known && (g.input.Customer == "" || whose == g.input.Customer) {
				all[key{id, f.ID}] = &Planned{Job: id, Field: f.ID, Product: job.Data.Product, SetRateKgHa: job.Data.SetRateKgHa, AreaM2: f.AreaM2,
					PlannedKg: job.Data.SetRateKgHa * f.AreaM2 / unit.M2PerHa, Applications: []string{}}
			}
		}
	}
	for i := range g.input.Applications {
		a := &g.input.Applications[i]
		if p := all[key{a.Job, a.Field}]; p != nil && p.Product == a.Product {
			p.GivenKg += a.MassKg
			if !g.input.Own(a) {
				p.OthersKg += a.MassKg
				p.Others = append(p.Others, a.ID)
				continue
			}
			p.Applications = append(p.Applications, a.ID)
		}
	}
	out := make([]Planned, 0, len(all))
	for _, p := range all {
		if p.AreaM2 > 0 {
			p.GivenKgHa = p.GivenKg / p.AreaM2 * unit.M2PerHa
		}
		out = append(out, *p)
	}
	slices.SortFunc(out, func(x, y Planned) int {
		return cmp.Or(strings.Compare(string(x.Field), string(y.Field)), strings.Compare(string(x.Job), string(y.Job)))
	})
	return out
}
