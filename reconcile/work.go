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
	// Uses are the events it comes from, by identity; for a digest. DocketUses are its
	// dockets and the loads that share them, where a bill counts dockets.
	Uses, DocketUses []schemas.EventID

	dockets map[schemas.DocketID]*docketUse // that its loads name
	carries []carry                         // of all jobs
}

// WorkLoad is a load, or what one of several jobs took of it: its filling is
// divided by what each was given.
type WorkLoad struct {
	Load      schemas.LoadID      `json:"load"`
	Refill    schemas.RefillID    `json:"refill"`
	Machine   schemas.MachineID   `json:"machine"`
	At        time.Time           `json:"at"` // weighed
	Product   schemas.ProductID   `json:"product"`
	NetKg     float64             `json:"net_kg"`
	ForKg     float64             `json:"for_kg"` // the job's part of it
	Method    string              `json:"method"`
	Scale     schemas.ScaleID     `json:"scale,omitempty"`
	Docket    schemas.DocketID    `json:"docket,omitempty"`
	Stockpile schemas.StockpileID `json:"stockpile,omitempty"`
	Job       schemas.JobID       `json:"job"`
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
	w.dockets, w.carries = d.docketsOf(w.Loads), d.carries
	w.uses(d)
	return w
}

// ended is when the last metre of a job was spread; of one that spread nothing
// when the work ended.
func (w *Work) ended(job schemas.JobID) (at time.Time) {
	for _, a := range w.Done {
		if a.Job == job && a.To.After(at) {
			at = a.To
		}
	}
	if at.IsZero() {
		return w.To
	}
	return at
}

// gather takes each machine's loads, way and events from what is told of it, by job.
func (d *Divided) gather(told []*machine) {
	d.drivenKm, d.sources = map[schemas.JobID]float64{}, map[schemas.JobID][]schemas.EventID{}
	from := newSources(d.in, d.reg)
	for _, m := range told {
		jobs, idle := d.links.of(m.id), m.idleByPeriod()
		fillings, held := m.fillings(jobs, d.reg)
		d.loads = append(d.loads, m.loadsOfJobs(d.reg, fillings)...)
		d.carries = append(d.carries, carriesOf(fillings, held)...)
		for i := range fillings {
			m.drive(&fillings[i], idle, jobs, d.drivenKm)
		}
		from.work(m, fillings, idle, jobs, d.sources)
	}
	for job, ids := range d.sources {
		d.sources[job] = distinct(ids)
	}
	slices.SortFunc(d.loads, func(a, b WorkLoad) int {
		return cmp.Or(a.At.Compare(b.At), strings.Compare(string(a.Load), string(b.Load)), strings.Compare(string(a.Job), string(b.Job)))
	})
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

// uses names the events: those of the fillings (sources), registers of jobs and
// fields, starts and finishes for the hours, and the catch tests in force; apart from them, dockets
// and, once they have used one up, its loads.
func (w *Work) uses(d *Divided) {
	add := func(ids ...schemas.EventID) { w.Uses = append(w.Uses, ids...) }
	for _, j := range w.Jobs {
		add(d.reg.jobs[j].ID)
		add(d.sources[j]...)
	}
	for _, a := range w.Done {
		add(d.reg.fields[a.Field.Field].ID)
	}
	for _, id := range w.Machines {
		add(crewOf(d.links, id).hoursFrom(w.Jobs)...)
		settings := inForce(sorted(of(d.in.Settings, id)), w.From, w.To)
		for _, c := range w.catches(sorted(of(d.in.Catches, id)), settings, id) {
			add(c.ID)
		}
	}
	for _, u := range w.dockets {
		w.DocketUses = append(w.DocketUses, u.received.ID)
		if u.left() <= 0 {
			w.DocketUses = append(w.DocketUses, u.loads...)
		}
	}
	w.DocketUses = distinct(w.DocketUses)
	w.Uses = distinct(w.Uses)
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
