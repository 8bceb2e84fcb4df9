package reports

import (
	"cmp"
	"slices"
	"strings"
	"time"

	"hopperbook/reconcile"
	"hopperbook/reconcile/nutrient"
	"hopperbook/schemas"
	"hopperbook/schemas/unit"
)

// The schema names of a season's records, of where a figure comes from, and of
// the manifest of a folder of records.
const (
	SchemaSeason   = "hopperbook.season/1"
	SchemaWhy      = "hopperbook.why/1"
	SchemaManifest = "hopperbook.manifest/1"
	SchemaRules    = "hopperbook.rules/1"
)

type (
	// SeasonAnswer is a customer's records of one season. Every figure has an
	// ID that hopperbook why follows to its events.
	SeasonAnswer struct {
		Schema       string              `json:"schema"` // "hopperbook.season/1"
		Customer     schemas.CustomerID  `json:"customer"`
		CustomerName string              `json:"customer_name"`
		Contractor   string              `json:"contractor"` // name; "": not registered
		Season       nutrient.Span       `json:"season"`
		FirstDay     string              `json:"first_day"` // of the season, local
		LastDay      string              `json:"last_day"`
		TimeZone     string              `json:"time_zone"` // whose days they are
		AsOf         time.Time           `json:"as_of"`     // the newest event they come from
		Fields       []SeasonField       `json:"fields"`
		Applications []SeasonApplication `json:"applications"`
		Analyses     []SeasonAnalysis    `json:"analyses"`
		Sums         []SeasonSum         `json:"sums"`    // of this season
		Balance      []SeasonSum         `json:"balance"` // of each field, in every season the book has; none where dates were asked for
		Planned      []SeasonPlanned     `json:"planned"`
		Verdicts     []SeasonVerdict     `json:"verdicts"`
		Checks       []SeasonCheck       `json:"checks"`
		Missing      []SeasonMissing     `json:"missing"`
		Rules        []nutrient.RuleHead `json:"rules"`
		Findings     []nutrient.Finding  `json:"findings"`
		Gaps         []Gap               `json:"gaps"`            // events known to be missing from the book
		Marks        []string            `json:"marks,omitempty"` // what the book held: of these events they are drawn again; left out: of a book with thousands of gaps
		Evidence     Evidence            `json:"evidence"`
	}

	// Evidence is the events that records come from.
	Evidence struct {
		Events int64            `json:"events"`
		Digest string           `json:"digest"` // SHA-256 of "identity SHA-256(bytes)\n", sorted
		Kinds  map[string]int64 `json:"kinds"`
	}

	// SeasonField is a field as registered at its last application in the season.
	SeasonField struct {
		Field    schemas.FieldID   `json:"field"`
		Name     string            `json:"name"`
		Holding  schemas.HoldingID `json:"holding,omitempty"`
		AreaM2   float64           `json:"area_m2"` // that may be spread; 0: not known
		LandUse  string            `json:"land_use,omitempty"`
		Zones    []string          `json:"zones,omitempty"`
		Crop     string            `json:"crop,omitempty"`
		Soil     string            `json:"soil,omitempty"`
		Boundary schemas.Boundary  `json:"boundary,omitempty"`
	}

	// SeasonApplication is what one machine spread of one product and batch on
	// one field on one local day.
	SeasonApplication struct {
		ID                string                `json:"id"`
		Field             schemas.FieldID       `json:"field"`
		Crop              string                `json:"crop,omitempty"`
		Soil              string                `json:"soil,omitempty"`
		Day               string                `json:"day"`
		FromLocal         string                `json:"from_local"` // with its offset from UTC, like 2024-11-03T01:50:00-03:00
		ToLocal           string                `json:"to_local"`
		From              time.Time             `json:"from"`
		To                time.Time             `json:"to"`
		Product           schemas.ProductID     `json:"product"`
		ProductName       string                `json:"product_name,omitempty"`
		Kind              string                `json:"kind"`
		Batch             schemas.DocketID      `json:"batch,omitempty"`
		Machine           schemas.MachineID     `json:"machine"`
		Job               schemas.JobID         `json:"job,omitempty"`
		Operator          schemas.Operator      `json:"operator,omitempty"`
		CertificateHolder string                `json:"certificate_holder,omitempty"`
		Method            string                `json:"method,omitempty"`
		AreaM2            float64               `json:"area_m2"` // covered; 0: not known
		MassKg            float64               `json:"mass_kg"`
		MassLowKg         float64               `json:"mass_low_kg"` // 95 %
		MassHighKg        float64               `json:"mass_high_kg"`
		RateKgHa          float64               `json:"rate_kg_ha"` // of the area covered; 0: not known
		Open              bool                  `json:"open"`
		Amounts           []SeasonAmount        `json:"amounts"`
		Weather           *schemas.WeatherNoted `json:"weather,omitempty"`
		Buffers           []schemas.BufferKept  `json:"buffers,omitempty"`    // as the crew noted them
		Exclusions        []nutrient.Measured   `json:"exclusions,omitempty"` // measured from the passes: the nearest of each kind; left out: none is registered within 1 km
		Calibration       SeasonCalibration     `json:"calibration"`
		Events            int                   `json:"events"` // it comes from

		MoreWeather []schemas.WeatherNoted `json:"more_weather,omitempty"` // noted besides: rules are held against all
	}

	// SeasonCalibration is the calibration in force at the end of that day.
	SeasonCalibration struct {
		CatchTest schemas.TestID `json:"catch_test,omitempty"` // left out: none, or without a name
		TestedAt  time.Time      `json:"tested_at,omitzero"`   // left out: none was made
		TestedOn  string         `json:"tested_on,omitempty"`  // local day
		Valid     bool           `json:"valid"`
		Until     time.Time      `json:"until,omitzero"`
		Reasons   []string       `json:"reasons"` // why it does not hold
	}

	// SeasonAnalysis is a version of a product's analysis with its ID.
	SeasonAnalysis struct {
		ID        string `json:"id"`
		FromLocal string `json:"from_local"` // it holds from then on, with its offset from UTC
		nutrient.Used
	}

	// SeasonAmount is an amount with its ID.
	SeasonAmount struct {
		ID string `json:"id"`
		nutrient.Amount
	}

	// SeasonSum is a sum whose mass has the ID, and each amount its own.
	SeasonSum struct {
		ID           string            `json:"id"`
		Scope        string            `json:"scope"`
		Subject      string            `json:"subject"`
		Season       nutrient.Span     `json:"season"`
		Product      schemas.ProductID `json:"product,omitempty"`
		Kind         string            `json:"kind,omitempty"`
		AreaM2       float64           `json:"area_m2"`
		MassKg       float64           `json:"mass_kg"`
		MassLowKg    float64           `json:"mass_low_kg"`
		MassHighKg   float64           `json:"mass_high_kg"`
		Open         bool              `json:"open"`
		Amounts      []SeasonAmount    `json:"amounts"`
		Applications []string          `json:"applications"`
	}

	// SeasonVerdict is a verdict with its ID.
	SeasonVerdict struct {
		ID string `json:"id"`
		nutrient.Verdict
	}

	// SeasonCheck is a check with its ID.
	SeasonCheck struct {
		ID string `json:"id"`
		nutrient.Check
	}

	// SeasonMissing is a missing record with its ID.
	SeasonMissing struct {
		ID string `json:"id"`
		nutrient.Missing
	}

	// SeasonPlanned is what was planned beside what was given.
	SeasonPlanned struct {
		ID           string            `json:"id"`
		Job          schemas.JobID     `json:"job"`
		Field        schemas.FieldID   `json:"field"`
		Product      schemas.ProductID `json:"product"`
		SetRateKgHa  float64           `json:"set_rate_kg_ha"`
		PlannedKg    float64           `json:"planned_kg"` // 0: the area is not known
		GivenKg      float64           `json:"given_kg"`
		GivenKgHa    float64           `json:"given_kg_ha"` // of the field
		Applications []string          `json:"applications"`
		OthersKg     float64           `json:"others_kg,omitempty"` // of given_kg, spread while the field was another customer's: their records show it
	}

	// WhyAnswer is where a figure comes from: the applications that it sums, or
	// of an application the events.
	WhyAnswer struct {
		Schema string            `json:"schema"` // "hopperbook.why/1"
		ID     string            `json:"id"`
		Text   string            `json:"text"`
		Value  float64           `json:"value"` // of what the parts sum to
		Unit   string            `json:"unit"`  // "": nothing is summed
		Parts  []WhyPart         `json:"parts"`
		Fields []schemas.FieldID `json:"fields"` // whose registers a limit rests on, other customers' too
		Events []WhyEvent        `json:"events"`
	}

	// WhyPart is what one application brought.
	WhyPart struct {
		ID    string  `json:"id"`
		Value float64 `json:"value"`
	}

	// WhyEvent is an event in the book.
	WhyEvent struct {
		ID       schemas.EventID   `json:"id"`
		Type     schemas.EventType `json:"type"`
		Time     time.Time         `json:"time"`
		Source   schemas.Source    `json:"source"`
		Sequence int64             `json:"sequence"`
	}
)

// figureID joins the parts of an ID; a season's name has no slash in it.
func figureID(parts ...string) string {
	var kept []string
	for _, p := range parts {
		if p != "" {
			kept = append(kept, strings.ReplaceAll(p, " ", "-"))
		}
	}
	return strings.Join(kept, "/")
}

func seasonToken(s nutrient.Span) string { return strings.ReplaceAll(s.Name, "/", "-") }

func applicationID(name string) string { return figureID("application", name) }

func applicationIDs(names []string) []string {
	out := make([]string, len(names))
	for i, n := range names {
		out[i] = applicationID(n)
	}
	return out
}

func seasonSum(s nutrient.Sum) SeasonSum {
	var of string
	switch {
	case s.Product != "":
		of = "product:" + string(s.Product)
	case s.Kind != "":
		of = "kind:" + s.Kind
	}
	base := []string{"sum", s.Scope, s.Subject, seasonToken(s.Season), of}
	out := SeasonSum{ID: figureID(append(base, "mass")...), Scope: s.Scope, Subject: s.Subject, Season: s.Season, Product: s.Product, Kind: s.Kind, AreaM2: s.AreaM2,
		MassKg: s.MassKg, MassLowKg: s.MassLowKg, MassHighKg: s.MassHighKg, Open: s.Open, Applications: applicationIDs(s.Applications), Amounts: []SeasonAmount{}}
	for _, a := range s.Amounts {
		out.Amounts = append(out.Amounts, SeasonAmount{figureID(append(base, string(a.Form))...), a})
	}
	return out
}

// of gives a form's amount.
func (s SeasonSum) of(f nutrient.Form) nutrient.Amount { return amountOf(s.Amounts, f) }

func amountOf(amounts []SeasonAmount, f nutrient.Form) nutrient.Amount {
	for _, a := range amounts {
		if a.Form == f {
			return a.Amount
		}
	}
	return nutrient.Amount{Form: f}
}

// SeasonFrame is what stands around a season's records.
type SeasonFrame struct {
	Customer     schemas.CustomerID
	CustomerName string
	Contractor   string
	Location     *time.Location
	Products     map[schemas.ProductID]string // names
	Boundaries   map[schemas.FieldID]schemas.Boundary
}

// NewSeasonAnswer shows one season of what was worked out; name picks it among
// the spans of the sums. False where the book has no application in it.
func NewSeasonAnswer(s reconcile.Season, r nutrient.Result, name string, f SeasonFrame) (SeasonAnswer, bool) {
	a := SeasonAnswer{Schema: SchemaSeason, Customer: f.Customer, CustomerName: f.CustomerName, Contractor: f.Contractor, TimeZone: f.Location.String(),
		Fields: []SeasonField{}, Applications: []SeasonApplication{}, Analyses: []SeasonAnalysis{}, Sums: []SeasonSum{}, Balance: []SeasonSum{}, Planned: []SeasonPlanned{},
		Verdicts: []SeasonVerdict{}, Checks: []SeasonCheck{}, Missing: []SeasonMissing{}, Rules: r.Rules, Findings: r.Findings, Gaps: []Gap{}}
	in := map[string]bool{}
	own := map[string]nutrient.Sum{}
	for _, sum := range r.Sums {
		mine := sum.Season.Name == name
		if s.Input.Dates == (nutrient.Span{}) && sum.Scope == nutrient.ScopeField && sum.Product == "" && sum.Kind == "" {
			a.Balance = append(a.Balance, seasonSum(sum))
		}
		switch {
		case !mine:
		case sum.Scope == nutrient.ScopeApplication:
			in[sum.Subject], own[sum.Subject], a.Season = true, sum, sum.Season
		default:
			a.Sums = append(a.Sums, seasonSum(sum))
		}
	}
	for _, field := range s.Input.FieldsIn(a.Season) {
		a.Fields = append(a.Fields, SeasonField{Field: field.ID, Name: field.Name, Holding: field.Holding, AreaM2: field.AreaM2, LandUse: field.LandUse, Zones: field.Zones,
			Crop: field.Crop, Soil: field.Soil, Boundary: f.Boundaries[field.ID]})
	}
	within := map[string]bool{} // other customers' too
	for i, ap := range s.Input.Applications {
		within[ap.ID] = !ap.From.Before(a.Season.From) && ap.From.Before(a.Season.To)
		if in[ap.ID] {
			field, _ := s.Input.FieldAt(ap.Field, ap.From)
			a.Applications = append(a.Applications, seasonApplication(ap, s.Origins[i], own[ap.ID], field, f))
		}
	}
	slices.SortStableFunc(a.Applications, func(x, y SeasonApplication) int {
		return cmp.Or(strings.Compare(string(x.Field), string(y.Field)), x.From.Compare(y.From))
	})
	a.addJudged(r, in, f.Location)
	for _, p := range s.Planned {
		given := slices.Concat(p.Applications, p.Others)
		if len(given) == 0 || slices.ContainsFunc(given, func(id string) bool { return within[id] }) {
			a.Planned = append(a.Planned, SeasonPlanned{figureID("planned", string(p.Job), string(p.Field)), p.Job, p.Field, p.Product, p.SetRateKgHa, p.PlannedKg, p.GivenKg, p.GivenKgHa, applicationIDs(p.Applications), p.OthersKg})
		}
	}
	a.FirstDay, a.LastDay = a.Season.From.In(f.Location).Format(time.DateOnly), a.Season.To.Add(-1).In(f.Location).Format(time.DateOnly)
	return a, len(in) > 0
}

// addJudged takes verdicts whose period meets the season, and what is said of
// its applications.
func (a *SeasonAnswer) addJudged(r nutrient.Result, in map[string]bool, zone *time.Location) {
	for _, u := range r.Analyses {
		u.Applications = slices.DeleteFunc(slices.Clone(u.Applications), func(id string) bool { return !in[id] })
		if len(u.Applications) > 0 {
			u.Applications = applicationIDs(u.Applications)
			a.Analyses = append(a.Analyses, SeasonAnalysis{figureID("analysis", string(u.Product), string(u.Event)), u.From.In(zone).Format(time.RFC3339), u})
		}
	}
	for _, v := range r.Verdicts {
		if v.Period.From.Before(a.Season.To) && a.Season.From.Before(v.Period.To) {
			id := figureID("verdict", v.Rule, v.Limit, v.Subject, seasonToken(v.Period))
			v.Applications = applicationIDs(v.Applications)
			a.Verdicts = append(a.Verdicts, SeasonVerdict{id, v})
		}
	}
	for _, c := range r.Checks {
		if in[c.Application] {
			id := figureID("check", c.Rule, c.Part, c.Application)
			c.Application = applicationID(c.Application)
			a.Checks = append(a.Checks, SeasonCheck{id, c})
		}
	}
	for _, m := range r.Missing {
		m.Applications = slices.DeleteFunc(slices.Clone(m.Applications), func(id string) bool { return !in[id] })
		if len(m.Applications) > 0 {
			m.Applications = applicationIDs(m.Applications)
			a.Missing = append(a.Missing, SeasonMissing{figureID("missing", m.Rule, m.Record, string(m.Field)), m})
		}
	}
}

func seasonApplication(ap nutrient.Application, o reconcile.Origin, own nutrient.Sum, field nutrient.Field, f SeasonFrame) SeasonApplication {
	from, to := ap.From.In(f.Location), ap.To.In(f.Location)
	c := o.Certificate
	sum := seasonSum(own)
	out := SeasonApplication{ID: applicationID(ap.ID), Field: ap.Field, Crop: field.Crop, Soil: field.Soil, Day: from.Format(time.DateOnly), FromLocal: from.Format(time.RFC3339), ToLocal: to.Format(time.RFC3339),
		From: ap.From, To: ap.To, Product: ap.Product, ProductName: f.Products[ap.Product], Kind: own.Kind, Batch: ap.Batch, Machine: ap.Machine, Job: ap.Job,
		Operator: ap.Operator, CertificateHolder: ap.CertificateHolder, Method: ap.Method, AreaM2: ap.AreaM2, MassKg: ap.MassKg, MassLowKg: own.MassLowKg, MassHighKg: own.MassHighKg,
		Open: ap.Open, Amounts: sum.Amounts, Weather: ap.Weather, MoreWeather: ap.MoreWeather, Buffers: ap.Buffers, Exclusions: ap.Measured, Events: len(o.Uses),
		Calibration: SeasonCalibration{c.CatchTest, c.TestedAt, "", c.Valid, c.Until, c.Reasons}}
	if !c.TestedAt.IsZero() {
		out.Calibration.TestedOn = c.TestedAt.In(f.Location).Format(time.DateOnly)
	}
	if ap.AreaM2 > 0 {
		out.RateKgHa = ap.MassKg / ap.AreaM2 * unit.M2PerHa
	}
	return out
}
