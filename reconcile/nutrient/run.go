package nutrient

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"hopperbook/schemas"
	"hopperbook/schemas/fault"
)

// SchemaResult names the shape of Result's JSON.
const SchemaResult = "hopperbook.nutrients/1"

// Result is what a season's nutrients come to. Every list is sorted.
type Result struct {
	Schema   string     `json:"schema"`
	Sums     []Sum      `json:"sums"`
	Analyses []Used     `json:"analyses"` // in force
	Verdicts []Verdict  `json:"verdicts"`
	Checks   []Check    `json:"checks"`
	Missing  []Missing  `json:"missing"`
	Rules    []RuleHead `json:"rules"` // with their caveats
	Findings []Finding  `json:"findings"`
}

// Finding is something a person should know before relying on the figures.
type Finding struct {
	Kind    string            `json:"kind"`
	Product schemas.ProductID `json:"product,omitempty"`
	Field   schemas.FieldID   `json:"field,omitempty"`
	Event   schemas.EventID   `json:"event,omitempty"` // of the analysis
	Text    string            `json:"text"`
}

// book is an input made ready: portions in order, fields by their names.
type book struct {
	Input
	loc      *time.Location
	season   Period
	portions []*portion         // that count in limits
	own      []*portion         // of the customer: all that is shown
	fields   []Field            // sorted by ID and time
	holdings map[string]float64 // m2 of all fields of a holding, each at its largest; 0 where one is not known
	found    map[Finding]bool
}

// Run sums a season's nutrients and holds them against the rules.
// fault.Input: an application without a name, two of one name, numbers that are no mass or area.
// Cost: O(a log a) for a applications, times the rules.
func Run(in Input) (Result, error) {
	b, err := open(in)
	if err != nil {
		return Result{}, err
	}
	r := Result{Schema: SchemaResult, Sums: b.sums(), Analyses: b.used(), Verdicts: []Verdict{}, Checks: []Check{}, Missing: []Missing{}, Rules: []RuleHead{}}
	for _, rules := range b.Rules {
		r.Rules = append(r.Rules, rules.RuleHead)
		r.Verdicts = append(r.Verdicts, b.verdicts(rules)...)
		for _, p := range b.own {
			r.Checks = append(r.Checks, b.checks(rules, p)...)
		}
		r.Missing = append(r.Missing, b.missing(rules)...)
	}
	r.Findings = b.findings()
	return r, nil
}

func open(in Input) (*book, error) {
	b := &book{Input: in, loc: in.Location, season: in.Season, found: map[Finding]bool{}}
	if b.loc == nil {
		b.loc = time.UTC
	}
	if b.season.Kind == PerApplication {
		return nil, fault.Newf("sum nutrients", fault.Usage, "a season cannot be one application", "name a calendar year or a date it begins at")
	}
	if b.Dates != (Span{}) && !b.Dates.From.Before(b.Dates.To) {
		return nil, fault.Newf("sum nutrients", fault.Usage, "dates that hold no day", "")
	}
	b.Rules = slices.Clone(in.Rules)
	slices.SortStableFunc(b.Rules, func(x, y Rules) int { return strings.Compare(x.ID, y.ID) })
	b.fields = slices.Clone(in.Fields)
	slices.SortStableFunc(b.fields, compareFields)
	for i, f := range b.fields {
		if i > 0 && compareFields(b.fields[i-1], f) == 0 {
			return nil, fault.Newf("sum nutrients", fault.Input, fmt.Sprintf("field %s stands twice", f.ID), "")
		}
		if !number(f.AreaM2) {
			return nil, fault.Newf("sum nutrients", fault.Input, fmt.Sprintf("field %s has an area of %v m2", f.ID, f.AreaM2), "")
		}
	}
	b.measureHoldings()
	applications := slices.Clone(in.Applications)
	slices.SortStableFunc(applications, compareApplications)
	seen := map[string]bool{}
	for _, a := range applications {
		if a.ID == "" || seen[a.ID] {
			return nil, fault.Newf("sum nutrients", fault.Input, fmt.Sprintf("application %q has no name or stands twice", a.ID), "")
		}
		seen[a.ID] = true
		p, err := b.portion(a)
		if err != nil {
			return nil, fault.Wrap("application "+a.ID, err)
		}
		b.portions = append(b.portions, p)
		if !p.others {
			b.own = append(b.own, p)
		}
	}
	return b, nil
}

// measureHoldings sums the fields that were ever registered as a holding's.
func (b *book) measureHoldings() {
	b.holdings = map[string]float64{}
	unknown := map[string]bool{}
	for _, id := range b.ids() {
		largest := map[string]float64{}
		for _, f := range versionsOf(b.fields, id) {
			h := f.holding()
			largest[h] = max(largest[h], f.AreaM2)
			unknown[h] = unknown[h] || f.AreaM2 <= 0
		}
		for h, m2 := range largest {
			b.holdings[h] += m2
		}
	}
	for h := range unknown {
		if unknown[h] {
			b.holdings[h] = 0
		}
	}
}

// most is beyond every mass and area of a holding; far below it nothing overflows.
const most = 1e15

func number(v float64) bool { return v >= 0 && v <= most }

func (b *book) portion(a Application) (*portion, error) {
	p := &portion{Application: a, productForm: formOf(b.Products, a.Product)}
	if !number(a.MassKg) || !number(a.MassSdKg) || !number(a.AreaM2) {
		return nil, fault.Newf("sum nutrients", fault.Input, fmt.Sprintf("mass %v kg, standard uncertainty %v kg or area %v m2 is none", a.MassKg, a.MassSdKg, a.AreaM2), "")
	}
	for _, t := range a.Shared {
		if !(math.Abs(t.Kg) <= most) {
			return nil, fault.Newf("sum nutrients", fault.Input, fmt.Sprintf("error %s of %v kg is none", t.Key, t.Kg), "")
		}
		p.errors = append(p.errors, Term{"shared:" + t.Key, t.Kg})
	}
	if a.MassSdKg > 0 {
		p.errors = append(p.errors, Term{"own:" + a.ID, a.MassSdKg})
	}
	if p.field, p.fieldKnown = inForce(versionsOf(b.fields, a.Field), a.From); p.fieldKnown {
		p.others = !b.mine(p.field) && !a.Planned
	} else {
		p.field = Field{ID: a.Field}
		b.find(Finding{Kind: "field_unknown", Field: a.Field, Text: fmt.Sprintf("field %s is not registered: its area and what rules apply are not known", a.Field)})
	}
	b.analyse(p)
	return p, nil
}

// analyse gives a portion the analysis in force.
func (b *book) analyse(p *portion) {
	v, later, found := chosen(b.Products, p.Product, p.Batch, p.From)
	if !found {
		p.content = ContentOf(nil)
		batch := ""
		if p.Batch != "" {
			batch = " of batch " + string(p.Batch)
		}
		b.findOwn(p, Finding{Kind: "analysis_missing", Product: p.Product,
			Text: fmt.Sprintf("no analysis of %s%s holds on %s: register the product with its analysis", p.Product, batch, p.From.In(b.loc).Format(time.DateOnly))})
		return
	}
	p.analysed = v
	p.content, p.version = ContentOf(v.Analysis), fmt.Sprintf("%s %s %s", v.Product.Product, v.from.Format(time.RFC3339Nano), v.Event)
	for _, w := range p.content.Warnings {
		b.findOwn(p, Finding{Kind: w.Kind, Product: p.Product, Event: v.Event, Text: w.Text})
	}
	if later {
		b.findOwn(p, Finding{Kind: "analysis_later", Product: p.Product, Event: v.Event,
			Text: fmt.Sprintf("the analysis of %s was registered after it was spread and names no date: it is taken as if it had held before; give it a valid_from", p.Product)})
	}
}

func (b *book) find(f Finding) { b.found[f] = true }

// findOwn leaves out what is of another customer's application.
func (b *book) findOwn(p *portion, f Finding) {
	if !p.others {
		b.find(f)
	}
}

func (b *book) findings() []Finding {
	out := make([]Finding, 0, len(b.found))
	for f := range b.found {
		out = append(out, f)
	}
	SortFindings(out)
	return out
}

// SortFindings orders findings by kind, product, field, event and text.
func SortFindings(all []Finding) {
	slices.SortFunc(all, func(x, y Finding) int {
		return cmp.Or(strings.Compare(x.Kind, y.Kind), strings.Compare(string(x.Product), string(y.Product)), strings.Compare(string(x.Field), string(y.Field)),
			strings.Compare(string(x.Event), string(y.Event)), strings.Compare(x.Text, y.Text))
	})
}
