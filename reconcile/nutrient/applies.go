package nutrient

import (
	"fmt"
	"slices"
	"strings"

	"hopperbook/schemas"
	"hopperbook/schemas/unit"
)

// answer is yes, no, or not known from the book.
type answer uint8

const (
	yes answer = iota
	maybe
	no
)

// both is the answer to two conditions that must hold.
func both(a, b answer) answer { return max(a, b) }

// in answers whether some condition holds.
func in(holds bool) answer {
	if holds {
		return yes
	}
	return no
}

// product answers whether a product counts.
func (c Counts) product(content Content) answer {
	a := yes
	if len(c.Kinds) > 0 {
		a = both(a, c.kind(content.Kind))
	}
	if c.OverNPctDry != nil {
		switch over := *c.OverNPctDry; {
		case content.NDry:
			a = both(a, in(content.NPctDry > over))
		case content.Known[N] && content.PerKg[N]*100 > over: // the dry matter holds more
		default:
			a = both(a, maybe)
		}
	}
	if len(c.HasAnyOf) > 0 {
		has := no
		for _, f := range c.HasAnyOf {
			form, _ := lookup(f)
			switch n := form.nutrient; {
			case content.PerKg[n] > 0:
				has = yes
			case !content.Known[n]:
				has = min(has, maybe)
			}
		}
		a = both(a, has)
	}
	return a
}

func (c Counts) kind(kind string) answer {
	has := func(k string) bool { return slices.Contains(c.Kinds, k) }
	manure, other := has(schemas.KindLivestockManure), has(schemas.KindOtherOrganic)
	switch {
	case manure && other && has(schemas.KindManufactured):
		return yes
	case kind == KindUnknown:
		return maybe
	case kind == KindOrganic && manure != other:
		return maybe
	case kind == KindOrganic:
		return in(manure)
	}
	return in(has(kind))
}

// land answers whether a part applies on a field, and why not or why that is
// not known. The book has the fields that a contractor spreads: a holding can
// be larger, never smaller.
func (b *book) land(p *Applies, f Field) (answer, string) {
	a, why := yes, []string{}
	say := func(x answer, format string, args ...any) {
		if x >= a && x != yes {
			if x > a {
				why = nil
			}
			a, why = x, append(why, fmt.Sprintf(format, args...))
		}
	}
	if len(p.Zones) > 0 {
		zones := strings.Join(p.Zones, " or ")
		if f.Zones == nil {
			say(maybe, "field %s: whether it lies in %s is not in the book", f.ID, zones)
		} else if !slices.ContainsFunc(f.Zones, func(z string) bool { return slices.Contains(p.Zones, z) }) {
			say(no, "field %s does not lie in %s", f.ID, zones)
		}
	}
	if len(p.LandUses) > 0 {
		uses := strings.Join(p.LandUses, " or ")
		if f.LandUse == "" {
			say(maybe, "field %s: whether its use is %s is not in the book", f.ID, uses)
		} else if !slices.Contains(p.LandUses, f.LandUse) {
			say(no, "field %s is %s, not %s", f.ID, f.LandUse, uses)
		}
	}
	if p.LeastHoldingHa > 0 {
		holding := f.holding()
		switch m2 := b.holdings[holding]; {
		case holding == "" || m2 == 0:
			say(maybe, "field %s: how large its holding is is not in the book", f.ID)
		case m2/unit.M2PerHa < p.LeastHoldingHa:
			say(maybe, "the fields of holding %s in the book make %.2f ha, less than %g ha; it may have more land", holding, m2/unit.M2PerHa, p.LeastHoldingHa)
		}
	}
	return a, strings.Join(why, "; ")
}

// applies joins the conditions of a file with those of its part.
func (b *book) applies(rules *Rules, part *Part, f Field) (answer, string) {
	a, why := b.land(&rules.Applies, f)
	own, whyOwn := b.land(&part.Applies, f)
	switch {
	case own > a:
		return own, whyOwn
	case own == a && whyOwn != "" && why != "":
		return a, why + "; " + whyOwn
	}
	return a, why
}

func counts(rules *Rules, part *Part, c Content) answer {
	return both(rules.Counts.product(c), part.Counts.product(c))
}
