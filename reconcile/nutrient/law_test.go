package nutrient

import (
	"bytes"
	"encoding/json"
	"math/rand/v2"
	"slices"
	"testing"

	"hopperbook/schemas"
)

func shuffled[T any](r *rand.Rand, list []T) []T {
	out := slices.Clone(list)
	r.Shuffle(len(out), func(i, k int) { out[i], out[k] = out[k], out[i] })
	return out
}

// The order of anything changes no byte.
func TestOrderIsIrrelevant(t *testing.T) {
	shipped, err := Shipped()
	if err != nil {
		t.Fatal(err)
	}
	for seed := range uint64(15) {
		in := randomInput(seed, append(slices.Clone(shipped), randomRule(seed))...)
		r := rand.New(rand.NewPCG(seed, 1))
		other := in
		other.Fields, other.Products, other.Applications, other.Rules = shuffled(r, in.Fields), shuffled(r, in.Products), shuffled(r, in.Applications), shuffled(r, in.Rules)
		a, errA := json.Marshal(run(t, in))
		b, errB := json.Marshal(run(t, other))
		if errA != nil || errB != nil || !bytes.Equal(a, b) {
			t.Fatalf("seed %d: %v %v\n%s\n%s", seed, errA, errB, a, b)
		}
	}
}

// split cuts an application in two by share; what it shared it still shares,
// and its own error becomes one that the parts share.
func split(a Application, share float64) (Application, Application) {
	a.Shared = append(slices.Clone(a.Shared), Term{"of " + a.ID, a.MassSdKg})
	a.MassSdKg = 0
	part := func(name string, w float64) Application {
		p := a
		p.ID += name
		p.MassKg *= w
		p.AreaM2 *= w
		p.Shared = nil
		for _, s := range a.Shared {
			p.Shared = append(p.Shared, Term{s.Key, s.Kg * w})
		}
		return p
	}
	return part("x", share), part("y", 1-share)
}

// sameSums compares the sums of a scope, and says how many it compared.
func sameSums(t *testing.T, a, b Result, scopes ...string) (n int) {
	t.Helper()
	rows := func(r Result) (out []Sum) {
		for _, s := range r.Sums {
			if slices.Contains(scopes, s.Scope) {
				out = append(out, s)
			}
		}
		return out
	}
	ra, rb := rows(a), rows(b)
	if len(ra) != len(rb) {
		t.Fatalf("%d and %d sums", len(ra), len(rb))
	}
	for i, s := range ra {
		o := rb[i]
		if s.Subject != o.Subject || s.Kind != o.Kind || s.Product != o.Product || !near(s.MassKg, o.MassKg) || !near(s.MassHighKg, o.MassHighKg) || !near(s.AreaM2, o.AreaM2) {
			t.Fatalf("%+v\n%+v", s, o)
		}
		for k, x := range s.Amounts {
			y := o.Amounts[k]
			if !near(x.Kg, y.Kg) || !near(x.LowKg, y.LowKg) || !near(x.HighKg, y.HighKg) || !near(x.HighKgHa, y.HighKgHa) || x.Known != y.Known || !near(x.UnknownKg, y.UnknownKg) {
				t.Fatalf("%s %s: %+v, %+v", s.Scope, s.Subject, x, y)
			}
			n++
		}
	}
	return n
}

// Splitting a field, and each application on it with it, conserves every
// kilogram, interval and verdict of holding, zone and season; splitting an
// application alone those of its field too.
func TestSplittingConserves(t *testing.T) {
	compared := 0
	for seed := range uint64(40) {
		rules := randomRule(seed)
		for i := range rules.Limits { // the field's own limits are of another field after a split
			rules.Limits[i].Scope, rules.Limits[i].Period = ScopeHolding, Period{}
			rules.Limits[i].Area = ""
		}
		in := randomInput(seed, rules)
		share := 0.1 + 0.8*rand.New(rand.NewPCG(seed, 2)).Float64()
		cut := in.Applications[0].Field
		byApplication, byField := in, in
		byApplication.Applications, byField.Applications, byField.Fields = nil, nil, nil
		for _, f := range in.Fields {
			if f.ID != cut {
				byField.Fields = append(byField.Fields, f)
				continue
			}
			if f.holding() == "" {
				f.Customer = "its own"
			}
			x, y := f, f
			x.ID, y.ID = f.ID+"x", f.ID+"y"
			x.AreaM2, y.AreaM2 = f.AreaM2*share, f.AreaM2*(1-share)
			byField.Fields = append(byField.Fields, x, y)
		}
		whole := in
		whole.Fields = slices.Clone(in.Fields)
		for i := range whole.Fields {
			if f := &whole.Fields[i]; f.ID == cut && f.holding() == "" {
				f.Customer = "its own"
			}
		}
		byApplication.Fields = whole.Fields
		for _, a := range in.Applications {
			if a.Field != cut {
				byApplication.Applications, byField.Applications = append(byApplication.Applications, a), append(byField.Applications, a)
				continue
			}
			x, y := split(a, share)
			byApplication.Applications = append(byApplication.Applications, x, y)
			x.Field, y.Field = cut+"x", cut+"y"
			byField.Applications = append(byField.Applications, x, y)
		}
		a, b, c := run(t, whole), run(t, byApplication), run(t, byField)
		compared += sameSums(t, a, b, ScopeField, ScopeHolding, ScopeZone, ScopeAll)
		compared += sameSums(t, a, c, ScopeHolding, ScopeZone, ScopeAll)
		for i, v := range a.Verdicts {
			if w := c.Verdicts[i]; v.State != w.State || v.Subject != w.Subject || !near(v.Value, w.Value) || !near(v.High, w.High) {
				t.Fatalf("seed %d: %+v\n%+v", seed, v, w)
			}
		}
	}
	if compared < 5000 {
		t.Errorf("only %d amounts were compared", compared)
	}
}

// A season is the sum of its applications, by kind, by product and by field.
func TestSeasonIsTheSum(t *testing.T) {
	for seed := range uint64(60) {
		r := run(t, randomInput(seed))
		type key struct {
			season string
			form   Form
		}
		sums := map[string]map[key]float64{}
		for _, s := range r.Sums {
			by := s.Scope
			switch {
			case s.Scope == ScopeAll && s.Kind != "":
				by = "kind"
			case s.Scope == ScopeAll && s.Product != "":
				by = "product"
			case s.Scope != ScopeApplication && (s.Kind != "" || s.Product != ""):
				continue
			}
			if sums[by] == nil {
				sums[by] = map[key]float64{}
			}
			for _, a := range s.Amounts {
				sums[by][key{s.Season.Name, a.Form}] += a.Kg
			}
		}
		for _, by := range []string{ScopeApplication, ScopeField, "kind", "product"} {
			if len(sums[by]) != len(sums[ScopeAll]) || len(sums[by]) == 0 {
				t.Fatalf("seed %d: %d sums by %s, %d in all", seed, len(sums[by]), by, len(sums[ScopeAll]))
			}
			for k, kg := range sums[ScopeAll] {
				if !near(kg, sums[by][k]) {
					t.Fatalf("seed %d: %v by %s %v, in all %v", seed, k, by, sums[by][k], kg)
				}
			}
		}
	}
}

// The same limit in another unit and form has the same verdict, also where it
// lies exactly at the end of the interval.
func TestUnitsChangeNoVerdict(t *testing.T) {
	states := map[string]int{}
	for seed := range uint64(60) {
		rules := randomRule(seed)
		in := randomInput(seed, rules)
		if seed%2 == 0 { // put the limits at what was found
			for _, v := range run(t, in).Verdicts {
				for i := range rules.Limits {
					if l := &rules.Limits[i]; l.ID == v.Limit && v.High > 0 {
						l.Value = []float64{v.High, v.Low, v.Value}[seed/2%3]
					}
				}
			}
		}
		in.Rules = []Rules{rules}
		first := run(t, in)
		for turn := 1; turn < 4; turn++ {
			other := rules
			other.Limits = slices.Clone(rules.Limits)
			for i := range other.Limits {
				l := &other.Limits[i]
				units := []string{"kg/ha", "t/ha", "lb/ac"}
				old, perArea, _ := unitOf(l.Unit)
				if !perArea {
					units = []string{"kg", "t", "lb"}
				}
				form, _ := lookup(l.Nutrient)
				var forms []Form
				for _, c := range compounds() {
					if c.nutrient == form.nutrient {
						forms = append(forms, c.form)
					}
				}
				to := forms[(slices.Index(forms, l.Nutrient)+turn)%len(forms)]
				l.Unit = units[(slices.Index(units, l.Unit)+turn)%3]
				now, _, _ := unitOf(l.Unit)
				l.Value = l.Value * old / now * factor(l.Nutrient, to)
				l.Nutrient = to
			}
			in.Rules = []Rules{other}
			second := run(t, in)
			for i, v := range first.Verdicts {
				states[v.State]++
				if w := second.Verdicts[i]; v.State != w.State {
					t.Fatalf("seed %d: %s in %s of %s, %s in %s of %s:\n%+v\n%+v", seed, v.State, v.Unit, v.Nutrient, w.State, w.Unit, w.Nutrient, v, w)
				}
			}
		}
	}
	for _, s := range []string{Under, Over, NotShown, NotApplicable} {
		if states[s] < 30 {
			t.Errorf("only %d verdicts %s", states[s], s)
		}
	}
}

// More product is never less of anything, and never makes a limit kept that
// was passed.
func TestMoreIsNeverLess(t *testing.T) {
	for seed := range uint64(60) {
		in := randomInput(seed, randomRule(seed))
		more := in
		more.Applications = slices.Clone(in.Applications)
		for i := range more.Applications {
			a := &more.Applications[i]
			a.MassKg *= 1.5
			a.MassSdKg, a.Shared = 0, nil
			in.Applications[i].MassSdKg, in.Applications[i].Shared = 0, nil
		}
		for i := range in.Products {
			a := *in.Products[i].Analysis
			a.RelSdPct = nil
			in.Products[i].Analysis = &a
		}
		more.Products = in.Products
		a, b := run(t, in), run(t, more)
		for i, v := range a.Verdicts {
			if w := b.Verdicts[i]; v.Value > w.Value || v.State == Over && w.State != Over || v.State == NotShown && w.State == Under {
				t.Fatalf("seed %d: %+v\n%+v", seed, v, w)
			}
		}
	}
}

func TestRefusals(t *testing.T) {
	good := oneField(Rules{}, schemas.Analysis{}, 1, 1)
	for name, change := range map[string]func(*Input){
		"no name":         func(in *Input) { in.Applications[0].ID = "" },
		"twice":           func(in *Input) { in.Applications = append(in.Applications, in.Applications[0]) },
		"field twice":     func(in *Input) { in.Fields = append(in.Fields, in.Fields[0]) },
		"negative mass":   func(in *Input) { in.Applications[0].MassKg = -1 },
		"no number":       func(in *Input) { in.Applications[0].MassSdKg = nan() },
		"no area":         func(in *Input) { in.Applications[0].AreaM2 = 1e300 },
		"no error":        func(in *Input) { in.Applications[0].Shared = []Term{{"x", nan()}} },
		"no field's area": func(in *Input) { in.Fields[0].AreaM2 = -5 },
		"no season":       func(in *Input) { in.Season.Kind = PerApplication },
	} {
		in := good
		in.Fields, in.Applications = slices.Clone(good.Fields), slices.Clone(good.Applications)
		change(&in)
		if _, err := Run(in); err == nil {
			t.Errorf("%s is taken", name)
		}
	}
	if _, err := json.Marshal(run(t, Input{})); err != nil {
		t.Error(err)
	}
}

func nan() float64 { zero := 0.0; return zero / zero }
