package nutrient

import (
	"slices"
	"strings"
	"testing"
	"time"

	"hopperbook/schemas"
)

// Two deliveries, one with an analysis of its own, one before anything was
// registered: each version stands once, with what it was used for.
func TestAnalysesUsed(t *testing.T) {
	in := oneField(Rules{}, schemas.Analysis{NPct: pct(46), Kind: "manufactured"}, 100, 0)
	in.Products[0].At, in.Products[0].Event = day0.AddDate(0, 0, 5), "e1" // later than what is spread: taken all the same
	own := schemas.Analysis{NeutralisingValuePct: pct(90), Fineness: pct(0.5), Batch: "D7", Kind: "manufactured", FinenessSet: "mine"}
	in.Products = append(in.Products, Product{Product: "x", At: day0.AddDate(0, 0, -9), Event: "e2", Analysis: &own})
	for i, batch := range []schemas.DocketID{"D7", "D8", "D7"} {
		a := in.Applications[0]
		a.ID, a.Batch, a.From = "b"+string(rune('0'+i)), batch, day0.AddDate(0, 0, i)
		in.Applications = append(in.Applications, a)
	}
	in.Applications = append(in.Applications, Application{ID: "none", Field: "F1", Product: "y", From: day0, To: day0, MassKg: 1})
	got := run(t, in).Analyses
	if len(got) != 2 || got[0].Event != "e2" || got[1].Event != "e1" {
		t.Fatalf("%+v", got)
	}
	// 90 x 0.5 = 45 % of effective lime
	if u := got[0]; !slices.Equal(u.Applications, []string{"b0", "b2"}) || u.Later || !u.LimeKnown || u.EffectiveLimePct != 45 || u.Analysis.FinenessSet != "mine" || u.Kind != "manufactured" {
		t.Errorf("%+v", u)
	}
	if u := got[1]; !slices.Equal(u.Applications, []string{"a1", "b1"}) || !u.Later || u.LimeKnown || !u.From.Equal(day0.AddDate(0, 0, 5)) {
		t.Errorf("%+v", u)
	}
}

// Every application stands under one analysis, or nothing holds for it; the
// analysis gives what its own sum says, and is of its product and batch.
func TestAnalysesUsedOfRandomFarms(t *testing.T) {
	under := 0
	for seed := range uint64(80) {
		in := randomInput(seed)
		r := run(t, in)
		of := map[string]Used{}
		for _, u := range r.Analyses {
			for _, id := range u.Applications {
				if _, twice := of[id]; twice {
					t.Fatalf("seed %d: %s stands twice", seed, id)
				}
				of[id] = u
			}
		}
		for _, s := range r.Sums {
			if s.Scope != ScopeApplication {
				continue
			}
			a, u := applicationOf(in, s.Subject), of[s.Subject]
			if u.Product == "" {
				if !slices.ContainsFunc(r.Findings, func(f Finding) bool { return f.Kind == "analysis_missing" && f.Product == a.Product }) {
					t.Fatalf("seed %d: %s has no analysis, and nothing says so", seed, a.ID)
				}
				continue
			}
			under++
			lime := s.Of(LimeForm)
			if u.Product != a.Product || u.Analysis.Batch != "" && u.Analysis.Batch != a.Batch || u.Later && !a.From.Before(u.From) && len(u.Applications) == 1 || u.Kind != s.Kind ||
				lime.Known != u.LimeKnown && a.MassKg > 0 || u.LimeKnown && !near(lime.Kg, a.MassKg*u.EffectiveLimePct/100) {
				t.Fatalf("seed %d: %+v of %+v: %+v", seed, u, a, lime)
			}
		}
		if !slices.IsSortedFunc(r.Analyses, func(x, y Used) int {
			return strings.Compare(string(x.Product)+x.From.Format(time.RFC3339Nano), string(y.Product)+y.From.Format(time.RFC3339Nano))
		}) {
			t.Fatalf("seed %d: not in order", seed)
		}
	}
	if under < 100 {
		t.Errorf("only %d applications have an analysis", under)
	}
}
