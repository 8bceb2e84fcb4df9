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
