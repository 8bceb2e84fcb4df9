package reconcile

import (
	"bytes"
	"encoding/json"
	"math"
	"math/rand/v2"
	"strings"
	"testing"
	"time"

	"hopperbook/reconcile/nutrient"
	"hopperbook/schemas"
	"hopperbook/schemas/unit"
)

// nutrientWorld spreads two fields over two days: a load on the first field,
// one that both share, and after a night one of another batch on the second.
func nutrientWorld() *world {
	w := newWorld(2)
	for i := range w.in.Fields {
		d := &w.in.Fields[i].Data
		d.Holding, d.LandUse, d.Zones, d.Crop, d.SownAt = "H1", "pasture", []string{"nvz"}, "ryegrass", "2024-09-01T00:00:00Z"
	}
	w.in.Products = append(w.in.Products,
		meta(w, "office", schemas.RegisterProduct{Product: "super", Name: "Super", Form: "granular", Analysis: &schemas.Analysis{NPct: kg(0), P2O5Pct: kg(20), SPct: kg(11), Kind: "manufactured"}}),
		meta(w, "office", schemas.RegisterProduct{Product: "super", Name: "Super", Form: "granular", Analysis: &schemas.Analysis{NPct: kg(0), P2O5Pct: kg(18), SPct: kg(12), Kind: "manufactured", Batch: "D2"}}))
	w.in.Weather = append(w.in.Weather, meta(w, "sp1", schemas.WeatherNoted{WindMS: 2, Soil: "moist", ForecastRainMm: kg(3)}))
	w.in.Starts = append(w.in.Starts, meta(w, "sp1", schemas.JobStarted{Job: "J1", Operator: "Wren Marlow"}))
	w.refill(1620)
	for k := range 10 {
		w.line(0, k)
	}
	w.refill(1590)
	for k := 10; k < 15; k++ {
		w.line(0, k)
	}
	for k := range 5 {
		w.line(1, k)
	}
	w.in.Finishes = append(w.in.Finishes, meta(w, "sp1", schemas.JobFinished{Job: "J1", Field: "F2", Method: "surface", Buffers: []schemas.BufferKept{{To: "watercourse", DistanceM: 5}}}))
	w.clock = w.clock.Add(16 * time.Hour)
	w.in.Loads = append(w.in.Loads, meta(w, "loader", schemas.LoadWeighed{Load: "LD2", Product: "super", NetKg: 1600, Method: schemas.MethodBucket, SdKg: kg(10), Scale: "S1", Docket: "D2"}))
	w.in.Refills = append(w.in.Refills, meta(w, "sp1", schemas.HopperRefilled{Refill: "RD2", Product: "super", Loads: []schemas.LoadID{"LD2"}, ResidualKg: kg(0), ResidualSdKg: kg(20), ResidualMethod: schemas.ResidualEmpty}))
	w.clock = w.clock.Add(time.Minute)
	for k := 5; k < 15; k++ {
		w.line(1, k)
	}
	w.refill()
	return w
}

func TestNutrientInput(t *testing.T) {
	w := nutrientWorld()
	in, err := NutrientInput(w.in, NutrientAsk{})
	if err != nil {
		t.Fatal(err)
	}
	var names []string
	for _, a := range in.Applications {
		names = append(names, a.ID)
	}
	if got := strings.Join(names, " "); got != "F1/2026-03-02/super/sp1/job:J1 F2/2026-03-02/super/sp1/job:J1 F2/2026-03-03/super/sp1/D2" {
		t.Fatalf("applications %s", got)
	}
	a, b, c := in.Applications[0], in.Applications[1], in.Applications[2]
	if a.Operator != "Wren Marlow" || a.Job != "J1" || a.Weather == nil || a.Weather.Soil != "moist" || a.Method != "" || a.Open || a.Batch != "" {
		t.Errorf("%+v", a)
	}
	if b.Method != "surface" || len(b.Buffers) != 1 || b.Buffers[0].DistanceM != 5 || b.Operator != "Wren Marlow" {
		t.Errorf("%+v", b)
	}
	if c.Batch != "D2" || c.Operator != "" || c.Weather != nil || c.To.Sub(c.From) < time.Hour/4 {
		t.Errorf("%+v", c)
	}
	// Invented: 15 of 20 lines of 20 m on a square of 400 m; the first load at 1620/1600.
	if math.Abs(a.AreaM2-15*8000) > 200 || math.Abs(a.MassKg-(1620+1590/2)) > 30 || math.Abs(c.AreaM2-10*8000) > 200 || math.Abs(c.MassKg-1600) > 30 {
		t.Errorf("%v m2 %v kg, %v m2 %v kg", a.AreaM2, a.MassKg, c.AreaM2, c.MassKg)
	}
	if f := in.Fields[0]; math.Abs(f.AreaM2-160000) > 20 || f.Holding != "H1" || f.LandUse != "pasture" || f.SownAt.IsZero() || f.Crop != "ryegrass" {
		t.Errorf("%+v", f)
	}
}

// What the fields got is what the reconciliation says, with the same error.
func TestNutrientsAgreeWithFields(t *testing.T) {
	for seed := range uint64(3) {
		w := nutrientWorld()
		if seed > 0 { // a field of which some may not be spread, and lines over the boundary
			r := rand.New(rand.NewPCG(seed, 3))
			x := 100 + 100*r.Float64()
			w.in.Fields[1].Data.Exclusion = &schemas.Boundary{{{at(500+x, 100), at(500+x+50, 100), at(500+x+50, 200), at(500+x, 200), at(500+x, 100)}}}
		}
		res, err := Run(w.in)
		if err != nil {
			t.Fatal(err)
		}
		got, err := Nutrients(w.in, NutrientAsk{})
		if err != nil {
			t.Fatal(err)
		}
		compared := 0
		for _, f := range res.Fields {
			for _, s := range got.Sums {
				if s.Scope != nutrient.ScopeField || s.Subject != string(f.Field) || s.Product != "" || s.Kind != "" {
					continue
				}
				compared++
				if math.Abs(s.MassKg-f.MassKg) > 0.01 || math.Abs((s.MassHighKg-s.MassKg)/z95-f.MassSdKg) > 0.01 || math.Abs(s.AreaM2-(f.BoundaryM2-f.ExclusionM2)) > 0.02 {
					t.Errorf("%s: %v kg (to %v) on %v m2, field %v kg, sd %v, %v m2", f.Field, s.MassKg, s.MassHighKg, s.AreaM2, f.MassKg, f.MassSdKg, f.BoundaryM2-f.ExclusionM2)
				}
			}
		}
		if compared != 2 {
			t.Errorf("%d fields were compared", compared)
		}
	}
}

// The batch's own analysis counts: 20 % P2O5, and 18 % of batch D2.
func TestNutrientsByBatch(t *testing.T) {
	w := nutrientWorld()
	rules, err := nutrient.Named("eu-nitrates-directive", "gb-eng-nvz-records")
	if err != nil {
		t.Fatal(err)
	}
	got, err := Nutrients(w.in, NutrientAsk{Rules: rules, Customer: "C1"})
	if err != nil {
		t.Fatal(err)
	}
	var kgs, p2o5 float64
	for _, s := range got.Sums[:3] {
		share := 0.20
		if strings.HasSuffix(s.Subject, "/D2") {
			share = 0.18
		}
		if a := s.Of("P2O5"); math.Abs(a.Kg-share*s.MassKg) > 1e-9 || math.Abs(a.KgHa-a.Kg/s.AreaM2*unit.M2PerHa) > 1e-9 {
			t.Errorf("%+v", s)
		}
		kgs, p2o5 = kgs+s.MassKg, p2o5+s.Of("P2O5").Kg
	}
	if len(got.Verdicts) != 1 || got.Verdicts[0].State != nutrient.Under || got.Verdicts[0].Subject != "H1" || got.Verdicts[0].Value != 0 {
		t.Errorf("%+v", got.Verdicts)
	}
	if math.Abs(kgs-(1620+1590+1600)) > 15 || p2o5/kgs > 0.2 || p2o5/kgs < 0.18 { // a little lands over the boundary
		t.Errorf("%v kg, %v kg P2O5", kgs, p2o5)
	}
	none, err := Nutrients(w.in, NutrientAsk{Customer: "C2"})
	if err != nil || len(none.Sums) != 0 {
		t.Errorf("%+v %v", none, err)
	}
}

// Days are local: where midnight falls between the lines, a day becomes two
// and no kilogram is moved; the order of the events changes no byte.
func TestNutrientDays(t *testing.T) {
	w := nutrientWorld()
	whole, err := Nutrients(w.in, NutrientAsk{})
	if err != nil {
		t.Fatal(err)
	}
	cut := w.in.Passes[4].start()
	midnight := time.FixedZone("", int((24*time.Hour - cut.Sub(cut.Truncate(24*time.Hour))).Seconds()))
	parts, err := Nutrients(w.in, NutrientAsk{Location: midnight})
	if err != nil {
		t.Fatal(err)
	}
	count := func(r nutrient.Result) (applications int, all nutrient.Sum) {
		for _, s := range r.Sums {
			if s.Scope == nutrient.ScopeApplication {
				applications++
			}
			if s.Scope == nutrient.ScopeAll && s.Kind == "" && s.Product == "" {
				all = s
			}
		}
		return applications, all
	}
	n, a := count(whole)
	m, b := count(parts)
	if n != 3 || m != 4 || math.Abs(a.MassKg-b.MassKg) > 1e-6 || math.Abs(a.MassHighKg-b.MassHighKg) > 1e-6 {
		t.Errorf("%d and %d applications, %v and %v kg", n, m, a.MassKg, b.MassKg)
	}
	r := rand.New(rand.NewPCG(1, 2))
	r.Shuffle(len(w.in.Passes), func(i, k int) { w.in.Passes[i], w.in.Passes[k] = w.in.Passes[k], w.in.Passes[i] })
	r.Shuffle(len(w.in.Refills), func(i, k int) { w.in.Refills[i], w.in.Refills[k] = w.in.Refills[k], w.in.Refills[i] })
	r.Shuffle(len(w.in.Products), func(i, k int) { w.in.Products[i], w.in.Products[k] = w.in.Products[k], w.in.Products[i] })
	again, err := Nutrients(w.in, NutrientAsk{})
	if err != nil {
		t.Fatal(err)
	}
	x, _ := json.Marshal(whole)
	y, _ := json.Marshal(again)
	if !bytes.Equal(x, y) {
		t.Errorf("another order gives other bytes:\n%s\n%s", x, y)
	}
}
