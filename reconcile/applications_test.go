package reconcile

import (
	"math"
	"slices"
	"testing"
	"time"

	"hopperbook/schemas"
)

// jobbed is two fields, each a job of its own; the pass logs name the jobs.
func jobbed() *world {
	w := season(2, func(int) float64 { return 1.02 })
	at := w.clock
	w.clock = day.Add(-time.Hour)
	for _, j := range []struct {
		job   schemas.JobID
		field schemas.FieldID
	}{{"J1", "F1"}, {"J2", "F2"}} {
		w.in.Jobs = append(w.in.Jobs, meta(w, "office", schemas.RegisterJob{Job: j.job, Customer: "C1", Fields: []schemas.FieldID{j.field}, Product: "super", SetRateKgHa: rateKgHa}))
	}
	w.clock = at
	for i := range w.in.Passes {
		w.in.Passes[i].Job = map[schemas.FieldID]schemas.JobID{"F1": "J1", "F2": "J2"}[w.in.Passes[i].Field]
	}
	return w
}

func divided(t *testing.T, in Input) []Application {
	t.Helper()
	d, err := Divide(in)
	if err != nil {
		t.Fatal(err)
	}
	return d.Applications
}

func TestApplicationsByJob(t *testing.T) {
	w := jobbed()
	apps := divided(t, w.in)
	if len(apps) != 2 || apps[0].Job != "J1" || apps[1].Job != "J2" {
		t.Fatalf("applications %+v, want J1 and J2", apps)
	}
	for _, a := range apps {
		// By hand: 20 lines of 160 kg nominal at 1.02, 16 ha.
		if math.Abs(a.MassKg-20*lineKg*1.02) > 1 || math.Abs(a.CoveredM2-160000) > 50 || !slices.Equal(a.Machines, []schemas.MachineID{"sp1"}) {
			t.Errorf("%s: %.1f kg on %.0f m2, machines %v", a.Job, a.MassKg, a.CoveredM2, a.Machines)
		}
		if !a.From.Before(a.To) {
			t.Errorf("%s from %s to %s", a.Job, a.From, a.To)
		}
	}
	if !apps[0].To.Before(apps[1].From) {
		t.Errorf("J1 ends %s, J2 begins %s", apps[0].To, apps[1].From)
	}
}

// The boundary counts: logs of F2 that still name J1 are of J2, which has that
// field; started jobs count where logs name none.
func TestTheJobIsTheOneThatHasTheField(t *testing.T) {
	w := jobbed()
	for name, change := range map[string]func(*Pass){
		"the operator forgot to change": func(p *Pass) { p.Job = "J1" },
		"logs name no job":              func(p *Pass) { p.Job = "" },
		"logs name an unknown job":      func(p *Pass) { p.Job = "J9" },
	} {
		in := w.in
		in.Passes = slices.Clone(w.in.Passes)
		for i := range in.Passes {
			change(&in.Passes[i])
		}
		if apps := divided(t, in); len(apps) != 2 || apps[0].Job != "J1" || apps[1].Job != "J2" || apps[1].Field.Field != "F2" {
			t.Errorf("%s: %+v", name, apps)
		}
	}
}

// Work that names no job is of the one job that was registered by then; one that is
// registered later takes it only where there was none.
func TestALaterJobTakesNoWorkFromAnEarlierOne(t *testing.T) {
	w := jobbed()
	for i := range w.in.Passes {
		w.in.Passes[i].Job = ""
	}
	later := At[schemas.RegisterJob]{Identity: schemas.Identity{Source: "/office/pc", Sequence: 99}, Time: day.AddDate(0, 6, 0),
		Data: schemas.RegisterJob{Job: "J3", Customer: "C1", Fields: []schemas.FieldID{"F1"}, Product: "super", SetRateKgHa: rateKgHa}}
	first := w.in.Jobs
	w.in.Jobs = append(slices.Clone(first), later)
	if apps := divided(t, w.in); len(apps) != 2 || apps[0].Job != "J1" {
		t.Errorf("beside an earlier job: %+v", apps)
	}
	w.in.Jobs = append(slices.DeleteFunc(slices.Clone(first), func(j At[schemas.RegisterJob]) bool { return j.Data.Job == "J1" }), later)
	if apps := divided(t, w.in); len(apps) != 2 || apps[0].Job != "J3" {
		t.Errorf("entered late: %+v", apps)
	}
}

// Two jobs of one product on one field are told apart by what was picked or
// started, and their masses add up to the field's.
func TestTwoJobsOnOneField(t *testing.T) {
	w := jobbed()
	w.in.Jobs = append(w.in.Jobs, At[schemas.RegisterJob]{Identity: schemas.Identity{Source: "/office/pc", Sequence: 99}, Time: day.Add(-time.Minute),
		Data: schemas.RegisterJob{Job: "J3", Customer: "C1", Fields: []schemas.FieldID{"F1"}, Product: "super", SetRateKgHa: rateKgHa}})
	half := w.in.Passes[10]
	started := func(job schemas.JobID, at time.Time) {
		w.in.Starts = append(w.in.Starts, At[schemas.JobStarted]{Identity: schemas.Identity{Source: "/devices/sp1/a", Sequence: 500 + int64(len(w.in.Starts))}, Machine: "sp1", Time: at, Data: schemas.JobStarted{Job: job}})
	}
	for i := range w.in.Passes {
		w.in.Passes[i].Job = ""
	}
	started("J1", day.Add(-time.Minute))
	started("J3", half.start())
	apps := divided(t, w.in)
	if len(apps) != 3 || apps[0].Job != "J1" || apps[1].Job != "J3" || apps[2].Job != "J2" {
		t.Fatalf("applications %+v", apps)
	}
	whole := run(t, w.in).Fields
	if sum := apps[0].MassKg + apps[1].MassKg; math.Abs(sum-whole[0].MassKg) > 0.01 || math.Abs(apps[0].MassKg-apps[1].MassKg) > 1 {
		t.Errorf("J1 %.3f + J3 %.3f kg, the field has %.3f", apps[0].MassKg, apps[1].MassKg, whole[0].MassKg)
	}
}
