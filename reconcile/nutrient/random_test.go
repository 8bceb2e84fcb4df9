package nutrient

import (
	"fmt"
	"math/rand/v2"
	"time"

	"hopperbook/schemas"
	"hopperbook/schemas/unit"
)

// randomInput is a seeded farm: fields of some holdings and zones, products
// with holes in their analyses, applications over two years that share errors.
func randomInput(seed uint64, rules ...Rules) Input {
	r := rand.New(rand.NewPCG(seed, 8))
	pick := func(from ...string) string { return from[r.IntN(len(from))] }
	some := func(most float64) *float64 {
		if r.IntN(4) == 0 {
			return nil
		}
		v := most * r.Float64()
		return &v
	}
	in := Input{Rules: rules, Location: time.FixedZone("", 3600*r.IntN(24)-12*3600), Season: Period{Kind: FromDate, Month: 1 + r.IntN(12), Day: 1 + r.IntN(28)}}
	for i := range 1 + r.IntN(6) {
		f := Field{ID: schemas.FieldID(fmt.Sprintf("F%d", i)), Customer: schemas.CustomerID(pick("", "C1")), Holding: schemas.HoldingID(pick("", "H1", "H2")),
			AreaM2: unit.M2PerHa * (1 + 20*r.Float64()), LandUse: pick("", "pasture", "annual_forage", "arable"), Crop: pick("", "wheat"), SlopeDeg: some(20)}
		switch r.IntN(4) {
		case 0:
			f.Zones = []string{}
		case 1, 2:
			f.Zones = []string{"nvz", pick("nvz", "western-lake-erie-basin")}
		}
		in.Fields = append(in.Fields, f)
	}
	for i := range 1 + r.IntN(4) {
		a := &schemas.Analysis{NPct: some(46), P2O5Pct: some(20), KPct: some(20), SO3Pct: some(10), CaPct: some(10), MgOPct: some(5), NeutralisingValuePct: some(50), Fineness: some(1),
			RelSdPct: some(5), MoisturePct: some(10), Basis: pick("", "", "dry"), Kind: pick("", schemas.KindLivestockManure, schemas.KindOtherOrganic, schemas.KindManufactured)}
		in.Products = append(in.Products, Product{Product: schemas.ProductID(fmt.Sprintf("p%d", i)), Form: pick("granular", "powder"), At: day0.AddDate(-1, 0, r.IntN(300)), Event: schemas.EventID(fmt.Sprint(i)), Analysis: a})
	}
	for i := range 1 + r.IntN(12) {
		field := in.Fields[r.IntN(len(in.Fields))]
		from := day0.Add(time.Duration(r.IntN(500*24)) * time.Hour)
		a := Application{ID: fmt.Sprintf("a%02d", i), Field: field.ID, Product: in.Products[r.IntN(len(in.Products))].Product, From: from, To: from.Add(time.Hour),
			MassKg: 5000 * r.Float64(), MassSdKg: 50 * r.Float64(), AreaM2: field.AreaM2 * (0.3 + 0.7*r.Float64()), Method: pick("", "surface", "injected")}
		for _, key := range []string{"scale", "load1", "load2"}[:r.IntN(4)] {
			a.Shared = append(a.Shared, Term{key, 60 * (r.Float64() - 0.3)})
		}
		if r.IntN(2) == 0 {
			a.Weather = &schemas.WeatherNoted{Soil: pick("dry", "frozen"), ForecastRainMm: some(40), ForecastRainChancePct: some(100), ForecastHours: some(48)}
		}
		in.Applications = append(in.Applications, a)
	}
	return in
}

// randomRule has limits of every scope over every form, near what the farm got.
func randomRule(seed uint64) Rules {
	r := rand.New(rand.NewPCG(seed, 9))
	pick := func(from ...string) string { return from[r.IntN(len(from))] }
	rules := Rules{RuleHead: RuleHead{Schema: SchemaRules, ID: fmt.Sprintf("rule%d", seed)}}
	if r.IntN(2) == 0 {
		rules.Applies.Zones = []string{pick("nvz", "western-lake-erie-basin")}
	}
	for i := range 6 {
		l := Limit{Part: Part{ID: fmt.Sprintf("l%d", i)}, Nutrient: compounds()[r.IntN(shownForms)].form, Scope: pick(ScopeField, ScopeHolding, ScopeApplication),
			Unit: pick("kg/ha", "t/ha", "lb/ac", "kg", "t", "lb"), Period: Period{Kind: CalendarYear}}
		if l.Scope == ScopeApplication {
			l.Period = Period{Kind: PerApplication}
		} else if r.IntN(2) == 0 {
			l.Period = Period{Kind: FromDate, Month: 1 + r.IntN(12), Months: 1 + r.IntN(12)}
		}
		kg, perArea, _ := unitOf(l.Unit)
		l.Value = 40 * r.Float64() / kg
		if !perArea {
			l.Value *= 10
		} else if r.IntN(2) == 0 {
			l.Area = AreaCovered
		}
		if r.IntN(2) == 0 {
			l.Applies.LandUses = []string{"pasture", pick("annual_forage", "arable")}
		}
		if r.IntN(3) == 0 {
			l.Applies.LeastHoldingHa = 30 * r.Float64()
		}
		if r.IntN(2) == 0 {
			l.Counts.Kinds = []string{pick(schemas.KindLivestockManure, schemas.KindManufactured)}
		}
		if r.IntN(3) == 0 {
			l.Counts.OverNPctDry = pctOf(20 * r.Float64())
		}
		rules.Limits = append(rules.Limits, l)
	}
	return rules
}

func pctOf(v float64) *float64 { return &v }
