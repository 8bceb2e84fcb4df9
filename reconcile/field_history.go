package reconcile

import (
	"cmp"
	"crypto/sha256"
	"encoding/json"
	"fmt"
	"slices"
	"strings"
	"time"

	"hopperbook/reconcile/coverage"
	"hopperbook/reconcile/nutrient"
	"hopperbook/reconcile/plane"
	"hopperbook/schemas"
)

// fieldHistory are the registrations of each field in order. What was amended
// stands as amended, in the place of the one that it corrects.
func fieldHistory(all []At[schemas.RegisterField]) map[schemas.FieldID][]At[schemas.RegisterField] {
	out := map[schemas.FieldID][]At[schemas.RegisterField]{}
	for _, f := range sorted(all) {
		out[f.Data.Field] = append(out[f.Data.Field], f)
	}
	return out
}

// registeredAt is the registration that held at a time: the last one made by
// then, else the first one, since fields are often entered late.
func registeredAt(history []At[schemas.RegisterField], at time.Time) (f At[schemas.RegisterField]) {
	for i, r := range history {
		if i == 0 || !r.Time.After(at) {
			f = r
		}
	}
	return f
}

// wantedFields are those whose applications count for a customer: fields that
// were ever the customer's or are in a job of the customer's, and those of all
// holdings that these were ever of, since limits are a holding's. "": all.
func wantedFields(all []At[schemas.RegisterField], jobs map[schemas.JobID]At[schemas.RegisterJob], customer schemas.CustomerID) map[schemas.FieldID]bool {
	holding := func(d schemas.RegisterField) string { return cmp.Or(string(d.Holding), string(d.Customer)) }
	theirs, holdings := map[schemas.FieldID]bool{}, map[string]bool{}
	for _, j := range jobs {
		for _, id := range j.Data.Fields {
			theirs[id] = theirs[id] || j.Data.Customer == customer
		}
	}
	for _, f := range all {
		theirs[f.Data.Field] = theirs[f.Data.Field] || f.Data.Customer == customer
	}
	for _, f := range all {
		if theirs[f.Data.Field] {
			holdings[holding(f.Data)] = true
		}
	}
	out := map[schemas.FieldID]bool{}
	for _, f := range all {
		if customer == "" || theirs[f.Data.Field] || holdings[holding(f.Data)] {
			out[f.Data.Field] = true
		}
	}
	return out
}

// nutrientFields are a field's registrations as rules see them, those left out
// that changed nothing of it.
func (g *gathered) nutrientFields(cover *coverage.Cover, id schemas.FieldID) (out []nutrient.Field, err error) {
	for _, r := range g.history[id] {
		reg := &g.reg
		if r.Identity != reg.fields[id].Identity {
			reg = &registers{exclusions: map[schemas.FieldID]plane.Polygon{}}
			reg.addGround(r, &findings{})
		}
		f, err := nutrientField(reg, cover, r)
		if err != nil {
			return nil, err
		}
		if n := len(out); n > 0 && len(out[n-1].Differs(f)) == 0 && samePlan(out[n-1], f) {
			continue
		} else if n > 0 && out[n-1].From.Equal(f.From) { // of one instant the last one counts
			out = out[:n-1]
		}
		out = append(out, f)
	}
	return out, nil
}

// samePlan tells whether two registrations agree in what no figure rests on and
// checks or records show.
func samePlan(a, b nutrient.Field) bool {
	slope := a.SlopeDeg == b.SlopeDeg || a.SlopeDeg != nil && b.SlopeDeg != nil && *a.SlopeDeg == *b.SlopeDeg
	return slope && a.Ground == b.Ground && a.Name == b.Name && a.PreviousCrop == b.PreviousCrop && a.SownAt.Equal(b.SownAt) && (a.Zones == nil) == (b.Zones == nil) && slices.Equal(a.Zones, b.Zones)
}

// nutrientField is a field by a registration, with the area that may be spread;
// 0 where its boundary cannot be used.
func nutrientField(reg *registers, cover *coverage.Cover, r At[schemas.RegisterField]) (nutrient.Field, error) {
	d := r.Data
	f := nutrient.Field{ID: d.Field, From: r.Time, Name: d.Name, Customer: d.Customer, Holding: d.Holding, LandUse: d.LandUse, Zones: d.Zones, Crop: d.Crop,
		PreviousCrop: d.PreviousCrop, Soil: d.Soil, SlopeDeg: d.SlopeDeg}
	if d.SownAt != "" {
		f.SownAt, _ = time.Parse(time.RFC3339Nano, d.SownAt) // the contract has checked it
	}
	drawn, err := json.Marshal([]any{d.Boundary, d.Exclusion})
	if err != nil {
		return f, err
	}
	f.Ground = fmt.Sprintf("%x", sha256.Sum256(drawn))
	ground := reg.ground(d.Field)
	if len(ground.Boundary.Polygon.Parts) == 0 {
		return f, nil
	}
	area, err := covered(reg, cover, d.Field, nil)
	f.AreaM2 = max(0, rounded(boundaryM2(ground.Boundary, area.BoundaryM2)-area.ExclusionM2, 2))
	return f, err
}

// changedFields says which of a customer's fields in a span were registered
// anew in it, and of which the boundary was drawn anew since.
func changedFields(in *nutrient.Input, span nutrient.Span, found *findings) {
	zone := in.Location
	for _, now := range in.FieldsIn(span) {
		versions := slices.DeleteFunc(slices.Clone(in.Fields), func(f nutrient.Field) bool { return f.ID != now.ID })
		for i := 1; i < len(versions); i++ {
			was, is := versions[i-1], versions[i]
			words := was.Differs(is)
			switch inside := is.From.After(span.From) && is.From.Before(span.To); {
			case inside && len(words) > 0:
				found.add(Finding{Kind: "field_registered_anew", Field: now.ID, At: is.From, Text: "on " + is.From.In(zone).Format(time.DateOnly) + ": " + strings.Join(words, "; ") + changeWords(was, is)})
			case !is.From.Before(span.To) && was.Redrawn(is):
				found.add(Finding{Kind: "field_redrawn", Field: now.ID, At: is.From, Text: "its boundary was drawn anew on " + is.From.In(zone).Format(time.DateOnly) + ", after these applications" + laidWords})
			}
		}
	}
}

const laidWords = ": what was spread is laid on the last boundary, and what lies outside it is not in these figures"

// changeWords says what a change means for the records.
func changeWords(was, is nutrient.Field) (words string) {
	words = ". Each application goes by the registration at its time, kg/ha of the field by that at its last application"
	if was.Customer != is.Customer {
		words += ". What was spread while it was another customer's is in that customer's records; limits of the field count it all"
	}
	if was.Redrawn(is) {
		words += laidWords
	}
	return words
}
