package desk

import (
	"context"
	"io"
	"slices"
	"time"

	"hopperbook/reports"
	"hopperbook/schemas"
	"hopperbook/schemas/fault"
)

// JobSheetParams says which job.
type JobSheetParams struct {
	Job schemas.JobID `json:"job"`
}

// jobSheet answers from the work that bills are made of, so that both say the same.
func (d *Desk) jobSheet(ctx context.Context, params []byte, w io.Writer) error {
	p, err := paramsOf[JobSheetParams]("jobsheet", params)
	if err != nil {
		return err
	}
	l, err := d.readLedger(ctx, false)
	if err != nil {
		return err
	}
	op := "make the sheet of job " + string(p.Job)
	a := reports.JobSheetAnswer{Schema: reports.SchemaJobSheet, Contractor: l.seller(), Operators: []schemas.Operator{}, Weather: []reports.NotedWeather{}}
	known := false
	for _, j := range l.in.Jobs { // a later entry replaces an earlier one
		if j.Data.Job == p.Job {
			a.Job, known = j.Data, true
		}
	}
	if !known {
		return fault.Newf(op, fault.NotFound, "it is not registered", "register the job, or name another")
	}
	work := l.divided.Work([]schemas.JobID{p.Job})
	if len(work.Done) == 0 {
		return fault.Newf(op, fault.NotFound, "nothing was spread under it", "hopperbook fields shows what was spread")
	}
	a.Customer = *l.buyer(a.Job.Customer)
	for _, x := range l.in.Products {
		if x.Data.Product == a.Job.Product {
			a.Product = x.Data
		}
	}
	a.Done, a.From, a.To, a.Machines = work.Done, work.From, work.To, orEmpty(work.Machines)
	for _, s := range l.in.Starts {
		if s.Data.Job == p.Job && s.Data.Operator != "" && !slices.Contains(a.Operators, s.Data.Operator) {
			a.Operators = append(a.Operators, s.Data.Operator)
		}
	}
	slices.Sort(a.Operators)
	for _, x := range l.in.Weather {
		if near := time.Hour; !x.Time.Before(work.From.Add(-near)) && !x.Time.After(work.To.Add(near)) && (x.Machine == "" || slices.Contains(work.Machines, x.Machine)) {
			a.Weather = append(a.Weather, reports.NotedWeather{At: x.Time, WeatherNoted: x.Data})
		}
	}
	slices.SortStableFunc(a.Weather, func(x, y reports.NotedWeather) int { return x.At.Compare(y.At) })
	if l.contractor != nil {
		a.TimeZone = l.contractor.TimeZone
	}
	return write(w, a)
}
