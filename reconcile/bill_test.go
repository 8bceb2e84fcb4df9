package reconcile

import (
	"math"
	"math/rand/v2"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"

	"hopperbook/reconcile/rating"
	"hopperbook/schemas"
	"hopperbook/schemas/fault"
)

var noTax = rating.Tax{Category: schemas.TaxOutOfScope}

func agreed(lines ...schemas.AgreementLine) []schemas.RegisterAgreement {
	return []schemas.RegisterAgreement{{Agreement: "A1", Customer: "C1", Currency: "EUR", Lines: lines, TaxCategory: schemas.TaxStandard, TaxPct: "20"}}
}

// billed is jobbed with started and finished jobs and half of the loads on a docket.
func billed() *world {
	w := jobbed()
	for i, j := range []schemas.JobID{"J1", "J2"} {
		first, last := w.in.Passes[20*i], w.in.Passes[20*i+19]
		w.clock = first.start().Add(-10 * time.Minute)
		w.in.Starts = append(w.in.Starts, meta(w, "sp1", schemas.JobStarted{Job: j}))
		w.clock = time.UnixMilli(last.Fixes[len(last.Fixes)-1].UnixMilli).Add(5 * time.Minute).UTC()
		w.in.Finishes = append(w.in.Finishes, meta(w, "sp1", schemas.JobFinished{Job: j}))
	}
	for i := range w.in.Loads[:4] {
		w.in.Loads[i].Data.Docket = "D1"
	}
	w.in.Dockets = append(w.in.Dockets, meta(w, "office", schemas.DocketReceived{Docket: "D1", Product: "super", Stockpile: "yard", NetKg: 3300}))
	return w
}

func planned(t *testing.T, in Input, ask BillAsk) BillPlan {
	t.Helper()
	d, err := Divide(in)
	if err != nil {
		t.Fatal(err)
	}
	p, err := d.PlanBill(ask)
	if err != nil {
		t.Fatal(err)
	}
	return p
}

// By hand: J1 is 16 ha at 1.02 x 200 kg/ha = 3 264 kg spread and loaded; 12.50
// a tonne and 9 a hectare; 20 % tax.
func TestPlanBillByHand(t *testing.T) {
	w := billed()
	p := planned(t, w.in, BillAsk{Job: "J1", Agreements: agreed(
		schemas.AgreementLine{Kind: schemas.LinePerTonne, Basis: schemas.BasisLoaded, Price: "12.50"},
		schemas.AgreementLine{Kind: schemas.LinePerHectare, Basis: schemas.BasisBoundary, Price: "9"},
		schemas.AgreementLine{Kind: schemas.LinePerTonne, Basis: schemas.BasisDocket, Price: "1"})})
	var amounts []string
	for _, l := range p.Bill.Lines {
		amounts = append(amounts, l.Quantity.String()+" "+l.Unit+" "+l.Amount.String())
	}
	// 3.264 t x 12.50 = 40.80; 16.001 ha x 9 = 144.009 (a degree of longitude is longer
	// at the field's northern end); the docket's 3.3 t are all J1's.
	if want := []string{"3.264 t 40.8", "16.001 ha 144.01", "3.3 t 3.3"}; !slices.Equal(amounts, want) {
		t.Errorf("lines %v, want %v", amounts, want)
	}
	if got := p.Bill.Totals.Gross.String(); got != "225.73" { // 188.11 x 1.2
		t.Errorf("gross %s", got)
	}
	if len(p.Work.Loads) != 4 || p.Work.Hours == nil || math.Abs(p.Work.DrivenKm-20*0.4) > 0.3 {
		t.Errorf("%d loads, hours %v, %.2f km", len(p.Work.Loads), p.Work.Hours, p.Work.DrivenKm)
	}
	if !slices.ContainsFunc(p.Bill.Unsure, func(u rating.Unsure) bool { return u.Kind == rating.UnsureScale }) {
		t.Errorf("bucket loads are not cautioned: %v", p.Bill.Unsure)
	}
}

// Two jobs on one bill are the two bills' quantities.
func TestBillingAPeriodIsBillingItsJobs(t *testing.T) {
	w := billed()
	lines := agreed(schemas.AgreementLine{Kind: schemas.LinePerTonne, Basis: schemas.BasisSpread, Price: "10"}, schemas.AgreementLine{Kind: schemas.LinePerHour, Price: "60"})
	both := planned(t, w.in, BillAsk{Customer: "C1", From: day, To: day.Add(24 * time.Hour), Agreements: lines, Tax: noTax})
	var kg, hours float64
	for _, j := range []schemas.JobID{"J1", "J2"} {
		one := planned(t, w.in, BillAsk{Job: j, Agreements: lines, Tax: noTax})
		kg += one.Work.Done[0].MassKg
		hours += *one.Work.Hours
	}
	if got := both.Work.Done[0].MassKg + both.Work.Done[1].MassKg; math.Abs(got-kg) > 1e-6 || math.Abs(*both.Work.Hours-hours) > 1e-9 {
		t.Errorf("%.3f kg in %.4f h, the jobs have %.3f in %.4f", got, *both.Work.Hours, kg, hours)
	}
	only := planned(t, w.in, BillAsk{Customer: "C1", Agreements: lines, Tax: noTax, Billed: map[schemas.JobID]schemas.InvoiceNo{"J1": "2026-0001"}})
	if !slices.Equal(only.Work.Jobs, []schemas.JobID{"J2"}) || len(only.Skipped) != 1 || !strings.Contains(only.Skipped[0], "2026-0001") {
		t.Errorf("jobs %v, skipped %v", only.Work.Jobs, only.Skipped)
	}
}

func TestPlanBillRefuses(t *testing.T) {
	w := billed()
	lines := agreed(schemas.AgreementLine{Kind: schemas.LinePerTonne, Basis: schemas.BasisSpread, Price: "10"})
	other := slices.Clone(w.in.Jobs)
	other[1].Data.Agreement = "A9"
	for name, c := range map[string]struct {
		change func(*Input)
		ask    BillAsk
		code   fault.Code
		says   string
	}{
		"no such job":      {nil, BillAsk{Job: "J9"}, fault.NotFound, "not registered"},
		"already billed":   {nil, BillAsk{Job: "J1", Billed: map[schemas.JobID]schemas.InvoiceNo{"J1": "N7"}}, fault.Conflict, "N7"},
		"nothing spread":   {func(in *Input) { in.Passes = nil }, BillAsk{Job: "J1"}, fault.NotFound, "nothing was spread"},
		"no jobs in time":  {nil, BillAsk{Customer: "C1", To: day}, fault.NotFound, "outside the period"},
		"no agreement":     {nil, BillAsk{Job: "J1"}, fault.NotFound, "none is valid"},
		"mixed agreements": {func(in *Input) { in.Jobs = other }, BillAsk{Customer: "C1", Agreements: lines}, fault.Conflict, "A9"},
		"docket missing": {func(in *Input) { in.Dockets = nil }, BillAsk{Job: "J1", Tax: noTax,
			Agreements: agreed(schemas.AgreementLine{Kind: schemas.LinePerTonne, Basis: schemas.BasisDocket, Price: "1"})}, fault.Input, "docket"},
		"hours missing": {func(in *Input) { in.Finishes = nil }, BillAsk{Job: "J2", Tax: noTax,
			Agreements: agreed(schemas.AgreementLine{Kind: schemas.LinePerHour, Price: "1"})}, fault.Input, "h"},
	} {
		in := w.in
		if c.change != nil {
			c.change(&in)
		}
		d, err := Divide(in)
		if err != nil {
			t.Fatal(err)
		}
		_, err = d.PlanBill(c.ask)
		if fault.CodeOf(err) != c.code || !strings.Contains(fault.Message(err), c.says) {
			t.Errorf("%s: %v (%v)", name, err, fault.CodeOf(err))
		}
	}
}

// What a bill comes from is named: with every other event gone, it is the same.
func TestWorkNamesWhatItUses(t *testing.T) {
	w := billed()
	for i, name := range []schemas.TestID{"older", "in force", "of later"} {
		w.clock = w.in.Passes[0].start().Add(time.Duration(i-2)*time.Hour + time.Duration(i/2)*1000*time.Hour)
		w.in.Catches = append(w.in.Catches, meta(w, "sp1", schemas.TestCatch{CatchTest: name, Product: "super", GateMm: 60, CollectedKg: 40, BoutWidthM: boutM, DistanceM: kg(250)}))
	}
	lines := agreed(schemas.AgreementLine{Kind: schemas.LinePerTonne, Basis: schemas.BasisSpread, Price: "10"}, schemas.AgreementLine{Kind: schemas.LinePerHectare, Basis: schemas.BasisCovered, Price: "9"})
	whole := planned(t, w.in, BillAsk{Job: "J1", Agreements: lines})
	in := w.in
	keep := func(id schemas.EventID) bool { return slices.Contains(whole.Work.Uses, id) }
	in.Passes = slices.DeleteFunc(slices.Clone(in.Passes), func(p Pass) bool { return !keep(p.ID) })
	in.Loads = slices.DeleteFunc(slices.Clone(in.Loads), func(l At[schemas.LoadWeighed]) bool { return !keep(l.ID) })
	in.Refills = slices.DeleteFunc(slices.Clone(in.Refills), func(r At[schemas.HopperRefilled]) bool { return !keep(r.ID) })
	in.Catches = slices.DeleteFunc(slices.Clone(in.Catches), func(c At[schemas.TestCatch]) bool { return !keep(c.ID) })
	if len(in.Catches) == 0 || len(in.Catches) == len(w.in.Catches) {
		t.Errorf("%d of %d catch tests are used", len(in.Catches), len(w.in.Catches))
	}
	if len(in.Passes) >= len(w.in.Passes) || len(in.Loads) >= len(w.in.Loads) {
		t.Fatalf("all %d passes and %d loads are used", len(in.Passes), len(in.Loads))
	}
	part := planned(t, in, BillAsk{Job: "J1", Agreements: lines})
	if !part.Bill.Totals.Gross.Equal(whole.Bill.Totals.Gross) || part.Work.Done[0].CoveredM2 != whole.Work.Done[0].CoveredM2 {
		t.Errorf("%s of all, %s of what it uses", whole.Bill.Totals.Gross, part.Bill.Totals.Gross)
	}
}

// Of four catch tests before the work the last one is in force, and one before
// the last is where a setting names it; a later one, one of another product and
// one of another machine are not.
func TestWorkNamesTheCatchTestsInForce(t *testing.T) {
	w := billed()
	from := planned(t, w.in, BillAsk{Job: "J1", Agreements: agreed(schemas.AgreementLine{Kind: schemas.LineFixed, Price: "1"})}).Work.From
	ids := map[schemas.EventID]string{}
	add := func(name string, machine schemas.MachineID, product schemas.ProductID, before time.Duration) {
		w.clock = from.Add(-before)
		c := meta(w, machine, schemas.TestCatch{CatchTest: schemas.TestID(name), Product: product, CollectedKg: 10, GateMm: 40})
		w.in.Catches = append(w.in.Catches, c)
		ids[c.ID] = name
	}
	add("oldest", "sp1", "super", 90*time.Hour)
	add("named", "sp1", "super", 80*time.Hour)
	add("older", "sp1", "super", 70*time.Hour)
	add("last", "sp1", "super", 60*time.Hour)
	add("lime", "sp1", "lime", 50*time.Hour)
	add("other", "sp9", "super", 50*time.Hour)
	add("later", "sp1", "super", -900*time.Hour)
	used := func() (out []string) {
		d, err := Divide(w.in)
		if err != nil {
			t.Fatal(err)
		}
		work := d.Work([]schemas.JobID{"J1"})
		for _, id := range work.Uses {
			if name := ids[id]; name != "" {
				out = append(out, name)
			}
		}
		slices.Sort(out)
		return out
	}
	if got := used(); !slices.Equal(got, []string{"last"}) {
		t.Errorf("in force are %v", got)
	}
	w.clock = from.Add(-time.Minute)
	w.in.Settings = append(w.in.Settings, meta(w, "sp1", schemas.SettingChanged{Product: "super", BoutWidthM: 20, SetRateKgHa: 200, CatchTest: "named"}))
	if got := used(); !slices.Equal(got, []string{"last", "named"}) {
		t.Errorf("with a setting that names one, in force are %v", got)
	}
}

func TestABillIsTheSameInAnyOrder(t *testing.T) {
	w := billed()
	lines := agreed(schemas.AgreementLine{Kind: schemas.LinePerTonne, Basis: schemas.BasisDocket, Price: "10"}, schemas.AgreementLine{Kind: schemas.LinePerHectare, Basis: schemas.BasisCovered, Price: "9"})
	want := planned(t, w.in, BillAsk{Job: "J1", Agreements: lines})
	in, rng := w.in, rand.New(rand.NewPCG(7, 7))
	in.Passes, in.Loads, in.Refills, in.Starts, in.Finishes = shuffled(rng, in.Passes), shuffled(rng, in.Loads), shuffled(rng, in.Refills), shuffled(rng, in.Starts), shuffled(rng, in.Finishes)
	if got := planned(t, in, BillAsk{Job: "J1", Agreements: lines}); !reflect.DeepEqual(got, want) {
		t.Errorf("got %+v\nwant %+v", got, want)
	}
}

// A caution stands in the bill's event for good: its figures are plain, however heavy the rate.
func TestARateThatIsOffIsSaidInPlainFigures(t *testing.T) {
	w := Work{Done: []Application{{AskedKgHa: 10000, Field: Field{Name: "Flat", FieldRateKgHa: 12345.4, FieldRateLow: 9999.6, FieldRateHigh: 14000}},
		{AskedKgHa: 187.5, Field: Field{Name: "Hill", FieldRateKgHa: 61.254, FieldRateLow: 0.000123, FieldRateHigh: 2416.3}}}}
	for i := range w.Done {
		w.Done[i].Product = "gypsum"
	}
	got := w.unsure(Policy{})
	for i, want := range []string{"Flat, gypsum: 12345 kg/ha were given (95 %: 10000 to 14000), 10000 asked for", "Hill, gypsum: 61.25 kg/ha were given (95 %: 0.000123 to 2416), 187.5 asked for"} {
		if len(got) != 2 || got[i].Text != want {
			t.Errorf("%v, want %s", got, want)
		}
	}
}

// J1 ends on the first day, J2 a week later: a change of agreement between them is
// named with its day, and how to bill on either side of it.
func TestAPeriodOverAChangeOfAgreementIsRefused(t *testing.T) {
	w := billed()
	week := 7 * 24 * time.Hour
	for i := range w.in.Passes[20:] {
		for k := range w.in.Passes[20+i].Fixes {
			w.in.Passes[20+i].Fixes[k].UnixMilli += week.Milliseconds()
		}
	}
	for i := range w.in.Refills[4:] {
		w.in.Refills[4+i].Time = w.in.Refills[4+i].Time.Add(week)
	}
	priced := func(id schemas.AgreementID, from, to, price string) schemas.RegisterAgreement {
		a := agreed(schemas.AgreementLine{Kind: schemas.LinePerTonne, Basis: schemas.BasisLoaded, Price: price})[0]
		a.Agreement, a.ValidFrom, a.ValidTo = id, from, to
		return a
	}
	all := []schemas.RegisterAgreement{priced("old", "", "2026-03-08T00:00:00Z", "10"), priced("new", "2026-03-08T00:00:00Z", "", "20")}
	d, err := Divide(w.in)
	if err != nil {
		t.Fatal(err)
	}
	_, err = d.PlanBill(BillAsk{Customer: "C1", Agreements: all})
	if fault.CodeOf(err) != fault.Conflict || !strings.Contains(fault.Message(err), "old until 2026-03-02 (J1), new until 2026-03-09 (J2)") ||
		fault.HintOf(err) != "bill each of its periods by itself: --to 2026-03-08; --from 2026-03-08" {
		t.Errorf("%v, hint %q", err, fault.HintOf(err))
	}
	cut := time.Date(2026, 3, 8, 0, 0, 0, 0, time.UTC)
	for _, c := range []struct {
		ask  BillAsk
		want string
	}{{BillAsk{Customer: "C1", To: cut, Agreements: all}, "old"}, {BillAsk{Customer: "C1", From: cut, Agreements: all}, "new"}} {
		if p := planned(t, w.in, c.ask); string(p.Agreement.Agreement) != c.want {
			t.Errorf("by %s, want %s", p.Agreement.Agreement, c.want)
		}
	}
	// An agreement that begins between them with a part of a day.
	all = []schemas.RegisterAgreement{priced("old", "", "", "10"), priced("new", "2026-03-08T11:00:00+13:00", "", "20")}
	if _, err = d.PlanBill(BillAsk{Customer: "C1", Agreements: all}); !strings.Contains(fault.HintOf(err), "--to 2026-03-07T22:00:00Z; --from 2026-03-07T22:00:00Z") {
		t.Errorf("hint %q", fault.HintOf(err))
	}
}

// What a quantity comes from is written as people write it.
func TestSourcesAreCounted(t *testing.T) {
	source := func(in Input, job schemas.JobID, basis string) string {
		a := agreed(schemas.AgreementLine{Kind: schemas.LinePerTonne, Basis: basis, Price: "1"})
		a[0].Customer = schemas.CustomerID("C" + string(job[1:]))
		return planned(t, in, BillAsk{Job: job, Agreements: a}).Bill.Lines[0].Source
	}
	w := shared()
	w.in.Loads[0].Data.Docket = "D1"
	w.in.Dockets = append(w.in.Dockets, meta(w, "office", schemas.DocketReceived{Docket: "D1", Product: "super", Stockpile: "yard", NetKg: 4000}))
	if got := source(w.in, "J1", schemas.BasisDocket); got != "1 docket of super, by its loads" {
		t.Errorf("docketed from %q", got)
	}
	if got := source(w.in, "J1", schemas.BasisLoaded); got != "part of 1 load of super filled in" {
		t.Errorf("loaded from %q", got)
	}
	if got := source(billed().in, "J1", schemas.BasisLoaded); got != "4 loads of super filled in" {
		t.Errorf("loaded from %q", got)
	}
	b := planned(t, w.in, BillAsk{Job: "J1", Agreements: agreed(schemas.AgreementLine{Kind: schemas.LineFixed, Price: "1"})}).Bill
	if !slices.ContainsFunc(b.Unsure, func(u rating.Unsure) bool { return strings.HasPrefix(u.Text, "1 of 1 load was weighed by bucket") }) {
		t.Errorf("cautions %v", b.Unsure)
	}
}

// What was asked for is the job's rate, also where half of it is set and the
// ground covered twice; of another product, what was set.
func TestAskedIsTheJobsRate(t *testing.T) {
	w := billed()
	d, err := Divide(w.in)
	if err != nil {
		t.Fatal(err)
	}
	set := d.Applications[0].SetRateKgHa
	for i := range w.in.Jobs {
		w.in.Jobs[i].Data.SetRateKgHa = 2 * set
	}
	w.in.Jobs[1].Data.Product = "another"
	if d, err = Divide(w.in); err != nil {
		t.Fatal(err)
	}
	seen := map[schemas.JobID]float64{}
	for _, a := range d.Applications {
		seen[a.Job] = a.AskedKgHa
	}
	if first, second := w.in.Jobs[0].Data.Job, w.in.Jobs[1].Data.Job; set <= 0 || seen[first] != 2*set || seen[second] != set {
		t.Errorf("asked %v, set %v", seen, set)
	}
}
