package nutrient

import (
	"fmt"
	"slices"
	"strings"
)

// held is what a limit counts of a target: in kg of the nutrient, per hectare
// after perHa.
type held struct {
	kg, low, high float64
	counted       []string
	notes         []string
	othersKg      float64 // of it spread on land that was another customer's then
	unknown       string  // why the upper end is not known; "": it is

	sure, all, covered amount // what counts for certain, and with what may; all over the area each covered
	coveredKnown       bool
	single             float64 // the lower end of what one application put on its area, per m2
}

func (b *book) held(rules *Rules, l *Limit, t *target, n Nutrient) *held {
	h := &held{counted: []string{}, coveredKnown: true}
	notKnown, mayCount, redrawn := map[string]bool{}, map[string]bool{}, map[string]bool{}
	for _, p := range t.portions {
		c := counts(rules, &l.Part, p.content)
		if c == no {
			continue
		}
		if !p.others {
			h.counted = append(h.counted, p.ID)
		}
		if land, _ := b.applies(rules, &l.Part, p.field); land == no {
			c = max(c, maybe)
			h.notes = append(h.notes, "when "+p.named()+" was spread the rule did not apply to its field: it stands in the upper end alone")
		} else if c == maybe {
			mayCount[string(p.Product)] = true
		}
		if !p.content.Known[n] && p.MassKg > 0 {
			notKnown[string(p.Product)] = true
		}
		if on, drawn := b.redrawnAfter(p); drawn && p.MassKg > 0 {
			redrawn[fmt.Sprintf("field %s got outside the boundary that was drawn anew on %s", p.Field, b.day(on))] = true
		}
		h.all.add(p, n, 1)
		if p.others {
			h.othersKg += p.MassKg * p.content.PerKg[n]
		}
		if c == yes {
			h.sure.add(p, n, 1)
		}
		switch {
		case p.AreaM2 > 0:
			h.covered.add(p, n, 1/p.AreaM2)
			if c == yes {
				var one amount
				one.add(p, n, 1/p.AreaM2)
				low, _ := one.interval()
				h.single = max(h.single, low)
			}
		case p.MassKg > 0:
			h.coveredKnown = false
		}
		if p.Open {
			h.notes = append(h.notes, p.named()+" is of a hopper that is not closed yet: its mass may still change")
		}
	}
	slices.Sort(h.counted)
	for _, product := range sortedKeys(mayCount) {
		h.notes = append(h.notes, "whether "+product+" counts is not in the book: it stands in the upper end alone")
	}
	if len(notKnown) > 0 {
		h.because(fmt.Sprintf("what %s holds of %s", strings.Join(sortedKeys(notKnown), ", "), l.Nutrient))
	}
	if len(redrawn) > 0 {
		h.because("what " + strings.Join(sortedKeys(redrawn), ", "))
		h.notes = append(h.notes, "what was spread is laid on the last boundary of a field: where that was right at the application too, amend the registration that held then (event.amended), and the figures are whole")
	}
	h.kg = h.all.kg
	h.low, _ = h.sure.interval()
	_, h.high = h.all.interval()
	return h
}

func (h *held) because(why string) {
	if h.unknown != "" {
		h.unknown += "; "
	}
	h.unknown += why
}

// named is a portion in words.
func (p *portion) named() string {
	if p.others {
		return "an application on a field that was another customer's"
	}
	return "application " + p.ID
}

// areas are m2 as registered at the last application, and the least and the
// most that a period's figures may be of.
type areas struct{ m2, least, most float64 }

// areaOfParcels is 0 where one is not known.
func areaOfParcels(parcels []parcel) (a areas) {
	for _, c := range parcels {
		if c.least <= 0 {
			return areas{}
		}
		a.m2, a.least, a.most = a.m2+c.AreaM2, a.least+c.least, a.most+c.most
	}
	return a
}

// perHa turns kg into kg/ha; false where that is not known. Where a field was
// registered with several areas the interval holds what each of them gives.
func (h *held) perHa(area areas, covered bool) bool {
	h.kg, h.low, h.high = perHa(h.kg, area.m2), perHa(h.low, area.most), perHa(h.high, area.least)
	if !covered {
		return area.m2 > 0
	}
	if !h.coveredKnown {
		h.because("the area that an application covered")
		return false
	}
	_, high := h.covered.interval()
	h.kg, h.low, h.high = perHa(h.covered.kg, 1), max(h.low, perHa(h.single, 1)), perHa(high, 1)
	return area.m2 > 0
}

func sortedKeys(m map[string]bool) []string {
	keys := make([]string, 0, len(m))
	for k := range m {
		keys = append(keys, k)
	}
	slices.Sort(keys)
	return keys
}
