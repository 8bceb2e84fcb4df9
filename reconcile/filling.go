package reconcile

import (
	"slices"
	"time"

	"hopperbook/reconcile/balance"
	"hopperbook/reconcile/track"
	"hopperbook/schemas"
)

// filling is what a machine did from one reading of its hopper, or change of its
// product, to the next: a balance interval. Where what was left was not read when
// more was put in, nothing says what of the one and of the other went out: that is
// one filling.
type filling struct {
	periods []int // in order
	product schemas.ProductID
	open    bool // no reading has ended it: what went out is estimated
	unread  bool // more was put in over something that was spread and not read
	took    map[schemas.JobID]float64
	gone    []portion // what went out
	lost    []portion // what lay under it, of another product
	behind  []int     // earlier fillings whose loads may lie under it
	changed int       // the filling of another product that this, or one behind it, follows; -1: none
	guessed bool      // a load has no weight in the book: the balance took one from what was driven
}

// portion is what is left of a load in a hopper, or what went out of it.
type portion struct {
	load schemas.LoadID // "": none that the book knows
	kg   float64
	in   int // the filling it was put in for, or one of:
}

const (
	ofNoLoad       = -1 // in the hopper before the book's first load, of a load without a weight, or read above what was put in
	ofOtherProduct = -2
)

// leastKg is what counts as nothing: a milligram, the error of the sums.
const leastKg = 1e-6

// fillings are a machine's, in order, and what is in its hopper after the last.
// What a reading found is carried into the next filling, with the loads it came
// from: what was put in first goes out first.
func (m *machine) fillings(jobs machineLinks, reg *registers) (all []filling, held []portion) {
	b := &m.balance
	first, start := true, b.InitialKg
	for i, covers := range m.intervalPeriods() {
		iv := &b.Intervals[i]
		f := filling{periods: covers, product: iv.Product, open: iv.Open, changed: -1}
		m.divide(&f, jobs)
		if iv.From == "" {
			start -= iv.MassKg
			all = append(all, f)
			continue
		}
		switch n := len(all); {
		case first:
			held = []portion{{kg: start, in: ofNoLoad}}
		case all[n-1].product != f.product:
			f.lost, held = held, []portion{{kg: massOf(held), in: ofOtherProduct}}
			f.changed = n - 1
		default:
			f.under(all, massOf(held), b)
		}
		first = false
		held = append(held, m.putIn(&f, len(all), iv.LoadedKg, reg)...)
		out := iv.MassKg
		if f.open && iv.NominalKg <= 0 && iv.SwathM2() > 0 {
			out = massOf(held) // nothing says what it spread
		}
		f.gone, held = goOut(held, out)
		all = append(all, f)
	}
	return all, held
}

// refillsOf are the refills of a filling, in order.
func (m *machine) refillsOf(f *filling) (out []int) {
	for _, p := range f.periods {
		if p > 0 {
			out = append(out, p-1)
		}
	}
	return out
}

// putIn are the loads of a filling. What the balance took for loads without a
// weight is of no load.
func (m *machine) putIn(f *filling, number int, loadedKg float64, reg *registers) []portion {
	var loads []portion
	for _, i := range m.refillsOf(f) {
		r := m.refills[i].Data
		for _, id := range r.Loads {
			l, known := reg.loads[id]
			again := slices.ContainsFunc(loads, func(p portion) bool { return p.load == id })
			if !known || again || reg.hoppers[id] != (hopper{m.id, r.Refill}) {
				continue
			}
			loads = append(loads, portion{id, l.Data.NetKg, number})
		}
	}
	if rest := loadedKg - massOf(loads); rest > leastKg {
		f.guessed = true
		loads = append([]portion{{kg: rest, in: ofNoLoad}}, loads...)
	}
	return loads
}

// goOut takes a mass out of a hopper, what was put in first at first. Where more
// was left than was in it, that came from no load.
func goOut(in []portion, kg float64) (gone, left []portion) {
	if kg < -leastKg {
		return nil, append([]portion{{kg: -kg, in: ofNoLoad}}, in...)
	}
	for i, p := range in {
		if p.kg > kg+leastKg {
			if kg > leastKg {
				gone = append(gone, portion{p.load, kg, p.in})
				p.kg -= kg
			}
			return gone, append([]portion{p}, in[i+1:]...)
		}
		gone = append(gone, p)
		kg -= p.kg
	}
	return gone, nil
}

func massOf(of []portion) (kg float64) {
	for _, p := range of {
		kg += p.kg
	}
	return kg
}

// under finds the earlier fillings that decide what a mass in the hopper was: as
// far back as it takes to put that much in.
func (f *filling) under(all []filling, kg float64, b *balance.Result) {
	for i := len(all) - 1; i >= 0 && kg > leastKg; i-- {
		f.behind = append(f.behind, i)
		if i > 0 && all[i-1].product != all[i].product {
			f.changed = i - 1
			return
		}
		kg -= b.Intervals[i].LoadedKg
	}
}

// divide says which share of a filling went to which job, by the nominal mass that
// was spread on fields, as the balance divides it; without any by swath area. What
// fell outside every field is shared by all.
func (m *machine) divide(f *filling, jobs machineLinks) {
	var byJob [2]map[schemas.JobID]float64
	var total [2]float64
	spread := false
	for _, p := range f.periods {
		f.unread = f.unread || spread && len(m.refills[p-1].Data.Loads) > 0
		for _, s := range m.periods[p].segments {
			spread = true
			if s.Field == "" {
				continue
			}
			job := jobs.at(s.FromMilli, s.Field, m.periods[p].product)
			for k, v := range [2]float64{s.NominalKg(), s.SwathM2()} {
				if byJob[k] == nil {
					byJob[k] = map[schemas.JobID]float64{}
				}
				byJob[k][job] += v
				total[k] += v
			}
		}
	}
	for k, sum := range total {
		if sum > 0 {
			f.took = map[schemas.JobID]float64{}
			for job, v := range byJob[k] {
				f.took[job] = v / sum
			}
			return
		}
	}
}

// loadsOfJobs are the loads that went out in a machine's fillings, once for each
// job that took of them.
func (m *machine) loadsOfJobs(reg *registers, fillings []filling) (out []WorkLoad) {
	type part struct {
		load schemas.LoadID
		job  schemas.JobID
	}
	at := map[part]int{}
	for _, f := range fillings {
		for _, p := range f.gone {
			if p.load == "" {
				continue
			}
			for _, job := range sortedKeys(f.took) {
				kg := f.took[job] * p.kg
				if kg <= 0 {
					continue
				}
				if i, known := at[part{p.load, job}]; known {
					out[i].ForKg += kg
					continue
				}
				at[part{p.load, job}] = len(out)
				l := reg.loads[p.load]
				out = append(out, WorkLoad{Load: p.load, Refill: reg.hoppers[p.load].refill, Machine: m.id, At: l.Time, Product: f.product, NetKg: l.Data.NetKg, ForKg: kg,
					Method: l.Data.Method, Scale: l.Data.Scale, Docket: l.Data.Docket, Stockpile: l.Data.Stockpile, Job: job})
			}
		}
	}
	return out
}

// drive adds the way on fields in a filling to its jobs: where they spread, and
// in the same period where they did not.
func (m *machine) drive(f *filling, idle [][]track.Segment, jobs machineLinks, km map[schemas.JobID]float64) {
	for _, p := range f.periods {
		spread := map[schemas.JobID]bool{}
		add := func(s track.Segment, on bool) {
			job := jobs.at(s.FromMilli, s.Field, m.periods[p].product)
			if spread[job] = spread[job] || on; spread[job] {
				km[job] += s.LengthM / 1000
			}
		}
		for _, s := range m.periods[p].segments {
			if s.Field != "" {
				add(s, true)
			}
		}
		for _, s := range idle[p] {
			add(s, false)
		}
	}
}

// idleByPeriod is what was driven on fields without spreading, by when it began.
func (m *machine) idleByPeriod() [][]track.Segment {
	out := make([][]track.Segment, len(m.periods))
	for _, s := range m.idle {
		p := m.periodAt(s.FromMilli)
		out[p] = append(out[p], s)
	}
	return out
}

// span is what a machine did between two readings of its hopper.
type span struct {
	lo, hi int  // refills that begin and end it; -1 and len(refills): none does
	open   bool // part of its mass is estimated from all that the machine did
}

// spanOf widens a run of periods to whole balance intervals.
func (m *machine) spanOf(first, last int, intervals [][]int) span {
	s := span{lo: first - 1, hi: last}
	for i, covers := range intervals {
		lo, hi := len(m.periods), -1
		for _, p := range covers {
			lo, hi = min(lo, p), max(hi, p)
		}
		if lo > last || hi < first {
			continue
		}
		s.lo, s.hi = min(s.lo, lo-1), max(s.hi, hi)
		s.open = s.open || m.balance.Intervals[i].Open
	}
	return s
}

// when a span began and ended, with as much before and after as fixes are joined over.
func (m *machine) when(s span, gap time.Duration) (from, to time.Time) {
	from, to = time.Time{}, time.UnixMilli(farFuture)
	if s.lo >= 0 && !s.open {
		from = m.refills[s.lo].Time.Add(-gap)
	}
	if s.hi < len(m.refills) && !s.open {
		to = m.refills[s.hi].Time.Add(gap)
	}
	return from, to
}
