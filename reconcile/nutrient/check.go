package nutrient

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"hopperbook/schemas"
)

// States of a check.
const (
	Kept     = "kept"
	Broken   = "broken"
	NotNoted = "not_noted" // the book does not say
	ToJudge  = "to_judge"  // a person decides: the law names no amount, or a risk
)

// Check is one part of a rule held against one application. A part that does
// not apply to it has state not_applicable and says why.
type Check struct {
	Rule        string          `json:"rule"`
	Part        string          `json:"part"`
	Section     string          `json:"section"`
	Kind        string          `json:"kind"` // closed_period, buffer, soil, rain, slope
	Application string          `json:"application"`
	Field       schemas.FieldID `json:"field"`
	At          time.Time       `json:"at"`
	State       string          `json:"state"`
	Text        string          `json:"text"`
	Asks        string          `json:"asks"` // the rule's own sentence
}

// asker holds the parts of one rule file against one application.
type asker struct {
	b     *book
	rules *Rules
	p     *portion
	out   []Check
}

func (b *book) checks(rules Rules, p *portion) []Check {
	a := asker{b: b, rules: &rules, p: p}
	for i := range rules.ClosedPeriods {
		a.closed(&rules.ClosedPeriods[i])
	}
	for i := range rules.Buffers {
		a.buffer(&rules.Buffers[i])
	}
	for i := range rules.Soils {
		a.soil(&rules.Soils[i])
	}
	for i := range rules.Rains {
		a.rain(&rules.Rains[i])
	}
	for i := range rules.Slopes {
		a.slope(&rules.Slopes[i])
	}
	return a.out
}

// say adds a check; what the book does not know of whether it applies is told.
func (a *asker) say(kind string, part *Part, state, format string, args ...any) {
	text := fmt.Sprintf(format, args...)
	land, why := a.b.applies(a.rules, part, a.p.field)
	product := counts(a.rules, part, a.p.content)
	switch {
	case land == no:
		state, text = NotApplicable, why
	case product == no:
		state, text = NotApplicable, fmt.Sprintf("%s is not a product it is about", a.p.Product)
	case state == NotApplicable:
	default:
		if land == maybe {
			text += "; " + TakenAsApplying + why
		}
		if product == maybe {
			text += fmt.Sprintf("; "+TakenAsApplying+"what kind of product %s is is not in the book", a.p.Product)
		}
	}
	a.out = append(a.out, Check{Rule: a.rules.ID, Part: part.ID, Section: part.Section, Kind: kind, Application: a.p.ID, Field: a.p.Field,
		At: a.p.From, State: state, Text: text, Asks: part.Text})
}

func (a *asker) closed(c *ClosedPeriod) {
	days := a.p.From.In(a.b.loc).Format(time.DateOnly)
	if last := a.p.To.In(a.b.loc).Format(time.DateOnly); a.p.To.After(a.p.From) && last != days {
		days += " to " + last
	}
	state, words := Kept, "outside"
	if touches(a.p.From, a.p.To, c.From, c.To, a.b.loc) {
		state, words = Broken, "inside"
	}
	a.say("closed_period", &c.Part, state, "%s lies %s the closed period %s to %s", days, words, c.From, c.To)
}

// buffer holds what the crew noted and what the passes say against the rule.
// Each alone decides where the other says nothing; where they contradict each
// other a person decides. What lies within the receiver's error decides nothing.
func (a *asker) buffer(r *Buffer) {
	kept, noted := 0.0, false
	for _, k := range a.p.Buffers {
		if k.To == r.To && (!noted || k.DistanceM < kept) {
			kept, noted = k.DistanceM, true
		}
	}
	place := strings.ReplaceAll(r.To, "_", " ")
	asked := r.DistanceM - r.DistanceM*roundingShare
	state, words := NotNoted, fmt.Sprintf("keep %g m from a %s; what was kept is not noted: job.finished with buffers", r.DistanceM, place)
	if noted {
		state, words = Kept, fmt.Sprintf("%g m were kept from a %s as the crew noted, %g m are asked for", kept, place, r.DistanceM)
		if kept < asked {
			state = Broken
		}
	}
	for _, m := range a.p.Measured {
		switch {
		case m.To == r.To:
			if state = withMeasured(state, m, asked); !noted {
				words = fmt.Sprintf("%g m from a %s are asked for; the crew noted nothing", r.DistanceM, place)
			}
			words += fmt.Sprintf("; measured from passes: %g m from the nearest %s registered, receiver error %g m", m.DistanceM, place, m.ReceiverM)
		case m.To == "" && m.DistanceM-m.ReceiverM < asked:
			words += fmt.Sprintf("; measured from passes: %g m from an exclusion area of which the book does not say what it is (register.field with exclusion_to), receiver error %g m", m.DistanceM, m.ReceiverM)
		}
	}
	a.say("buffer", &r.Part, state, "%s", words)
}

// withMeasured joins a noted state with a measured distance.
func withMeasured(noted string, m Measured, askedM float64) string {
	switch surely, short := m.DistanceM-m.ReceiverM >= askedM, m.DistanceM+m.ReceiverM < askedM; {
	case noted == NotNoted && surely:
		return Kept
	case noted == NotNoted && short:
		return Broken
	case noted == NotNoted, noted == Kept && short, noted == Broken && surely:
		return ToJudge
	}
	return noted
}

// excepted tells why an application escapes; "" where it does not.
func (a *asker) excepted(e Except) string {
	f := a.p.field
	switch {
	case a.p.Method != "" && slices.Contains(e.Methods, a.p.Method):
		return "the product was " + a.p.Method
	case e.GrowingCrop && f.LandUse == "pasture":
		return "pasture is a growing crop"
	case e.GrowingCrop && f.Crop != "" && !f.SownAt.IsZero() && f.SownAt.Before(a.p.From):
		return f.Crop + " was growing"
	}
	return ""
}

// soil names every state noted that is not to be spread on, the worst first.
func (a *asker) soil(r *SoilRule) {
	states := strings.ReplaceAll(strings.Join(r.States, ", "), "_", " ")
	noted := a.p.weather()
	var bad []string
	for _, w := range noted {
		if words := strings.ReplaceAll(w.Soil, "_", " "); slices.Contains(r.States, w.Soil) && !slices.Contains(bad, words) {
			bad = append(bad, words)
		}
	}
	switch escape := a.excepted(r.Except); {
	case escape != "":
		a.say("soil", &r.Part, NotApplicable, "%s", escape)
	case len(noted) == 0:
		a.say("soil", &r.Part, NotNoted, "not on soil that is %s; how it was is not noted: weather.noted with soil", states)
	case len(bad) > 0:
		a.say("soil", &r.Part, Broken, "the soil was noted as %s", strings.Join(bad, " and as "))
	default:
		a.say("soil", &r.Part, Kept, "the soil was noted as %s", strings.ReplaceAll(noted[0].Soil, "_", " "))
	}
}

// rain holds every forecast noted against the rule; the worst counts. A note
// without a forecast takes nothing away from one that has it.
func (a *asker) rain(r *RainRule) {
	order := []string{Broken, ToJudge, Kept, NotNoted}
	state, words := NotNoted, "no rain forecast is noted: weather.noted with forecast_rain_mm, forecast_rain_chance_pct and forecast_hours"
	told := false
	for _, w := range a.p.weather() {
		if w.ForecastRainMm == nil && (w.Forecast == "" || r.OverMm != nil) {
			continue
		}
		s, text := r.forecast(w)
		if !told || slices.Index(order, s) < slices.Index(order, state) {
			state, words, told = s, text, true
		}
	}
	switch escape := a.excepted(r.Except); {
	case len(r.Forms) > 0 && a.p.productForm != "" && !slices.Contains(r.Forms, a.p.productForm):
		a.say("rain", &r.Part, NotApplicable, "%s is %s", a.p.Product, a.p.productForm)
	case escape != "":
		a.say("rain", &r.Part, NotApplicable, "%s", escape)
	default:
		a.say("rain", &r.Part, state, "%s", words)
	}
}

// forecast holds an amount over so many hours against the one of the rule: a
// longer forecast of little rain holds for its beginning too, a shorter one of
// much for the whole.
func (r *RainRule) forecast(w *schemas.WeatherNoted) (state, text string) {
	if r.OverMm == nil {
		return ToJudge, fmt.Sprintf("forecast: %s; the rule names no amount", forecastWords(w))
	}
	hours, much := w.ForecastHours, *w.ForecastRainMm > *r.OverMm*(1+roundingShare)
	likely, chanceKnown := true, r.OverChancePct == nil || w.ForecastRainChancePct != nil
	if r.OverChancePct != nil && w.ForecastRainChancePct != nil {
		likely = *w.ForecastRainChancePct > *r.OverChancePct
	}
	state = NotNoted
	switch {
	case hours == nil: // an amount over nobody knows how long says nothing
	case much && likely && chanceKnown && *hours <= r.WithinHours:
		state = Broken
	case much && chanceKnown && !likely && *hours >= r.WithinHours:
		state = Kept
	case !much && *hours >= r.WithinHours:
		state = Kept
	}
	asked := fmt.Sprintf("over %.1f mm within %g h", *r.OverMm, r.WithinHours)
	if r.OverChancePct != nil {
		asked += fmt.Sprintf(" at more than %g %%", *r.OverChancePct)
	}
	text = fmt.Sprintf("forecast: %s; the rule is about %s", forecastWords(w), asked)
	if state == NotNoted {
		text += "; the forecast does not settle it: note forecast_rain_mm with its forecast_rain_chance_pct for forecast_hours of as long"
	}
	return state, text
}

func forecastWords(w *schemas.WeatherNoted) string {
	words := []string{}
	if w.ForecastRainMm != nil {
		words = append(words, fmt.Sprintf("%g mm", *w.ForecastRainMm))
	}
	if w.ForecastHours != nil {
		words = append(words, fmt.Sprintf("within %g h", *w.ForecastHours))
	}
	if w.ForecastRainChancePct != nil {
		words = append(words, fmt.Sprintf("at %g %%", *w.ForecastRainChancePct))
	}
	if w.Forecast != "" {
		words = append(words, w.Forecast)
	}
	return strings.Join(words, " ")
}

func (a *asker) slope(r *SlopeRule) {
	switch slope := a.p.field.SlopeDeg; {
	case slope == nil:
		a.say("slope", &r.Part, NotNoted, "over %g degrees a person must look; the slope is not noted: register.field with slope_deg", r.OverDeg)
	case *slope > r.OverDeg:
		a.say("slope", &r.Part, ToJudge, "the field is as steep as %g degrees, over %g", *slope, r.OverDeg)
	default:
		a.say("slope", &r.Part, Kept, "the field is at most %g degrees steep", *slope)
	}
}
