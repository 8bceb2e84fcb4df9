package reconcile

import (
	"slices"
	"testing"
	"time"

	"hopperbook/schemas"
)

// shared is one load of 4 t for two lines on F1 and two on F2, each job its field's,
// and the hopper read empty after them.
func shared() *world {
	w := newWorld(2)
	for i, f := range []schemas.FieldID{"F1", "F2"} {
		w.in.Jobs = append(w.in.Jobs, meta(w, "office", schemas.RegisterJob{Job: schemas.JobID("J" + string(f[1:])), Customer: schemas.CustomerID("C" + string(f[1:])), Fields: []schemas.FieldID{f}, Product: "super", SetRateKgHa: rateKgHa}))
		if i == 0 {
			w.refill(4000)
		}
	}
	for k := range 4 {
		w.line(k/2, k%2)
		w.in.Passes[k].Job = schemas.JobID([]string{"J1", "J2"}[k/2])
	}
	w.refill()
	return w
}

func tonnes(t *testing.T, in Input, job schemas.JobID, basis string) string {
	t.Helper()
	a := agreed(schemas.AgreementLine{Kind: schemas.LinePerTonne, Basis: basis, Price: "100"})
	a[0].Customer = schemas.CustomerID("C" + string(job[1:]))
	return planned(t, in, BillAsk{Job: job, Agreements: a}).Bill.Lines[0].Quantity.String()
}

// By hand: as many metres on each field, so 2 t each of the 4 t, loaded as spread.
func TestALoadOfTwoJobsIsDivided(t *testing.T) {
	w := shared()
	for _, j := range []schemas.JobID{"J1", "J2"} {
		if got := tonnes(t, w.in, j, schemas.BasisLoaded); got != "2" {
			t.Errorf("%s is billed %s t loaded, want 2", j, got)
		}
	}
	// A third line on F2 after a reading that left 1 t: J1 took half of the 3 t until
	// then, which is 1.5 of 4 t.
	w = shared()
	reading := &w.in.Refills[1].Data
	reading.ResidualKg, reading.ResidualMethod = kg(1000), schemas.ResidualCells
	w.line(1, 2)
	w.refill()
	for j, want := range map[schemas.JobID]string{"J1": "1.5", "J2": "2.5"} {
		if got := tonnes(t, w.in, j, schemas.BasisLoaded); got != want {
			t.Errorf("after a reading %s is billed %s t, want %s", j, got, want)
		}
	}
}

// Two loads, one on top of the other before anything went out, are one filling; a
// load that was tipped out before the hopper was read empty is nobody's.
func TestLoadsOnTopOfEachOther(t *testing.T) {
	w := shared()
	w.in.Refills[0].Data.ResidualMethod, w.in.Refills[0].Data.ResidualKg = "", nil
	w.clock = w.in.Refills[0].Time.Add(-30 * time.Second) // the refill itself is a minute later
	w.refill(1000)
	top := &w.in.Refills[2].Data
	top.ResidualMethod, top.ResidualKg = schemas.ResidualUnknown, nil
	if got := tonnes(t, w.in, "J2", schemas.BasisLoaded); got != "2.5" {
		t.Errorf("of 4 t and 1 t on top J2 is billed %s t, want 2.5", got)
	}
	top.ResidualMethod, top.ResidualKg = schemas.ResidualEmpty, kg(0)
	if got := tonnes(t, w.in, "J2", schemas.BasisLoaded); got != "0.5" {
		t.Errorf("of 1 t over a hopper that was read empty J2 is billed %s t, want 0.5", got)
	}
}

// What a job was given rests on what its neighbour took of the same filling, and
// on starts and finishes where hours are billed; not on what came after a reading.
func TestAFillingsEventsAreEvidence(t *testing.T) {
	w := shared()
	w.clock = w.in.Passes[0].start().Add(-time.Minute)
	w.in.Starts = append(w.in.Starts, meta(w, "sp1", schemas.JobStarted{Job: "J1"}))
	w.clock = w.in.Passes[1].end().Add(time.Minute)
	w.in.Finishes = append(w.in.Finishes, meta(w, "sp1", schemas.JobFinished{Job: "J1"}))
	uses := func(in Input) []schemas.EventID {
		t.Helper()
		d, err := Divide(in)
		if err != nil {
			t.Fatal(err)
		}
		return d.Work([]schemas.JobID{"J1"}).Uses
	}
	was := uses(w.in)
	for what, id := range map[string]schemas.EventID{"the neighbour's pass": w.in.Passes[2].ID, "his field": w.in.Fields[1].ID, "the last reading": w.in.Refills[1].ID,
		"the start": w.in.Starts[0].ID, "the finish": w.in.Finishes[0].ID} {
		if !slices.Contains(was, id) {
			t.Errorf("%s is not among the evidence", what)
		}
	}
	w.clock = day.Add(20 * time.Hour)
	w.refill(500)
	w.in.Settings = append(w.in.Settings, meta(w, "sp1", schemas.SettingChanged{Product: "super", BoutWidthM: boutM, SetRateKgHa: rateKgHa}))
	w.in.Starts = append(w.in.Starts, meta(w, "sp1", schemas.JobStarted{Job: "J2"}))
	w.line(1, 7)
	w.in.Jobs = append(w.in.Jobs, meta(w, "office", schemas.RegisterJob{Job: "J3", Customer: "C2", Fields: []schemas.FieldID{"F2"}, Product: "super", SetRateKgHa: rateKgHa}))
	w.refill()
	if now := uses(w.in); !slices.Equal(was, now) {
		t.Errorf("later work is evidence: %v, before %v", now, was)
	}
}
