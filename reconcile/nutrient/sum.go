package nutrient

import (
	"cmp"
	"slices"
	"strings"

	"hopperbook/schemas"
)

// Scopes of a sum or a limit.
const (
	ScopeApplication = "application"
	ScopeField       = "field"
	ScopeZone        = "zone"
	ScopeHolding     = "holding"
	ScopeAll         = "all"
)

// Sum is what went on one application, field, zone or holding, or on all of
// them, in one season. Of each there is one row for everything, one a kind of
// source and one a product; an application has its own row alone.
type Sum struct {
	Scope        string            `json:"scope"`
	Subject      string            `json:"subject"` // "" of ScopeAll
	Season       Span              `json:"season"`
	Product      schemas.ProductID `json:"product,omitempty"`
	Kind         string            `json:"kind,omitempty"`
	AreaM2       float64           `json:"area_m2"` // covered by an application; else of the fields, spread or not; 0: not known
	MassKg       float64           `json:"mass_kg"` // of product
	MassLowKg    float64           `json:"mass_low_kg"`
	MassHighKg   float64           `json:"mass_high_kg"`
	Open         bool              `json:"open"` // part of it is of a balance interval not closed yet
	Amounts      []Amount          `json:"amounts"`
	Applications []string          `json:"applications"`
}

// Amount is how much of one form; low and high are the 95 % interval. Where it
// is not known of all the product, all figures are of the rest: "at least".
type Amount struct {
	Form      Form    `json:"form"`
	Known     bool    `json:"known"`
	UnknownKg float64 `json:"unknown_kg"` // of product of which it is not known
	Kg        float64 `json:"kg"`
	LowKg     float64 `json:"low_kg"`
	HighKg    float64 `json:"high_kg"`
	KgHa      float64 `json:"kg_ha"` // 0 where the area is not known
	LowKgHa   float64 `json:"low_kg_ha"`
	HighKgHa  float64 `json:"high_kg_ha"`
}

// Of gives a form's amount; the zero Amount, which is not known, for one that
// is not shown.
func (s Sum) Of(f Form) Amount {
	for _, a := range s.Amounts {
		if a.Form == f {
			return a
		}
	}
	return Amount{Form: f}
}

// portion is an application with what its product holds.
type portion struct {
	Application
	field       Field
	fieldKnown  bool
	others      bool // another customer's: counts in limits alone
	content     Content
	version     string // of the analysis; "": none
	analysed    version
	productForm string
	errors      []Term // of the mass
}

// sumOf adds up portions over an area.
func sumOf(portions []*portion, areaM2 float64) Sum {
	s := Sum{AreaM2: areaM2, Applications: []string{}}
	var mass amount
	for _, p := range portions {
		mass.addMass(p, 1)
		s.Open = s.Open || p.Open
		s.Applications = append(s.Applications, p.ID)
	}
	slices.Sort(s.Applications)
	s.MassKg = mass.kg
	s.MassLowKg, s.MassHighKg = mass.interval()
	var of [nutrients]amount
	var low, high [nutrients]float64
	for n := range of {
		for _, p := range portions {
			of[n].add(p, Nutrient(n), 1)
		}
		low[n], high[n] = of[n].interval()
	}
	for _, c := range compounds()[:shownForms] {
		n, k := c.nutrient, c.perElement()
		s.Amounts = append(s.Amounts, Amount{Form: c.form, Known: of[n].unknown == 0, UnknownKg: of[n].unknown,
			Kg: k * of[n].kg, LowKg: k * low[n], HighKg: k * high[n],
			KgHa: perHa(k*of[n].kg, areaM2), LowKgHa: perHa(k*low[n], areaM2), HighKgHa: perHa(k*high[n], areaM2)})
	}
	return s
}

// group is a subject's portions in one season.
type group struct {
	scope, subject string
	season         Span
	areaM2         float64
	portions       []*portion
}

// groups of portions by field, zone, holding and all, by season.
func (b *book) groups() []group {
	type key struct{ scope, subject, season string }
	all := map[key]*group{}
	for _, p := range b.own {
		season, ok := b.seasonOf(p.From)
		if !ok {
			continue
		}
		for _, s := range b.subjects(p) {
			k := key{s.scope, s.subject, season.From.String()}
			if all[k] == nil {
				all[k] = &group{scope: s.scope, subject: s.subject, season: season}
			}
			all[k].portions = append(all[k].portions, p)
		}
	}
	out := make([]group, 0, len(all))
	for _, g := range all {
		g.areaM2 = b.areaOf(g)
		out = append(out, *g)
	}
	slices.SortFunc(out, func(a, b group) int {
		return cmp.Or(strings.Compare(a.scope, b.scope), strings.Compare(a.subject, b.subject), a.season.From.Compare(b.season.From))
	})
	return out
}

type subject struct{ scope, subject string }

func (b *book) subjects(p *portion) []subject {
	out := []subject{{ScopeAll, ""}, {ScopeField, string(p.Field)}}
	zones := slices.Clone(p.field.Zones)
	slices.Sort(zones)
	for _, z := range slices.Compact(zones) {
		out = append(out, subject{ScopeZone, z})
	}
	if h := p.field.holding(); h != "" {
		out = append(out, subject{ScopeHolding, h})
	}
	return out
}

// areaOf sums the customer's fields of a subject, spread or not, but for those
// registered after the season and not spread on; 0 where one is not known.
func (b *book) areaOf(g *group) (m2 float64) {
	belongs := func(f Field) bool {
		return b.mine(f) && (g.scope == ScopeAll || g.scope == ScopeHolding && f.holding() == g.subject || g.scope == ScopeZone && slices.Contains(f.Zones, g.subject))
	}
	fields, _ := b.parcels(g.portions, claims{g.season.To, belongs, func(*portion) bool { return true }})
	for _, f := range fields {
		if f.AreaM2 <= 0 {
			return 0
		}
		m2 += f.AreaM2
	}
	return m2
}

// sums makes all rows: an application's own, then those of the groups.
func (b *book) sums() []Sum {
	var out []Sum
	for _, p := range b.own {
		s := sumOf([]*portion{p}, p.AreaM2)
		s.Season, _ = b.seasonOf(p.From)
		s.Scope, s.Subject, s.Product, s.Kind = ScopeApplication, p.ID, p.Product, p.content.Kind
		out = append(out, s)
	}
	for _, g := range b.groups() {
		row := func(keep func(*portion) bool, product schemas.ProductID, kind string) {
			var mine []*portion
			for _, p := range g.portions {
				if keep(p) {
					mine = append(mine, p)
				}
			}
			s := sumOf(mine, g.areaM2)
			s.Scope, s.Subject, s.Season, s.Product, s.Kind = g.scope, g.subject, g.season, product, kind
			out = append(out, s)
		}
		row(func(*portion) bool { return true }, "", "")
		for _, kind := range distinct(g.portions, func(p *portion) string { return p.content.Kind }) {
			row(func(p *portion) bool { return p.content.Kind == kind }, "", kind)
		}
		for _, id := range distinct(g.portions, func(p *portion) schemas.ProductID { return p.Product }) {
			row(func(p *portion) bool { return p.Product == id }, id, "")
		}
	}
	return out
}

// distinct lists the values of a key among portions, sorted.
func distinct[K cmp.Ordered](portions []*portion, key func(*portion) K) []K {
	var out []K
	for _, p := range portions {
		out = append(out, key(p))
	}
	slices.Sort(out)
	return slices.Compact(out)
}
