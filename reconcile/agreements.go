package reconcile

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"hopperbook/reconcile/rating"
	"hopperbook/schemas"
	"hopperbook/schemas/fault"
)

// agreementOf finds what a job is paid by: the agreement it names, or the
// customer's at the end of its work.
func (d *Divided) agreementOf(w *Work, job schemas.JobID, all []schemas.RegisterAgreement) (schemas.RegisterAgreement, error) {
	registered, ok := d.reg.jobs[job]
	if !ok {
		return schemas.RegisterAgreement{}, fault.Newf("find the agreement", fault.NotFound, "the job is not registered, or was voided", "register it again: register.job")
	}
	data := registered.Data
	if data.Agreement == "" {
		return rating.Select(all, data.Customer, w.ended(job))
	}
	return rating.Named(all, data.Agreement, data.Customer, w.ended(job))
}

// Agreements are all that decide what the work is paid by: of each job its own,
// or where none can be told all of its customer's.
func (d *Divided) Agreements(w *Work, all []schemas.RegisterAgreement) (out []schemas.AgreementID) {
	for _, job := range w.Jobs {
		if a, err := d.agreementOf(w, job, all); err == nil {
			out = append(out, a.Agreement)
			continue
		}
		for _, a := range all {
			if data := d.reg.jobs[job].Data; a.Customer == data.Customer || a.Agreement == data.Agreement {
				out = append(out, a.Agreement)
			}
		}
	}
	slices.Sort(out)
	return slices.Compact(out)
}

// agreement is the one that all jobs are paid by.
func (d *Divided) agreement(w *Work, all []schemas.RegisterAgreement) (one schemas.RegisterAgreement, err error) {
	named := map[schemas.AgreementID]bool{}
	for _, job := range w.Jobs {
		named[d.reg.jobs[job].Data.Agreement] = true
	}
	if len(named) > 1 {
		return one, fault.Newf("bill "+list(w.Jobs), fault.Conflict, "the jobs name different agreements: "+list(sortedKeys(named)), "bill them one by one")
	}
	paid, err := d.paid(w, all)
	if err != nil {
		return one, err
	}
	if len(paid) > 1 {
		return one, w.changedAgreement(paid)
	}
	return paid[0].by, nil
}

// paidBy are jobs whose work ended one after the other, paid by one agreement.
type paidBy struct {
	by          schemas.RegisterAgreement
	jobs        []schemas.JobID
	first, last time.Time // when the first and the last of them ended
}

func (d *Divided) paid(w *Work, all []schemas.RegisterAgreement) (out []paidBy, err error) {
	jobs := slices.Clone(w.Jobs)
	slices.SortStableFunc(jobs, func(a, b schemas.JobID) int { return w.ended(a).Compare(w.ended(b)) })
	for _, job := range jobs {
		a, err := d.agreementOf(w, job, all)
		if err != nil {
			return nil, fault.Wrap("bill job "+string(job), err)
		}
		at := w.ended(job)
		if n := len(out); n == 0 || out[n-1].by.Agreement != a.Agreement {
			out = append(out, paidBy{by: a, first: at})
		}
		last := &out[len(out)-1]
		last.jobs, last.last = append(last.jobs, job), at
	}
	return out, nil
}

// changedAgreement refuses one bill over several agreements, and names the days
// to bill between.
func (w *Work) changedAgreement(paid []paidBy) error {
	var said, periods []string
	from := ""
	for i, p := range paid {
		said = append(said, fmt.Sprintf("%s until %s (%s)", p.by.Agreement, p.last.UTC().Format(time.DateOnly), list(p.jobs)))
		period := from
		if i+1 < len(paid) {
			change := instant(changeBetween(p, paid[i+1]))
			period, from = strings.TrimSpace(period+" --to "+change), "--from "+change
		}
		periods = append(periods, period)
	}
	return fault.Newf("bill "+list(w.Jobs), fault.Conflict, "they are paid by different agreements: "+strings.Join(said, ", "),
		"bill each of its periods by itself: "+strings.Join(periods, "; "))
}

// changeBetween is when the next agreement came into force, or the one before ended;
// where neither is between the jobs, when the first job of the next one ended.
func changeBetween(before, next paidBy) time.Time {
	for _, text := range []string{next.by.ValidFrom, before.by.ValidTo} {
		if at, err := time.Parse(time.RFC3339Nano, text); err == nil && at.After(before.last) && !at.After(next.first) {
			return at.UTC()
		}
	}
	return next.first.UTC()
}

// instant is a day where it is the beginning of one.
func instant(at time.Time) string {
	if at.Equal(at.Truncate(24 * time.Hour)) {
		return at.Format(time.DateOnly)
	}
	return at.Format(time.RFC3339Nano)
}
