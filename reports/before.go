package reports

import (
	"fmt"
	"strings"
	"time"

	"hopperbook/reconcile"
	"hopperbook/reconcile/nutrient"
	"hopperbook/schemas"
)

// SchemaBefore is the schema name of a job held against rules.
const SchemaBefore = "hopperbook.before/1"

type (
	// BeforeAnswer is a job held against rules before it is spread.
	BeforeAnswer struct {
		Schema   string              `json:"schema"` // "hopperbook.before/1"
		Job      schemas.JobID       `json:"job"`
		Product  schemas.ProductID   `json:"product"`
		At       time.Time           `json:"at"`
		AtLocal  string              `json:"at_local"` // with its offset from UTC
		Clear    bool                `json:"clear"`    // nothing stands against it
		Planned  []BeforeField       `json:"planned"`  // what is still to spread
		Done     []schemas.FieldID   `json:"done"`
		Unknown  []schemas.FieldID   `json:"unknown"` // not judged: their area is not known
		Verdicts []nutrient.Verdict  `json:"verdicts"`
		Warnings []nutrient.Check    `json:"warnings"`
		Findings []nutrient.Finding  `json:"findings"`
		Rules    []nutrient.RuleHead `json:"rules"`
	}

	// BeforeField is what is still to spread on a field.
	BeforeField struct {
		Field  schemas.FieldID `json:"field"`
		MassKg float64         `json:"mass_kg"`
		AreaM2 float64         `json:"area_m2"`
	}
)

// NewBeforeAnswer shows what stands against a job.
func NewBeforeAnswer(b reconcile.Before, at time.Time, zone *time.Location, rules []nutrient.Rules) BeforeAnswer {
	a := BeforeAnswer{Schema: SchemaBefore, Job: b.Job, Product: b.Product, At: at, AtLocal: at.In(zone).Format("2006-01-02 15:04 -07:00"), Clear: b.Clear() && len(b.Unknown)+len(b.Others) == 0, Planned: []BeforeField{},
		Done: append([]schemas.FieldID{}, b.Done...), Unknown: append([]schemas.FieldID{}, b.Unknown...), Verdicts: append([]nutrient.Verdict{}, b.Verdicts...), Warnings: append([]nutrient.Check{}, b.Warnings...),
		Findings: append([]nutrient.Finding{}, b.Findings...), Rules: []nutrient.RuleHead{}}
	for _, p := range b.Planned {
		a.Planned = append(a.Planned, BeforeField{p.Field, p.MassKg, p.AreaM2})
	}
	for _, r := range rules {
		a.Rules = append(a.Rules, r.RuleHead)
	}
	return a
}

// BeforeTable is what stands against a job, limits first.
func BeforeTable(a BeforeAnswer) Table {
	state := "SOMETHING STANDS AGAINST IT"
	switch {
	case len(a.Planned) == 0:
		state = "nothing is left to spread"
	case a.Clear:
		state = "nothing found against it"
	}
	t := Table{Caption: fmt.Sprintf("Job %s, %s, at %s: %s", a.Job, a.Product, a.AtLocal, state), Columns: []Column{{"state", "State", false}, {"of", "Of", false}, {"rule", "Rule", false}, {"text", "Why", false}}}
	for _, v := range a.Verdicts {
		if v.State != nutrient.NotApplicable {
			t.Rows = append(t.Rows, []string{VerdictWords(v.State), v.Scope + " " + v.Subject + ", " + v.Period.Name, v.Rule + ", " + v.Section, "with the job spread: " + v.Text + assumed(v)})
		}
	}
	for _, c := range a.Warnings {
		t.Rows = append(t.Rows, []string{checkWords(c.State), "field " + string(c.Field), c.Rule + ", " + c.Section, c.Text})
	}
	for _, p := range a.Planned {
		t.Notes = append(t.Notes, fmt.Sprintf("field %s: %s kg of %s on %s ha are still to spread.", p.Field, number(p.MassKg, 0), a.Product, hectares4(p.AreaM2)))
	}
	for _, f := range a.Unknown {
		t.Notes = append(t.Notes, fmt.Sprintf("field %s is not judged: register it with its boundary.", f))
	}
	for _, f := range a.Findings {
		t.Notes = append(t.Notes, strings.ReplaceAll(f.Kind, "_", " ")+": "+f.Text)
	}
	for _, r := range a.Rules {
		t.Notes = append(t.Notes, r.ID+": "+r.Caveat)
	}
	return t
}
