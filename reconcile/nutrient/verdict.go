package nutrient

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"

	"hopperbook/schemas"
	"hopperbook/schemas/unit"
)

// States of a verdict.
const (
	Under         = "under" // at most the limit, at the upper end of the 95 % interval too
	Over          = "over"  // more than the limit, at the lower end too
	NotShown      = "cannot_be_shown_to_be_under"
	NotApplicable = "not_applicable"
	NotJudged     = "not_judged" // the dates asked for do not hold all of its period
)

// Verdict is one limit held against one subject over one period.
type Verdict struct {
	Rule         string   `json:"rule"`
	Limit        string   `json:"limit"`
	Section      string   `json:"section"`
	Scope        string   `json:"scope"`
	Subject      string   `json:"subject"`
	Period       Span     `json:"period"`
	State        string   `json:"state"`
	Nutrient     Form     `json:"nutrient"`
	Unit         string   `json:"unit"` // of the figures
	LimitValue   float64  `json:"limit_value"`
	Value        float64  `json:"value"` // 0 where not applicable or judged
	Low          float64  `json:"low"`   // 95 %
	High         float64  `json:"high"`  // 95 %; of what is known
	HighKnown    bool     `json:"high_known"`
	AreaM2       float64  `json:"area_m2"`
	Text         string   `json:"text"`  // why
	Notes        []string `json:"notes"` // what was taken as given
	Applications []string `json:"applications"`

	Fields []schemas.FieldID `json:"-"` // whose area counts or that are told of, other customers' too: on their registrations it rests
}

// TakenAsApplying begins the notes on land of which the book does not know
// whether the rule applies.
const TakenAsApplying = "taken as applying: "

// target is a subject and a period that a limit is held against.
type target struct {
	subject  string
	span     Span
	portions []*portion
	fields   []parcel // whose area counts
	area     areas
	named    []schemas.FieldID // that a note or the reason is about
	why      string            // not applicable, and why
	notes    []string
	shown    bool // the customer has a part in it
}

// unitOf is a limit's unit in kg or kg/ha, and whether it is one per area.
func unitOf(name string) (kg float64, perArea, known bool) {
	switch name {
	case "kg/ha":
		return 1, true, true
	case "t/ha":
		return unit.KgPerTonne, true, true
	case "lb/ac":
		return unit.KgHaPerLbAc, true, true
	case "kg":
		return 1, false, true
	case "t":
		return unit.KgPerTonne, false, true
	case "lb":
		return unit.KgPerLb, false, true
	}
	return 0, false, false
}

// roundingShare is what unit factors may cost a limit by their rounding.
const roundingShare = 1e-9

func (b *book) verdicts(rules Rules) []Verdict {
	var out []Verdict
	for i := range rules.Limits {
		l := &rules.Limits[i]
		for _, t := range b.targets(&rules, l) {
			out = append(out, b.verdict(&rules, l, t))
		}
	}
	return out
}

// targets groups the portions as a limit wants them, sorted by subject and period.
func (b *book) targets(rules *Rules, l *Limit) []*target {
	all := map[subject]*target{}
	for _, p := range b.portions {
		name, span, ok := b.subjectOf(l, p)
		if !ok || p.others && l.Scope == ScopeApplication {
			continue
		}
		key := subject{name, span.From.String()}
		if all[key] == nil {
			all[key] = &target{subject: name, span: span}
		}
		all[key].portions = append(all[key].portions, p)
	}
	out := make([]*target, 0, len(all))
	for _, t := range all {
		if b.lay(rules, l, t); t.shown {
			out = append(out, t)
		}
	}
	slices.SortFunc(out, func(a, b *target) int {
		return cmp.Or(strings.Compare(a.subject, b.subject), a.span.From.Compare(b.span.From))
	})
	return out
}

// subjectOf is what a portion counts against; a field without a holding stands
// for itself.
func (b *book) subjectOf(l *Limit, p *portion) (name string, span Span, ok bool) {
	if l.Scope == ScopeApplication {
		return p.ID, Span{p.From.In(b.loc).Format("2006-01-02"), p.From, p.To}, true
	}
	span, ok = l.Period.span(p.From, b.loc)
	if name = string(p.Field); l.Scope == ScopeHolding {
		name = p.field.stands()
	}
	return name, span, ok
}

// lay finds the fields that count: those of the subject where the rule applies,
// or may apply, at one of their applications. Portions on others do not count.
func (b *book) lay(rules *Rules, l *Limit, t *target) {
	holding := func(f Field) bool { return l.Scope == ScopeHolding && f.holding() == t.subject && t.subject != "" }
	candidates, late := b.parcels(t.portions, claims{t.span.To, holding, func(p *portion) bool { return counts(rules, &l.Part, p.content) != no }})
	for _, p := range t.portions {
		t.shown = t.shown || !p.others
		if !p.fieldKnown && !slices.ContainsFunc(candidates, func(c parcel) bool { return c.ID == p.Field }) {
			candidates = append(candidates, parcel{Field: p.field, versions: []Field{p.field}})
		}
	}
	var whyNot []string
	var refused []schemas.FieldID
	for _, c := range candidates {
		best, why := no, ""
		for i, v := range c.versions {
			if a, w := b.applies(rules, &l.Part, v); i == 0 || a < best {
				best, why = a, w
			}
		}
		switch best {
		case no:
			whyNot = append(whyNot, why)
			refused = append(refused, c.ID)
		case maybe:
			if note := TakenAsApplying + why; !slices.Contains(t.notes, note) {
				t.notes = append(t.notes, note)
			}
			fallthrough
		case yes:
			t.fields = append(t.fields, c)
			t.shown = t.shown || l.Scope == ScopeHolding && b.mine(c.Field)
		}
	}
	if len(t.fields) == 0 {
		t.why, t.named = strings.Join(slices.Compact(whyNot), "; "), refused
		return
	}
	t.portions = slices.DeleteFunc(t.portions, func(p *portion) bool {
		return !slices.ContainsFunc(t.fields, func(c parcel) bool { return c.ID == p.Field })
	})
	late = slices.DeleteFunc(late, func(f Field) bool { a, _ := b.applies(rules, &l.Part, f); return a == no })
	for _, f := range late {
		t.named = append(t.named, f.ID)
	}
	t.notes = append(t.notes, b.lateWords(late, t)...)
	if t.area = areaOfParcels(t.fields); l.Scope == ScopeHolding {
		t.area = b.areaOver(t, late, func(f Field) bool {
			a, _ := b.applies(rules, &l.Part, f)
			return a != no && f.stands() == t.subject
		})
	}
	t.notes = append(t.notes, b.changes(t.fields)...)
	if m2 := b.othersM2(t); m2 > 0 && l.Scope == ScopeHolding && t.shown {
		b.find(Finding{Kind: "other_customers_fields", Text: fmt.Sprintf("limits of holding %s count %.4f ha of other customers' fields with what was spread on them: it is in their records and not shown one by one here",
			t.subject, m2/unit.M2PerHa)})
	}
}

func (b *book) verdict(rules *Rules, l *Limit, t *target) Verdict {
	v := Verdict{Rule: rules.ID, Limit: l.ID, Section: l.Section, Scope: l.Scope, Subject: t.subject, Period: t.span,
		Nutrient: l.Nutrient, Unit: l.Unit, LimitValue: l.Value, HighKnown: true, Notes: append([]string{}, t.notes...), Applications: []string{}, Fields: t.restsOn()}
	if t.why != "" {
		v.State, v.Text = NotApplicable, t.why
		return v
	}
	if b.Dates != (Span{}) && l.Scope != ScopeApplication && !b.Dates.holds(t.span) {
		v.State, v.Text = NotJudged, b.notWhole(t.span)
		return v
	}
	area := t.area
	if l.Scope == ScopeApplication {
		m2 := t.portions[0].AreaM2
		area = areas{m2, m2, m2}
	}
	v.AreaM2 = area.m2
	form, _ := lookup(l.Nutrient)
	perUnit, perArea, _ := unitOf(l.Unit)
	sum := b.held(rules, l, t, form.nutrient)
	v.Applications = sum.counted
	known := sum.unknown == ""
	if perArea {
		known = sum.perHa(area, l.Area == AreaCovered) && known
		if v.AreaM2 <= 0 {
			sum.because("the area is not known")
			known = false
		}
	}
	v.HighKnown = known
	limit := l.Value * perUnit / form.perElement()
	v.State = state(sum.low, sum.high, known, limit)
	shown := form.perElement() / perUnit
	v.Value, v.Low, v.High = sum.kg*shown, sum.low*shown, sum.high*shown
	v.Notes = append(v.Notes, sum.notes...)
	v.Notes = append(v.Notes, b.othersWords(l, t, sum.othersKg*form.perElement())...)
	v.Text = v.words(sum.unknown)
	return v
}

// restsOn are the fields on whose registrations a verdict rests.
func (t *target) restsOn() []schemas.FieldID {
	out := slices.Clone(t.named)
	for _, c := range t.fields {
		out = append(out, c.ID)
	}
	slices.Sort(out)
	return append([]schemas.FieldID{}, slices.Compact(out)...)
}

// notWhole says that dates do not hold a period.
func (b *book) notWhole(s Span) string {
	return fmt.Sprintf("the dates %s do not hold all of %s (%s to %s): ask for dates or a season that do", b.Dates.Name, s.Name,
		s.From.In(b.loc).Format(time.DateOnly), s.To.In(b.loc).AddDate(0, 0, -1).Format(time.DateOnly))
}

// state holds an interval against a limit; at the limit it is kept.
func state(low, high float64, highKnown bool, limit float64) string {
	limit += limit * roundingShare
	switch {
	case low > limit:
		return Over
	case highKnown && high <= limit:
		return Under
	}
	return NotShown
}

// Decimals are how many digits after the point a verdict's figures are shown
// with, everywhere: as many as tell them and the limit apart, and two digits of
// half the interval. At least 2, at most 9.
func (v *Verdict) Decimals() int {
	const least, most = 2, 9
	figures := [...]float64{v.Low, v.Value, v.High, v.LimitValue}
	noise := roundingShare * slices.Max(figures[:])
	digits := least
	if half := (v.High - v.Low) / 2; half > noise {
		digits = max(digits, 1+int(math.Ceil(-math.Log10(half))))
	}
	together := func() bool {
		for i, a := range figures {
			for _, b := range figures[:i] {
				if math.Abs(a-b) > noise && strconv.FormatFloat(a, 'f', digits, 64) == strconv.FormatFloat(b, 'f', digits, 64) {
					return true
				}
			}
		}
		return false
	}
	for digits < most && together() {
		digits++
	}
	return min(digits, most)
}

func (v *Verdict) words(unknown string) string {
	n := v.Decimals()
	s := fmt.Sprintf("%s %.*f %s (95 %%: %.*f to %.*f) of at most %s %s", v.Nutrient, n, v.Value, v.Unit, n, v.Low, n, v.High, strconv.FormatFloat(v.LimitValue, 'f', -1, 64), v.Unit)
	switch {
	case unknown != "":
		return s + ", without what is not known: " + unknown
	case v.State == NotShown:
		return s + ": the interval holds the limit"
	}
	return s
}
