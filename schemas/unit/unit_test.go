package unit

import (
	"math"
	"math/rand/v2"
	"testing"

	"hopperbook/schemas/fault"
)

func near(t *testing.T, what string, got, want, rel float64) {
	t.Helper()
	if math.Abs(got-want) > rel*math.Abs(want) {
		t.Errorf("%s = %.12g, want %.12g", what, got, want)
	}
}

// Metric identity; rows computed with exact rational arithmetic (Python
// fractions), rounded to 6 decimals.
func TestRateFromFlow(t *testing.T) {
	for _, r := range []struct{ q, v, w, rate, areaHaH float64 }{
		{60, 10, 12, 300, 12}, {96, 12, 12, 400, 14.4}, {150, 15, 18, 333.333333, 27},
		{45, 9.5, 14, 203.007519, 13.3}, {220, 18, 20, 366.666667, 36}, {30, 8, 10, 225, 8},
		{500, 16, 12, 1562.5, 19.2}, {12.5, 7.2, 9, 115.740741, 6.48}, {180, 12, 15, 600, 18},
		{83.2, 11.4, 13.5, 324.366472, 15.39},
	} {
		got, err := RateFromFlow(r.q, r.v, r.w)
		if err != nil {
			t.Fatal(err)
		}
		near(t, "rate", got, r.rate, 5e-9)
		near(t, "area rate", FieldCapacityHaH(r.v, r.w, 1), r.areaHaH, 1e-12)
		back, err := FlowForRate(got, r.v, r.w)
		if err != nil {
			t.Fatal(err)
		}
		near(t, "flow back", back, r.q, 1e-12)
	}
	for _, r := range []struct{ rate, v, w, q float64 }{
		{250, 12, 18, 90}, {100, 16, 24, 64}, {2500, 8, 12, 400}, {50, 20, 24, 40}, {187.5, 14.5, 16, 72.5},
	} {
		got, err := FlowForRate(r.rate, r.v, r.w)
		if err != nil {
			t.Fatal(err)
		}
		near(t, "flow", got, r.q, 1e-12)
	}
}

// Distance form and catch; exact arithmetic.
func TestRateFromDistance(t *testing.T) {
	for _, r := range []struct{ m, d, w, rate float64 }{
		{42.6, 100, 12, 355}, {118, 250, 18, 262.222222}, {15.25, 50, 10, 305}, {1260, 2000, 14, 450},
	} {
		got, err := RateFromDistance(r.m, r.d, r.w)
		if err != nil {
			t.Fatal(err)
		}
		near(t, "rate", got, r.rate, 5e-9)
	}
}

// The customary route and the metric route must give the same kg/ha.
func TestCustomaryAgreesWithMetric(t *testing.T) {
	rows := [][5]float64{
		{100, 6, 40, 206.25, 231.175551}, {250, 12, 60, 171.875, 192.646292},
		{80, 5, 50, 158.4, 177.542823}, {412.5, 10, 75, 272.25, 305.151727},
	}
	for _, r := range rows {
		lbAc, err := RateLbAc(r[0], r[1], r[2])
		if err != nil {
			t.Fatal(err)
		}
		near(t, "lb/ac", lbAc, r[3], 1e-12)
		near(t, "kg/ha", lbAc*KgHaPerLbAc, r[4], 5e-9)
	}
	rng := rand.New(rand.NewPCG(1, 2))
	for range 1000 {
		q, v, w := 1+rng.Float64()*900, 1+rng.Float64()*20, 10+rng.Float64()*100
		lbAc, _ := RateLbAc(q, v, w)
		metric, _ := RateFromFlow(q*KgPerLb, v*MPerMile/1000, w*MPerFt)
		near(t, "two routes", lbAc*KgHaPerLbAc, metric, 1e-12)
	}
}

// Iowa State University Extension, "Estimating Field Capacity of Farm
// Machines", PM 696 (rev. April 2001) and Ag Decision Maker A3-24, Table 1,
// rows "Fertilizer spreader" and "Manure spreader": printed ac/h.
func TestFieldCapacityPublished(t *testing.T) {
	for _, r := range []struct{ ft, mph, eff, acH float64 }{
		{40, 6, .70, 20.4}, {50, 6, .70, 25.5}, {60, 6, .68, 29.7}, {60, 12, .68, 59.3},
		{80, 6, .68, 39.6}, {80, 12, .68, 79.1}, {15, 5, .63, 5.7}, {20, 6, .63, 9.2}, {30, 6, .60, 13.1},
	} {
		got := FieldCapacityAcH(r.mph, r.ft, r.eff)
		if math.Abs(got-r.acH) > 0.05 {
			t.Errorf("%v ft %v mph: %.4f ac/h, printed %.1f", r.ft, r.mph, got, r.acH)
		}
		metric := FieldCapacityHaH(r.mph*MPerMile/1000, r.ft*MPerFt, r.eff)
		near(t, "ha/h", metric, got*M2PerAcre/M2PerHa, 1e-12)
	}
}

// Factors against GNU units 2.22 and, after rounding, the printed 1.1208
// kg/ha per lb/acre and 1.1023 short tons, 0.9842 long tons per tonne (IFA
// conversion tables).
func TestFactors(t *testing.T) {
	for _, r := range []struct {
		name      string
		got, want float64
	}{
		{"lb/ft3", KgM3PerLbFt3, 16.018463374}, {"lb/ac", KgHaPerLbAc, 1.12085115619},
		{"short ton", KgPerShortTon, 907.18474}, {"long ton", KgPerLongTon, 1016.0469088},
		{"60 lb/ft3", 60 * KgM3PerLbFt3, 961.1078}, {"knot", KmhPerKnot, 1.852},
	} {
		near(t, r.name, r.got, r.want, 1e-7)
	}
	round4 := func(v float64) float64 { return math.Round(v*1e4) / 1e4 }
	if math.Abs(KgHaPerLbAc-1.1208) > 1e-4 {
		t.Errorf("1 lb/ac = %v kg/ha, printed 1.1208", KgHaPerLbAc)
	}
	if round4(KgPerTonne/KgPerShortTon) != 1.1023 || round4(KgPerTonne/KgPerLongTon) != 0.9842 {
		t.Errorf("tonne = %v short, %v long", KgPerTonne/KgPerShortTon, KgPerTonne/KgPerLongTon)
	}
}

func TestRateRefuses(t *testing.T) {
	for _, r := range [][3]float64{
		{60, 0, 12}, {60, 10, 0}, {-1, 10, 12}, {60, math.NaN(), 12}, {math.Inf(1), 10, 12}, {math.NaN(), 1, 1},
	} {
		if _, err := RateFromFlow(r[0], r[1], r[2]); fault.CodeOf(err) != fault.Input || fault.HintOf(err) == "" {
			t.Errorf("RateFromFlow(%v) err = %v", r, err)
		}
		if _, err := RateFromDistance(r[0], r[1], r[2]); err == nil {
			t.Errorf("RateFromDistance(%v) must refuse", r)
		}
	}
	if !math.IsNaN(NominalRate(5, 0)) {
		t.Error("mass over no area has no rate")
	}
}
