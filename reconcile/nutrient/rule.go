package nutrient

// SchemaRules names the shape of a rule file.
const SchemaRules = "hopperbook.rules/1"

// Rules is one rule file: what one law asks for, as data. What its parts mean
// stands in the JSON Schema too (RulesSchema).
type Rules struct {
	RuleHead
	Applies       Applies        `json:"applies,omitzero"`
	Counts        Counts         `json:"counts,omitzero"`
	Limits        []Limit        `json:"limits,omitempty"`
	ClosedPeriods []ClosedPeriod `json:"closed_periods,omitempty"`
	Buffers       []Buffer       `json:"buffers,omitempty"`
	Soils         []SoilRule     `json:"soils,omitempty"`
	Rains         []RainRule     `json:"rains,omitempty"`
	Slopes        []SlopeRule    `json:"slopes,omitempty"`
	Records       []RecordField  `json:"records,omitempty"`
}

// RuleHead is what a document quotes of a rule file.
type RuleHead struct {
	Schema            string   `json:"schema"`
	ID                string   `json:"id"`
	Title             string   `json:"title"`
	Law               string   `json:"law"`
	Jurisdiction      string   `json:"jurisdiction"`
	Sources           []string `json:"sources"`   // where its text was read
	DateRead          string   `json:"date_read"` // 2026-03-01
	Caveat            string   `json:"caveat"`    // stands beside every verdict
	RecordWithinHours float64  `json:"record_within_hours,omitempty"`
	KeepYears         float64  `json:"keep_years,omitempty"`
}

// Part is what every part of a rule file names.
type Part struct {
	ID      string  `json:"id"`
	Section string  `json:"section"`
	Text    string  `json:"text"` // what it asks for, in a sentence
	Applies Applies `json:"applies,omitzero"`
	Counts  Counts  `json:"counts,omitzero"`
}

// Applies says on which land a part applies; every condition that is given
// must hold. The zero value: on all.
type Applies struct {
	Zones          []string `json:"zones,omitempty"` // the field lies in one of them
	LandUses       []string `json:"land_uses,omitempty"`
	LeastHoldingHa float64  `json:"least_holding_ha,omitempty"` // of all fields of the holding
}

// Counts says which products a part counts; every condition that is given must
// hold. The zero value: all.
type Counts struct {
	Kinds       []string `json:"kinds,omitempty"`
	OverNPctDry *float64 `json:"over_n_pct_dry,omitempty"` // more N in the dry matter than this
	HasAnyOf    []Form   `json:"has_any_of,omitempty"`     // holds some of one of them
}

// Limit is the most that may be spread of a nutrient.
type Limit struct {
	Part
	Nutrient Form    `json:"nutrient"`
	Scope    string  `json:"scope"` // field, holding, application
	Area     string  `json:"area"`  // field (default), covered: see AreaCovered
	Period   Period  `json:"period"`
	Value    float64 `json:"value"`
	Unit     string  `json:"unit"`
}

// AreaCovered: no hectare may get more, so that what each application put on
// the area it covered is summed. Where applications covered parts of a field,
// that sum is the most a hectare can have got; mass over the field's area, or
// what one of them put on its own, is what some hectare got at least.
const AreaCovered = "covered"

// ClosedPeriod is days of the year, both included, on which nothing is spread.
type ClosedPeriod struct {
	Part
	From string `json:"from"` // "09-01"
	To   string `json:"to"`
}

// Buffer is a distance to keep from a kind of place (schemas.BufferKept.To).
type Buffer struct {
	Part
	To        string  `json:"to"`
	DistanceM float64 `json:"distance_m"`
}

// Except says how an application escapes a rule.
type Except struct {
	Methods     []string `json:"except_methods,omitempty"`
	GrowingCrop bool     `json:"except_growing_crop,omitempty"`
}

// SoilRule names soils (weather.noted) that are not spread on.
type SoilRule struct {
	Part
	Except
	States []string `json:"states"`
}

// RainRule is a forecast that forbids spreading. Without OverMm the law names
// no amount: the forecast is shown and a person decides.
type RainRule struct {
	Part
	Except
	Forms         []string `json:"forms,omitempty"` // of the product; none: any
	WithinHours   float64  `json:"within_hours"`
	OverMm        *float64 `json:"over_mm,omitempty"`
	OverChancePct *float64 `json:"over_chance_pct,omitempty"`
}

// SlopeRule is a slope from which on a person must decide.
type SlopeRule struct {
	Part
	OverDeg float64 `json:"over_deg"`
}

// RecordField is something that the law wants written down.
type RecordField struct {
	Part
	Item        string `json:"item"` // see Items
	SurfaceOnly bool   `json:"surface_only,omitempty"`
}
