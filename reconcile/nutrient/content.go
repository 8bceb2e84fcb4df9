package nutrient

import (
	"fmt"
	"math"
	"strings"

	"hopperbook/schemas"
)

// Kinds of a product beside those of schemas: organic of a kind that nobody
// said, and not known at all.
const (
	KindOrganic = "organic"
	KindUnknown = "unknown"
)

// Warning is something odd in an analysis; it stops nothing.
type Warning struct {
	Kind string `json:"kind"`
	Text string `json:"text"`
}

// Kinds of warnings.
const (
	FormsDisagree    = "forms_disagree"
	KindDisagrees    = "kind_disagrees"
	OverWhole        = "over_whole"
	MoistureMissing  = "moisture_missing"
	ValueTooHigh     = "neutralising_value_too_high"
	SharesDoNotClose = "shares_do_not_close"
	NothingKnown     = "nothing_known"
)

// Content is what 1 kg of a product as received holds.
type Content struct {
	Known    [nutrients]bool
	PerKg    [nutrients]float64 // kg of the element, or of effective lime; 0 where not known
	RelSd    float64            // standard uncertainty of every figure, a share of it
	Kind     string             // schemas.Kind..., KindOrganic or KindUnknown
	NPctDry  float64            // N in the dry matter, percent
	NDry     bool               // NPctDry is known
	Warnings []Warning
}

// Two forms of one element agree within the rounding of labels: a twentieth of
// a percent, and 1 % of the larger (common practice, no source).
const (
	formsAgreePct   = 0.05
	formsAgreeShare = 0.01
)

// wholePct is what a sum of contents may reach by rounding.
const wholePct = 100.5

// ContentOf reads an analysis; nil is one in which nothing is known. Two forms
// of an element that disagree leave it unknown; figures of the dry matter need
// the moisture. Never fails, never NaN.
func ContentOf(a *schemas.Analysis) Content {
	if a == nil {
		return Content{Kind: KindUnknown, Warnings: []Warning{{NothingKnown, "there is no analysis"}}}
	}
	r := reader{a: a, asReceived: 1}
	r.moisture()
	r.element(N, form{"N", a.NPct})
	r.element(P, form{"P", a.PPct}, form{"P2O5", a.P2O5Pct})
	r.element(K, form{"K", a.KPct}, form{"K2O", a.K2OPct})
	r.element(S, form{"S", a.SPct}, form{"SO3", a.SO3Pct})
	r.element(Ca, form{"Ca", a.CaPct}, form{"CaO", a.CaOPct})
	r.element(Mg, form{"Mg", a.MgPct}, form{"MgO", a.MgOPct})
	r.lime()
	r.kind()
	r.dryN()
	r.out.RelSd = value(a.RelSdPct) / 100
	r.nonsense()
	return r.out
}

type form struct {
	name Form
	pct  *float64
}

type reader struct {
	a          *schemas.Analysis
	asReceived float64 // kg as the figures are meant for 1 kg as received
	unusable   bool    // figures of the dry matter without its share
	named      bool    // some nutrient or the neutralising value is given
	out        Content
}

func (r *reader) warn(kind, format string, args ...any) {
	r.out.Warnings = append(r.out.Warnings, Warning{kind, fmt.Sprintf(format, args...)})
}

func value(v *float64) float64 {
	if v == nil {
		return 0
	}
	return *v
}

func (r *reader) moisture() {
	if r.a.Basis != schemas.BasisDry {
		return
	}
	if r.a.MoisturePct == nil {
		r.unusable = true
		r.warn(MoistureMissing, "the figures are of the dry matter and the moisture is not given: nothing is known of the product as received")
		return
	}
	r.asReceived = 1 - *r.a.MoisturePct/100
}

// element takes the first form that is given, as the element.
func (r *reader) element(n Nutrient, forms ...form) {
	for _, f := range forms {
		r.named = r.named || f.pct != nil
		if f.pct == nil || r.unusable {
			continue
		}
		share := *f.pct / 100 * factor(f.name, forms[0].name) * r.asReceived
		if !r.out.Known[n] {
			r.out.Known[n], r.out.PerKg[n] = true, share
			continue
		}
		first := *forms[0].pct
		if second := *f.pct * factor(f.name, forms[0].name); math.Abs(first-second) > formsAgreePct+formsAgreeShare*max(first, second) {
			r.out.Known[n], r.out.PerKg[n] = false, 0
			r.warn(FormsDisagree, "%g %% %s and %g %% %s do not agree (%g %% %s is %.2f %% %s): neither counts",
				first, forms[0].name, *f.pct, f.name, *f.pct, f.name, second, forms[0].name)
		}
	}
}

func (r *reader) lime() {
	pct, known, warnings := EffectiveLimePct(r.a)
	r.out.Warnings = append(r.out.Warnings, warnings...)
	if known {
		r.out.Known[Lime], r.out.PerKg[Lime] = true, pct/100
	}
}

func (r *reader) kind() {
	organic, kind := r.a.Organic, r.a.Kind
	switch {
	case kind != "" && organic != nil && *organic == (kind == schemas.KindManufactured):
		r.out.Kind = KindUnknown
		r.warn(KindDisagrees, "it says kind %s and organic %t: neither counts", kind, *organic)
	case kind != "":
		r.out.Kind = kind
	case organic == nil:
		r.out.Kind = KindUnknown
	case *organic:
		r.out.Kind = KindOrganic
	default:
		r.out.Kind = schemas.KindManufactured
	}
}

// dryN is what the dry matter holds of N.
func (r *reader) dryN() {
	switch moisture := r.a.MoisturePct; {
	case r.a.NPct == nil:
	case r.a.Basis == schemas.BasisDry:
		r.out.NPctDry, r.out.NDry = *r.a.NPct, true
	case *r.a.NPct == 0:
		r.out.NDry = true
	case moisture != nil && *moisture < 100:
		r.out.NPctDry, r.out.NDry = min(100, *r.a.NPct/(1-*moisture/100)), true
	}
}

// nonsense looks for sums that no product can have. Elements are counted as
// the oxides they are bound in, S as the element, since it may be spread as such.
func (r *reader) nonsense() {
	c := &r.out
	sum := c.PerKg[N]*100 + value(r.a.MoisturePct)
	parts := []string{}
	for _, f := range []struct {
		n    Nutrient
		as   Form
		from Form
	}{{P, "P2O5", "P"}, {K, "K2O", "K"}, {S, "S", "S"}, {Ca, "CaO", "Ca"}, {Mg, "MgO", "Mg"}} {
		if pct := c.PerKg[f.n] * 100 * factor(f.from, f.as); pct > 0 {
			sum += pct
			parts = append(parts, fmt.Sprintf("%.1f %s", pct, f.as))
		}
	}
	if sum > wholePct {
		r.warn(OverWhole, "its contents sum to %.1f %% (%s, with N and moisture): look at the analysis again", sum, strings.Join(parts, ", "))
	}
	if nv := r.a.NeutralisingValuePct; nv != nil && c.Known[Ca] && c.Known[Mg] {
		most := (c.PerKg[Ca]/weightCa + c.PerKg[Mg]/weightMg) * (weightCa + weightC + 3*weightO) * 100
		if got := *nv * r.asReceived; got > most*valueSlack+valueSlackPct {
			r.warn(ValueTooHigh, "a neutralising value of %.1f %% is more than its calcium and magnesium can give (%.1f %%)", got, most)
		}
	}
	if !r.named && r.a.NeutralisingValuePct == nil && !c.Known[Lime] {
		r.warn(NothingKnown, "the analysis names no nutrient and no neutralising value")
	}
}

// A neutralising value may pass what calcium and magnesium give by the errors
// of three analyses (common practice, no source).
const (
	valueSlack    = 1.1
	valueSlackPct = 2.0
)
