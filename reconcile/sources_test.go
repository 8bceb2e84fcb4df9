package reconcile

import (
	"fmt"
	"math/rand/v2"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"

	"hopperbook/schemas"
)

// crews is a random book: two machines over four fields of three customers, on
// two days, with jobs that share fillings, are picked wrongly or not at all, with
// readings missing, refills twice and hoppers left with something in them. On a
// third day another machine works for a customer of its own.
func crews(rng *rand.Rand) *world {
	w := newWorld(5)
	w.in.Settings = nil
	w.clock = day.Add(-24 * time.Hour)
	products := []schemas.ProductID{"super", "super", "super", "lime"}
	for _, p := range []schemas.ProductID{"super", "lime"} {
		w.in.Products = append(w.in.Products, meta(w, "office", schemas.RegisterProduct{Product: p, BulkDensityKgM3: kg(1000 + 100*rng.Float64())}))
	}
	var jobs []schemas.JobID
	for i := range 7 {
		f := schemas.FieldID(fmt.Sprintf("F%d", i%4+1))
		job := schemas.RegisterJob{Job: schemas.JobID(fmt.Sprintf("J%d", i+1)), Customer: schemas.CustomerID(fmt.Sprintf("C%d", i%3+1)), Fields: []schemas.FieldID{f}, Product: products[rng.IntN(4)], SetRateKgHa: 150}
		if rng.IntN(3) == 0 {
			job.Fields = append(job.Fields, schemas.FieldID(fmt.Sprintf("F%d", rng.IntN(4)+1)))
		}
		w.in.Jobs = append(w.in.Jobs, meta(w, "office", job))
		jobs = append(jobs, job.Job)
	}
	w.in.Jobs = append(w.in.Jobs, meta(w, "office", schemas.RegisterJob{Job: "J9", Customer: "C9", Fields: []schemas.FieldID{"F5"}, Product: "super", SetRateKgHa: 200}))
	for _, d := range []schemas.DocketID{"D1", "D2"} {
		w.in.Dockets = append(w.in.Dockets, meta(w, "office", schemas.DocketReceived{Docket: d, Product: "super", Stockpile: "yard", NetKg: 400 + 1200*rng.Float64()}))
	}
	for _, id := range []schemas.MachineID{"sp1", "sp2", "sp9"} {
		w.in.Machines = append(w.in.Machines, meta(w, "office", schemas.RegisterMachine{Machine: id, HopperM3: 4}))
	}
	for d := range 2 {
		for _, id := range []schemas.MachineID{"sp1", "sp2"} {
			w.clock = day.Add(time.Duration(d)*24*time.Hour + time.Duration(rng.IntN(3))*time.Hour)
			w.shift(rng, id, jobs, products, 4)
		}
	}
	w.clock = day.Add(48 * time.Hour)
	w.shift(rng, "sp9", []schemas.JobID{"J9"}, []schemas.ProductID{"super", "super", "super", "super"}, 5)
	return w
}

// shift is a machine's day of two to four fillings.
func (w *world) shift(rng *rand.Rand, id schemas.MachineID, jobs []schemas.JobID, products []schemas.ProductID, fields int) {
	one := func(n int) bool { return rng.IntN(n) == 0 }
	w.in.Settings = append(w.in.Settings, meta(w, id, schemas.SettingChanged{Product: "super", BoutWidthM: boutM, SetRateKgHa: float64(150 + 50*rng.IntN(2))}))
	for range 2 + rng.IntN(3) {
		w.fill(rng, id, products[rng.IntN(len(products))], 1+rng.IntN(2))
		if one(2) {
			w.in.Starts = append(w.in.Starts, meta(w, id, schemas.JobStarted{Job: jobs[rng.IntN(len(jobs))]}))
		}
		field := rng.IntN(fields)
		if id == "sp9" {
			field = 4
		}
		for range 1 + rng.IntN(3) {
			if one(3) && id != "sp9" {
				field = rng.IntN(fields)
			}
			w.line(field, rng.IntN(20))
			p := &w.in.Passes[len(w.in.Passes)-1]
			p.Machine = id
			if one(2) {
				p.Job = jobs[rng.IntN(len(jobs))]
			}
			if one(4) {
				for i := range p.Fixes {
					p.Fixes[i].Spreading = schemas.SpreadingOff
				}
			}
			if one(5) {
				w.fill(rng, id, "super", 0)
			}
		}
		if n := len(w.in.Starts); n > 0 && one(2) {
			w.in.Finishes = append(w.in.Finishes, meta(w, id, schemas.JobFinished{Job: w.in.Starts[n-1].Data.Job}))
		}
	}
	if !one(4) {
		w.fill(rng, id, "super", 0)
	}
}

// fill puts some loads in, over a hopper that is empty, holds something, or was not read.
func (w *world) fill(rng *rand.Rand, id schemas.MachineID, product schemas.ProductID, loads int) {
	w.clock = w.clock.Add(time.Duration(1+rng.IntN(5)) * time.Minute)
	d := schemas.HopperRefilled{Refill: schemas.RefillID(fmt.Sprintf("R%d", len(w.in.Refills)+1)), Product: product, Loads: []schemas.LoadID{}}
	switch rng.IntN(4) {
	case 0, 1:
		d.ResidualKg, d.ResidualMethod = kg(0), schemas.ResidualEmpty
	case 2:
		d.ResidualKg, d.ResidualMethod = kg(float64(30+120*(len(w.in.Refills)%3))), schemas.ResidualLevel
	}
	for range loads {
		l := schemas.LoadWeighed{Load: schemas.LoadID(fmt.Sprintf("L%d", len(w.in.Loads)+1)), Product: product, NetKg: 150 + 150*rng.Float64(), Method: schemas.MethodBucket, Docket: []schemas.DocketID{"", "D1", "D2"}[rng.IntN(3)]}
		if id == "sp9" || product != "super" && rng.IntN(8) > 0 {
			l.Docket = ""
		}
		w.in.Loads = append(w.in.Loads, meta(w, "loader", l))
		d.Loads = append(d.Loads, l.Load)
	}
	if rng.IntN(8) == 0 && len(w.in.Loads) > 3 && id != "sp9" {
		d.Loads = append(d.Loads, w.in.Loads[rng.IntN(len(w.in.Loads))].Data.Load)
	}
	w.in.Refills = append(w.in.Refills, meta(w, id, d))
	w.clock = w.clock.Add(time.Duration(rng.IntN(90)) * time.Second)
}

// eventsOf are the IDs of all events of an input.
func eventsOf(in Input) (ids []schemas.EventID) {
	eachSlice(&in, func(v reflect.Value) {
		for i := range v.Len() {
			ids = append(ids, v.Index(i).FieldByName("ID").Interface().(schemas.EventID))
		}
	})
	return ids
}

// without is the input less some events.
func without(in Input, gone ...schemas.EventID) Input {
	eachSlice(&in, func(v reflect.Value) {
		kept := reflect.MakeSlice(v.Type(), 0, v.Len())
		for i := range v.Len() {
			if !slices.Contains(gone, v.Index(i).FieldByName("ID").Interface().(schemas.EventID)) {
				kept = reflect.Append(kept, v.Index(i))
			}
		}
		v.Set(kept)
	})
	return in
}

func eachSlice(in *Input, do func(reflect.Value)) {
	v := reflect.ValueOf(in).Elem()
	for i := range v.NumField() {
		if f := v.Field(i); f.Kind() == reflect.Slice {
			if _, ok := f.Type().Elem().FieldByName("ID"); ok {
				do(f)
			}
		}
	}
}

// outcome is what a job would be billed by each kind of line, or by docket, and from
// which events.
type outcome struct {
	lines []string
	uses  []schemas.EventID
}

var measuredLines = []schemas.AgreementLine{
	{Kind: schemas.LinePerTonne, Basis: schemas.BasisLoaded, Price: "1000"}, {Kind: schemas.LinePerTonne, Basis: schemas.BasisSpread, Price: "1000"},
	{Kind: schemas.LinePerTonne, Basis: schemas.BasisDocket, Price: "1000"},
	{Kind: schemas.LinePerHectare, Basis: schemas.BasisBoundary, Price: "1000"},
	{Kind: schemas.LinePerHectare, Basis: schemas.BasisCovered, Price: "1000"}, {Kind: schemas.LinePerKm, Price: "1000"}, {Kind: schemas.LinePerHour, Price: "1000"},
}

func outcomes(t *testing.T, in Input, jobs []schemas.JobID) map[string]outcome {
	t.Helper()
	d, err := Divide(in)
	if err != nil {
		t.Fatal(err)
	}
	out := map[string]outcome{}
	for _, j := range jobs {
		work := d.Work([]schemas.JobID{j})
		docket := outcome{uses: distinct(slices.Concat(work.Uses, work.DocketUses))}
		rest := outcome{uses: work.Uses}
		for _, l := range measuredLines {
			into := &rest
			if l.Basis == schemas.BasisDocket {
				into = &docket
			}
			agreement := schemas.RegisterAgreement{Agreement: "A", Customer: d.reg.jobs[j].Data.Customer, Currency: "EUR", Lines: []schemas.AgreementLine{l}, TaxCategory: schemas.TaxStandard, TaxPct: "20"}
			p, err := d.PlanBill(BillAsk{Job: j, Agreements: []schemas.RegisterAgreement{agreement}, Tax: noTax})
			if err != nil {
				into.lines = append(into.lines, l.Kind+" "+l.Basis+": refused")
				continue
			}
			for _, b := range p.Bill.Lines {
				into.lines = append(into.lines, fmt.Sprintf("%s %s: %s = %s", l.Kind, l.Basis, b.Quantity, b.Amount))
			}
		}
		out[string(j)], out[string(j)+" by docket"] = rest, docket
	}
	return out
}

// Whatever is taken out of a book: where that changes what a job is billed, it
// changes the events that the bill names; and what another customer's crew did
// on another day changes neither.
func TestABillNamesEveryEventThatChangesIt(t *testing.T) {
	books, moved := [][2]uint64{{19, 11}, {14, 3}, {19, 3}, {8, 3}}, 0 // each needs what few others do
	if testing.Short() {
		books = books[:1]
	}
	for _, seed := range books {
		w := crews(rand.New(rand.NewPCG(seed[0], seed[1])))
		var jobs []schemas.JobID
		for _, j := range w.in.Jobs {
			jobs = append(jobs, j.Data.Job)
		}
		whole := outcomes(t, w.in, jobs)
		mine := map[schemas.EventID]bool{}
		for _, id := range whole["J9"].uses {
			mine[id] = true
		}
		for _, id := range eventsOf(w.in) {
			now := outcomes(t, without(w.in, id), jobs)
			for _, j := range sortedKeys(whole) {
				was, is := whole[j], now[j]
				same := slices.Equal(was.uses, is.uses)
				if !slices.Equal(was.lines, is.lines) {
					moved++
					if same {
						t.Errorf("book %v, %s: without event %s (%s) it is\n%v\nbefore\n%v\nby the same events", seed, j, id, eventText(w.in, id), is.lines, was.lines)
					}
				}
				if apart := mine[id] != strings.HasPrefix(j, "J9"); !same && apart && !slices.Contains(whole[j].uses, id) {
					t.Errorf("book %v, %s: event %s (%s) of another customer's day changes what it comes from", seed, j, id, eventText(w.in, id))
				}
			}
		}
	}
	if moved < 50 {
		t.Errorf("only %d bills moved", moved)
	}
}

func eventText(in Input, id schemas.EventID) (kind string) {
	eachSlice(&in, func(v reflect.Value) {
		for i := range v.Len() {
			if e := v.Index(i); e.FieldByName("ID").Interface().(schemas.EventID) == id {
				kind = e.Type().String()
				if f := e.FieldByName("Data"); f.IsValid() {
					kind = fmt.Sprintf("%s %+v", f.Type(), f.Interface())
				}
			}
		}
	})
	return kind
}
