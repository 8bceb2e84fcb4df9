package reconcile

import (
	"time"

	"hopperbook/reconcile/balance"
	"hopperbook/reconcile/track"
	"hopperbook/schemas"
)

// filling is what was in a hopper from when loads were put in until the next
// loads were, or until it was read empty.
type filling struct {
	first, end int   // periods, half-open
	refills    []int // whose loads it is; of several, nothing went out before the last
	took       map[schemas.JobID]float64
	lastOn     int // the last period with spreading on a field
}

// fillings are a machine's, in order. What was put in on top of a load of which
// nothing had gone out makes one filling with it, unless the hopper was read
// empty or the product is another.
func (m *machine) fillings(jobs machineLinks) []filling {
	all := []filling{{end: 1}}
	spread := len(m.periods[0].segments) > 0
	for i, r := range m.refills {
		last, empty, loads := &all[len(all)-1], readEmpty(r.Data), len(r.Data.Loads) > 0
		switch {
		case !empty && !loads, !empty && !spread && m.productAfter(i) == m.periods[last.first].product:
		default:
			all = append(all, filling{first: i + 1})
			last, spread = &all[len(all)-1], false
		}
		last.end = i + 2
		if loads {
			last.refills = append(last.refills, i)
		}
		spread = spread || len(m.periods[i+1].segments) > 0
	}
	flows := m.flows()
	for i := range all {
		m.divide(&all[i], flows, jobs)
	}
	return all
}

func readEmpty(d schemas.HopperRefilled) bool {
	r := residual(d)
	return r != (balance.Residual{}) && r.Method != schemas.ResidualUnknown && r.Kg == 0
}

// divide says which share of a filling went to which job, by the mass that was
// spread on fields; where no mass is known by nominal mass, or else by swath
// area. What fell outside every field is shared by all.
func (m *machine) divide(f *filling, flows []flow, jobs machineLinks) {
	var byJob [3]map[schemas.JobID]float64
	var total [3]float64
	for p := f.first; p < f.end; p++ {
		for _, s := range m.periods[p].segments {
			if s.Field == "" {
				continue
			}
			f.lastOn = p
			job := jobs.at(s.FromMilli, s.Field, m.periods[p].product)
			for k, v := range [3]float64{max(0, flows[p].massKg(s)), s.NominalKg(), s.SwathM2()} {
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

// loadsOfJobs are the loads of a machine's fillings, once for each job that
// took of them.
func (m *machine) loadsOfJobs(reg *registers, fillings []filling) (out []WorkLoad) {
	for _, f := range fillings {
		for _, i := range f.refills {
			r := m.refills[i]
			for _, id := range r.Data.Loads {
				l, known := reg.loads[id]
				if !known || reg.hoppers[id].machine != m.id || reg.hoppers[id].refill != r.Data.Refill {
					continue
				}
				for _, job := range sortedKeys(f.took) {
					if share := f.took[job]; share > 0 {
						out = append(out, WorkLoad{Load: id, Refill: r.Data.Refill, Machine: m.id, At: l.Time, Product: r.Data.Product, NetKg: l.Data.NetKg, ForKg: share * l.Data.NetKg,
							Method: l.Data.Method, Scale: l.Data.Scale, Docket: l.Data.Docket, Stockpile: l.Data.Stockpile, Job: job})
					}
				}
			}
		}
	}
	return out
}

// drive adds the way on fields in a filling to its jobs: where they spread, and
// in the same period where they did not.
func (m *machine) drive(f *filling, idle [][]track.Segment, jobs machineLinks, km map[schemas.JobID]float64) {
	for p := f.first; p < f.end; p++ {
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
