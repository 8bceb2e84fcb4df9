package nutrient

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"

	"hopperbook/schemas"
	"hopperbook/schemas/unit"
)

func named(t testing.TB, ids ...string) []Rules {
	t.Helper()
	rules, err := Named(ids...)
	if err != nil {
		t.Fatal(err)
	}
	return rules
}

func run(t testing.TB, in Input) Result {
	t.Helper()
	r, err := Run(in)
	if err != nil {
		t.Fatal(err)
	}
	return r
}

// verdictOf is the one verdict of a limit on a subject.
func verdictOf(t testing.TB, r Result, limit, subject string) Verdict {
	t.Helper()
	var found []Verdict
	for _, v := range r.Verdicts {
		if v.Limit == limit && v.Subject == subject {
			found = append(found, v)
		}
	}
	if len(found) != 1 {
		t.Fatalf("%d verdicts of %s on %s: %+v", len(found), limit, subject, r.Verdicts)
	}
	return found[0]
}

// one field of 10 ha on a holding of 40 ha, one application of kg of a product.
func oneField(rule Rules, a schemas.Analysis, massKg, sdKg float64) Input {
	return Input{Rules: []Rules{rule},
		Fields: []Field{
			{ID: "F1", Holding: "H", AreaM2: 10 * unit.M2PerHa, LandUse: "pasture", Zones: []string{"nvz"}},
			{ID: "F2", Holding: "H", AreaM2: 30 * unit.M2PerHa, LandUse: "arable", Zones: []string{}},
		},
		Products:     []Product{{Product: "x", Form: "granular", Analysis: &a}},
		Applications: []Application{{ID: "a1", Field: "F1", Product: "x", From: day0, To: day0, MassKg: massKg, MassSdKg: sdKg, AreaM2: 10 * unit.M2PerHa}}}
}

// The largest kg/ha of a product that keep 190 and 170 kg N/ha, computed with
// decimal arithmetic (Python) to 3 decimals: a kilogram less is under, a
// gram more than the next is over.
func TestCaps(t *testing.T) {
	eu, nz := named(t, "eu-nitrates-directive")[0], named(t, "nz-synthetic-nitrogen-cap")[0]
	for _, r := range []struct{ nPct, at190, at170 float64 }{{46, 413.043, 369.565}, {27, 703.704, 629.630}, {21, 904.762, 809.524}, {18, 1055.556, 944.444}, {12, 1583.333, 1416.667}} {
		for _, c := range []struct {
			rule    Rules
			limit   string
			subject string
			kind    string
			kgHa    float64
		}{{nz, "each-hectare", "F1", "manufactured", r.at190}, {nz, "landholding", "H", "manufactured", r.at190}, {eu, "manure-n", "H", "livestock_manure", r.at170}} {
			for _, x := range []struct {
				byKgHa float64
				want   string
			}{{-0.001, Under}, {+0.001, Over}} {
				a := schemas.Analysis{NPct: &r.nPct, Kind: c.kind, MoisturePct: pct(0)}
				v := verdictOf(t, run(t, oneField(c.rule, a, 10*(c.kgHa+x.byKgHa), 0)), c.limit, c.subject)
				if v.State != x.want {
					t.Errorf("%s at %.3f kg/ha of %g %% N: %s (%s)", c.limit, c.kgHa+x.byKgHa, r.nPct, v.State, v.Text)
				}
			}
		}
	}
}

// Every shipped limit: just under, at, over, not certain, and when it does not
// apply. 10 ha of pasture in the zone; N 25 %, so 4 kg a kg of N.
func TestBoundaryRows(t *testing.T) {
	for _, rule := range shippedWithLimits(t) {
		for _, l := range rule.Limits {
			kind := rule.Counts.Kinds[0]
			n := schemas.Analysis{NPct: pct(25), Kind: kind, MoisturePct: pct(0)}
			at := 4 * l.Value * 10 // kg of product that reach the limit
			for _, r := range []struct {
				name    string
				in      Input
				want    string
				because string
			}{
				{"nothing", oneField(rule, n, 0, 0), Under, ""},
				{"just under", oneField(rule, n, at*(1-1e-6), 0), Under, ""},
				{"exactly at", oneField(rule, n, at, 0), Under, ""},
				{"over", oneField(rule, n, at*(1+1e-6), 0), Over, ""},
				{"upper end at", oneField(rule, n, at*0.9, at*0.1/z95*(1-1e-9)), Under, ""},
				{"interval holds it from below", oneField(rule, n, at*0.9, at*0.1/z95*(1+1e-6)), NotShown, "the interval holds the limit"},
				{"interval holds it from above", oneField(rule, n, at*1.1, at*0.1/z95*(1+1e-6)), NotShown, "the interval holds the limit"},
				{"lower end over", oneField(rule, n, at*1.1, at*0.1/z95*(1-1e-6)), Over, ""},
				{"analysis missing", oneField(rule, schemas.Analysis{Kind: kind}, 1, 0), NotShown, "without what is not known: what x holds of N"},
				{"analysis missing, nothing spread", oneField(rule, schemas.Analysis{Kind: kind}, 0, 0), Under, ""},
				{"analysis with an error", oneField(rule, schemas.Analysis{NPct: pct(25), Kind: kind, MoisturePct: pct(0), RelSdPct: pct(10)}, at*0.9, 0), NotShown, "the interval holds the limit"},
				{"kind not known, under at most", oneField(rule, schemas.Analysis{NPct: pct(25), MoisturePct: pct(0)}, at, 0), Under, ""},
				{"kind not known, may be over", oneField(rule, schemas.Analysis{NPct: pct(25), MoisturePct: pct(0)}, at*1.1, 0), NotShown, "the interval holds the limit"},
				{"other kind", oneField(rule, schemas.Analysis{NPct: pct(25), Kind: "other_organic", MoisturePct: pct(0)}, at*2, 0), Under, ""},
				{"land not known, over", onLand(oneField(rule, n, at*1.01, 0), "", nil), Over, ""},
				{"other land", onLand(oneField(rule, n, at*2, 0), "other", []string{}), NotApplicable, ""},
			} {
				subject := "F1"
				if l.Scope == ScopeHolding {
					subject = "H"
				}
				v := verdictOf(t, run(t, r.in), l.ID, subject)
				if v.State != r.want || !strings.Contains(v.Text, r.because) || v.Text == "" {
					t.Errorf("%s, %s: %s (%s), want %s", l.ID, r.name, v.State, v.Text, r.want)
				}
			}
		}
	}
}

func shippedWithLimits(t testing.TB) (out []Rules) {
	all, err := Shipped()
	if err != nil {
		t.Fatal(err)
	}
	for _, r := range all {
		if len(r.Limits) > 0 {
			out = append(out, r)
		}
	}
	if len(out) != 2 {
		t.Fatalf("%d shipped rule files have limits", len(out))
	}
	return out
}

func onLand(in Input, use string, zones []string) Input {
	in.Fields[0].LandUse, in.Fields[0].Zones = use, zones
	return in
}

// The landholding of the published cap's guidance, with areas and rates made
// up for it; sums computed with decimal arithmetic (Python): 6026.155 kg N,
// 121.617659 kg/ha; per hectare A 110.40, B 200.10, C 224.20 (exempt), D 69.00.
func TestLandholding(t *testing.T) {
	rule := named(t, "nz-synthetic-nitrogen-cap")
	in := Input{Rules: rule, Season: Period{Kind: FromDate, Month: 7}, Products: []Product{
		{Product: "urea", Analysis: &schemas.Analysis{NPct: pct(46), Kind: "manufactured"}}, {Product: "dap", Analysis: &schemas.Analysis{NPct: pct(18), Kind: "manufactured"}}}}
	for _, f := range []struct {
		id  string
		use string
		ha  float64
	}{{"A", "pasture", 12.40}, {"B", "pasture", 8.75}, {"C", "annual_forage", 6.10}, {"D", "pasture", 22.30}, {"E", "arable", 100}} {
		in.Fields = append(in.Fields, Field{ID: schemas.FieldID(f.id), Customer: "farm", AreaM2: f.ha * unit.M2PerHa, LandUse: f.use})
	}
	add := func(field, product string, ha float64, kgHa ...float64) {
		for _, rate := range kgHa {
			at := day0.AddDate(0, 0, len(in.Applications))
			in.Applications = append(in.Applications, Application{ID: fmt.Sprint(len(in.Applications)), Field: schemas.FieldID(field), Product: schemas.ProductID(product),
				From: at, To: at, MassKg: rate * ha, AreaM2: ha * unit.M2PerHa})
		}
	}
	add("A", "urea", 12.40, 80, 80, 80)
	add("B", "urea", 8.75, 87, 87, 87, 87, 87)
	add("C", "urea", 6.10, 250, 120)
	add("C", "dap", 6.10, 300)
	add("D", "urea", 22.30, 75, 75)
	add("E", "urea", 100, 1000) // not pastoral land: no part of it
	r := run(t, in)
	for _, w := range []struct {
		limit, subject, state string
		value                 float64
	}{{"landholding", "farm", Under, 121.617659}, {"each-hectare", "A", Under, 110.40}, {"each-hectare", "B", Over, 200.10},
		{"each-hectare", "C", NotApplicable, 0}, {"each-hectare", "D", Under, 69}, {"each-hectare", "E", NotApplicable, 0}} {
		v := verdictOf(t, r, w.limit, w.subject)
		if v.State != w.state || math.Abs(v.Value-w.value) > 5e-7 || v.Period.Name != "2026/27" {
			t.Errorf("%s %s: %s %.7f in %s (%s)", w.limit, w.subject, v.State, v.Value, v.Period.Name, v.Text)
		}
	}
	if v := verdictOf(t, r, "landholding", "farm"); math.Abs(v.Value*v.AreaM2/unit.M2PerHa-6026.155) > 1e-6 || math.Abs(v.AreaM2-495500) > 1e-6 || len(v.Applications) != 13 {
		t.Errorf("%+v", v)
	}
	// 12 ha of it are in the book, less than the cap's 20 ha: the farm may have
	// more land than the contractor spreads, so that it is judged, and says so once.
	small := in
	small.Fields = []Field{in.Fields[0], in.Fields[0]}
	small.Fields[1].ID, small.Fields[1].AreaM2 = "A2", 0.1*unit.M2PerHa
	small.Applications = in.Applications[:1]
	const asked = "taken as applying: the fields of holding farm in the book make 12.50 ha, less than 20 ha; it may have more land"
	for _, w := range []struct{ limit, subject string }{{"landholding", "farm"}, {"each-hectare", "A"}} {
		if v := verdictOf(t, run(t, small), w.limit, w.subject); v.State != Under || !slices.Equal(v.Notes, []string{asked}) {
			t.Errorf("%s %s: %s %s %q", w.limit, w.subject, v.State, v.Text, v.Notes)
		}
	}
	small.Applications = slices.Clone(small.Applications)
	small.Applications[0].MassKg *= 10
	if v := verdictOf(t, run(t, small), "each-hectare", "A"); v.State != Over || !slices.Equal(v.Notes, []string{asked}) {
		t.Errorf("%s %s %q", v.State, v.Text, v.Notes)
	}
}

// Half of a field got 300 kg N/ha, once and in two halves: over the covered
// area that is over for certain, or cannot be shown; over the field's it is kept.
func TestCoveredArea(t *testing.T) {
	rule := named(t, "nz-synthetic-nitrogen-cap")[0]
	a := schemas.Analysis{NPct: pct(25), Kind: "manufactured", MoisturePct: pct(0)}
	half := func(kgNHa ...float64) Input {
		in := oneField(rule, a, 0, 0)
		in.Applications = nil
		for i, n := range kgNHa {
			in.Applications = append(in.Applications, Application{ID: fmt.Sprint(i), Field: "F1", Product: "x", From: day0, To: day0, MassKg: 4 * n * 5, AreaM2: 5 * unit.M2PerHa})
		}
		return in
	}
	for _, r := range []struct {
		in        Input
		want      string
		low, high float64
	}{{half(190), Under, 190, 190}, {half(200), Over, 200, 200}, {half(150, 150), NotShown, 150, 300}, {half(90, 100), Under, 100, 190}, {half(200, 200), Over, 200, 400}} {
		v := verdictOf(t, run(t, r.in), "each-hectare", "F1")
		if v.State != r.want || math.Abs(v.Low-r.low) > 1e-9 || math.Abs(v.High-r.high) > 1e-9 {
			t.Errorf("%s %v to %v, want %s %v to %v", v.State, v.Low, v.High, r.want, r.low, r.high)
		}
	}
	in := half(10)
	in.Applications[0].AreaM2 = 0
	if v := verdictOf(t, run(t, in), "each-hectare", "F1"); v.State != NotShown || v.HighKnown || !strings.Contains(v.Text, "the area that an application covered") {
		t.Errorf("%s %s", v.State, v.Text)
	}
	in = half(10)
	in.Fields[0].AreaM2 = 0
	if v := verdictOf(t, run(t, in), "each-hectare", "F1"); v.State != NotShown || !strings.Contains(v.Text, "the area is not known") || v.Low < 10-1e-9 {
		t.Errorf("%s %+v", v.Text, v)
	}
}

// Limits of an application, of a mass, of a field in no holding; what is told.
func TestOddLimits(t *testing.T) {
	rule := Rules{RuleHead: RuleHead{ID: "own"}, Limits: []Limit{
		{Part: Part{ID: "once"}, Nutrient: "P2O5", Scope: ScopeApplication, Period: Period{Kind: PerApplication}, Value: 50, Unit: "kg/ha"},
		{Part: Part{ID: "tonne"}, Nutrient: "K2O", Scope: ScopeHolding, Value: 1, Unit: "t"},
		{Part: Part{ID: "quarter"}, Nutrient: LimeForm, Scope: ScopeField, Period: Period{Kind: FromDate, Month: 1, Months: 3}, Value: 1, Unit: "t/ha"},
	}}
	a := schemas.Analysis{P2O5Pct: pct(10), K2OPct: pct(20), NeutralisingValuePct: pct(50), Fineness: pct(0.5)}
	in := oneField(rule, a, 5000, 0)
	in.Fields[0].Holding, in.Applications[0].Open = "", true
	r := run(t, in)
	if v := verdictOf(t, r, "once", "a1"); v.State != Under || v.Value != 50 || len(v.Notes) != 1 || !strings.Contains(v.Notes[0], "not closed yet") {
		t.Errorf("%+v", v)
	}
	if v := verdictOf(t, r, "tonne", "field F1"); v.State != Under || math.Abs(v.Value-1) > 1e-12 {
		t.Errorf("%+v", v)
	}
	if slices.ContainsFunc(r.Verdicts, func(v Verdict) bool { return v.Limit == "quarter" }) {
		t.Error("a limit of the first quarter counts September")
	}
	in.Applications[0].From = day0.AddDate(0, -7, 0)
	if v := verdictOf(t, run(t, in), "quarter", "F1"); v.State != Under || math.Abs(v.Value-0.125) > 1e-12 {
		t.Errorf("%+v", v)
	}
	in.Applications[0].MassKg = 5001
	if v := verdictOf(t, run(t, in), "once", "a1"); v.State != Over {
		t.Errorf("%+v", v)
	}
	in.Applications[0].Field = "F9"
	r = run(t, in)
	if v := verdictOf(t, r, "quarter", "F9"); v.State != NotShown {
		t.Errorf("%+v", v)
	}
	if len(r.Findings) != 1 || r.Findings[0].Kind != "field_unknown" {
		t.Errorf("%+v", r.Findings)
	}
}

func TestCounts(t *testing.T) {
	manure, organic, manufactured := schemas.KindLivestockManure, schemas.KindOtherOrganic, schemas.KindManufactured
	content := func(kind string, a schemas.Analysis) Content { a.Kind = kind; return ContentOf(&a) }
	ofOrganic := ContentOf(&schemas.Analysis{Organic: boolean(true)})
	for _, r := range []struct {
		name string
		c    Counts
		of   Content
		want answer
	}{
		{"anything", Counts{}, content("", schemas.Analysis{}), yes},
		{"manure", Counts{Kinds: []string{manure}}, content(manure, schemas.Analysis{}), yes},
		{"no manure", Counts{Kinds: []string{manure}}, content(organic, schemas.Analysis{}), no},
		{"not known", Counts{Kinds: []string{manure}}, content("", schemas.Analysis{}), maybe},
		{"all kinds, not known", Counts{Kinds: []string{manure, organic, manufactured}}, content("", schemas.Analysis{}), yes},
		{"organic for manure", Counts{Kinds: []string{manure}}, ofOrganic, maybe},
		{"organic for both", Counts{Kinds: []string{manure, organic}}, ofOrganic, yes},
		{"organic for manufactured", Counts{Kinds: []string{manufactured}}, ofOrganic, no},
		{"5 % is not over 5", Counts{OverNPctDry: pct(5)}, content("", schemas.Analysis{NPct: pct(5), MoisturePct: pct(0)}), no},
		{"over in the dry matter", Counts{OverNPctDry: pct(5)}, content("", schemas.Analysis{NPct: pct(5), MoisturePct: pct(1)}), yes},
		{"over as received", Counts{OverNPctDry: pct(5)}, content("", schemas.Analysis{NPct: pct(6)}), yes},
		{"moisture decides", Counts{OverNPctDry: pct(5)}, content("", schemas.Analysis{NPct: pct(4)}), maybe},
		{"no N", Counts{OverNPctDry: pct(5)}, content("", schemas.Analysis{NPct: pct(0)}), no},
		{"N not known", Counts{OverNPctDry: pct(5)}, content("", schemas.Analysis{}), maybe},
		{"of the dry matter", Counts{OverNPctDry: pct(5)}, content("", schemas.Analysis{NPct: pct(6), Basis: "dry"}), yes},
		{"holds P", Counts{HasAnyOf: []Form{"N", "P"}}, content("", schemas.Analysis{P2O5Pct: pct(9)}), yes},
		{"may hold N", Counts{HasAnyOf: []Form{"N", "P"}}, content("", schemas.Analysis{P2O5Pct: pct(0)}), maybe},
		{"holds none", Counts{HasAnyOf: []Form{"N", "P"}}, content("", schemas.Analysis{P2O5Pct: pct(0), NPct: pct(0)}), no},
		{"all must hold", Counts{Kinds: []string{manure}, HasAnyOf: []Form{"N"}}, content(manufactured, schemas.Analysis{NPct: pct(9)}), no},
	} {
		if got := r.c.product(r.of); got != r.want {
			t.Errorf("%s: %d, want %d", r.name, got, r.want)
		}
	}
}

// The words of a verdict tell its three figures and the limit apart, whatever
// the unit, and show no digits that say nothing.
func TestVerdictsAreReadable(t *testing.T) {
	for _, r := range []struct {
		value, low, high, limit float64
		want                    string
	}{
		{0.10005, 0.0998, 0.1003, 0.1, "0.10005 t/ha (95 %: 0.09980 to 0.10030) of at most 0.1 t/ha"},
		{0.1000, 0.0617, 0.1383, 0.1, "0.100 t/ha (95 %: 0.062 to 0.138) of at most 0.1 t/ha"},
		{100.05, 100.05, 100.05, 100, "100.05 t/ha (95 %: 100.05 to 100.05) of at most 100 t/ha"},
		{100.0006, 99, 101, 100, "100.001 t/ha (95 %: 99.000 to 101.000) of at most 100 t/ha"},
		{78.2, 75.6, 80.8, 190, "78.20 t/ha (95 %: 75.60 to 80.80) of at most 190 t/ha"},
		{0, 0, 0, 190, "0.00 t/ha (95 %: 0.00 to 0.00) of at most 190 t/ha"},
		{100 + 1e-12, 100, 100 + 2e-12, 100, "100.00 t/ha (95 %: 100.00 to 100.00) of at most 100 t/ha"},
		{1e9, 1e9 - 1, 1e9 + 1, 1e9, "1000000000.00 t/ha (95 %: 999999999.00 to 1000000001.00) of at most 1000000000 t/ha"},
	} {
		v := Verdict{Unit: "t/ha", Value: r.value, Low: r.low, High: r.high, LimitValue: r.limit}
		if got := v.words(""); strings.TrimSpace(got) != r.want {
			t.Errorf("%q, want %q", got, r.want)
		}
	}
}
