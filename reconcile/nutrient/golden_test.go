package nutrient

import (
	"flag"
	"fmt"
	"os"
	"strings"
	"testing"
	"time"

	"hopperbook/schemas"
	"hopperbook/schemas/unit"
)

var update = flag.Bool("update", false, "write the golden files anew")

// farm is an invented farm: a holding of three fields in a vulnerable zone and
// one outside, manure, urea whose analysis changed, lime, and a compound of
// which nobody knows the nitrogen.
func farm(t testing.TB) Input {
	known := func(v float64) *float64 { return &v }
	at := func(s string) time.Time { v, _ := time.Parse(time.RFC3339, s); return v }
	field := func(id string, ha float64, use string, zones ...string) Field {
		return Field{ID: schemas.FieldID(id), Name: "Invented " + id, Holding: "H-1", AreaM2: ha * unit.M2PerHa, LandUse: use, Zones: append([]string{}, zones...), Crop: use, Soil: "loam"}
	}
	weather := &schemas.WeatherNoted{Soil: "moist", RainMm: 0, TemperatureC: known(9), ForecastRainMm: known(2), ForecastHours: known(24), Forecast: "dry"}
	apply := func(id, field, product, from string, kg, sd, ha float64) Application {
		return Application{ID: id, Field: schemas.FieldID(field), Product: schemas.ProductID(product), Machine: "sp1", From: at(from), To: at(from).Add(2 * time.Hour),
			MassKg: kg, MassSdKg: sd, Shared: []Term{{"scale", 0.005 * kg}}, AreaM2: ha * unit.M2PerHa, Operator: "Wren Marlow", Method: "surface", Weather: weather,
			Buffers: []schemas.BufferKept{{To: "watercourse", DistanceM: 12}, {To: "well", DistanceM: 300}}}
	}
	in := Input{Location: time.FixedZone("", 3600), Rules: named(t, "eu-nitrates-directive", "gb-eng-farming-rules-for-water", "gb-eng-nvz-records"),
		Fields: []Field{field("F1", 12, "pasture", "nvz"), field("F2", 8, "arable", "nvz"), field("F3", 5, "pasture")},
		Products: []Product{
			{Product: "manure", Form: "powder", At: at("2026-01-02T00:00:00Z"), Event: "e1", Analysis: &schemas.Analysis{NPct: known(2.4), P2O5Pct: known(2), K2OPct: known(1.8), MoisturePct: known(75), Basis: "dry", Kind: "livestock_manure", RelSdPct: known(10)}},
			{Product: "urea", Form: "granular", At: at("2026-01-02T00:00:00Z"), Event: "e2", Analysis: &schemas.Analysis{NPct: known(46), P2O5Pct: known(0), K2OPct: known(0), SPct: known(0), Kind: "manufactured"}},
			{Product: "urea", Form: "granular", At: at("2026-04-01T00:00:00Z"), Event: "e3", Analysis: &schemas.Analysis{NPct: known(45), P2O5Pct: known(0), K2OPct: known(0), SPct: known(0), Kind: "manufactured"}},
			{Product: "lime", Form: "powder", At: at("2026-01-02T00:00:00Z"), Event: "e4", Analysis: &schemas.Analysis{NPct: known(0), CaPct: known(37), MgPct: known(0.5), NeutralisingValuePct: known(94), Fineness: known(0.8), Kind: "manufactured"}},
			{Product: "compound", Form: "granular", At: at("2026-01-02T00:00:00Z"), Event: "e5", Analysis: &schemas.Analysis{P2O5Pct: known(20), PPct: known(20), K2OPct: known(10), Organic: new(bool)}},
		}}
	in.Applications = []Application{
		apply("a1", "F1", "manure", "2026-03-10T08:00:00Z", 240_000, 3000, 11.8), apply("a2", "F1", "urea", "2026-03-30T08:00:00Z", 1200, 25, 11.9),
		apply("a3", "F1", "urea", "2026-05-02T08:00:00Z", 1200, 25, 11.9), apply("a4", "F2", "manure", "2026-03-12T08:00:00Z", 180_000, 2500, 7.9),
		apply("a5", "F3", "lime", "2026-09-20T08:00:00Z", 12_500, 150, 4.9), apply("a6", "F2", "compound", "2026-12-31T23:30:00Z", 2000, 30, 7.9),
	}
	in.Applications[3].Buffers[0].DistanceM = 6
	in.Applications[4].Weather, in.Applications[4].Operator = nil, ""
	return in
}

func TestGoldenFarm(t *testing.T) {
	r := run(t, farm(t))
	var b strings.Builder
	for _, s := range r.Sums {
		if s.Scope != ScopeApplication && s.Product != "" {
			continue
		}
		fmt.Fprintf(&b, "sum %s %s %s %s%s: %.0f kg on %.2f ha", s.Scope, s.Subject, s.Season.Name, s.Product, s.Kind, s.MassKg, s.AreaM2/unit.M2PerHa)
		for _, a := range s.Amounts {
			switch {
			case a.Known && a.Kg > 0:
				fmt.Fprintf(&b, " | %s %.1f (%.1f to %.1f) %.2f/ha", a.Form, a.Kg, a.LowKg, a.HighKg, a.KgHa)
			case !a.Known && a.Kg > 0:
				fmt.Fprintf(&b, " | %s at least %.1f", a.Form, a.Kg)
			}
		}
		b.WriteByte('\n')
	}
	for _, v := range r.Verdicts {
		fmt.Fprintf(&b, "verdict %s %s %s %s: %s: %s %v %v\n", v.Rule, v.Limit, v.Subject, v.Period.Name, v.State, v.Text, v.Notes, v.Applications)
	}
	for _, c := range r.Checks {
		if c.State != NotApplicable {
			fmt.Fprintf(&b, "check %s %s of %s: %s: %s\n", c.Rule, c.Part, c.Application, c.State, c.Text)
		}
	}
	for _, m := range r.Missing {
		fmt.Fprintf(&b, "missing %s %s of %s %v: %s\n", m.Rule, m.Record, m.Field, m.Applications, m.How)
	}
	for _, f := range r.Findings {
		fmt.Fprintf(&b, "finding %s %s %s %s: %s\n", f.Kind, f.Product, f.Field, f.Event, f.Text)
	}
	const path = "testdata/farm.golden.txt"
	if *update {
		if err := os.WriteFile(path, []byte(b.String()), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if b.String() != string(want) {
		t.Errorf("changed; look at it and run with -update:\n%s", b.String())
	}
}
