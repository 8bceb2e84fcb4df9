package reconcile

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"hopperbook/reconcile/rating"
	"hopperbook/schemas"
	"hopperbook/schemas/fault"
	"hopperbook/schemas/unit"
)

// BillAsk says what is to be billed: one job, or all of a customer's jobs whose
// work ended in a period.
type BillAsk struct {
	Job      schemas.JobID
	Customer schemas.CustomerID
	From, To time.Time // half-open; zero: open
	// Billed are jobs that stand on an issued document which was not taken back.
	Billed map[schemas.JobID]schemas.InvoiceNo
	// Agreements as they were registered last, and the tax of lines that say none.
	Agreements []schemas.RegisterAgreement
	Tax        rating.Tax
	// Unsure is what the book itself lacks of a work: gaps, rejected events; nil: nothing.
	Unsure func(*Work) []rating.Unsure
}

// BillPlan is what a bill would be: nothing is issued by it.
type BillPlan struct {
	Customer  schemas.CustomerID
	Agreement schemas.RegisterAgreement
	Work      Work
	Bill      rating.Bill
	Skipped   []string // jobs left out and why, in words
}

// overlapTold is the share of the covered area spread more than once that is
// told beside a bill. Common practice, no source.
const overlapTold = 0.10

// PlanBill works out the bill. fault.NotFound: no such job, nothing done;
// fault.Conflict: already billed, or jobs under different agreements; and what
// rating refuses.
func (d *Divided) PlanBill(ask BillAsk) (BillPlan, error) {
	plan := BillPlan{}
	jobs, customer, err := plan.jobs(d, ask)
	if err != nil {
		return plan, err
	}
	plan.Work = d.Work(jobs)
	plan.Customer = customer
	var unsure []rating.Unsure
	if ask.Unsure != nil && len(plan.Work.Done) > 0 {
		unsure = ask.Unsure(&plan.Work)
	}
	plan.Agreement, plan.Bill, err = d.price(&plan.Work, ask, unsure)
	return plan, err
}

// Rebill is what the work of jobs on a document comes to now; only Agreements and
// Tax of ask are looked at. It fails as PlanBill does.
func (d *Divided) Rebill(w *Work, ask BillAsk) (rating.Bill, error) {
	_, b, err := d.price(w, ask, nil)
	return b, err
}

func (d *Divided) price(w *Work, ask BillAsk, unsure []rating.Unsure) (by schemas.RegisterAgreement, b rating.Bill, err error) {
	if len(w.Done) == 0 {
		return by, b, fault.Newf("bill "+list(w.Jobs), fault.NotFound, "nothing was spread under it", "hopperbook fields shows what was spread; is the job's product and field the one that was worked?")
	}
	if by, err = d.agreement(w, ask.Agreements); err != nil {
		return by, b, err
	}
	if CountsDockets(&by) {
		said, err := w.checkDockets()
		if err != nil {
			return by, b, err
		}
		unsure = append(slices.Clone(unsure), said...)
	}
	b, err = rating.Rate(by, w.Quantities(d.in, unsure), ask.Tax)
	return by, b, err
}

// jobs are those to bill, sorted, and whose they are.
func (plan *BillPlan) jobs(d *Divided, ask BillAsk) ([]schemas.JobID, schemas.CustomerID, error) {
	if ask.Job != "" {
		job, ok := d.reg.jobs[ask.Job]
		switch number, billed := ask.Billed[ask.Job]; {
		case !ok:
			return nil, "", fault.Newf("bill job "+string(ask.Job), fault.NotFound, "it is not registered", "register the job, or name another")
		case billed:
			return nil, "", fault.Newf("bill job "+string(ask.Job), fault.Conflict, "it stands on "+string(number), "take it back first with: hopperbook credit "+string(number))
		default:
			return []schemas.JobID{ask.Job}, job.Data.Customer, nil
		}
	}
	ends := d.jobEnds()
	var jobs []schemas.JobID
	for _, id := range sortedKeys(d.reg.jobs) {
		if d.reg.jobs[id].Data.Customer != ask.Customer {
			continue
		}
		end, done := ends[id]
		number, billed := ask.Billed[id]
		switch {
		case !done:
			plan.Skipped = append(plan.Skipped, fmt.Sprintf("job %s: nothing was spread under it", id))
		case end.Before(ask.From) || !ask.To.IsZero() && !end.Before(ask.To):
			plan.Skipped = append(plan.Skipped, fmt.Sprintf("job %s: its work ended %s, outside the period", id, end.Format(time.RFC3339)))
		case billed:
			plan.Skipped = append(plan.Skipped, fmt.Sprintf("job %s: it stands on %s", id, number))
		default:
			jobs = append(jobs, id)
		}
	}
	if len(jobs) == 0 {
		return nil, "", fault.Newf("bill customer "+string(ask.Customer), fault.NotFound, strings.Join(append([]string{"there is no job to bill"}, plan.Skipped...), "; "), "check customer and period; --from and --to are half-open")
	}
	return jobs, ask.Customer, nil
}

// jobEnds is when the last metre of each job was spread.
func (d *Divided) jobEnds() map[schemas.JobID]time.Time {
	ends := map[schemas.JobID]time.Time{}
	for _, a := range d.Applications {
		if a.To.After(ends[a.Job]) {
			ends[a.Job] = a.To
		}
	}
	return ends
}

// Quantities are what the work measures for a bill.
func (w *Work) Quantities(in Input, unsure []rating.Unsure) rating.Quantities {
	q := rating.Quantities{Masses: w.masses(), DistanceKm: rating.Measure{Value: rounded(w.DrivenKm, 6), From: "pass logs on the fields"}}
	for _, a := range w.Done {
		from := "passes on " + cmp.Or(a.Name, string(a.Field.Field))
		q.Areas = append(q.Areas, rating.Area{Field: a.Field.Field, Product: a.Product,
			BoundaryM2: rating.Measure{Value: a.BoundaryM2, From: "boundary of " + cmp.Or(a.Name, string(a.Field.Field))},
			CoveredM2:  rating.Measure{Value: a.CoveredM2, From: from}})
	}
	if w.Hours != nil {
		q.TimeH = rating.Measure{Value: rounded(*w.Hours, 6), From: "from job started to job finished"}
	}
	q.Unsure = append(slices.Clone(unsure), w.unsure(in.Policy)...)
	return q
}

// masses are by product: spread is what landed inside the boundaries, loaded
// what went out for them of what was filled in, docketed what that is of its dockets.
func (w *Work) masses() []rating.Mass {
	byProduct := map[schemas.ProductID]*rating.Mass{}
	of := func(p schemas.ProductID) *rating.Mass {
		if byProduct[p] == nil {
			byProduct[p] = &rating.Mass{Product: p}
		}
		return byProduct[p]
	}
	add := func(m *rating.Measure, kg float64, from string) {
		m.Value, m.From = rounded(m.Value+kg, 3), from
	}
	for _, a := range w.Done {
		add(&of(a.Product).SpreadKg, a.MassKg, "balance of loads and residuals, inside the boundaries")
	}
	counts, _, _ := w.counts()
	for _, l := range w.Loads {
		add(&of(l.Product).LoadedKg, l.ForKg, counts[l.Product])
	}
	w.docketed(func(p schemas.ProductID, kg float64, dockets int) {
		loads := "its loads"
		if dockets > 1 {
			loads = "their loads"
		}
		add(&of(p).DocketKg, kg, fmt.Sprintf("%s of %s, by %s", counted(dockets, "docket"), p, loads))
	})
	var out []rating.Mass
	for _, p := range sortedKeys(byProduct) {
		out = append(out, *byProduct[p])
	}
	return out
}

// counts says how many loads of each product the work took of, how many in all, and
// how many of them were weighed on no weighbridge. A load of several jobs is one load.
func (w *Work) counts() (text map[schemas.ProductID]string, all, bare int) {
	ofJobs := map[schemas.LoadID]float64{}
	for _, l := range w.Loads {
		ofJobs[l.Load] += l.ForKg
	}
	loads, parts, seen := map[schemas.ProductID]int{}, map[schemas.ProductID]int{}, map[schemas.LoadID]bool{}
	for _, l := range w.Loads {
		if seen[l.Load] {
			continue
		}
		seen[l.Load] = true
		loads[l.Product]++
		if ofJobs[l.Load] < (1-1e-9)*l.NetKg {
			parts[l.Product]++
		}
		if l.Method != schemas.MethodWeighbridge {
			bare++
		}
	}
	text = map[schemas.ProductID]string{}
	for p, n := range loads {
		text[p] = fmt.Sprintf("%s of %s filled in", counted(n, "load"), p)
		switch {
		case parts[p] > 0 && n == 1:
			text[p] = fmt.Sprintf("part of %s of %s filled in", counted(n, "load"), p)
		case parts[p] > 0:
			text[p] += fmt.Sprintf(", %d of them in part", parts[p])
		}
	}
	return text, len(seen), bare
}

// counted is a number of things in words.
func counted(n int, what string) string {
	if n != 1 {
		what += "s"
	}
	return fmt.Sprintf("%d %s", n, what)
}

// unsure is what a person should know of the work before it is billed.
func (w *Work) unsure(policy Policy) (out []rating.Unsure) {
	say := func(kind, format string, args ...any) {
		out = append(out, rating.Unsure{Kind: kind, Text: fmt.Sprintf(format, args...)})
	}
	tolerance := cmp.Or(policy.ToleranceShare, 0.05)
	for _, a := range w.Done {
		where := fmt.Sprintf("%s, %s", cmp.Or(a.Name, string(a.Field.Field)), a.Product)
		if twice := a.Overlap2M2 + a.Overlap3M2; twice > overlapTold*a.CoveredM2 {
			say(rating.UnsureOverlap, "%s: %.2f ha of %.2f ha were spread more than once", where, twice/1e4, a.CoveredM2/1e4)
		}
		if off := a.FieldRateKgHa/a.AskedKgHa - 1; a.AskedKgHa > 0 && math.Abs(off) > tolerance {
			say(rating.UnsureRate, "%s: %s kg/ha were given (95 %%: %s to %s), %s asked for", where, unit.Plain(a.FieldRateKgHa, 4), unit.Plain(a.FieldRateLow, 4), unit.Plain(a.FieldRateHigh, 4), unit.Plain(a.AskedKgHa, 4))
		}
		if a.Open {
			say("open", "%s: part of the mass is estimated, no reading has closed the last load", where)
		}
	}
	for _, text := range w.carriedText() {
		say(unsureCarried, "%s", text)
	}
	if _, all, bare := w.counts(); bare > 0 {
		were := "were"
		if all == 1 {
			were = "was"
		}
		say(rating.UnsureScale, "%d of %s %s weighed by bucket, hopper cells or volume: no scale certified for trade", bare, counted(all, "load"), were)
	}
	return out
}
