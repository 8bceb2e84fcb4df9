package reconcile

import (
	"fmt"
	"time"

	"hopperbook/reconcile/nutrient"
	"hopperbook/schemas"
	"hopperbook/schemas/fault"
	"hopperbook/schemas/unit"
)

// Before is a job held against rules before it is spread.
type Before struct {
	Job     schemas.JobID
	Product schemas.ProductID
	Planned []nutrient.Application // what is still to spread, by field
	Done    []schemas.FieldID      // spread already, to the kilogram
	Unknown []schemas.FieldID      // how much to spread is not known: no usable boundary, or none registered
	Others  []schemas.FieldID      // another customer's by then: judged, and told of
	nutrient.PlanResult
}

// BeforeJob holds what a job still has to spread on its fields at a time
// against the rules of ask, on top of all that is spread: what the job asked
// for less what was given under it, over the field that may be spread. The
// weather is that noted nearest, within half a day. Cost: that of Seasonal.
// fault.NotFound: no such job; fault.Usage: it asks for no rate.
func BeforeJob(in Input, id schemas.JobID, at time.Time, ask NutrientAsk) (Before, error) {
	reg := readRegisters(in, &findings{})
	job, known := reg.jobs[id]
	switch {
	case !known:
		return Before{}, fault.Newf("find job "+string(id), fault.NotFound, "it is not registered", "register.job names jobs")
	case job.Data.SetRateKgHa <= 0:
		return Before{}, fault.Newf("plan job "+string(id), fault.Usage, "it asks for no rate", "register the job with set_rate_kg_ha")
	}
	ask.Customer = job.Data.Customer
	g, err := gather(in, ask)
	if err != nil {
		return Before{}, err
	}
	b := Before{Job: id, Product: job.Data.Product}
	var weather *schemas.WeatherNoted
	if noted, found := g.crew.weatherAt(at, ""); found {
		weather = &noted.Data
	}
	given := map[schemas.FieldID]Planned{}
	for _, p := range g.planned() {
		if p.Job == id {
			given[p.Field] = p
		}
	}
	for _, field := range job.Data.Fields {
		p, registered := given[field]
		left := p.PlannedKg - p.GivenKg
		switch {
		case !registered || p.AreaM2 <= 0:
			b.Unknown = append(b.Unknown, field)
		case left < worthSayingKg:
			b.Done = append(b.Done, field)
		default:
			if !g.input.Own(&nutrient.Application{Field: field, From: at}) {
				b.Others = append(b.Others, field)
			}
			b.Planned = append(b.Planned, nutrient.Application{Planned: true, ID: "plan/" + string(id) + "/" + string(field), Field: field, Product: p.Product, Job: id, From: at, To: at,
				MassKg: left, AreaM2: left / p.SetRateKgHa * unit.M2PerHa, Weather: weather})
		}
	}
	b.PlanResult, err = nutrient.Plan(g.input, b.Planned)
	for _, id := range b.Others {
		f, _ := g.input.FieldAt(id, at)
		b.Findings = append(b.Findings, nutrient.Finding{Kind: "field_of_another_customer", Field: id,
			Text: fmt.Sprintf("field %s is customer %s's as registered on %s, and the job is %s's: ask before it is spread", id, f.Customer, f.From.In(g.input.Location).Format(time.DateOnly), job.Data.Customer)})
	}
	nutrient.SortFindings(b.Findings)
	return b, err
}
