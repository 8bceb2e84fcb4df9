package desk

import (
	"bytes"
	"context"
	"encoding/json"
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"github.com/santhosh-tekuri/jsonschema/v6"

	"hopperbook/ingest"
	"hopperbook/ingest/season"
	"hopperbook/reconcile/nutrient"
	"hopperbook/reports"
	"hopperbook/schemas"
	"hopperbook/schemas/fault"
)

// played books the demo's week.
func played(t *testing.T) *filing {
	f := newFiling(t)
	week, err := season.Play(season.Config{Seed: 1})
	if err != nil {
		t.Fatal(err)
	}
	var batch ingest.Batch
	for _, a := range week.ByTime() {
		e, bad := schemas.Read(a.Event.Raw)
		if bad != nil {
			t.Fatal(bad)
		}
		batch.Events = append(batch.Events, ingest.Received{Event: e, At: a.At})
	}
	if _, err := f.book.Commit(context.Background(), batch); err != nil {
		t.Fatal(err)
	}
	return f
}

func asked[T any](t *testing.T, f *filing, question string, params any) (answer T, raw []byte, err error) {
	t.Helper()
	p, err := json.Marshal(params)
	if err != nil {
		t.Fatal(err)
	}
	var out bytes.Buffer
	if err := f.desk.Answer(context.Background(), question, p, &out); err != nil {
		return answer, nil, err
	}
	if err := json.Unmarshal(out.Bytes(), &answer); err != nil {
		t.Fatal(err)
	}
	return answer, out.Bytes(), nil
}

var demoSeason = SeasonParams{Customer: "fernwick", Season: "2026", Rules: []string{"nz-synthetic-nitrogen-cap", "us-oh-901-5-4-04", "eu-nitrates-directive"}}

// An inspector's check: from any figure of the records to the events of the book in two
// steps, and the parts of a figure sum to it.
func TestFiguresLeadToTheirEvents(t *testing.T) {
	f := played(t)
	a, raw, err := asked[reports.SeasonAnswer](t, f, Season, demoSeason)
	if err != nil {
		t.Fatal(err)
	}
	checkSchema(t, raw)
	booked := map[schemas.EventID]bool{}
	if err := f.book.Export(context.Background(), func(raw []byte) error {
		var e struct{ ID schemas.EventID }
		booked[e.ID] = json.Unmarshal(raw, &e) != nil
		booked[e.ID] = true
		return nil
	}); err != nil {
		t.Fatal(err)
	}
	figures := map[string]float64{} // NaN: nothing is summed
	for _, list := range [][]reports.SeasonSum{a.Sums, a.Balance} {
		for _, s := range list {
			figures[s.ID] = s.MassKg
			for _, n := range s.Amounts {
				figures[n.ID] = n.Kg
			}
		}
	}
	for _, p := range a.Planned {
		figures[p.ID] = p.GivenKg
	}
	for _, v := range a.Verdicts {
		figures[v.ID] = math.NaN()
		if v.Limit == "landholding" {
			figures[v.ID] = v.Value * v.AreaM2 / 1e4
		}
	}
	for _, c := range a.Checks {
		figures[c.ID] = math.NaN()
	}
	for _, m := range a.Missing {
		figures[m.ID] = math.NaN()
	}
	for _, u := range a.Analyses {
		figures[u.ID] = math.NaN()
	}
	if len(a.Analyses) == 0 {
		t.Error("no analysis is shown")
	}
	for _, p := range a.Applications {
		for _, n := range p.Amounts {
			figures[n.ID] = n.Kg
		}
	}
	follow(t, f, figures, booked)
	uncounted(t, f, a)
}

// uncounted: a verdict that counts nothing leads to what it rests on all the same.
func uncounted(t *testing.T, f *filing, a reports.SeasonAnswer) {
	t.Helper()
	scopes := map[string]int{}
	for _, v := range a.Verdicts {
		if len(v.Applications) > 0 {
			continue
		}
		scopes[v.Scope]++
		w, _, err := asked[reports.WhyAnswer](t, f, Why, WhyParams{demoSeason, v.ID})
		if err != nil {
			t.Fatal(err)
		}
		if v.Scope == nutrient.ScopeApplication && (len(w.Parts) != 1 || w.Parts[0].Value != 0) || v.Scope != nutrient.ScopeApplication && len(w.Events) == 0 {
			t.Errorf("%s (%s) leads nowhere: %+v", v.ID, v.Text, w)
		}
		for _, e := range w.Events {
			if e.Type != schemas.TypeRegisterField {
				t.Errorf("%s leads to %+v", v.ID, e)
			}
		}
		if v.Scope == nutrient.ScopeField && len(w.Fields) != 1 || v.Scope == nutrient.ScopeHolding && len(w.Fields) != len(a.Fields) {
			t.Errorf("%s rests on %v", v.ID, w.Fields)
		}
	}
	if scopes[nutrient.ScopeField] == 0 || scopes[nutrient.ScopeHolding] == 0 {
		t.Errorf("verdicts that count nothing: %v", scopes)
	}
}

func follow(t *testing.T, f *filing, figures map[string]float64, booked map[schemas.EventID]bool) {
	ids := make([]string, 0, len(figures))
	for id := range figures {
		ids = append(ids, id)
	}
	r := rand.New(rand.NewPCG(8, 8))
	led := map[string]int{}
	followed, events := 0, 0
	for _, k := range r.Perm(len(ids))[:100] {
		id, want := ids[k], figures[ids[k]]
		w, _, err := asked[reports.WhyAnswer](t, f, Why, WhyParams{demoSeason, id})
		if err != nil {
			t.Errorf("%s: %v", id, err)
			continue
		}
		sum := 0.0
		for _, p := range w.Parts {
			sum += p.Value
			if led[p.ID] == 0 {
				of, _, err := asked[reports.WhyAnswer](t, f, Why, WhyParams{demoSeason, p.ID})
				if err != nil {
					t.Errorf("%s of %s: %v", p.ID, id, err)
				}
				for _, e := range of.Events {
					if !booked[e.ID] || e.Type == "" || e.Time.IsZero() {
						t.Errorf("%s leads to %+v, which is not in the book", p.ID, e)
					}
				}
				led[p.ID] = len(of.Events)
			}
			if led[p.ID] < 8 { // registers of field, product, machine; pass, load, refill, setting, catch test
				t.Errorf("%s leads to %d events", p.ID, led[p.ID])
			}
			events += led[p.ID]
		}
		if !math.IsNaN(want) && math.Abs(sum-want) > 1e-6*max(1, want) {
			t.Errorf("%s: its parts sum to %v, it is %v", id, sum, want)
		}
		followed++
	}
	if followed != 100 || events == 0 {
		t.Errorf("%d figures were followed to %d events", followed, events)
	}
	t.Logf("%d of %d figures followed to %d applications", followed, len(figures), len(led))
}

// The records hold against their schema, and it refuses others.
func checkSchema(t *testing.T, raw []byte) {
	t.Helper()
	doc, err := jsonschema.UnmarshalJSON(bytes.NewReader(reports.SeasonSchema()))
	if err != nil {
		t.Fatal(err)
	}
	c := jsonschema.NewCompiler()
	if err := c.AddResource("s.json", doc); err != nil {
		t.Fatal(err)
	}
	s, err := c.Compile("s.json")
	if err != nil {
		t.Fatal(err)
	}
	v, err := jsonschema.UnmarshalJSON(bytes.NewReader(raw))
	if err != nil {
		t.Fatal(err)
	}
	if err := s.Validate(v); err != nil {
		t.Error(err)
	}
	for name, spoil := range map[string]func(map[string]any){
		"no sums":        func(m map[string]any) { delete(m, "sums") },
		"a number":       func(m map[string]any) { m["customer"] = json.Number("3") },
		"another schema": func(m map[string]any) { m["schema"] = "x" },
		"a new field":    func(m map[string]any) { m["extra"] = "x" },
	} {
		v, _ := jsonschema.UnmarshalJSON(bytes.NewReader(raw))
		spoil(v.(map[string]any))
		if s.Validate(v) == nil {
			t.Errorf("%s passes the schema", name)
		}
	}
}

func TestSeasonRefuses(t *testing.T) {
	f := newFiling(t)
	f.day()
	for name, c := range map[string]struct {
		params SeasonParams
		code   fault.Code
	}{
		"no season":        {SeasonParams{Customer: "C1", Season: "spring"}, fault.Usage},
		"two years apart":  {SeasonParams{Customer: "C1", Season: "2025/27"}, fault.Usage},
		"no start":         {SeasonParams{Customer: "C1", Season: "2025/26", Starts: "02-29"}, fault.Usage},
		"start of a year":  {SeasonParams{Customer: "C1", Season: "2026", Starts: "04-01"}, fault.Usage},
		"empty season":     {SeasonParams{Customer: "C1", Season: "2020"}, fault.NotFound},
		"unknown customer": {SeasonParams{Customer: "C9", Season: "2026"}, fault.NotFound},
		"unknown rules":    {SeasonParams{Customer: "C1", Season: "2026", Rules: []string{"none"}}, fault.NotFound},
		"rules twice":      {SeasonParams{Customer: "C1", Season: "2026", Rules: []string{"us-oh-905-326", "us-oh-905-326"}}, fault.Usage},
		"bad rule file":    {SeasonParams{Customer: "C1", Season: "2026", Files: []RuleFile{{"x.json", "{}"}}}, fault.Input},
		"season and dates": {SeasonParams{Customer: "C1", Season: "2026", From: "2026-03-01", To: "2026-04-01"}, fault.Usage},
		"neither":          {SeasonParams{Customer: "C1"}, fault.Usage},
		"one date":         {SeasonParams{Customer: "C1", From: "2026-03-01"}, fault.Usage},
		"dates backwards":  {SeasonParams{Customer: "C1", From: "2026-03-02", To: "2026-03-01"}, fault.Usage},
		"empty dates":      {SeasonParams{Customer: "C1", From: "2026-04-02", To: "2026-05-01"}, fault.NotFound},
		"no zone":          {SeasonParams{Customer: "C1", Season: "2026", Zone: "Nowhere/At All"}, fault.Usage},
	} {
		if _, _, err := asked[reports.SeasonAnswer](t, f, Season, c.params); fault.CodeOf(err) != c.code || err == nil {
			t.Errorf("%s: %v", name, err)
		}
	}
	if _, _, err := asked[reports.WhyAnswer](t, f, Why, WhyParams{SeasonParams{Customer: "C1", Season: "2026"}, "sum/none"}); fault.CodeOf(err) != fault.NotFound {
		t.Errorf("a figure that is not there: %v", err)
	}
}

// Days of the farm instead of a season: 2026-03-02 08:00 UTC is the 1st there.
func TestSeasonByDates(t *testing.T) {
	f := newFiling(t)
	f.day()
	ask := SeasonParams{Customer: "C1", From: "2026-03-01", To: "2026-03-02", Zone: "Pacific/Pago_Pago", Rules: []string{"nz-synthetic-nitrogen-cap"}}
	a, raw, err := asked[reports.SeasonAnswer](t, f, Season, ask)
	if err != nil {
		t.Fatal(err)
	}
	checkSchema(t, raw)
	if len(a.Applications) != 1 || a.Applications[0].Day != "2026-03-01" || a.Season.Name != "2026-03-01 to 2026-03-01" || a.FirstDay != "2026-03-01" || a.LastDay != "2026-03-01" || len(a.Balance) != 0 {
		t.Errorf("%+v", a)
	}
	if len(a.Verdicts) == 0 {
		t.Error("no limit is told")
	}
	for _, v := range a.Verdicts {
		if v.State != nutrient.NotJudged && v.State != nutrient.NotApplicable {
			t.Errorf("a day is held against the limit of a year: %+v", v)
		}
	}
	w, _, err := asked[reports.WhyAnswer](t, f, Why, WhyParams{ask, a.Sums[0].ID})
	if err != nil || len(w.Parts) != 1 {
		t.Errorf("why %s: %v %+v", a.Sums[0].ID, err, w)
	}
	ask.From, ask.To = "2026-03-02", "2026-03-03"
	if _, _, err := asked[reports.SeasonAnswer](t, f, Season, ask); fault.CodeOf(err) != fault.NotFound {
		t.Errorf("the day after: %v", err)
	}
}

// What is known of a day without weather, crew or catch test is said plainly; an
// event that comes later changes the evidence; and 2025/26 holds March 2026.
func TestSeasonOfABareDay(t *testing.T) {
	f := newFiling(t)
	f.day()
	a, raw, err := asked[reports.SeasonAnswer](t, f, Season, SeasonParams{Customer: "C1", Season: "2025/26"})
	if err != nil {
		t.Fatal(err)
	}
	checkSchema(t, raw)
	if len(a.Applications) != 1 || a.FirstDay != "2025-07-01" || a.LastDay != "2026-06-30" {
		t.Fatalf("%+v", a)
	}
	p := a.Applications[0]
	if p.Calibration.Valid || !p.Calibration.TestedAt.IsZero() || len(p.Calibration.Reasons) != 1 || p.Weather != nil || p.Operator != "" || math.Abs(p.MassKg-160) > 0.5 {
		t.Errorf("%+v", p)
	}
	if a.Evidence.Events != 5 || !a.AsOf.Equal(time.Date(2026, 3, 2, 8, 9, 0, 0, time.UTC)) { // field, load, two refills, pass log
		t.Errorf("%+v at %s", a.Evidence, a.AsOf)
	}
	f.add("sp1", schemas.TypeWeatherNoted, 4, schemas.WeatherNoted{WindMS: 3, Soil: "dry"})
	b, _, err := asked[reports.SeasonAnswer](t, f, Season, SeasonParams{Customer: "C1", Season: "2025/26"})
	if err != nil || b.Evidence.Digest == a.Evidence.Digest || b.Evidence.Events != 6 || b.Applications[0].Weather == nil {
		t.Errorf("%v: %+v", err, b.Evidence)
	}
}
