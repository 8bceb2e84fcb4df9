package nutrient

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
	"time"

	"hopperbook/schemas"
	"hopperbook/schemas/unit"
)

// versionsOf are a field's registrations in order of time. Fields are sorted by
// ID and time.
func versionsOf(fields []Field, id schemas.FieldID) []Field {
	from, _ := slices.BinarySearchFunc(fields, id, func(f Field, id schemas.FieldID) int { return cmp.Compare(f.ID, id) })
	to := from
	for to < len(fields) && fields[to].ID == id {
		to++
	}
	return fields[from:to]
}

// inForce is the registration that holds at a time: the last one made by then,
// else the first one, since fields are often entered late. False: none.
func inForce(versions []Field, at time.Time) (f Field, ok bool) {
	for i, v := range versions {
		if i == 0 || !v.From.After(at) {
			f, ok = v, true
		}
	}
	return f, ok
}

func compareFields(a, b Field) int {
	return cmp.Or(strings.Compare(string(a.ID), string(b.ID)), a.From.Compare(b.From))
}

// FieldAt is a field as it was registered at a time; false: it is not.
func (in *Input) FieldAt(id schemas.FieldID, at time.Time) (Field, bool) {
	var versions []Field
	for _, f := range in.Fields {
		if f.ID == id {
			versions = append(versions, f)
		}
	}
	slices.SortStableFunc(versions, compareFields)
	return inForce(versions, at)
}

// Own tells whether an application is of the customer whose records are made:
// the field was the customer's then.
func (in *Input) Own(a *Application) bool {
	f, known := in.FieldAt(a.Field, a.From)
	return !known || in.mine(f)
}

func (in *Input) mine(f Field) bool { return in.Customer == "" || f.Customer == in.Customer }

// FieldsIn are the customer's fields in a span: each as registered at its last
// application in the span, one without any as at the span's end. One that was
// registered later is among them only if something was spread on it.
func (in *Input) FieldsIn(s Span) (out []Field) {
	last := map[schemas.FieldID]Field{}
	at := map[schemas.FieldID]time.Time{}
	for i := range in.Applications {
		a := &in.Applications[i]
		if a.From.Before(s.From) || !a.From.Before(s.To) || !in.Own(a) || a.From.Before(at[a.Field]) {
			continue
		}
		if f, known := in.FieldAt(a.Field, a.From); known {
			last[a.Field], at[a.Field] = f, a.From
		}
	}
	for _, f := range in.Fields {
		if _, done := last[f.ID]; done {
			continue
		}
		if now, _ := in.FieldAt(f.ID, s.To.Add(-1)); in.mine(now) && now.From.Before(s.To) {
			last[f.ID] = now
		}
	}
	for _, f := range last {
		out = append(out, f)
	}
	slices.SortFunc(out, compareFields)
	return out
}

// ids lists the fields, each once.
func (b *book) ids() []schemas.FieldID {
	var out []schemas.FieldID
	for _, f := range b.fields {
		out = append(out, f.ID)
	}
	return slices.Compact(out)
}

// Differs says in words what is different between two registrations of a field
// that figures or limits may rest on; none: nothing.
func (f Field) Differs(o Field) (words []string) {
	say := func(what, was, is string) {
		if was != is {
			words = append(words, what+" "+cmp.Or(was, "not said")+", then "+cmp.Or(is, "not said"))
		}
	}
	zones := func(f Field) string {
		if f.Zones != nil && len(f.Zones) == 0 {
			return "none"
		}
		return strings.Join(f.Zones, " and ")
	}
	if f.Customer != o.Customer {
		words = append(words, "it changed hands")
	}
	say("holding", string(f.Holding), string(o.Holding))
	say("land use", f.LandUse, o.LandUse)
	say("zones", zones(f), zones(o))
	say("crop", f.Crop, o.Crop)
	say("soil", f.Soil, o.Soil)
	switch {
	case f.AreaM2 != o.AreaM2:
		words = append(words, fmt.Sprintf("area %.4f ha, then %.4f ha", f.AreaM2/unit.M2PerHa, o.AreaM2/unit.M2PerHa))
	case f.Redrawn(o):
		words = append(words, "its boundary was drawn anew with the same area")
	}
	return words
}

// othersWords says how much of a verdict is another customer's land and what
// was spread on it, in kg of the limit's form.
func (b *book) othersWords(l *Limit, t *target, kg float64) (notes []string) {
	if m2 := b.othersM2(t); m2 > 0 {
		notes = append(notes, fmt.Sprintf("of it %.4f ha of other customers' fields", m2/unit.M2PerHa))
	}
	if kg > 0 {
		notes = append(notes, fmt.Sprintf("of it %.1f kg %s spread on fields while they were other customers': their records show it", kg, l.Nutrient))
	}
	return notes
}

// othersM2 is how much of a verdict's land is other customers'.
func (b *book) othersM2(t *target) (m2 float64) {
	for _, c := range t.fields {
		if !b.mine(c.Field) {
			m2 += c.AreaM2
		}
	}
	return m2
}
