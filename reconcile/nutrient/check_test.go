package nutrient

import (
	"slices"
	"strings"
	"testing"
	"time"

	"hopperbook/schemas"
)

// checked runs one application and gives the check of a part.
func checked(t *testing.T, rule Rules, part string, change func(*Field, *schemas.Analysis, *Application)) Check {
	t.Helper()
	a := schemas.Analysis{NPct: pct(27), Kind: "manufactured"}
	in := oneField(rule, a, 100, 0)
	in.Fields[0].Zones = []string{"western-lake-erie-basin"}
	change(&in.Fields[0], &a, &in.Applications[0])
	in.Products[0].Analysis = &a
	var found []Check
	for _, c := range run(t, in).Checks {
		if c.Part == part {
			found = append(found, c)
		}
	}
	if len(found) != 1 || found[0].Application != "a1" || found[0].Field != "F1" || found[0].Asks == "" || found[0].Text == "" {
		t.Fatalf("checks of %s: %+v", part, found)
	}
	return found[0]
}

func weather(soil string, mm, chance, hours *float64) *schemas.WeatherNoted {
	return &schemas.WeatherNoted{Soil: soil, ForecastRainMm: mm, ForecastRainChancePct: chance, ForecastHours: hours}
}

// tripwire: one table of one-line cases.
func TestChecksOfShippedRules(t *testing.T) {
	rules := named(t, "us-oh-905-326", "gb-eng-farming-rules-for-water", "ie-good-agricultural-practice")
	ohio, england, ireland := rules[0], rules[1], rules[2]
	noted := func(w *schemas.WeatherNoted) func(*Field, *schemas.Analysis, *Application) {
		return func(f *Field, _ *schemas.Analysis, a *Application) { f.LandUse, a.Weather = "arable", w }
	}
	kept := func(kind, to string, m ...float64) func(*Field, *schemas.Analysis, *Application) {
		return func(_ *Field, x *schemas.Analysis, a *Application) {
			x.Kind = kind
			for _, d := range m {
				a.Buffers = append(a.Buffers, schemas.BufferKept{To: to, DistanceM: d})
			}
		}
	}
	for _, r := range []struct {
		name   string
		rule   Rules
		part   string
		change func(*Field, *schemas.Analysis, *Application)
		want   string
		text   string
	}{
		{"frozen", ohio, "frozen", noted(weather("frozen", nil, nil, nil)), Broken, "frozen"},
		{"snow", ohio, "frozen", noted(weather("snow_covered", nil, nil, nil)), Broken, "snow covered"},
		{"moist", ohio, "frozen", noted(weather("moist", nil, nil, nil)), Kept, "moist"},
		{"saturated", ohio, "saturated", noted(weather("waterlogged", nil, nil, nil)), Broken, ""},
		{"no weather", ohio, "saturated", noted(nil), NotNoted, "weather.noted with soil"},
		{"injected", ohio, "frozen", func(f *Field, _ *schemas.Analysis, a *Application) {
			f.LandUse, a.Method, a.Weather = "arable", "injected", weather("frozen", nil, nil, nil)
		}, NotApplicable, "was injected"},
		{"pasture grows", ohio, "frozen", func(_ *Field, _ *schemas.Analysis, a *Application) { a.Weather = weather("frozen", nil, nil, nil) }, NotApplicable, "growing"},
		{"sown before", ohio, "frozen", func(f *Field, _ *schemas.Analysis, a *Application) {
			f.LandUse, f.Crop, f.SownAt, a.Weather = "arable", "wheat", day0.AddDate(0, -6, 0), weather("frozen", nil, nil, nil)
		}, NotApplicable, "wheat was growing"},
		{"sown later", ohio, "frozen", func(f *Field, _ *schemas.Analysis, a *Application) {
			f.LandUse, f.Crop, f.SownAt, a.Weather = "arable", "wheat", day0.AddDate(0, 1, 0), weather("frozen", nil, nil, nil)
		}, Broken, ""},
		{"another basin", ohio, "frozen", func(f *Field, _ *schemas.Analysis, a *Application) {
			f.Zones, a.Weather = []string{"elsewhere"}, weather("frozen", nil, nil, nil)
		}, NotApplicable, "does not lie in"},
		{"basin not known", ohio, "frozen", func(f *Field, _ *schemas.Analysis, a *Application) {
			f.Zones, f.LandUse, a.Weather = nil, "arable", weather("frozen", nil, nil, nil)
		}, Broken, "taken as applying"},
		{"manure in Ohio", ohio, "frozen", func(_ *Field, x *schemas.Analysis, _ *Application) { x.Kind = "livestock_manure" }, NotApplicable, "is not a product"},

		// More than 50 % of more than one inch in twelve hours.
		{"51 % of 25.5 mm in 12 h", ohio, "rain", noted(weather("moist", pct(25.5), pct(51), pct(12))), Broken, "25.5 mm within 12 h at 51 %"},
		{"50 % of it", ohio, "rain", noted(weather("moist", pct(25.5), pct(50), pct(12))), Kept, ""},
		{"exactly an inch", ohio, "rain", noted(weather("moist", pct(25.4), pct(90), pct(12))), Kept, ""},
		{"more in less time", ohio, "rain", noted(weather("moist", pct(30), pct(60), pct(6))), Broken, ""},
		{"little in more time", ohio, "rain", noted(weather("moist", pct(20), nil, pct(24))), Kept, ""},
		{"little in less time", ohio, "rain", noted(weather("moist", pct(20), pct(90), pct(6))), NotNoted, "does not settle it"},
		{"much in more time", ohio, "rain", noted(weather("moist", pct(30), pct(60), pct(24))), NotNoted, "does not settle it"},
		{"much in more time, hardly", ohio, "rain", noted(weather("moist", pct(30), pct(10), pct(24))), Kept, ""},
		{"no chance noted", ohio, "rain", noted(weather("moist", pct(30), nil, pct(12))), NotNoted, ""},
		{"no hours noted", ohio, "rain", noted(weather("moist", pct(30), pct(60), nil)), NotNoted, ""},
		{"no forecast", ohio, "rain", noted(weather("moist", nil, nil, nil)), NotNoted, "forecast_rain_mm"},
		{"words alone", ohio, "rain", noted(&schemas.WeatherNoted{Soil: "moist", Forecast: "showers"}), NotNoted, "forecast_rain_mm"},

		{"heavy rain is for a person", ireland, "rain", noted(weather("moist", pct(30), nil, pct(48))), ToJudge, "30 mm within 48 h"},
		{"words will do", ireland, "rain", noted(&schemas.WeatherNoted{Soil: "moist", Forecast: "heavy showers"}), ToJudge, "heavy showers"},
		{"nothing noted", ireland, "rain", noted(weather("moist", nil, nil, nil)), NotNoted, ""},
		{"flooded", ireland, "soil", noted(weather("flooded", nil, nil, nil)), Broken, ""},

		{"2 m of manufactured", england, "manufactured-watercourse", kept("manufactured", "watercourse", 2), Kept, ""},
		{"just less", england, "manufactured-watercourse", kept("manufactured", "watercourse", 1.99), Broken, "1.99 m were kept"},
		{"the nearest counts", england, "manufactured-watercourse", kept("manufactured", "watercourse", 9, 1, 5), Broken, "1 m were kept"},
		{"of another place", england, "manufactured-watercourse", kept("manufactured", "well", 9), NotNoted, "keep 2 m"},
		{"10 m of manure", england, "organic-watercourse", kept("livestock_manure", "watercourse", 10), Kept, ""},
		{"9 m of manure", england, "organic-watercourse", kept("other_organic", "watercourse", 9), Broken, ""},
		{"49 m from a well", england, "organic-well", kept("livestock_manure", "well", 49), Broken, ""},
		{"organic rule, manufactured", england, "organic-well", kept("manufactured", "well", 49), NotApplicable, ""},
		{"kind not known", england, "organic-well", kept("", "well", 49), Broken, "what kind of product x is is not in the book"},
		{"Irish lake", ireland, "organic-lake", kept("livestock_manure", "lake", 19.5), Broken, "20 m are asked for"},
		{"Irish supply", ireland, "organic-large-supply", kept("livestock_manure", "large_supply", 200), Kept, "large supply"},

		{"12 degrees", england, "slope", func(f *Field, _ *schemas.Analysis, _ *Application) { f.SlopeDeg = pct(12) }, Kept, ""},
		{"steeper", england, "slope", func(f *Field, _ *schemas.Analysis, _ *Application) { f.SlopeDeg = pct(12.5) }, ToJudge, "12.5 degrees"},
		{"slope not noted", england, "slope", func(*Field, *schemas.Analysis, *Application) {}, NotNoted, "slope_deg"},
	} {
		if c := checked(t, r.rule, r.part, r.change); c.State != r.want || !strings.Contains(c.Text, r.text) {
			t.Errorf("%s: %s (%s), want %s with %q", r.name, c.State, c.Text, r.want, r.text)
		}
	}
}

// A closed period of a user's own rule, in local days. The shipped files have
// none: the only dates that were read are superseded.
func TestClosedPeriod(t *testing.T) {
	rule := Rules{RuleHead: RuleHead{ID: "own"}, ClosedPeriods: []ClosedPeriod{{Part: Part{ID: "closed", Text: "Not in winter.", Counts: Counts{Kinds: []string{"manufactured"}},
		Applies: Applies{LandUses: []string{"pasture"}}}, From: "09-15", To: "02-01"}}}
	for _, r := range []struct {
		from, to string
		use      string
		want     string
	}{
		{"2026-09-14T20:00:00Z", "2026-09-14T21:00:00Z", "pasture", Kept}, {"2026-09-15T00:00:00Z", "2026-09-15T01:00:00Z", "pasture", Broken},
		{"2026-09-14T20:00:00Z", "2026-09-15T00:00:01Z", "pasture", Broken}, {"2027-02-01T23:59:59Z", "2027-02-01T23:59:59Z", "pasture", Broken},
		{"2027-02-02T00:00:00Z", "2027-02-02T00:00:00Z", "pasture", Kept}, {"2026-12-01T00:00:00Z", "2026-12-01T00:00:00Z", "arable", NotApplicable},
	} {
		c := checked(t, rule, "closed", func(f *Field, _ *schemas.Analysis, a *Application) {
			f.LandUse = r.use
			a.From, _ = time.Parse(time.RFC3339, r.from)
			a.To, _ = time.Parse(time.RFC3339, r.to)
		})
		if c.State != r.want {
			t.Errorf("%s to %s on %s: %s (%s), want %s", r.from, r.to, r.use, c.State, c.Text, r.want)
		}
	}
}

func TestMissingRecords(t *testing.T) {
	rule := named(t, "us-oh-901-5-4-04")
	in := oneField(rule[0], schemas.Analysis{NPct: pct(27), Kind: "manufactured"}, 100, 0)
	second := in.Applications[0]
	second.ID = "a2"
	in.Applications = append(in.Applications, second)
	want := []string{"applicator", "forecast", "frozen", "holder", "method", "precipitation", "soil", "temperature"}
	got := func(in Input) (records []string) {
		for _, m := range run(t, in).Missing {
			records = append(records, m.Record)
			if m.Rule != "us-oh-901-5-4-04" || m.Text == "" || m.How == "" || m.Section == "" || m.Field != "F1" {
				t.Errorf("%+v", m)
			}
		}
		slices.Sort(records)
		return records
	}
	if g := got(in); !slices.Equal(g, want) {
		t.Errorf("missing %v, want %v", g, want)
	}
	if m := run(t, in).Missing[0]; !slices.Equal(m.Applications, []string{"a1", "a2"}) {
		t.Errorf("%+v", m)
	}
	for i := range in.Applications {
		a := &in.Applications[i]
		a.Operator, a.CertificateHolder, a.Method = "Wren Marlow", "Ines Okafor", "surface"
		a.Weather = &schemas.WeatherNoted{Soil: "moist", TemperatureC: pct(9), Forecast: "dry"}
	}
	if g := got(in); g != nil {
		t.Errorf("missing %v of a complete record", g)
	}
	in.Applications[1].Method, in.Applications[1].Weather = "injected", nil
	if g := got(in); !slices.Equal(g, []string{"forecast", "precipitation", "soil", "temperature"}) { // frozen: surface only
		t.Errorf("missing %v", g)
	}
	lime := oneField(rule[0], schemas.Analysis{NPct: pct(0), P2O5Pct: pct(0), KPct: pct(0), Kind: "manufactured"}, 100, 0)
	if g := got(lime); g != nil {
		t.Errorf("missing %v of lime, which the rule is not about", g)
	}
}

// Every item can be had and can be missing, and every item a shipped rule asks for is one.
func TestItems(t *testing.T) {
	bare := &portion{Application: Application{ID: "a"}, content: ContentOf(nil)}
	full := &portion{Application: Application{ID: "a", From: day0, MassKg: 1, AreaM2: 1, Batch: "D", Operator: "o", CertificateHolder: "c", Method: "surface",
		Weather: &schemas.WeatherNoted{TemperatureC: pct(1), Forecast: "x"}}, fieldKnown: true, version: "v", productForm: "granular",
		field: Field{Crop: "c", PreviousCrop: "p", SownAt: day0, Soil: "s", LandUse: "pasture"}, content: ContentOf(&schemas.Analysis{NPct: pct(1), Kind: "manufactured"})}
	for _, it := range Items() {
		if it.has(bare) || it.has(full) == (it.Name == ItemOutside) || it.How == "" {
			t.Errorf("%s: bare %v, full %v", it.Name, it.has(bare), it.has(full))
		}
	}
	all, err := Shipped()
	if err != nil {
		t.Fatal(err)
	}
	for _, rules := range all {
		for _, r := range rules.Records {
			if _, ok := item(r.Item); !ok {
				t.Errorf("%s asks for %s", rules.ID, r.Item)
			}
		}
	}
}

// What a plan warns of is what the record says afterwards.
func TestPlan(t *testing.T) {
	in := oneField(named(t, "nz-synthetic-nitrogen-cap")[0], schemas.Analysis{NPct: pct(25), Kind: "manufactured", MoisturePct: pct(0)}, 4*100*10, 0)
	in.Rules = append(in.Rules, named(t, "gb-eng-farming-rules-for-water")...)
	planned := in.Applications[0]
	planned.ID, planned.MassKg, planned.Weather = "plan", 4*90*10, weather("dry", nil, nil, nil)
	planned.Buffers = []schemas.BufferKept{{To: "watercourse", DistanceM: 3}, {To: "coast", DistanceM: 900}, {To: "well", DistanceM: 900}}
	in.Fields[0].SlopeDeg = pct(3)
	p, err := Plan(in, []Application{planned})
	if err != nil || !p.Clear() || len(p.Verdicts) != 2 || len(p.Findings) != 0 {
		t.Errorf("%+v %v", p, err)
	}
	planned.MassKg, planned.Buffers[0].DistanceM, planned.Weather = 4*91*10, 1, nil
	p, err = Plan(in, []Application{planned})
	if err != nil {
		t.Fatal(err)
	}
	var warned []string
	for _, c := range p.Warnings {
		warned = append(warned, c.Part+" "+c.State)
	}
	if p.Clear() || p.Verdicts[0].State != Over || p.Verdicts[1].State != Over || !slices.Equal(warned, []string{"manufactured-watercourse broken", "soil not_noted"}) {
		t.Errorf("%+v %v", p.Verdicts, warned)
	}
	after := in
	after.Applications = append(slices.Clone(in.Applications), planned)
	for _, c := range run(t, after).Checks {
		bad := c.Application == "plan" && (c.State == Broken || c.State == NotNoted || c.State == ToJudge)
		if bad != slices.Contains(p.Warnings, c) {
			t.Errorf("plan and record differ at %+v", c)
		}
	}
	if len(in.Applications) != 1 {
		t.Error("a plan was kept")
	}
	if _, err := Plan(in, []Application{in.Applications[0]}); err == nil {
		t.Error("a planned application may have the name of one that was done")
	}
}

// What the crew noted beside what the passes say, for 10 m to keep: each alone
// decides, a contradiction or the receiver's error leaves it to a person.
func TestMeasuredDistances(t *testing.T) {
	england := named(t, "gb-eng-farming-rules-for-water")[0] // organic manure 10 m from water
	water := func(m, receiver float64) Measured { return Measured{"watercourse", m, receiver} }
	for _, c := range []struct {
		name     string
		noted    float64 // 0: nothing
		measured []Measured
		want     string
		text     string
	}{
		{"nothing", 0, nil, NotNoted, "job.finished with buffers"},
		{"noted", 10, nil, Kept, "as the crew noted"},
		{"measured beyond", 0, []Measured{water(11, 1)}, Kept, "measured from passes: 11 m from the nearest watercourse registered, receiver error 1 m"},
		{"measured at it", 0, []Measured{water(10, 0)}, Kept, ""},
		{"measured short", 0, []Measured{water(8, 1)}, Broken, "the crew noted nothing"},
		{"spread on", 0, []Measured{water(0, 3)}, Broken, ""},
		{"within the error, above", 0, []Measured{water(10.5, 1)}, ToJudge, ""},
		{"within the error, below", 0, []Measured{water(9, 1)}, ToJudge, ""},
		{"noted and measured", 12, []Measured{water(12.5, 1)}, Kept, "12 m were kept"},
		{"noted, measured within the error", 12, []Measured{water(9.5, 1)}, Kept, "measured from passes: 9.5 m"},
		{"noted kept, measured short", 12, []Measured{water(4, 1)}, ToJudge, "measured from passes: 4 m"},
		{"noted short, measured short", 4, []Measured{water(4, 1)}, Broken, ""},
		{"noted short, measured beyond", 4, []Measured{water(40, 1)}, ToJudge, ""},
		{"another kind", 0, []Measured{{"lake", 2, 0.05}}, NotNoted, ""},
		{"not said what, near", 12, []Measured{{"", 2, 0.05}}, Kept, "does not say what it is (register.field with exclusion_to)"},
		{"not said what, far", 0, []Measured{{"", 200, 0.05}}, NotNoted, ""},
	} {
		got := checked(t, england, "organic-watercourse", func(_ *Field, x *schemas.Analysis, a *Application) {
			x.Kind, a.Measured = "livestock_manure", c.measured
			if c.noted > 0 {
				a.Buffers = []schemas.BufferKept{{To: "watercourse", DistanceM: c.noted}}
			}
		})
		if got.State != c.want || !strings.Contains(got.Text, c.text) {
			t.Errorf("%s: %s: %s, want %s with %q", c.name, got.State, got.Text, c.want, c.text)
		}
		if far := strings.Contains(got.Text, "200 m"); far {
			t.Errorf("%s: an area of no matter is told: %s", c.name, got.Text)
		}
	}
}

// Rules are held against every note of the weather: one bad one breaks them,
// and one without a forecast takes nothing away from one that has it.
func TestEveryNoteOfTheWeatherCounts(t *testing.T) {
	in := oneField(Rules{RuleHead: RuleHead{ID: "mine"}, Soils: []SoilRule{{Part: Part{ID: "soil"}, States: []string{"frozen"}}},
		Rains: []RainRule{{Part: Part{ID: "rain"}, OverMm: pct(10), WithinHours: 12}}}, schemas.Analysis{NPct: pct(25), Kind: "manufactured"}, 100, 0)
	in.Rules[0].Records = []RecordField{{Part: Part{ID: "temperature"}, Item: "temperature"}}
	dry := *weather("dry", nil, nil, nil)
	for name, c := range map[string]struct {
		more schemas.WeatherNoted
		want string
	}{
		"the same again":         {dry, "soil kept, rain not_noted"},
		"frozen":                 {*weather("frozen", nil, nil, nil), "soil broken, rain not_noted"},
		"a forecast of little":   {*weather("dry", pct(2), nil, pct(24)), "soil kept, rain kept"},
		"a forecast of much":     {*weather("dry", pct(20), nil, pct(6)), "soil kept, rain broken"},
		"a forecast of no hours": {*weather("dry", pct(20), nil, nil), "soil kept, rain not_noted"},
	} {
		a := &in.Applications[0]
		a.Weather, a.MoreWeather = &dry, []schemas.WeatherNoted{c.more}
		r, err := Run(in)
		if err != nil {
			t.Fatal(err)
		}
		var states []string
		for _, k := range r.Checks {
			states = append(states, k.Kind+" "+k.State)
		}
		if got := strings.Join(states, ", "); got != c.want {
			t.Errorf("%s: %s", name, got)
		}
		if c.more.TemperatureC = pct(4); len(r.Missing) != 1 {
			t.Errorf("%s: %+v", name, r.Missing)
		}
		a.MoreWeather = []schemas.WeatherNoted{c.more}
		if r, err := Run(in); err != nil || len(r.Missing) != 0 {
			t.Errorf("%s with a temperature: %v %+v", name, err, r.Missing)
		}
	}
}

// Of several notes on the soil all that a rule forbids are named, each once.
func TestSoilsNoted(t *testing.T) {
	rule := Rules{RuleHead: RuleHead{ID: "mine"}, Soils: []SoilRule{{Part: Part{ID: "soil", Text: "not on it"}, States: []string{"waterlogged", "frozen", "snow_covered"}}}}
	for want, more := range map[string][]string{
		"the soil was noted as waterlogged":                                   {"waterlogged", "dry"},
		"the soil was noted as waterlogged and as frozen and as snow covered": {"frozen", "moist", "snow_covered", "frozen"},
	} {
		c := checked(t, rule, "soil", func(_ *Field, _ *schemas.Analysis, a *Application) {
			a.Weather = weather("waterlogged", nil, nil, nil)
			for _, soil := range more {
				a.MoreWeather = append(a.MoreWeather, *weather(soil, nil, nil, nil))
			}
		})
		if c.State != Broken || c.Text != want {
			t.Errorf("%s: %q, want %q", c.State, c.Text, want)
		}
	}
}
