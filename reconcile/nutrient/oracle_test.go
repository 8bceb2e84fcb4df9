package nutrient

import (
	"math"
	"testing"
	"time"

	"hopperbook/schemas"
)

// The oracle works everything out anew, slowly: shares by weights typed again,
// variances by the whole covariance matrix of all pairs of applications,
// periods by walking days.

// sharesOf is kg of the element in 1 kg, by Form; -1: not known.
func sharesOf(a *schemas.Analysis) map[Form]float64 {
	const o = 15.999
	asReceived := 1.0
	usable := true
	if a.Basis == "dry" {
		usable = a.MoisturePct != nil
		if usable {
			asReceived = (100 - *a.MoisturePct) / 100
		}
	}
	of := func(pct *float64, share float64) float64 {
		if pct == nil || !usable {
			return -1
		}
		return *pct / 100 * share * asReceived
	}
	s := map[Form]float64{
		"N": of(a.NPct, 1), "P": of(a.P2O5Pct, 2*30.973761998/(2*30.973761998+5*o)), "K": of(a.KPct, 1),
		"S": of(a.SO3Pct, 32.06/(32.06+3*o)), "Ca": of(a.CaPct, 1), "Mg": of(a.MgOPct, 24.305/(24.305+o)), LimeForm: -1,
	}
	if a.NeutralisingValuePct != nil && a.Fineness != nil {
		s[LimeForm] = of(a.NeutralisingValuePct, *a.Fineness)
	}
	const p, k, sulphur = 2 * 30.973761998, 2 * 39.0983, 32.06
	for oxide, from := range map[Form]struct {
		el    Form
		ratio float64
	}{"P2O5": {"P", (p + 5*o) / p}, "K2O": {"K", (k + o) / k}, "SO3": {"S", (sulphur + 3*o) / sulphur}, "CaO": {"Ca", (40.078 + o) / 40.078}, "MgO": {"Mg", (24.305 + o) / 24.305}} {
		if s[oxide] = -1; s[from.el] >= 0 {
			s[oxide] = s[from.el] * from.ratio
		}
	}
	return s
}

// slowSum is kg and its variance of applications, each weighted, by all pairs.
func slowSum(in Input, of []Application, form Form, weight func(Application) float64) (kg, low, high float64, known bool) {
	known = true
	analysis := func(a Application) *schemas.Analysis {
		for _, p := range in.Products {
			if p.Product == a.Product {
				return p.Analysis
			}
		}
		return nil
	}
	shares := map[string]float64{}
	for _, a := range of {
		if shares[a.ID] = 1; form != "product" {
			shares[a.ID] = sharesOf(analysis(a))[form]
		}
	}
	share := func(a Application) float64 { return shares[a.ID] }
	var variance float64
	for _, a := range of {
		if share(a) < 0 {
			known = false
			continue
		}
		kg += a.MassKg * share(a) * weight(a)
		for _, b := range of {
			if share(b) < 0 {
				continue
			}
			cov := 0.0
			if a.ID == b.ID {
				cov += a.MassSdKg * a.MassSdKg
			}
			for _, x := range a.Shared {
				for _, y := range b.Shared {
					if x.Key == y.Key {
						cov += x.Kg * y.Kg
					}
				}
			}
			if rel := analysis(a).RelSdPct; a.Product == b.Product && rel != nil && form != "product" {
				cov += a.MassKg * b.MassKg * *rel / 100 * *rel / 100
			}
			variance += cov * share(a) * share(b) * weight(a) * weight(b)
		}
	}
	half := 1.959963984540054 * math.Sqrt(max(0, variance))
	return kg, max(0, kg-half), kg + half, known
}

// sameSpan reports whether two instants lie in one period of a kind, by
// walking the days between them.
func sameSpan(p Period, a, b time.Time, loc *time.Location) bool {
	if b.Before(a) {
		a, b = b, a
	}
	month, day, months := 1, 1, 12
	if p.Kind == FromDate {
		month, day, months = p.Month, max(1, p.Day), p.Months
		if months == 0 {
			months = 12
		}
	}
	inside := func(t time.Time) bool { // of some period
		t = t.In(loc)
		for y := t.Year() - 1; y <= t.Year(); y++ {
			if from := time.Date(y, time.Month(month), day, 0, 0, 0, 0, loc); !t.Before(from) && t.Before(from.AddDate(0, months, 0)) {
				return true
			}
		}
		return false
	}
	if !inside(a) || !inside(b) {
		return false
	}
	from := a.In(loc)
	for d := time.Date(from.Year(), from.Month(), from.Day()+1, 0, 0, 0, 0, loc); !d.After(b); d = d.AddDate(0, 0, 1) {
		if int(d.Month()) == month && d.Day() == day || !inside(d) {
			return false
		}
	}
	return true
}

func near(a, b float64) bool { return math.Abs(a-b) <= 1e-9*(1+math.Abs(a)+math.Abs(b)) }

func fieldOf(in Input, id schemas.FieldID) Field {
	for _, f := range in.Fields {
		if f.ID == id {
			return f
		}
	}
	return Field{}
}

func has(list []string, s string) bool {
	for _, x := range list {
		if x == s {
			return true
		}
	}
	return false
}

func applicationOf(in Input, id string) Application {
	for _, a := range in.Applications {
		if a.ID == id {
			return a
		}
	}
	return Application{}
}

func holdingName(f Field) string {
	if f.Holding != "" {
		return string(f.Holding)
	}
	return string(f.Customer)
}

func TestSumsAgainstOracle(t *testing.T) {
	rows := 0
	for seed := range uint64(25) {
		in := randomInput(seed)
		r := run(t, in)
		for _, s := range r.Sums {
			first := applicationOf(in, s.Applications[0])
			var mine []Application
			area := 0.0
			if s.Scope == ScopeApplication {
				mine, area = []Application{first}, first.AreaM2
			} else {
				member := func(f Field) bool {
					return s.Scope == ScopeAll || s.Scope == ScopeField && string(f.ID) == s.Subject || s.Scope == ScopeZone && has(f.Zones, s.Subject) ||
						s.Scope == ScopeHolding && holdingName(f) == s.Subject
				}
				for _, f := range in.Fields {
					if member(f) {
						area += f.AreaM2
					}
				}
				for _, a := range in.Applications {
					var kind string
					for _, p := range in.Products {
						if p.Product == a.Product {
							if kind = p.Analysis.Kind; kind == "" {
								kind = KindUnknown
							}
						}
					}
					if member(fieldOf(in, a.Field)) && sameSpan(in.Season, first.From, a.From, in.Location) && (s.Kind == "" || s.Kind == kind) && (s.Product == "" || s.Product == a.Product) {
						mine = append(mine, a)
					}
				}
			}
			if len(mine) != len(s.Applications) || !near(area, s.AreaM2) {
				t.Fatalf("seed %d: %s %s: %d applications, want %d; %v m2, want %v", seed, s.Scope, s.Subject, len(s.Applications), len(mine), s.AreaM2, area)
			}
			one := func(Application) float64 { return 1 }
			if kg, low, high, _ := slowSum(in, mine, "product", one); !near(kg, s.MassKg) || !near(low, s.MassLowKg) || !near(high, s.MassHighKg) {
				t.Fatalf("seed %d: %s %s: mass %v %v %v, want %v %v %v", seed, s.Scope, s.Subject, s.MassKg, s.MassLowKg, s.MassHighKg, kg, low, high)
			}
			for _, a := range s.Amounts {
				kg, low, high, known := slowSum(in, mine, a.Form, one)
				ha := area / 10000
				if !near(kg, a.Kg) || !near(low, a.LowKg) || !near(high, a.HighKg) || known != a.Known || known != (a.UnknownKg == 0) ||
					!near(kg/ha, a.KgHa) || !near(low/ha, a.LowKgHa) || !near(high/ha, a.HighKgHa) {
					t.Fatalf("seed %d: %s %s: %+v, want %v (%v to %v) known %v", seed, s.Scope, s.Subject, a, kg, low, high, known)
				}
				rows++
			}
		}
	}
	if rows < 5000 {
		t.Errorf("only %d amounts were compared", rows)
	}
}

// slowCounts and slowLand answer for the random rules: 0 yes, 1 not known, 2 no.
func slowCounts(l Limit, a *schemas.Analysis) int {
	worst := 0
	if len(l.Counts.Kinds) == 1 {
		switch a.Kind {
		case l.Counts.Kinds[0]:
		case "":
			worst = 1
		default:
			return 2
		}
	}
	if over := l.Counts.OverNPctDry; over != nil {
		switch {
		case a.NPct == nil, a.Basis != "dry" && a.MoisturePct == nil && *a.NPct <= *over:
			worst = 1
		case a.Basis == "dry":
			if *a.NPct <= *over {
				return 2
			}
		case a.MoisturePct != nil && *a.NPct*100/(100-*a.MoisturePct) <= *over:
			return 2
		}
	}
	return worst
}

func slowLand(in Input, rules Rules, l Limit, f Field) int {
	worst := 0
	if z := rules.Applies.Zones; len(z) > 0 {
		switch {
		case f.Zones == nil:
			worst = 1
		case !has(f.Zones, z[0]):
			return 2
		}
	}
	if u := l.Applies.LandUses; len(u) > 0 {
		switch {
		case f.LandUse == "":
			worst = 1
		case !has(u, f.LandUse):
			return 2
		}
	}
	if least := l.Applies.LeastHoldingHa; least > 0 {
		ha := 0.0
		for _, g := range in.Fields {
			if holdingName(g) == holdingName(f) {
				ha += g.AreaM2 / 10000
			}
		}
		if holdingName(f) == "" || ha < least { // it may have land that the book has not
			worst = 1
		}
	}
	return worst
}

func TestVerdictsAgainstOracle(t *testing.T) {
	states := map[string]int{}
	for seed := range uint64(250) {
		rules := randomRule(seed)
		in := randomInput(seed, rules)
		for _, v := range run(t, in).Verdicts {
			var l Limit
			for _, x := range rules.Limits {
				if x.ID == v.Limit {
					l = x
				}
			}
			states[v.State]++
			if want := slowState(t, in, rules, l, v); want != v.State {
				t.Fatalf("seed %d, %+v: %+v, want %s", seed, l, v, want)
			}
		}
	}
	for _, s := range []string{Under, Over, NotShown, NotApplicable} {
		if states[s] < 50 {
			t.Errorf("only %d verdicts %s", states[s], s)
		}
	}
}

// slowState judges anew what a verdict is about.
//
// tripwire: the oracle reads best as one walk.
func slowState(t *testing.T, in Input, rules Rules, l Limit, v Verdict) string {
	var sure, all []Application
	var areaM2, single float64
	landSeen := map[schemas.FieldID]bool{}
	subjectOf := func(a Application) string {
		f := fieldOf(in, a.Field)
		switch {
		case l.Scope == ScopeApplication:
			return a.ID
		case l.Scope == ScopeField:
			return string(a.Field)
		case holdingName(f) == "":
			return "field " + string(a.Field)
		}
		return holdingName(f)
	}
	coversIt := func(f Field) bool { return slowLand(in, rules, l, f) != 2 }
	for _, f := range in.Fields {
		fits := l.Scope == ScopeHolding && (holdingName(f) == v.Subject || holdingName(f) == "" && "field "+string(f.ID) == v.Subject) || l.Scope == ScopeField && string(f.ID) == v.Subject
		if fits && coversIt(f) {
			areaM2 += f.AreaM2
			landSeen[f.ID] = true
		}
	}
	factors := map[string]float64{"kg/ha": 1, "t/ha": 1000, "lb/ac": 0.45359237 / 4046.8564224 * 10000, "kg": 1, "t": 1000, "lb": 0.45359237}
	perArea := len(l.Unit) > 3
	for _, a := range in.Applications {
		if subjectOf(a) != v.Subject || l.Scope != ScopeApplication && (a.From.Before(v.Period.From) || !a.From.Before(v.Period.To)) {
			continue
		}
		if l.Scope == ScopeApplication && coversIt(fieldOf(in, a.Field)) {
			areaM2 = a.AreaM2
			landSeen[a.Field] = true
		}
		if !landSeen[a.Field] {
			continue
		}
		var analysis *schemas.Analysis
		for _, p := range in.Products {
			if p.Product == a.Product {
				analysis = p.Analysis
			}
		}
		switch slowCounts(l, analysis) {
		case 0:
			sure = append(sure, a)
			if _, low, _, _ := slowSum(in, []Application{a}, l.Nutrient, func(Application) float64 { return 1 }); perArea && l.Area == AreaCovered {
				single = max(single, low/a.AreaM2*10000)
			}
			fallthrough
		case 1:
			all = append(all, a)
		}
	}
	if len(landSeen) == 0 {
		return NotApplicable
	}
	per := 1.0
	if perArea {
		per = 10000 / areaM2
	}
	_, low, _, _ := slowSum(in, sure, l.Nutrient, func(Application) float64 { return per })
	weight := func(a Application) float64 {
		if perArea && l.Area == AreaCovered {
			return 10000 / a.AreaM2
		}
		return per
	}
	value, _, high, known := slowSum(in, all, l.Nutrient, weight)
	low = max(low, single)
	f := factors[l.Unit]
	if !near(value/f, v.Value) || !near(low/f, v.Low) || !near(high/f, v.High) || known != v.HighKnown {
		t.Fatalf("%+v: %+v, want %v (%v to %v) known %v", l, v, value/f, low/f, high/f, known)
	}
	switch limit := l.Value * f; {
	case low > limit:
		return Over
	case known && high <= limit:
		return Under
	}
	return NotShown
}
