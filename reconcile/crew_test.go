package reconcile

import (
	"slices"
	"strings"
	"testing"
	"time"

	"hopperbook/reconcile/nutrient"
	"hopperbook/schemas"
)

// twoStints spreads F1 in two loads of one job on one day, six hours apart, each
// with its own crew, weather and end.
func twoStints() *world {
	w := newWorld(1)
	for i, c := range []struct {
		operator    schemas.Operator
		holder      string
		method      string
		watercourse float64
		soil        string
	}{{"Ash", "C1", "surface", 1, "dry"}, {"Birch", "C2", "injected", 5, "frozen"}} {
		w.refill(800)
		w.in.Weather = append(w.in.Weather, meta(w, "sp1", schemas.WeatherNoted{WindMS: 2, Soil: c.soil}))
		w.in.Starts = append(w.in.Starts, meta(w, "sp1", schemas.JobStarted{Job: "J1", Field: "F1", Operator: c.operator}))
		for k := range 5 {
			w.line(0, 5*i+k)
		}
		w.in.Finishes = append(w.in.Finishes, meta(w, "sp1", schemas.JobFinished{Job: "J1", Field: "F1", CertificateHolder: c.holder, Method: c.method,
			Buffers: []schemas.BufferKept{{To: "watercourse", DistanceM: c.watercourse}}}))
		w.clock = w.clock.Add(6 * time.Hour)
	}
	w.refill()
	return w
}

// Of two stints of a day all that was noted counts, the worst first, and every
// note is among the events.
func TestAllNotesOfADay(t *testing.T) {
	w := twoStints()
	rules := nutrient.Rules{RuleHead: nutrient.RuleHead{ID: "mine"}, Buffers: []nutrient.Buffer{{Part: nutrient.Part{ID: "water"}, To: "watercourse", DistanceM: 2}},
		Soils: []nutrient.SoilRule{{Part: nutrient.Part{ID: "soil"}, States: []string{"frozen"}, Except: nutrient.Except{Methods: []string{"injected"}}}}}
	s, err := Seasonal(w.in, NutrientAsk{Rules: []nutrient.Rules{rules}})
	if err != nil {
		t.Fatal(err)
	}
	if len(s.Input.Applications) != 1 {
		t.Fatalf("%+v", s.Input.Applications)
	}
	a := s.Input.Applications[0]
	if a.Operator != "Ash, Birch" || a.CertificateHolder != "C1, C2" || a.Method != "surface" || len(a.Buffers) != 2 || a.Buffers[0].DistanceM != 1 ||
		a.Weather.Soil != "frozen" || len(a.MoreWeather) != 1 || a.MoreWeather[0].Soil != "dry" {
		t.Errorf("%+v", a)
	}
	r, err := nutrient.Run(s.Input)
	if err != nil {
		t.Fatal(err)
	}
	var states []string
	for _, c := range r.Checks {
		states = append(states, c.Part+" "+c.State)
	}
	if got := strings.Join(states, ", "); got != "water broken, soil broken" {
		t.Errorf("%s: %+v", got, r.Checks)
	}
	for _, id := range []schemas.EventID{w.in.Starts[0].ID, w.in.Starts[1].ID, w.in.Finishes[0].ID, w.in.Finishes[1].ID, w.in.Weather[0].ID, w.in.Weather[1].ID} {
		if !slices.Contains(s.Origins[0].Uses, id) {
			t.Errorf("event %s is not among %v", id, s.Origins[0].Uses)
		}
	}
}

// What was noted meanwhile of another job is not of this one.
func TestNotesOfAnotherJob(t *testing.T) {
	job := func(id schemas.JobID, field schemas.FieldID) At[schemas.RegisterJob] {
		return At[schemas.RegisterJob]{Data: schemas.RegisterJob{Job: id, Fields: []schemas.FieldID{field}, Product: "super"}}
	}
	for name, c := range map[string]struct {
		jobs  []At[schemas.RegisterJob]
		noted schemas.JobFinished
		kept  bool
	}{
		"its own, no field named":              {nil, schemas.JobFinished{Job: "J1"}, true},
		"a job nobody registered":              {nil, schemas.JobFinished{Job: "J9"}, true},
		"of another field, no field named":     {[]At[schemas.RegisterJob]{job("J2", "F2")}, schemas.JobFinished{Job: "J2"}, false},
		"of another field, this one named":     {[]At[schemas.RegisterJob]{job("J2", "F2")}, schemas.JobFinished{Job: "J2", Field: "F1"}, true},
		"of the same field":                    {[]At[schemas.RegisterJob]{job("J2", "F1")}, schemas.JobFinished{Job: "J2", Field: "F1"}, false},
		"its own, another field named outside": {nil, schemas.JobFinished{Job: "J1", Field: "F2"}, false},
	} {
		n := notes{jobs: latest(c.jobs, func(d schemas.RegisterJob) schemas.JobID { return d.Job }),
			finishes: []At[schemas.JobFinished]{{Time: day.Add(time.Hour), Machine: "sp1", Data: c.noted}}}
		a := nutrient.Application{Field: "F1", Machine: "sp1", Job: "J1", From: day, To: day.Add(2 * time.Hour)}
		if got := n.finished(&a); (len(got) == 1) != c.kept {
			t.Errorf("%s: %+v", name, got)
		}
	}
}

func TestLeastMethod(t *testing.T) {
	for want, methods := range map[string][]string{"surface": {"injected", "", "surface"}, "": {"injected", ""}, "incorporated": {"injected", "incorporated"}, "injected": {"injected"}} {
		if got := leastMethod(methods); got != want {
			t.Errorf("%v: %q", methods, got)
		}
	}
	if got := leastMethod(nil); got != "" {
		t.Errorf("of none: %q", got)
	}
}
