package nutrient

import (
	"slices"

	"hopperbook/schemas"
)

// Missing is a record that a rule wants and the book does not have.
type Missing struct {
	Rule         string          `json:"rule"`
	Record       string          `json:"record"`
	Section      string          `json:"section"`
	Text         string          `json:"text"` // what the rule wants
	Item         string          `json:"item"`
	Field        schemas.FieldID `json:"field,omitempty"` // "": of no field
	Applications []string        `json:"applications"`    // it is missing of
	How          string          `json:"how"`             // how to supply it
}

// Item is something a rule may want in the record, and how the book has it.
type Item struct {
	Name string
	How  string // to supply it
	has  func(*portion) bool
}

// ItemOutside is a record that the book has no place for.
const ItemOutside = "outside"

// Items are all records a rule file may ask for.
func Items() []Item {
	weather := func(has func(*schemas.WeatherNoted) bool) func(*portion) bool {
		return func(p *portion) bool { return slices.ContainsFunc(p.weather(), has) }
	}
	noted := func(*schemas.WeatherNoted) bool { return true }
	return []Item{
		{"date", "log the passes: they carry the date", func(p *portion) bool { return !p.From.IsZero() }},
		{"place", "register.field with its boundary", func(p *portion) bool { return p.fieldKnown }},
		{"area", "register.field with its boundary, and log the passes with their bout width", func(p *portion) bool { return p.AreaM2 > 0 }},
		{"rate", "log the passes and weigh the loads", func(p *portion) bool { return p.AreaM2 > 0 && p.MassKg > 0 }},
		{"amount", "weigh the loads: load.weighed and hopper.refilled", func(p *portion) bool { return p.MassKg > 0 }},
		{"product", "register.product", func(p *portion) bool { return p.productForm != "" }},
		{"kind", "register.product with kind in its analysis", func(p *portion) bool { return p.content.Kind != KindUnknown && p.content.Kind != KindOrganic }},
		{"analysis", "register.product with its analysis", func(p *portion) bool { return p.version != "" && p.content.Known != [nutrients]bool{} }},
		{"n_content", "register.product with n_pct in its analysis", func(p *portion) bool { return p.content.Known[N] }},
		{"purchase", "docket.received, and name the docket where the load is weighed", func(p *portion) bool { return p.Batch != "" }},
		{"operator", "job.started or job.finished with operator", func(p *portion) bool { return p.Operator != "" }},
		{"certificate_holder", "job.finished with certificate_holder", func(p *portion) bool { return p.CertificateHolder != "" }},
		{"method", "job.finished with method", func(p *portion) bool { return p.Method != "" }},
		{"soil_condition", "weather.noted with soil", weather(noted)},
		{"frozen_or_snow", "weather.noted with soil frozen or snow_covered where it is", weather(noted)},
		{"precipitation", "weather.noted with rain_mm", weather(noted)},
		{"temperature", "weather.noted with temperature_c", weather(func(w *schemas.WeatherNoted) bool { return w.TemperatureC != nil })},
		{"forecast", "weather.noted with forecast", weather(func(w *schemas.WeatherNoted) bool { return w.Forecast != "" || w.ForecastRainMm != nil })},
		{"crop", "register.field with crop", func(p *portion) bool { return p.field.Crop != "" }},
		{"previous_crop", "register.field with previous_crop", func(p *portion) bool { return p.field.PreviousCrop != "" }},
		{"sown", "register.field with sown_at", func(p *portion) bool { return !p.field.SownAt.IsZero() }},
		{"soil_type", "register.field with soil", func(p *portion) bool { return p.field.Soil != "" }},
		{"land_use", "register.field with land_use", func(p *portion) bool { return p.field.LandUse != "" }},
		{ItemOutside, "hopperbook has no place for it: keep it with the farm's own plan", func(*portion) bool { return false }},
	}
}

func item(name string) (Item, bool) {
	items := Items()
	i := slices.IndexFunc(items, func(it Item) bool { return it.Name == name })
	if i < 0 {
		return Item{}, false
	}
	return items[i], true
}

// missing lists what a rule wants written down and the book lacks: one row a
// record and field, and one a record that the book has no place for.
func (b *book) missing(rules Rules) []Missing {
	var out []Missing
	for i := range rules.Records {
		r := &rules.Records[i]
		it, known := item(r.Item)
		if !known {
			continue
		}
		first := len(out)
		for _, p := range b.own {
			if land, _ := b.applies(&rules, &r.Part, p.field); land == no || counts(&rules, &r.Part, p.content) == no ||
				r.SurfaceOnly && p.Method != "" && p.Method != "surface" || it.has(p) {
				continue
			}
			field := p.Field
			if it.Name == ItemOutside {
				field = ""
			}
			if n := len(out); n == first || out[n-1].Field != field {
				out = append(out, Missing{Rule: rules.ID, Record: r.ID, Section: r.Section, Text: r.Text, Item: r.Item, Field: field, How: it.How})
			}
			m := &out[len(out)-1]
			m.Applications = append(m.Applications, p.ID)
		}
	}
	return out
}
