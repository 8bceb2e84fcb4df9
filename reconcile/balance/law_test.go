package balance

import (
	"fmt"
	"math"
	"math/rand/v2"
	"reflect"
	"slices"
	"testing"
	"time"

	"hopperbook/schemas"
)

// season is a random machine season: every kind of residual, two products,
// several fields an interval, two scales.
func season(rng *rand.Rand, id string, refills int) Machine {
	m := Machine{ID: schemas.MachineID(id)}
	methods := []string{schemas.ResidualCells, schemas.ResidualEmpty, schemas.ResidualLevel, schemas.ResidualUnknown, ""}
	product := schemas.ProductID("p")
	for i := range refills {
		if rng.IntN(8) == 0 {
			product = []schemas.ProductID{"p", "q"}[rng.IntN(2)]
		}
		r := Refill{ID: schemas.RefillID(fmt.Sprintf("r%03d", i)), Time: at(0).Add(time.Duration(i) * time.Hour), Product: product}
		r.Residual.Method = methods[rng.IntN(len(methods))]
		if r.Residual.Method != schemas.ResidualEmpty {
			r.Residual.Kg = 300 * rng.Float64()
		}
		for j := range rng.IntN(4) {
			r.Loads = append(r.Loads, Load{
				ID: schemas.LoadID(fmt.Sprintf("l%03d-%d", i, j)), NetKg: 1000 + 2000*rng.Float64(),
				Method: []string{schemas.MethodBucket, schemas.MethodWeighbridge}[rng.IntN(2)],
				Scale:  schemas.ScaleID([]string{"", "s1", "s2"}[rng.IntN(3)]),
			})
		}
		for range rng.IntN(4) {
			f := schemas.FieldID([]string{"", "a", "b", "c"}[rng.IntN(4)])
			r.Spread = append(r.Spread, on(f, 500+2000*rng.Float64(), 30000*rng.Float64()))
		}
		m.Refills = append(m.Refills, r)
	}
	return m
}

func TestConservationAndOrder(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 2))
	for range 300 {
		m := season(rng, "m", 1+rng.IntN(25))
		want := run(t, m, Options{})
		var intervals, fields, parts float64
		var total Form
		for _, iv := range want.Intervals {
			intervals += iv.MassKg
		}
		for _, f := range want.Fields {
			fields += f.MassKg
			total = total.plus(f.Form, 1)
			for _, c := range f.Contributions {
				parts += c.MassKg
			}
		}
		flow := want.InitialKg + want.LoadedKg - want.FinalKg
		near(t, "intervals", intervals, flow, gramKg)
		near(t, "fields", fields, flow, gramKg)
		near(t, "contributions", parts, flow, gramKg)
		for _, term := range total { // what went out knows nothing of how it was split
			if term.Key[:5] == "split" && math.Abs(term.Coefficient) > 1e-9 {
				t.Fatalf("the sum over fields keeps a split error: %+v", term)
			}
		}
		rng.Shuffle(len(m.Refills), func(i, j int) { m.Refills[i], m.Refills[j] = m.Refills[j], m.Refills[i] })
		for _, r := range m.Refills {
			rng.Shuffle(len(r.Loads), func(i, j int) { r.Loads[i], r.Loads[j] = r.Loads[j], r.Loads[i] })
		}
		before := slices.Clone(m.Refills)
		if got := run(t, m, Options{}); !reflect.DeepEqual(got, want) {
			t.Fatal("another order of refills and loads gives another result")
		}
		if !reflect.DeepEqual(before, m.Refills) {
			t.Fatal("Run changed its input")
		}
	}
}

// TestConservedSees that the assertion in the code is not empty.
func TestConservedSees(t *testing.T) {
	r := run(t, season(rand.New(rand.NewPCG(3, 4)), "m", 9), Options{})
	r.Fields[0].MassKg += 0.002
	if r.conserved() == nil {
		t.Error("two grams made from nothing went unseen")
	}
}

// TestReadingAloneInsideOneField: a residual reading splits an interval; the
// field that takes both halves keeps its mass and uncertainty, whatever is read.
func TestReadingAloneInsideOneField(t *testing.T) {
	m := Machine{ID: "m", Refills: []Refill{
		refill("r1", 6, left(50, 20), []Piece{on("a", 4000, 1)}, load("l1", 5000, 50)),
		refill("r2", 9, left(100, 20), nil, load("l2", 1000, 10)),
	}}
	want := run(t, m, Options{}).Fields[0]
	for _, reading := range []Residual{left(2500, 0.001), left(2400, 0.001), left(1000, 500)} {
		split := m
		split.Refills = slices.Clone(m.Refills)
		split.Refills[0].Spread = []Piece{on("a", 2100, 1)}
		split.Refills = append(split.Refills, refill("reading", 7, reading, []Piece{on("a", 1900, 1)}))
		r := run(t, split, Options{})
		if len(r.Intervals) != 3 {
			t.Fatalf("%d intervals", len(r.Intervals))
		}
		near(t, "mass", r.Fields[0].MassKg, want.MassKg, 1e-9)
		near(t, "sd", r.Fields[0].SdKg, want.SdKg, 1e-9)
	}
	// Unknown, the same event is as if it had never been.
	split := m
	split.Refills = append(slices.Clone(m.Refills), refill("reading", 7, Residual{}, nil))
	r := run(t, split, Options{})
	near(t, "merged mass", r.Fields[0].MassKg, want.MassKg, 1e-9)
	near(t, "merged sd", r.Fields[0].SdKg, want.SdKg, 1e-9)
}

// TestReadingSharpensTwoFields: exact readings between fields leave no split error.
func TestReadingSharpensTwoFields(t *testing.T) {
	m := Machine{ID: "m", Refills: []Refill{
		refill("r1", 6, left(0, 1e-6), []Piece{on("a", 2000, 1), on("b", 2000, 1)}, load("l1", 5000, 1e-6)),
		refill("r2", 9, left(1000, 1e-6), nil, load("l2", 1000, 10)),
	}}
	o := Options{ScaleBiasShare: 1e-15}
	if sd := run(t, m, o).Fields[0].SdKg; sd < 25 {
		t.Errorf("split error %.2f kg", sd)
	}
	m.Refills[0].Spread = m.Refills[0].Spread[:1]
	m.Refills = append(m.Refills, refill("reading", 7, left(3100, 1e-6), []Piece{on("b", 2000, 1)}))
	f := run(t, m, o).Fields
	near(t, "a", f[0].MassKg, 1900, 1e-6)
	near(t, "b", f[1].MassKg, 2100, 1e-6)
	near(t, "sd", f[0].SdKg, 0, 1e-4)
}

// TestScaling: all masses and stated uncertainties times c. The natural spread
// is stated for 5 000 kg, so it is switched off.
func TestScaling(t *testing.T) {
	const c = 8.0
	scaled := func(c float64) Result {
		m := season(rand.New(rand.NewPCG(5, 6)), "m", 12)
		m.HopperKg = 7000 * c
		for i := range m.Refills {
			r := &m.Refills[i]
			r.Residual.Method = schemas.ResidualLevel
			r.Residual.Kg, r.Residual.SdKg = c*r.Residual.Kg, c*30
			for j := range r.Loads {
				r.Loads[j].NetKg *= c
				r.Loads[j].SdKg = c * 40
			}
			for j := range r.Spread {
				r.Spread[j].NominalKg *= c
			}
		}
		return run(t, m, Options{NaturalSdShare: 1e-12})
	}
	one, many := scaled(1), scaled(c)
	for i, f := range one.Fields {
		near(t, "mass", many.Fields[i].MassKg, c*f.MassKg, 1e-6)
		near(t, "sd", many.Fields[i].SdKg, c*f.SdKg, 1e-4*f.SdKg)
	}
	for i, iv := range one.Intervals {
		near(t, "ratio", many.Intervals[i].FlowRatio, iv.FlowRatio, 1e-9)
		near(t, "cov", many.Intervals[i].NoiseCovNext, iv.NoiseCovNext, 1e-12)
	}
}

// TestCombine: two machines behind one scale; its bias does not average out.
func TestCombine(t *testing.T) {
	machine := func(id schemas.MachineID, scale schemas.ScaleID) Result {
		l := load("l", 5000, 40)
		l.Scale = scale
		return run(t, Machine{ID: id, Refills: []Refill{
			refill("r1", 6, left(0, 20), []Piece{on("a", 5000, 1)}, l),
			refill("r2", 7, left(0, 20), nil, load("l2", 1, 1)),
		}}, Options{})
	}
	noise := 2 * (40*40 + 2*20*20.0)
	same := Combine(machine("m1", "s"), machine("m2", "s"))
	near(t, "one scale", same[0].SdKg, math.Sqrt(noise+math.Pow(0.005*10000, 2)), 1e-6)
	two := Combine(machine("m1", "s"), machine("m2", "t"))
	near(t, "two scales", two[0].SdKg, math.Sqrt(noise+2*math.Pow(0.005*5000, 2)), 1e-6)
	near(t, "mass", two[0].MassKg, 10000, 1e-9)
	if n := len(two[0].Contributions); n != 2 {
		t.Errorf("%d contributions", n)
	}
	if back := Combine(machine("m2", "t"), machine("m1", "s")); back[0].SdKg != two[0].SdKg || back[0].MassKg != two[0].MassKg {
		t.Error("the order of machines changes the sum")
	}
}

// TestAnUninformativeRefillChangesNothing: a refill without loads whose
// residual was not read, anywhere, even in the middle of a field: the same
// masses, uncertainties and covariances, the same flow, the same hopper.
func TestAnUninformativeRefillChangesNothing(t *testing.T) {
	rng := rand.New(rand.NewPCG(31, 32))
	pieces := 0
	for n := range 120 {
		m := season(rng, "m", 12+rng.IntN(20))
		want := run(t, m, Options{})
		i := rng.IntN(len(m.Refills))
		r := m.Refills[i]
		if len(r.Spread) == 0 {
			continue
		}
		pieces++
		product := r.Product
		for k := i; k > 0 && len(m.Refills[k].Loads) == 0; k-- {
			product = m.Refills[k-1].Product
		}
		k, part := rng.IntN(len(r.Spread)), rng.Float64()
		a, b := r.Spread[k], r.Spread[k]
		a.NominalKg, a.SwathM2 = a.NominalKg*part, a.SwathM2*part
		b.NominalKg, b.SwathM2 = b.NominalKg-a.NominalKg, b.SwathM2-a.SwathM2
		m.Refills = slices.Clone(m.Refills)
		m.Refills[i].Spread = append(slices.Clone(r.Spread[:k]), a)
		m.Refills = append(m.Refills, Refill{ID: "nothing", Time: r.Time.Add(time.Minute), Product: product, Spread: append([]Piece{b}, r.Spread[k+1:]...)})
		got := run(t, m, Options{})
		if len(got.Fields) != len(want.Fields) || len(got.Intervals) != len(want.Intervals) {
			t.Fatalf("%d: %d fields of %d, %d intervals of %d", n, len(got.Fields), len(want.Fields), len(got.Intervals), len(want.Intervals))
		}
		for i, f := range want.Fields {
			near(t, "mass", got.Fields[i].MassKg, f.MassKg, 1e-9*math.Abs(f.MassKg)+1e-9)
			near(t, "sd", got.Fields[i].SdKg, f.SdKg, 1e-8*f.SdKg+1e-9)
			near(t, "cov", Cov(got.Fields[i].Form, got.Fields[0].Form), Cov(f.Form, want.Fields[0].Form), 1e-8*f.SdKg*want.Fields[0].SdKg+1e-9)
		}
		for i, iv := range want.Intervals {
			near(t, "level", got.Intervals[i].Level, iv.Level, 1e-9)
			near(t, "level sd", got.Intervals[i].LevelSd, iv.LevelSd, 1e-9)
			near(t, "innovation", got.Intervals[i].Innovation, iv.Innovation, 1e-8*math.Abs(iv.Innovation)+1e-9)
		}
		near(t, "final", got.FinalKg, want.FinalKg, 1e-9*math.Abs(want.FinalKg)+1e-9)
		near(t, "ratio now", got.Ratio, want.Ratio, 1e-9)
		near(t, "ratio sd now", got.RatioSd, want.RatioSd, 1e-9)
	}
	if pieces < 60 {
		t.Errorf("only %d seasons were cut", pieces)
	}
}
