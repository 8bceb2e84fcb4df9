package reconcile

import (
	"cmp"
	"slices"
	"sort"
	"time"

	"hopperbook/reconcile/track"
	"hopperbook/schemas"
)

// sources finds the events that work comes from. What a job was given rests on
// all that its fillings did between the readings around them: the job's own
// passes get their share beside those of its neighbours. What came later, after
// a reading has closed the balance, is no part of it.
type sources struct {
	in     Input
	reg    *registers
	passes passesOf
	byID   map[schemas.RefillID][]schemas.EventID // refills by name
	gap    time.Duration
}

func newSources(in Input, reg *registers) *sources {
	s := &sources{in: in, reg: reg, passes: indexPasses(in), byID: map[schemas.RefillID][]schemas.EventID{},
		gap: time.Duration(cmp.Or(in.Policy.MaxGapS, 5) * float64(time.Second))}
	for _, r := range in.Refills {
		s.byID[r.Data.Refill] = append(s.byID[r.Data.Refill], r.ID)
	}
	return s
}

// work adds to each job's events those of a machine's fillings that it took of.
func (s *sources) work(m *machine, fillings []filling, idle [][]track.Segment, jobs machineLinks, to map[schemas.JobID][]schemas.EventID) {
	crew := crewOf(jobs.links, m.id)
	intervals := m.intervalPeriods()
	did := func(f *filling) []schemas.EventID {
		return s.of(m, m.spanOf(f.periods[0], f.periods[len(f.periods)-1], intervals), crew, idle, jobs)
	}
	for i := range fillings {
		f := &fillings[i]
		if len(f.took) == 0 {
			continue
		}
		ids := slices.Concat(did(f), s.carried(m, fillings, f, did))
		for job := range f.took {
			to[job] = append(to[job], ids...)
		}
	}
}

// crew is what people entered on one machine, in order.
type crew struct {
	starts   []At[schemas.JobStarted]
	finishes []At[schemas.JobFinished]
	spans    []jobSpan // of starts
}

func crewOf(l *links, id schemas.MachineID) crew {
	return crew{sorted(of(l.in.Starts, id)), sorted(of(l.in.Finishes, id)), l.startedBy(id)}
}

// during are the starts of the jobs under way in a time, and the finishes until its end
// that may have ended them.
func (c crew) during(from, to time.Time) ([]At[schemas.JobStarted], []At[schemas.JobFinished]) {
	starts := inForce(c.starts, from, to)
	if n := len(starts); n > 0 && starts[0].Time.Before(from) {
		i := slices.IndexFunc(c.starts, func(e At[schemas.JobStarted]) bool { return e.ID == starts[0].ID })
		if c.spans[i].to < from.UnixMilli() {
			starts = starts[1:] // it had been finished
		}
	}
	if len(starts) == 0 {
		return nil, nil
	}
	return starts, between(c.finishes, starts[0].Time, to)
}

// of are a span's events: what the balance and the ways in it are made of, and
// what said which job and which field they belong to.
func (s *sources) of(m *machine, sp span, c crew, idle [][]track.Segment, jobs machineLinks) (out []schemas.EventID) {
	add := func(id schemas.EventID) { out = append(out, id) }
	from, to := m.when(sp, s.gap)
	add(s.reg.machines[m.id].ID)
	s.hopper(m, sp, add)
	for _, p := range s.passes.during(m.id, from, to) {
		add(p.ID)
		add(s.reg.jobs[p.Job].ID)
	}
	for _, e := range inForce(m.settings, from, to) {
		add(e.ID)
	}
	starts, finishes := c.during(from, to)
	for _, e := range starts {
		add(e.ID)
		add(s.reg.jobs[e.Data.Job].ID)
	}
	for _, e := range finishes {
		add(e.ID)
	}
	if sp.open {
		for _, e := range m.catches {
			add(e.ID)
		}
	}
	first, last := sp.lo+1, sp.hi
	if sp.open {
		first, last = 0, len(m.periods)-1
	}
	for p := first; p <= last; p++ {
		s.ground(slices.Concat(m.periods[p].segments, idle[p]), m.periods[p].product, jobs, add)
	}
	return distinct(out)
}

// ground adds what said where driving lay, and of which job it was.
func (s *sources) ground(driven []track.Segment, product schemas.ProductID, jobs machineLinks, add func(schemas.EventID)) {
	var last schemas.FieldID
	for i := range driven {
		g := &driven[i]
		if g.Field == "" {
			continue
		}
		if g.Field != last {
			last = g.Field
			add(s.reg.fields[last].ID)
		}
		for _, j := range jobs.beside(g.FromMilli, g.Field, product) {
			add(s.reg.jobs[j].ID)
		}
	}
}

// hopper adds the span's refills and their loads. An estimate is made from all
// of the machine's.
func (s *sources) hopper(m *machine, sp span, add func(schemas.EventID)) {
	lo, hi := max(0, sp.lo), min(sp.hi, len(m.refills)-1)
	if sp.open {
		lo, hi = 0, len(m.refills)-1
	}
	for i := lo; i > 0 && !s.filled(m, i); i-- {
		add(m.refills[i-1].ID) // a reading alone is of the product put in before
	}
	for i := lo; i <= hi; i++ {
		r := m.refills[i]
		add(r.ID)
		if sp.open {
			add(s.reg.products[r.Data.Product].ID)
		} else if i == sp.hi {
			break // its loads went into the next span
		}
		s.loads(&r.Data, add)
	}
}

// loads adds the loads of a refill.
func (s *sources) loads(r *schemas.HopperRefilled, add func(schemas.EventID)) {
	for _, l := range r.Loads {
		add(s.reg.loads[l].ID)
		for _, id := range s.byID[s.reg.hoppers[l].refill] {
			add(id) // a load counts where it was put in first
		}
	}
}

// carried are the refills and the loads that what lay in the hopper before a filling
// came from; did gives all that a filling comes from.
func (s *sources) carried(m *machine, fillings []filling, f *filling, did func(*filling) []schemas.EventID) (out []schemas.EventID) {
	add := func(id schemas.EventID) { out = append(out, id) }
	for _, k := range f.behind {
		if fillings[k].guessed {
			out = append(out, did(&fillings[k])...)
		}
		for _, i := range m.refillsOf(&fillings[k]) {
			add(m.refills[i].ID)
			s.loads(&m.refills[i].Data, add)
		}
	}
	if f.changed >= 0 {
		for _, i := range m.refillsOf(&fillings[f.changed]) {
			add(m.refills[i].ID) // of its product
		}
	}
	return out
}

// filled reports whether a refill put something in: a load counts where it was put in first.
func (s *sources) filled(m *machine, i int) bool {
	r := m.refills[i].Data
	return slices.ContainsFunc(r.Loads, func(l schemas.LoadID) bool {
		return s.reg.hoppers[l].machine == m.id && s.reg.hoppers[l].refill == r.Refill
	})
}

// beside are the registered jobs that decide where work belongs: where neither
// the pass log's job nor the one started has the field, whether one job alone has it.
func (m *machineLinks) beside(milli int64, field schemas.FieldID, product schemas.ProductID) []schemas.JobID {
	lays := m.lays[fieldProduct{field, product}]
	if slices.Contains(lays, spanAt(m.picked, milli)) || slices.Contains(lays, spanAt(m.started, milli)) {
		return nil
	}
	return lays
}

// hoursFrom are the events that the hours of jobs on a machine come from: their
// starts, and what ended each, a finish or the start of the next job.
func (c crew) hoursFrom(jobs []schemas.JobID) (out []schemas.EventID) {
	for i, start := range c.starts {
		if !slices.Contains(jobs, start.Data.Job) {
			continue
		}
		out = append(out, start.ID)
		for _, f := range c.finishes {
			if f.Data.Job == start.Data.Job && f.Time.UnixMilli() == c.spans[i].to {
				out = append(out, f.ID)
			}
		}
		if i+1 < len(c.starts) && c.starts[i+1].Time.UnixMilli() == c.spans[i].to {
			out = append(out, c.starts[i+1].ID)
		}
	}
	return out
}

// inForce are of events in order those in a time, and the last one before it.
func inForce[T any](events []At[T], from, to time.Time) []At[T] {
	lo := sort.Search(len(events), func(i int) bool { return events[i].Time.After(from) })
	hi := sort.Search(len(events), func(i int) bool { return events[i].Time.After(to) })
	return events[max(0, lo-1):max(hi, max(0, lo-1))]
}

// between are of events in order those from a time to another, both included.
func between[T any](events []At[T], from, to time.Time) []At[T] {
	lo := sort.Search(len(events), func(i int) bool { return !events[i].Time.Before(from) })
	hi := sort.Search(len(events), func(i int) bool { return events[i].Time.After(to) })
	return events[lo:max(lo, hi)]
}

// distinct sorts events; "" is none.
func distinct(ids []schemas.EventID) []schemas.EventID {
	slices.Sort(ids)
	return slices.DeleteFunc(slices.Compact(ids), func(id schemas.EventID) bool { return id == "" })
}
