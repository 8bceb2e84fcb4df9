package season

import (
	"fmt"
	"math/rand/v2"
	"slices"

	"hopperbook/schemas"
)

// job is one order: fields of one customer, one product, one machine, one day.
type job struct {
	id      schemas.JobID
	day     int
	product int
	fields  []*task
}

// task is one field to spread in a job.
type task struct {
	*field
	lines [][]pt
}

// plan is what each spreader is to do, day by day.
type plan struct {
	cfg       Config
	products  []product
	spreaders []spreader
	fields    []*field
	jobs      [][]*job // by spreader, in order
	next      []int    // by product: how many fields have been given out
}

const (
	startFields  = 16 // a product's first fields, each product beginning elsewhere
	maxJobFields = 2
)

func newPlan(cfg Config) (*plan, error) {
	p := &plan{cfg: cfg, products: products(), spreaders: newSpreaders(cfg)}
	p.jobs = make([][]*job, len(p.spreaders))
	p.next = make([]int, len(p.products))
	for day := range cfg.Days {
		for s := range p.spreaders {
			if err := p.fillDay(day, s); err != nil {
				return nil, err
			}
		}
	}
	return p, nil
}

// programme is what a spreader spreads on a day.
func (p *plan) programme(day, s int) int {
	switch {
	case s%3 == 0:
		return lime
	case s%3 == 1:
		return gypsum
	case day*5 < p.cfg.Days*3:
		return super
	}
	return urea
}

// fillDay gives a spreader fields until its day is full; at least one.
func (p *plan) fillDay(day, s int) error {
	prod := p.programme(day, s)
	var open *job
	for hours := 0.0; hours < p.cfg.DayHours; {
		t, err := p.take(prod, p.spreaders[s].boutM)
		if err != nil {
			return err
		}
		hours += p.hours(t, s, prod)
		if open == nil || open.fields[0].customer != t.customer || len(open.fields) == maxJobFields {
			open = &job{id: schemas.JobID(fmt.Sprintf("j-%d-%02d", s+1, len(p.jobs[s])+1)), day: day, product: prod}
			p.jobs[s] = append(p.jobs[s], open)
		}
		open.fields = append(open.fields, t)
	}
	return nil
}

// take gives out the next field of a product; each field gets a product once.
func (p *plan) take(prod int, boutM float64) (*task, error) {
	i := p.next[prod]
	p.next[prod]++
	if i < startFields {
		i = (i + prod*farmFields) % startFields
	}
	for len(p.fields) <= i {
		f, err := newField(p.cfg.Seed, len(p.fields))
		if err != nil {
			return nil, err
		}
		p.fields = append(p.fields, &f)
	}
	f := p.fields[i]
	lines, ok := route(f.shape, boutM, f.gate)
	if !ok {
		return nil, usage("field %s is too small for a bout width of %v m", f.id, boutM)
	}
	return &task{f, lines}, nil
}

// hours is about how long a field takes, refills and turns included.
func (p *plan) hours(t *task, s, prod int) float64 {
	work := t.workM() / 1000 / p.products[prod].speedKmh
	loads := t.workM() * p.spreaders[s].boutM / 1e4 * p.products[prod].rateKgHa / p.loadKg(s, prod)
	return 1.5*work + 0.12*loads + 0.1
}

// pace is how fast a field is worked, as a share of the usual speed.
func (p *plan) pace(t *task) float64 {
	sd := p.cfg.Noise.PaceSdShare
	if sd == 0 {
		return 1
	}
	rng := rand.New(rand.NewPCG(p.cfg.Seed, 0x9ace))
	for range slices.Index(p.fields, t.field) {
		rng.NormFloat64()
	}
	return max(0.7, min(1.3, 1+sd*rng.NormFloat64()))
}

// workM is the length of the driving lines.
func (t *task) workM() float64 {
	var sum float64
	for _, l := range t.lines {
		sum += pathM(l)
	}
	return sum
}

func pathM(path []pt) float64 {
	var sum float64
	for i := 1; i < len(path); i++ {
		sum += path[i].minus(path[i-1]).length()
	}
	return sum
}

// fullShare of a level hopper is loaded.
const fullShare = 0.88

// loadKg is a full load of a product in a spreader.
func (p *plan) loadKg(s, prod int) float64 {
	return p.spreaders[s].hopperM3 * p.products[prod].densityKgM3 * fullShare
}

// nominalKg is what a job should take.
func (p *plan) nominalKg(s int, j *job) float64 {
	var m float64
	for _, t := range j.fields {
		m += t.workM()
	}
	return m * p.spreaders[s].boutM / 1e4 * p.products[j.product].rateKgHa
}
