package reconcile

import (
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"hopperbook/reconcile/rating"
	"hopperbook/schemas"
	"hopperbook/schemas/fault"
)

// relay is 4 t for J1, who spreads two lines, then 2 t on top for J2, who spreads
// lines; the hopper is read at R2 by cells and empty at the end.
func relay(lines int, residual *float64) *world {
	w := shared()
	w.in.Passes, w.in.Loads, w.in.Refills = nil, nil, nil
	w.clock = day
	w.refill(4000)
	w.drives("J1", 0, 0, 2)
	w.refill(2000)
	second := &w.in.Refills[1].Data
	second.ResidualKg, second.ResidualSdKg, second.ResidualMethod = residual, nil, schemas.ResidualCells
	w.drives("J2", 1, 0, lines)
	w.refill()
	return w
}

// drives are n lines of a field from number k, under a job.
func (w *world) drives(job schemas.JobID, field, k, n int) {
	for i := range n {
		w.line(field, k+i)
		w.in.Passes[len(w.in.Passes)-1].Job = job
	}
}

// loadedOf is what the jobs are billed by loaded mass, in tonnes.
func loadedOf(t *testing.T, in Input, jobs ...schemas.JobID) (out []string) {
	t.Helper()
	for _, j := range jobs {
		out = append(out, tonnes(t, in, j, schemas.BasisLoaded))
	}
	return out
}

// cautionsOf are the cautions of a job's bill on what was in the hopper.
func cautionsOf(t *testing.T, in Input, job schemas.JobID) string {
	t.Helper()
	a := agreed(schemas.AgreementLine{Kind: schemas.LineFixed, Price: "1"})
	a[0].Customer = schemas.CustomerID("C" + string(job[1:]))
	var out []string
	for _, u := range planned(t, in, BillAsk{Job: job, Agreements: a}).Bill.Unsure {
		if u.Kind == unsureCarried {
			out = append(out, u.Text)
		}
	}
	return strings.Join(out, "; ")
}

// By hand: of 4 t J1 left 2 t, as read, which went out to J2 with 2 t more.
func TestWhatIsLeftIsTheNextJobs(t *testing.T) {
	w := relay(4, kg(2000))
	if got := loadedOf(t, w.in, "J1", "J2"); !slices.Equal(got, []string{"2", "4"}) {
		t.Errorf("billed %v t, want 2 and 4", got)
	}
	for job, want := range map[schemas.JobID]string{"J1": "2.000 t of super that were filled in were left in the hopper", "J2": "2.000 t of super were left in the hopper by job J1"} {
		if got := cautionsOf(t, w.in, job); !strings.Contains(got, want) {
			t.Errorf("%s is told %q, want %q", job, got, want)
		}
	}
	// A reading in the evening and one in the morning say the same.
	night := relay(4, kg(2000))
	night.clock = night.in.Passes[1].end()
	night.refill()
	night.in.Refills[3].Data.ResidualKg, night.in.Refills[3].Data.ResidualMethod = kg(2000), schemas.ResidualCells
	night.in.Refills[3].Time = night.in.Passes[1].end()
	if got := loadedOf(t, night.in, "J1", "J2"); !slices.Equal(got, []string{"2", "4"}) {
		t.Errorf("overnight billed %v t, want 2 and 4", got)
	}
	// What J1's docket and J2's are, is what each got of their loads.
	for i, d := range []schemas.DocketID{"D1", "D2"} {
		w.in.Loads[i].Data.Docket = d
		w.in.Dockets = append(w.in.Dockets, meta(w, "office", schemas.DocketReceived{Docket: d, Product: "super", Stockpile: "yard", NetKg: w.in.Loads[i].Data.NetKg}))
	}
	if one, two := tonnes(t, w.in, "J1", schemas.BasisDocket), tonnes(t, w.in, "J2", schemas.BasisDocket); one != "2" || two != "4" {
		t.Errorf("by docket %s t and %s t, want 2 and 4", one, two)
	}
}

// By hand: not read, 6 t are divided by two lines and two.
func TestUnreadFillingsAreOne(t *testing.T) {
	w := relay(2, nil)
	if got := loadedOf(t, w.in, "J1", "J2"); !slices.Equal(got, []string{"3", "3"}) {
		t.Errorf("billed %v t, want 3 and 3", got)
	}
	if got := cautionsOf(t, w.in, "J1"); !strings.Contains(got, "super: the hopper was not read when more was put in") {
		t.Errorf("J1 is told %q", got)
	}
}

// Super left under lime is nobody's, and both bills say so.
func TestWhatIsLeftUnderAnotherProduct(t *testing.T) {
	w := relay(2, kg(1000))
	w.in.Jobs[1].Data.Product, w.in.Loads[1].Data.Product, w.in.Refills[1].Data.Product, w.in.Refills[2].Data.Product = "lime", "lime", "lime", "lime"
	if got := loadedOf(t, w.in, "J1", "J2"); !slices.Equal(got, []string{"3", "2"}) {
		t.Errorf("billed %v t, want 3 and 2", got)
	}
	for _, j := range []schemas.JobID{"J1", "J2"} {
		if got := cautionsOf(t, w.in, j); !strings.Contains(got, "1.000 t of super were left in the hopper under lime") {
			t.Errorf("%s is told %q", j, got)
		}
	}
}

// A filling whose end nobody read is estimated: what is not spread yet is still in
// the hopper. By hand: at the set rate two lines are 0.32 t.
func TestWhatIsStillInTheHopperIsNotBilled(t *testing.T) {
	w := relay(4, kg(2000))
	w.in.Refills, w.in.Passes = w.in.Refills[:1], w.in.Passes[:2]
	if got := tonnes(t, w.in, "J1", schemas.BasisLoaded); got != "0.32" {
		t.Errorf("J1 is billed %s t, want 0.32", got)
	}
	a := agreed(schemas.AgreementLine{Kind: schemas.LineFixed, Price: "1"})
	if u := planned(t, w.in, BillAsk{Job: "J1", Agreements: a}).Bill.Unsure; !slices.ContainsFunc(u, func(u rating.Unsure) bool { return strings.Contains(u.Text, "part of the mass is estimated") }) {
		t.Errorf("cautions %v", u)
	}
}

// The reading, and the load that is carried, are evidence of both bills; what the
// next filling is filled with is none of the first's.
func TestWhatIsCarriedIsEvidence(t *testing.T) {
	w := relay(4, kg(2000))
	uses := func(job schemas.JobID) []schemas.EventID {
		d, err := Divide(w.in)
		if err != nil {
			t.Fatal(err)
		}
		return d.Work([]schemas.JobID{job}).Uses
	}
	one, two := uses("J1"), uses("J2")
	for _, id := range []schemas.EventID{w.in.Refills[0].ID, w.in.Refills[1].ID, w.in.Loads[0].ID} {
		if !slices.Contains(one, id) || !slices.Contains(two, id) {
			t.Errorf("event %s (%s) is not evidence of both", id, eventText(w.in, id))
		}
	}
	if slices.Contains(one, w.in.Loads[1].ID) || slices.Contains(one, w.in.Passes[3].ID) || slices.Contains(two, w.in.Passes[0].ID) {
		t.Error("the other's work is evidence")
	}
}

// By hand: the first product in the hopper was read before any load was: 0.5 t are of
// no load, and went out first. Then more is read than was put in.
func TestWhatNoLoadBrought(t *testing.T) {
	w := relay(4, kg(2000))
	w.in.Refills[0].Data.ResidualKg, w.in.Refills[0].Data.ResidualMethod = kg(500), schemas.ResidualCells
	if got := loadedOf(t, w.in, "J1", "J2"); !slices.Equal(got, []string{"2", "4"}) {
		t.Errorf("billed %v t, want 2 and 4", got)
	}
	if got := cautionsOf(t, w.in, "J1"); !strings.Contains(got, "0.500 t of super that went out are of no load") {
		t.Errorf("J1 is told %q", got)
	}
	w = relay(4, kg(5000))
	a := agreed(schemas.AgreementLine{Kind: schemas.LinePerTonne, Basis: schemas.BasisLoaded, Price: "100"})
	d, err := Divide(w.in)
	if err != nil {
		t.Fatal(err)
	}
	if _, err = d.PlanBill(BillAsk{Job: "J1", Agreements: a, Tax: noTax}); fault.CodeOf(err) != fault.Input {
		t.Errorf("more was left than was filled in, and J1 is billed: %v", err)
	}
	if got := loadedOf(t, w.in, "J2"); got[0] != "6" {
		t.Errorf("J2 is billed %v t, want the 6 t that were filled in", got)
	}
}

// A load without a weight is taken from what was driven, and goes out first; so what
// was driven is evidence of what was carried.
func TestALoadWithoutAWeight(t *testing.T) {
	w := relay(4, kg(2000))
	w.in.Refills[0].Data.Loads = append([]schemas.LoadID{"gone"}, w.in.Refills[0].Data.Loads...)
	d, err := Divide(w.in)
	if err != nil {
		t.Fatal(err)
	}
	if one, two := d.Work([]schemas.JobID{"J1"}), d.Work([]schemas.JobID{"J2"}); !slices.Contains(two.Uses, w.in.Passes[0].ID) || slices.Contains(one.Uses, w.in.Passes[3].ID) {
		t.Error("what the weight was taken from is not evidence of what was carried, or what came later is")
	}
	if got := loadedOf(t, w.in, "J1", "J2"); !slices.Equal(got, []string{"2", "4"}) {
		t.Errorf("billed %v t, want 2 and 4", got)
	}
}

// What lay under a product is nobody's because of the refill of the other product: it
// is evidence, its load is not. By hand: 2 t are J2's, 2.5 t if all had been super.
func TestTheOtherProductIsEvidence(t *testing.T) {
	w := relay(4, kg(1000))
	w.in.Refills[1].Data.Product, w.in.Loads[1].Data.Product = "lime", "lime"
	w.in.Passes, w.in.Refills = w.in.Passes[:2], w.in.Refills[:2]
	w.refill(2000)
	w.in.Refills[2].Data.ResidualKg, w.in.Refills[2].Data.ResidualMethod = kg(500), schemas.ResidualCells
	w.drives("J2", 1, 0, 4)
	w.refill()
	if got := loadedOf(t, w.in, "J2"); got[0] != "2" {
		t.Errorf("billed %v t, want 2", got)
	}
	if got := loadedOf(t, without(w.in, w.in.Refills[1].ID), "J2"); got[0] != "2.5" {
		t.Errorf("without the lime billed %v t, want 2.5", got)
	}
	d, err := Divide(w.in)
	if err != nil {
		t.Fatal(err)
	}
	if uses := d.Work([]schemas.JobID{"J2"}).Uses; !slices.Contains(uses, w.in.Refills[1].ID) || slices.Contains(uses, w.in.Loads[1].ID) {
		t.Errorf("the refill of lime is not evidence, or its load is: %v", uses)
	}
}

// Whatever is read or not: what the jobs took, what nobody got and what is in the
// hopper are the loads.
func TestLoadedMassesAddUp(t *testing.T) {
	for seed := range uint64(40) {
		w := crews(rand.New(rand.NewPCG(seed, 5)))
		d, err := Divide(w.in)
		if err != nil {
			t.Fatal(err)
		}
		got := map[schemas.LoadID]float64{}
		for _, l := range d.loads {
			got[l.Load] += l.ForKg
			if l.ForKg < 0 {
				t.Errorf("book %d: load %s for %s: %.3f kg", seed, l.Load, l.Job, l.ForKg)
			}
		}
		told, err := tellAll(w.in, d.reg, &findings{}, func([]Pass) bool { return true })
		if err != nil {
			t.Fatal(err)
		}
		for _, m := range told {
			all, held := m.fillings(d.links.of(m.id), d.reg)
			for _, f := range all {
				for _, p := range append(slices.Clone(f.lost), f.gone...) {
					if len(f.took) == 0 || slices.Contains(f.lost, p) {
						got[p.load] += p.kg
					}
				}
			}
			for _, p := range held {
				got[p.load] += p.kg
			}
		}
		for id, l := range d.reg.loads {
			if _, in := d.reg.hoppers[id]; in && math.Abs(got[id]-l.Data.NetKg) > 1e-6 {
				t.Errorf("book %d: of load %s (%.3f kg) %.3f kg are told", seed, id, l.Data.NetKg, got[id])
			}
		}
	}
}
