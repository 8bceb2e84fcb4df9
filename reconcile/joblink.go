package reconcile

import (
	"cmp"
	"slices"
	"sort"
	"time"

	"hopperbook/reconcile/track"
	"hopperbook/schemas"
)

// links finds the job that work belongs to.
type links struct {
	in    Input
	reg   *registers
	lays  map[fieldProduct][]schemas.JobID // registered jobs by field and product, sorted
	since map[schemas.JobID]int64          // their first registration, in Unix ms
	// planned: work that names no job is of none that was registered after it.
	planned bool
}

type fieldProduct struct {
	field   schemas.FieldID
	product schemas.ProductID
}

func newLinks(in Input, reg *registers) *links {
	l := &links{in: in, reg: reg, lays: map[fieldProduct][]schemas.JobID{}, since: map[schemas.JobID]int64{}}
	for _, j := range sorted(in.Jobs) {
		if _, again := l.since[j.Data.Job]; !again {
			l.since[j.Data.Job] = j.Time.UnixMilli()
		}
	}
	for _, id := range sortedKeys(reg.jobs) {
		job := reg.jobs[id].Data
		for _, f := range job.Fields {
			at := fieldProduct{f, job.Product}
			l.lays[at] = append(l.lays[at], id)
		}
	}
	return l
}

// divideByJob makes the job of each piece the part of its field's work.
func (r *registers) divideByJob(in Input) *links {
	l := newLinks(in, r)
	r.parts = func(id schemas.MachineID) func(track.Segment, schemas.ProductID) string {
		jobs := l.of(id)
		return func(s track.Segment, product schemas.ProductID) string {
			return string(jobs.at(s.FromMilli, s.Field, product))
		}
	}
	return l
}

// sole is the one job that work at a time may be of which names none: the one that
// was registered by then; where none was, the one registered since, as an office
// enters late; "": none, or several.
func (l *links) sole(lays []schemas.JobID, milli int64) (job schemas.JobID) {
	then := 0
	for _, j := range lays {
		if l.since[j] <= milli {
			job, then = j, then+1
		}
	}
	switch {
	case then == 1:
		return job
	case then == 0 && len(lays) == 1 && !l.planned:
		return lays[0]
	}
	return ""
}

// jobSpan is a time a machine worked under a job, in Unix ms, half-open.
type jobSpan struct {
	from, to int64
	job      schemas.JobID
}

// machineLinks are one machine's.
type machineLinks struct {
	*links
	picked  []jobSpan // by pass log, in order
	started []jobSpan // from job.started to job.finished or the next start, in order
}

func (l *links) of(id schemas.MachineID) machineLinks {
	m := machineLinks{links: l, started: l.startedBy(id)}
	for _, p := range l.in.Passes {
		if p.Machine == id && p.Job != "" && len(p.Fixes) > 0 {
			m.picked = append(m.picked, jobSpan{p.Fixes[0].UnixMilli, p.Fixes[len(p.Fixes)-1].UnixMilli, p.Job})
		}
	}
	slices.SortFunc(m.picked, func(a, b jobSpan) int { return int(min(1, max(-1, a.from-b.from))) })
	return m
}

// startedBy are the spans of a machine's jobs; the last may be open.
func (l *links) startedBy(id schemas.MachineID) (out []jobSpan) {
	for _, s := range sorted(of(l.in.Starts, id)) {
		if n := len(out); n > 0 {
			out[n-1].to = s.Time.UnixMilli()
		}
		out = append(out, jobSpan{s.Time.UnixMilli(), farFuture, s.Data.Job})
	}
	for _, f := range of(l.in.Finishes, id) {
		for i := range out {
			if at := f.Time.UnixMilli(); out[i].job == f.Data.Job && out[i].from <= at && at < out[i].to {
				out[i].to = at
			}
		}
	}
	return out
}

// farFuture ends a job that nobody has finished.
var farFuture = time.Date(2300, 1, 1, 0, 0, 0, 0, time.UTC).UnixMilli()

// at is the job of work in a field at a time; "": none known.
func (m *machineLinks) at(milli int64, field schemas.FieldID, product schemas.ProductID) schemas.JobID {
	lays := m.lays[fieldProduct{field, product}]
	picked, started := spanAt(m.picked, milli), spanAt(m.started, milli)
	switch {
	case slices.Contains(lays, picked):
		return picked
	case slices.Contains(lays, started):
		return started
	}
	if sole := m.sole(lays, milli); sole != "" {
		return sole
	}
	return cmp.Or(picked, started)
}

// spanAt is the job of the last span that began by then and had not ended: a
// pass log's last fix belongs to it.
func spanAt(spans []jobSpan, milli int64) schemas.JobID {
	i := sort.Search(len(spans), func(i int) bool { return spans[i].from > milli })
	if i == 0 || spans[i-1].to < milli {
		return ""
	}
	return spans[i-1].job
}
