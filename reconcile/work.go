package reconcile

import (
	"cmp"
	"slices"
	"strings"
	"time"

	"hopperbook/schemas"
)

// Work is what was done under some jobs, as far as the events say: what a bill
// and a job sheet are made of.
type Work struct {
	Jobs     []schemas.JobID
	Done     []Application // by field, job and product
	Loads    []WorkLoad    // by time
	Hours    *float64      // from start to finish; nil: a start or a finish is missing
	DrivenKm float64       // on the jobs' fields, spreading or not
	From, To time.Time     // of the first and the last metre spread
	Machines []schemas.MachineID
	// Uses are the events it comes from, by identity; for a digest.
	Uses []schemas.EventID
}

// WorkLoad is a load that was filled in for a job: the job that the machine
// spread next.
type WorkLoad struct {
	Load      schemas.LoadID      `json:"load"`
	Refill    schemas.RefillID    `json:"refill"`
	Machine   schemas.MachineID   `json:"machine"`
	At        time.Time           `json:"at"` // weighed
	Product   schemas.ProductID   `json:"product"`
	NetKg     float64             `json:"net_kg"`
	Method    string              `json:"method"`
	Scale     schemas.ScaleID     `json:"scale,omitempty"`
	Docket    schemas.DocketID    `json:"docket,omitempty"`
	Stockpile schemas.StockpileID `json:"stockpile,omitempty"`
	Job       schemas.JobID       `json:"job"`
	event     schemas.EventID
	refill    schemas.EventID
}

// Work gathers the work of some jobs, whatever is odd in the events.
// Cost: O(events without fixes).
func (d *Divided) Work(jobs []schemas.JobID) Work {
	w := Work{Jobs: slices.Sorted(slices.Values(jobs))}
	for _, a := range d.Applications {
		if !slices.Contains(w.Jobs, a.Job) {
			continue
		}
		w.Done = append(w.Done, a)
		w.Machines = append(w.Machines, a.Machines...)
		if w.From.IsZero() || a.From.Before(w.From) {
			w.From = a.From
		}
		if a.To.After(w.To) {
			w.To = a.To
		}
	}
	slices.Sort(w.Machines)
	w.Machines = slices.Compact(w.Machines)
	for _, l := range d.loads {
		if slices.Contains(w.Jobs, l.Job) {
			w.Loads = append(w.Loads, l)
		}
	}
	for _, j := range w.Jobs {
		w.DrivenKm += d.drivenKm[j]
	}
	w.Hours = w.hours(d.links)
	w.uses(d.in, d.reg)
	return w
}

// gather takes each machine's loads and way from what is told of it, by job.
func (d *Divided) gather(told []*machine) {
	d.drivenKm = map[schemas.JobID]float64{}
	for _, m := range told {
		jobs := d.links.of(m.id)
		d.loads = append(d.loads, m.jobLoads(d.reg, jobs)...)
		for i := range m.periods {
			for _, s := range m.periods[i].segments {
				if s.Field != "" {
					d.drivenKm[jobs.at(s.FromMilli, s.Field, m.periods[i].product)] += s.LengthM / 1000
				}
			}
		}
		for _, s := range m.idle {
			d.drivenKm[jobs.at(s.FromMilli, s.Field, m.periods[m.periodAt(s.FromMilli)].product)] += s.LengthM / 1000
		}
	}
	slices.SortFunc(d.loads, func(a, b WorkLoad) int {
		return cmp.Or(a.At.Compare(b.At), strings.Compare(string(a.Load), string(b.Load)))
	})
}

// jobLoads are the loads filled in for the jobs of a machine, each with its job.
func (m *machine) jobLoads(reg *registers, jobs machineLinks) (out []WorkLoad) {
	for i, r := range m.refills {
		job, ok := m.nextJob(i, jobs)
		if !ok {
			continue
		}
		for _, id := range r.Data.Loads {
			l, known := reg.loads[id]
			if !known || reg.hoppers[id].machine != m.id || reg.hoppers[id].refill != r.Data.Refill {
				continue
			}
			out = append(out, WorkLoad{Load: id, Refill: r.Data.Refill, Machine: m.id, At: l.Time, Product: r.Data.Product, NetKg: l.Data.NetKg,
				Method: l.Data.Method, Scale: l.Data.Scale, Docket: l.Data.Docket, Stockpile: l.Data.Stockpile, Job: job, event: l.ID, refill: r.ID})
		}
	}
	return out
}

// nextJob is the job that was spread first, on a field, with what refill i put in.
func (m *machine) nextJob(i int, jobs machineLinks) (schemas.JobID, bool) {
	for _, p := range m.periods[i+1:] {
		for _, s := range p.segments {
			if s.Field != "" {
				return jobs.at(s.FromMilli, s.Field, p.product), true
			}
		}
	}
	return "", false
}

// hours sums the time from start to finish over machines; nil where a job of
// the work has a machine without both.
func (w *Work) hours(l *links) *float64 {
	var sum float64
	var known bool
	for _, id := range w.Machines {
		for _, s := range l.startedBy(id) {
			if !slices.Contains(w.Jobs, s.job) {
				continue
			}
			if s.to == farFuture {
				return nil
			}
			sum += float64(s.to-s.from) / float64(time.Hour/time.Millisecond)
			known = true
		}
	}
	if !known {
		return nil
	}
	return &sum
}

// uses names the events: registers of jobs and fields, and of the machines all
// that a balance reads between the refill before the work and the one after it,
// with the settings and catch tests in force.
func (w *Work) uses(in Input, reg *registers) {
	add := func(id schemas.EventID) { w.Uses = append(w.Uses, id) }
	for _, j := range w.Jobs {
		add(reg.jobs[j].ID)
	}
	for _, a := range w.Done {
		add(reg.fields[a.Field.Field].ID)
	}
	for _, l := range w.Loads {
		add(l.event)
		add(l.refill)
	}
	mine := func(m schemas.MachineID, from, to time.Time) bool {
		return slices.Contains(w.Machines, m) && !to.Before(w.From) && !from.After(w.To)
	}
	for _, p := range in.Passes {
		if n := len(p.Fixes); n > 0 && mine(p.Machine, p.start(), time.UnixMilli(p.Fixes[n-1].UnixMilli)) {
			add(p.ID)
		}
	}
	for _, id := range w.Machines {
		for _, r := range around(of(in.Refills, id), w.From, w.To) {
			add(r.ID)
			for _, l := range r.Data.Loads {
				add(reg.loads[l].ID)
			}
		}
	}
	for _, id := range w.Machines {
		add(reg.machines[id].ID)
		settings := inForce(of(in.Settings, id), w.From, w.To)
		for _, s := range settings {
			add(s.ID)
		}
		for _, c := range w.catches(of(in.Catches, id), settings, id) {
			add(c.ID)
		}
	}
	for _, d := range in.Dockets {
		if slices.ContainsFunc(w.Loads, func(l WorkLoad) bool { return l.Docket == d.Data.Docket }) {
			add(d.ID)
		}
	}
	slices.Sort(w.Uses)
	w.Uses = slices.DeleteFunc(slices.Compact(w.Uses), func(id schemas.EventID) bool { return id == "" })
}

// catches are a machine's catch tests that the work's rate may stand on: by
// product those in force, and those that the settings in force name.
func (w *Work) catches(all []At[schemas.TestCatch], settings []At[schemas.SettingChanged], id schemas.MachineID) (out []At[schemas.TestCatch]) {
	products := map[schemas.ProductID]bool{}
	for _, a := range w.Done {
		if slices.Contains(a.Machines, id) {
			products[a.Product] = true
		}
	}
	for _, p := range sortedKeys(products) {
		of := slices.DeleteFunc(slices.Clone(all), func(c At[schemas.TestCatch]) bool { return c.Data.Product != p })
		out = append(out, inForce(of, w.From, w.To)...)
		for _, c := range of {
			if slices.ContainsFunc(settings, func(s At[schemas.SettingChanged]) bool {
				return s.Data.Product == p && s.Data.CatchTest != "" && s.Data.CatchTest == c.Data.CatchTest
			}) {
				out = append(out, c)
			}
		}
	}
	return out
}

// inForce are the events in a time, and the last one before it.
func inForce[T any](events []At[T], from, to time.Time) (out []At[T]) {
	for _, e := range sorted(events) {
		switch {
		case e.Time.After(to):
			return out
		case !e.Time.After(from):
			out = out[:0]
		}
		out = append(out, e)
	}
	return out
}

// around are the refills in a time, the last one before it and the first after.
func around(refills []At[schemas.HopperRefilled], from, to time.Time) []At[schemas.HopperRefilled] {
	all := sorted(refills)
	lo, hi := 0, len(all)
	for lo < len(all) && all[lo].Time.Before(from) {
		lo++
	}
	for hi > lo && all[hi-1].Time.After(to) {
		hi--
	}
	return all[max(0, lo-1):min(len(all), hi+1)]
}
