package nutrient

import (
	"math/rand/v2"
	"testing"
	"time"

	"hopperbook/schemas"
)

// However fields change hands, each application is in the records of one
// customer, and every customer's verdicts are those of the whole book.
func TestCustomersShareTheBook(t *testing.T) {
	shared := 0
	for seed := range uint64(40) {
		in := randomInput(seed, randomRule(seed))
		r := rand.New(rand.NewPCG(seed, 5))
		customers := []schemas.CustomerID{"A", "B", "C"}
		for i := range in.Fields {
			f := &in.Fields[i]
			f.Customer = customers[r.IntN(3)]
			if len(in.Applications) > 0 && r.IntN(2) == 0 {
				sold := *f
				sold.From, sold.Customer = in.Applications[r.IntN(len(in.Applications))].From.Add(time.Second), customers[r.IntN(3)]
				in.Fields = append(in.Fields, sold)
			}
		}
		whole := run(t, in)
		type key struct{ limit, subject, period string }
		verdicts := map[key]Verdict{}
		for _, v := range whole.Verdicts {
			verdicts[key{v.Limit, v.Subject, v.Period.Name}] = v
		}
		seen := map[string]int{}
		for _, c := range append(customers, "") {
			in.Customer = c
			got := run(t, in)
			for _, s := range got.Sums {
				if s.Scope == ScopeApplication && c != "" {
					seen[s.Subject]++
				}
			}
			for _, v := range got.Verdicts {
				w, ok := verdicts[key{v.Limit, v.Subject, v.Period.Name}]
				if !ok || v.State != w.State || v.Value != w.Value || v.Low != w.Low || v.High != w.High || v.AreaM2 != w.AreaM2 {
					t.Fatalf("seed %d: customer %q has\n%+v\nthe book\n%+v", seed, c, v, w)
				}
				if len(v.Applications) < len(w.Applications) {
					shared++
				}
			}
		}
		for _, a := range in.Applications {
			known := 0
			for _, f := range in.Fields {
				if f.ID == a.Field {
					known = 1
				}
			}
			if want := map[int]int{1: 1, 0: 3}[known]; seen[a.ID] != want { // of a field nobody registered all are told
				t.Fatalf("seed %d: application %s is in the records of %d customers, of %d", seed, a.ID, seen[a.ID], want)
			}
		}
	}
	if shared == 0 {
		t.Error("no verdict counts what is another customer's")
	}
}

// What is in force: the last registration by then, else the first.
func TestInForce(t *testing.T) {
	at := func(day int) time.Time { return day0.AddDate(0, 0, day) }
	in := Input{Fields: []Field{{ID: "F", From: at(20), Crop: "b"}, {ID: "F", From: at(10), Crop: "a"}, {ID: "G", Crop: "g"}}}
	for day, want := range map[int]string{0: "a", 10: "a", 19: "a", 20: "b", 99: "b"} {
		if f, ok := in.FieldAt("F", at(day)); !ok || f.Crop != want {
			t.Errorf("day %d: %+v", day, f)
		}
	}
	if _, ok := in.FieldAt("H", at(0)); ok {
		t.Error("a field nobody registered is known")
	}
	in.Fields[1].From = at(20)
	if _, err := Run(in); err == nil {
		t.Error("two registrations of one instant pass")
	}
}

// A field of several areas: the limit's interval holds what each gives, and a
// rule that did not apply at an application has it in the upper end alone.
func TestIntervalOverRegistrations(t *testing.T) {
	for name, c := range map[string]struct {
		later     func(*Field)
		low, high float64
		state     string
	}{
		"the same":        {func(*Field) {}, 100, 100, Under},
		"half the area":   {func(f *Field) { f.AreaM2 /= 2 }, 100, 200, NotShown},
		"twice the area":  {func(f *Field) { f.AreaM2 *= 2 }, 50, 100, NotShown},
		"the same, moved": {func(f *Field) { f.Ground = "moved" }, 100, 100, NotShown},
		"in two steps":    {func(f *Field) { f.Crop = "wheat" }, 100, 100, Under},
		"no area":         {func(f *Field) { f.AreaM2 = 0 }, 0, 0, NotShown},
		"no longer of it": {func(f *Field) { f.LandUse = "arable" }, 50, 100, Under},
	} {
		in := oneField(Rules{RuleHead: RuleHead{ID: "mine"}, Limits: []Limit{{Part: Part{ID: "n", Applies: Applies{LandUses: []string{"pasture"}}}, Nutrient: "N", Scope: ScopeField, Value: 150, Unit: "kg/ha"}}},
			schemas.Analysis{NPct: pct(100), Kind: "manufactured"}, 0, 0)
		f, a := &in.Fields[0], in.Applications[0]
		f.LandUse, f.AreaM2 = "pasture", 1e4
		a.MassKg, a.MassSdKg, a.Shared = 50, 0, nil
		b := a
		b.ID, b.From, b.To = "second", a.From.AddDate(0, 0, 2), a.To.AddDate(0, 0, 2)
		again := *f
		again.From = a.From.AddDate(0, 0, 1)
		c.later(&again)
		in.Fields, in.Applications = append(in.Fields, again), []Application{a, b}
		r := run(t, in)
		if len(r.Verdicts) != 1 || r.Verdicts[0].State != c.state || r.Verdicts[0].Low != c.low || r.Verdicts[0].High != c.high {
			t.Errorf("%s: %+v", name, r.Verdicts)
		}
	}
}
