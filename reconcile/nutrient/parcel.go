package nutrient

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"hopperbook/schemas"
	"hopperbook/schemas/unit"
)

// parcel is a field as a period's figures take it.
type parcel struct {
	Field            // at the last application on it in the period; without one, at the period's last application
	versions []Field // in force at its applications, each once, in order
	least    float64 // m2, of these and of the last registration, on whose boundary all is laid
	most     float64
}

// claims says which land counts without being spread on.
type claims struct {
	until   time.Time           // the period's end: what was registered from then on does not
	belongs func(Field) bool    // to the same subject
	counts  func(*portion) bool // what is spread counts, and its field with it, whenever that was registered
}

// parcels are the fields that some portions are on, and those besides that
// belong to the same when the last of them was spread. Late are fields that do
// not count since they were registered after the period. O(fields + portions).
func (b *book) parcels(portions []*portion, c claims) (out []parcel, late []Field) {
	var last time.Time
	on := map[schemas.FieldID][]*portion{}
	for _, p := range portions {
		on[p.Field] = append(on[p.Field], p)
		if p.From.After(last) {
			last = p.From
		}
	}
	any := slices.ContainsFunc(portions, c.counts)
	for _, id := range b.ids() {
		all := versionsOf(b.fields, id)
		var k parcel
		for _, v := range all {
			if slices.ContainsFunc(on[id], func(p *portion) bool { return p.field.From.Equal(v.From) }) {
				k.versions = append(k.versions, v)
			}
		}
		if len(k.versions) == 0 {
			now, _ := inForce(all, last)
			if !c.belongs(now) {
				continue
			}
			k.versions = []Field{now}
		}
		if any && !all[0].From.Before(c.until) && !slices.ContainsFunc(on[id], c.counts) {
			late = append(late, all[0])
			continue
		}
		k.Field = k.versions[len(k.versions)-1]
		k.least, k.most = k.AreaM2, k.AreaM2
		for _, v := range append(slices.Clone(k.versions), all[len(all)-1]) {
			k.least, k.most = min(k.least, v.AreaM2), max(k.most, v.AreaM2)
		}
		out = append(out, k)
	}
	return out, late
}

// timesOf are when portions were spread, in order, each time once.
func timesOf(portions []*portion) (out []time.Time) {
	for _, p := range portions {
		out = append(out, p.From)
	}
	slices.SortFunc(out, time.Time.Compare)
	return slices.CompactFunc(out, time.Time.Equal)
}

// hectares is an area in words.
func hectares(m2 float64) string {
	if m2 <= 0 {
		return "area not known"
	}
	return fmt.Sprintf("%.4f ha", m2/unit.M2PerHa)
}

// lateWords says which land does not count since it was registered too late,
// and which that was not spread on is taken as there before it was registered.
func (b *book) lateWords(late []Field, t *target) (notes []string) {
	for _, f := range late {
		notes = append(notes, fmt.Sprintf("field %s was registered on %s, after the period, and nothing that counts was spread on it: it is not counted (%s)", f.ID, b.day(f.From), hectares(f.AreaM2)))
	}
	times := timesOf(t.portions)
	for _, c := range t.fields {
		first := versionsOf(b.fields, c.ID)
		if len(first) == 0 || len(times) == 0 || !first[0].From.After(times[0]) || slices.ContainsFunc(t.portions, func(p *portion) bool { return p.Field == c.ID }) {
			continue
		}
		notes = append(notes, fmt.Sprintf("field %s (%s) was first registered on %s, after the first application, and not spread on: it is taken as having been there before", c.ID, hectares(c.AreaM2), b.day(first[0].From)))
	}
	return notes
}

func (b *book) day(at time.Time) string { return at.In(b.loc).Format(time.DateOnly) }

// changes says where fields were registered anew between the applications that
// a verdict counts.
func (b *book) changes(parcels []parcel) (notes []string) {
	for _, c := range parcels {
		for i := 1; i < len(c.versions); i++ {
			if words := c.versions[i-1].Differs(c.versions[i]); len(words) > 0 {
				notes = append(notes, fmt.Sprintf("field %s was registered anew on %s (%s): the area is that at the last application, and all that it got counts",
					c.ID, b.day(c.versions[i].From), strings.Join(words, "; ")))
			}
		}
		if c.least < c.most && len(c.versions) == 1 {
			notes = append(notes, fmt.Sprintf("field %s was registered with another area afterwards: the interval divides by each area", c.ID))
		}
	}
	return notes
}

// redrawnAfter is when the field of a portion was first drawn anew after it,
// where the last boundary, on which all is laid, is not the one that held: what
// the portion brought outside that is in no figure.
func (b *book) redrawnAfter(p *portion) (on time.Time, drawn bool) {
	all := versionsOf(b.fields, p.Field)
	if len(all) == 0 || !all[len(all)-1].Redrawn(p.field) {
		return on, false
	}
	for _, v := range all {
		if v.From.After(p.field.From) && v.Redrawn(p.field) {
			return v.From, true
		}
	}
	return on, false
}

// areaOver is the area of a target's fields, its least and most those of its
// land at any of its applications: fields join and leave a holding. Here tells
// whether a field counts by a registration. What moved is told and named.
// O(fields + portions times fields of several registrations).
func (b *book) areaOver(t *target, late []Field, here func(Field) bool) areas {
	times := timesOf(t.portions)
	area := areaOfParcels(t.fields)
	least, most, some := make([]float64, len(times)), make([]float64, len(times)), make([]bool, len(times))
	known, index := area.m2 > 0, map[schemas.FieldID]int{}
	for i, c := range t.fields {
		index[c.ID] = i
	}
	for _, id := range b.ids() {
		i, counted := index[id]
		all := versionsOf(b.fields, id)
		if !counted && (len(all) == 1 || slices.ContainsFunc(late, func(f Field) bool { return f.ID == id })) {
			continue
		}
		moves, was, any := []string{}, counted, false
		for k, at := range times {
			v, _ := inForce(all, at)
			is := counted && len(all) == 1 || here(v)
			if is {
				lo, hi := v.AreaM2, v.AreaM2
				if counted {
					lo, hi = min(lo, t.fields[i].least), max(hi, t.fields[i].most)
				}
				least[k], most[k], some[k] = least[k]+lo, most[k]+hi, true
				known = known && v.AreaM2 > 0
			}
			if word := map[bool]string{true: "joined", false: "left"}[is]; k > 0 && is != was {
				moves = append(moves, word+" by "+b.day(at))
			}
			was, any = is, any || is
		}
		if len(moves) > 0 {
			t.notes = append(t.notes, fmt.Sprintf("the land that counts changed between the applications: field %s (%s) %s; the interval holds what the land at each of them gives", id, hectares(all[len(all)-1].AreaM2), strings.Join(moves, ", ")))
		}
		if !counted && any {
			t.named = append(t.named, id)
		}
	}
	if !known {
		return areas{}
	}
	for k := range times {
		if some[k] {
			area.least, area.most = min(area.least, least[k]), max(area.most, most[k])
		}
	}
	return area
}
