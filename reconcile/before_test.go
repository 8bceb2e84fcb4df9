package reconcile

import (
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"hopperbook/reconcile/nutrient"
	"hopperbook/schemas"
	"hopperbook/schemas/fault"
)

// beforeWorld has a job of 200 kg/ha on F1, F2 and a field nobody registered,
// of a product that comes to a cap of 70 kg P2O5/ha a year on F1, which got some.
func beforeWorld() (*world, NutrientAsk) {
	w := nutrientWorld()
	w.in.Jobs = append(w.in.Jobs, meta(w, "office", schemas.RegisterJob{Job: "J2", Customer: "C1", Fields: []schemas.FieldID{"F1", "F2", "F9"}, Product: "super", SetRateKgHa: 200}))
	rules := nutrient.Rules{RuleHead: nutrient.RuleHead{ID: "mine"}, Limits: []nutrient.Limit{{Part: nutrient.Part{ID: "cap"}, Nutrient: "P2O5", Scope: nutrient.ScopeField, Value: 70, Unit: "kg/ha"}},
		Soils: []nutrient.SoilRule{{Part: nutrient.Part{ID: "soil"}, States: []string{"moist"}}}, Buffers: []nutrient.Buffer{{Part: nutrient.Part{ID: "water"}, To: "watercourse", DistanceM: 5}}}
	return w, NutrientAsk{Rules: []nutrient.Rules{rules}}
}

var firstMorning = time.Date(2026, 3, 2, 8, 0, 0, 0, time.UTC)

func TestBeforeJob(t *testing.T) {
	w, ask := beforeWorld()
	b, err := BeforeJob(w.in, "J2", firstMorning, ask)
	if err != nil {
		t.Fatal(err)
	}
	// 16 ha each: 3200 kg of the job's own 20 % P2O5 are 40 kg/ha on top of what
	// 2415 kg on F1 (30) and some 800 and 1600 kg of 18 % on F2 (28) brought.
	if len(b.Planned) != 2 || math.Abs(b.Planned[0].MassKg-3200) > 1 || math.Abs(b.Planned[0].AreaM2-160000) > 20 || !slices.Equal(b.Unknown, []schemas.FieldID{"F9"}) || len(b.Done) != 0 {
		t.Fatalf("%+v", b)
	}
	var states, warned []string
	for _, v := range b.Verdicts {
		states = append(states, v.Subject+" "+v.State)
	}
	for _, c := range b.Warnings {
		warned = append(warned, string(c.Field)+" "+c.Part+" "+c.State)
	}
	if got := strings.Join(states, ", "); got != "F1 cannot_be_shown_to_be_under, F2 under" {
		t.Errorf("verdicts %s: %+v", got, b.Verdicts)
	}
	if got := strings.Join(warned, ", "); got != "F1 water not_noted, F1 soil broken, F2 water not_noted, F2 soil broken" {
		t.Errorf("warnings %s", got)
	}
	if later, err := BeforeJob(w.in, "J2", firstMorning.AddDate(0, 1, 0), ask); err != nil || later.Warnings[1].State != nutrient.NotNoted {
		t.Errorf("a month later no weather is noted: %v %+v", err, later.Warnings)
	}
}

// What was given under the job is no longer to spread, and the job is judged
// as its record will be: spread in part it ends at the same sum.
func TestBeforeJobTakesWhatIsDone(t *testing.T) {
	w, ask := beforeWorld()
	job := schemas.RegisterJob{Job: "J1", Customer: "C1", Fields: []schemas.FieldID{"F1", "F2"}, Product: "super", SetRateKgHa: 200}
	w.in.Jobs = []At[schemas.RegisterJob]{meta(w, "office", job)}
	b, err := BeforeJob(w.in, "J1", firstMorning, ask)
	if err != nil {
		t.Fatal(err)
	}
	s, err := Seasonal(w.in, ask)
	if err != nil {
		t.Fatal(err)
	}
	for _, p := range s.Planned {
		i := slices.IndexFunc(b.Planned, func(a nutrient.Application) bool { return a.Field == p.Field })
		if p.GivenKg <= 0 || i < 0 || math.Abs(b.Planned[i].MassKg+p.GivenKg-p.PlannedKg) > 1e-6 {
			t.Errorf("%+v of %+v", b.Planned, p)
		}
	}
	w.in.Jobs[0].Data.SetRateKgHa = 40 // less than was given
	if b, err := BeforeJob(w.in, "J1", firstMorning, ask); err != nil || len(b.Done) != 2 || len(b.Planned) != 0 || !b.Clear() {
		t.Errorf("%v %+v", err, b)
	}
	w.in.Jobs[0].Data.SetRateKgHa = 0
	if _, err := BeforeJob(w.in, "J1", firstMorning, ask); fault.CodeOf(err) != fault.Usage {
		t.Errorf("no rate: %v", err)
	}
	if _, err := BeforeJob(w.in, "J9", firstMorning, ask); fault.CodeOf(err) != fault.NotFound {
		t.Errorf("no job: %v", err)
	}
}

// twoJobs is F1 spread in halves under two jobs that the pass logs name: on one
// day, or the second half a day later.
func twoJobs(second schemas.JobID, later time.Duration) *world {
	w := newWorld(1)
	for _, id := range []schemas.JobID{"JA", "JB"} {
		w.in.Jobs = append(w.in.Jobs, meta(w, "office", schemas.RegisterJob{Job: id, Customer: "C1", Fields: []schemas.FieldID{"F1"}, Product: "super", SetRateKgHa: rateKgHa}))
	}
	w.in.Starts = append(w.in.Starts, meta(w, "sp1", schemas.JobStarted{Job: "JA", Field: "F1", Operator: "Ash"}))
	for i := range 2 {
		w.refill(1600)
		for k := range 10 {
			w.line(0, 10*i+k)
			w.in.Passes[len(w.in.Passes)-1].Job = []schemas.JobID{"JA", second}[i]
		}
		w.clock = w.clock.Add(later)
	}
	w.in.Finishes = append(w.in.Finishes, meta(w, "sp1", schemas.JobFinished{Job: second, Field: "F1", Buffers: []schemas.BufferKept{{To: "watercourse", DistanceM: 7}}}))
	w.refill()
	return w
}

// What a job was given is what its bill says, over all its days, and beside another
// job on the same field and day.
func TestPlannedIsWhatTheBillSays(t *testing.T) {
	for name, c := range map[string]struct {
		world *world
		given map[schemas.JobID]float64
		left  map[schemas.JobID]float64 // by hand, of 3200 kg each
	}{
		"one job over two days":    {twoJobs("JA", 25*time.Hour), map[schemas.JobID]float64{"JA": 3200, "JB": 0}, map[schemas.JobID]float64{"JA": 0, "JB": 3200}},
		"two jobs of one day":      {twoJobs("JB", time.Hour), map[schemas.JobID]float64{"JA": 1600, "JB": 1600}, map[schemas.JobID]float64{"JA": 1600, "JB": 1600}},
		"two jobs, days of theirs": {twoJobs("JB", 25*time.Hour), map[schemas.JobID]float64{"JA": 1600, "JB": 1600}, map[schemas.JobID]float64{"JA": 1600, "JB": 1600}},
	} {
		in := c.world.in
		s, err := Seasonal(in, NutrientAsk{})
		if err != nil {
			t.Fatal(err)
		}
		d, err := Divide(in)
		if err != nil {
			t.Fatal(err)
		}
		var sum float64
		for _, a := range s.Input.Applications {
			sum += a.MassKg
		}
		if whole := run(t, in).Fields[0].MassKg; math.Abs(sum-whole) > 0.001 {
			t.Errorf("%s: the applications make %v kg, the field has %v", name, sum, whole)
		}
		for _, p := range s.Planned {
			billed := 0.0
			for _, a := range d.Applications {
				if a.Job == p.Job {
					billed += a.MassKg
				}
			}
			if math.Abs(p.GivenKg-c.given[p.Job]) > 5 || math.Abs(p.GivenKg-billed) > 0.5 {
				t.Errorf("%s: %s was given %v kg, by hand %v, the bill says %v", name, p.Job, p.GivenKg, c.given[p.Job], billed)
			}
			b, err := BeforeJob(in, p.Job, c.world.clock, NutrientAsk{})
			if err != nil {
				t.Fatal(err)
			}
			left := 0.0
			for _, a := range b.Planned {
				left += a.MassKg
			}
			if done := len(b.Done) == 1; done != (c.left[p.Job] == 0) || math.Abs(left-c.left[p.Job]) > 5 {
				t.Errorf("%s: %v kg are still to spread of %s, by hand %v", name, left, p.Job, c.left[p.Job])
			}
		}
	}
}

// Who began a job and what was noted at its end is of all its days.
func TestNotesOfAJobOverDays(t *testing.T) {
	w := twoJobs("JA", 25*time.Hour)
	in, err := NutrientInput(w.in, NutrientAsk{})
	if err != nil {
		t.Fatal(err)
	}
	if len(in.Applications) != 2 {
		t.Fatalf("%+v", in.Applications)
	}
	for _, a := range in.Applications {
		if a.Job != "JA" || a.Operator != "Ash" || len(a.Buffers) != 1 {
			t.Errorf("%+v", a)
		}
	}
	// The job ended in between: the second day is by nobody known.
	w.clock = w.in.Passes[9].start().Add(time.Hour)
	w.in.Finishes = append(w.in.Finishes, meta(w, "sp1", schemas.JobFinished{Job: "JA", Field: "F1"}))
	if in, err = NutrientInput(w.in, NutrientAsk{}); err != nil || in.Applications[1].Operator != "" || len(in.Applications[0].Buffers) != 0 || len(in.Applications[1].Buffers) != 1 {
		t.Errorf("%v %+v", err, in.Applications)
	}
}

// What nothing names is not of a job that was registered afterwards: it is
// still to spread.
func TestJobRegisteredAfterwards(t *testing.T) {
	w := twoJobs("JA", time.Hour)
	for i := range w.in.Passes {
		w.in.Passes[i].Job = ""
	}
	w.in.Starts, w.in.Finishes = nil, nil
	w.in.Jobs = w.in.Jobs[:1]
	for want, registered := range map[float64]time.Time{0: day, 3200: w.clock} {
		w.in.Jobs[0].Time = registered
		b, err := BeforeJob(w.in, "JA", w.clock, NutrientAsk{})
		if err != nil {
			t.Fatal(err)
		}
		left := 0.0
		for _, a := range b.Planned {
			left += a.MassKg
		}
		if math.Abs(left-want) > 5 {
			t.Errorf("registered %s: %v kg left, by hand %v", registered, left, want)
		}
	}
}

// A field of the job that was sold is judged all the same, as the new holding's,
// and told of; once spread it stands in the rows of the job's customer alone.
func TestBeforeJobOnASoldField(t *testing.T) {
	w, ask := beforeWorld()
	ask.Rules[0].Limits[0].Scope = nutrient.ScopeHolding
	w.in.Jobs = append(w.in.Jobs, meta(w, "office", schemas.RegisterJob{Job: "J1", Customer: "C1", Fields: []schemas.FieldID{"F1", "F2"}, Product: "super", SetRateKgHa: 200}))
	whole, err := NutrientInput(w.in, ask)
	if err != nil {
		t.Fatal(err)
	}
	i := slices.IndexFunc(whole.Applications, func(a nutrient.Application) bool { return a.Field == "F2" })
	w.again(1, whole.Applications[i].From.Add(-time.Second), func(d *schemas.RegisterField) { d.Customer, d.Holding = "C2", "H2" })
	b, err := BeforeJob(w.in, "J2", firstMorning.AddDate(0, 0, 3), ask)
	if err != nil {
		t.Fatal(err)
	}
	judged := slices.ContainsFunc(b.Verdicts, func(v nutrient.Verdict) bool {
		return v.Subject == "H2" && slices.Contains(v.Applications, "plan/J2/F2")
	})
	told := slices.ContainsFunc(b.Findings, func(f nutrient.Finding) bool {
		return f.Kind == "field_of_another_customer" && f.Field == "F2" && strings.Contains(f.Text, "C2")
	})
	if !judged || !told || len(b.Planned) != 2 || !slices.Equal(b.Unknown, []schemas.FieldID{"F9"}) || !slices.Equal(b.Others, []schemas.FieldID{"F2"}) {
		t.Errorf("judged %v told %v: %+v", judged, told, b)
	}
	rows := map[schemas.CustomerID]int{}
	for _, c := range []schemas.CustomerID{"C1", "C2"} {
		ask.Customer = c
		s, err := Seasonal(w.in, ask)
		if err != nil {
			t.Fatal(err)
		}
		for _, p := range s.Planned {
			if p.Job != "J1" {
				continue
			}
			rows[c]++
			if sold := p.Field == "F2"; sold != (p.OthersKg > 0) || sold != (len(p.Others) > 0) || p.GivenKg <= 0 {
				t.Errorf("%s: %+v", c, p)
			}
		}
	}
	if rows["C1"] != 2 || rows["C2"] != 0 {
		t.Errorf("rows of the job %v", rows)
	}
}
