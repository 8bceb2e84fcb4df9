package balance

import (
	"encoding/json"
	"math"
	"testing"
	"time"

	"hopperbook/schemas"
	"hopperbook/schemas/fault"
)

func at(hour int) time.Time { return time.Date(2026, 4, 7, hour, 0, 0, 0, time.UTC) }

func load(id string, kg, sd float64) Load {
	return Load{ID: schemas.LoadID(id), NetKg: kg, SdKg: sd, Method: schemas.MethodBucket, Scale: "s"}
}

func left(kg, sd float64) Residual { return Residual{Kg: kg, SdKg: sd, Method: schemas.ResidualCells} }

func refill(id string, hour int, res Residual, spread []Piece, loads ...Load) Refill {
	return Refill{ID: schemas.RefillID(id), Time: at(hour), Product: "p", Residual: res, Loads: loads, Spread: spread}
}

func run(t *testing.T, m Machine, o Options) Result {
	t.Helper()
	r, err := Run(m, o)
	if err != nil {
		t.Fatal(err)
	}
	return r
}

func near(t *testing.T, what string, got, want, tol float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tol) {
		t.Errorf("%s = %.10g, want %.10g", what, got, want)
	}
}

func has(r Result, code FindingCode) bool {
	for _, f := range r.Findings {
		if f.Code == code {
			return true
		}
	}
	return false
}

// on is what was spread in a field.
func on(field schemas.FieldID, nominalKg, swathM2 float64) Piece {
	return Piece{Field: field, NominalKg: nominalKg, SwathM2: swathM2}
}

// exact switches off what is not measurement.
var exact = Options{ScaleBiasShare: 1e-15, NaturalSdShare: 1e-15}

// TestKnownDay is worked by hand: 5 000 kg in, 400 left, 4 700 in, 100 left;
// field a takes the first load and a quarter of the second by nominal mass.
func TestKnownDay(t *testing.T) {
	m := Machine{ID: "m", Refills: []Refill{
		refill("r1", 6, left(0, 20), []Piece{on("a", 4600, 60000)}, load("l1", 5000, 50)),
		refill("r2", 7, left(400, 30), []Piece{on("a", 1250, 16000), on("b", 3750, 50000)}, load("l2", 4700, 40)),
		refill("r3", 8, left(100, 10), nil, load("l3", 3000, 30)),
	}}
	r := run(t, m, Options{ScaleBiasShare: 0.005, NaturalSdShare: 1e-15})
	if len(r.Intervals) != 3 || len(r.Fields) != 2 || len(r.Findings) != 0 {
		t.Fatalf("%d intervals, %d fields, findings %v", len(r.Intervals), len(r.Fields), r.Findings)
	}
	first, second, open := r.Intervals[0], r.Intervals[1], r.Intervals[2]
	near(t, "first mass", first.MassKg, 4600, 1e-9)
	near(t, "first ratio", first.FlowRatio, 1, 1e-12)
	near(t, "first noise sd", first.NoiseSd, math.Sqrt(20*20+50*50+30*30)/4600, 1e-12)
	near(t, "first sd", first.SdKg, math.Sqrt(20*20+50*50+30*30+25*25), 1e-9)
	near(t, "shared residual", first.NoiseCovNext, -30.0*30/4600/5000, 1e-15)
	near(t, "second mass", second.MassKg, 5000, 1e-9)
	if !open.Open || open.MassKg != 0 || open.SdKg != 0 || open.From != "r3" || open.To != "" {
		t.Errorf("open interval %+v", open)
	}
	a, b := r.Fields[0], r.Fields[1]
	near(t, "a", a.MassKg, 4600+1250, 1e-9)
	near(t, "b", b.MassKg, 3750, 1e-9)
	wantA := 20*20 + 50*50 + math.Pow(0.75*30, 2) + math.Pow(0.25*40, 2) + math.Pow(0.25*10, 2) + math.Pow(0.005*(5000+0.25*4700), 2)
	near(t, "sd of a", a.SdKg, math.Sqrt(wantA), 1e-9)
	wantAB := 0.25*0.75*(40*40+10*10) - 0.75*0.75*30*30 + 0.005*0.005*(5000+0.25*4700)*0.75*4700
	near(t, "cov of a and b", Cov(a.Form, b.Form), wantAB, 1e-6)
	low, high := a.Interval95()
	near(t, "95 % half width", (high-low)/2, 1.959964*a.SdKg, 1e-3)
	near(t, "final", r.FinalKg, 3100, 1e-9)
	near(t, "final sd", r.FinalSdKg, math.Sqrt(10*10+30*30+15*15), 1e-9)
	if len(a.Contributions) != 2 || a.Contributions[1] != (Contribution{"m", "r2", "r3", 1250}) {
		t.Errorf("contributions of a: %+v", a.Contributions)
	}
}

func TestDefaultUncertainties(t *testing.T) {
	for _, c := range []struct {
		name      string
		got, want float64
	}{
		{"bucket 1 %", DefaultLoadSdKg(schemas.MethodBucket, 5000), 50},
		{"weighbridge at least 20 kg", DefaultLoadSdKg(schemas.MethodWeighbridge, 2000), 20},
		// UK S.I. 1995/1907 Sch. 2 Table 3, class III, e 20 kg, in service, 24 000 - 11 000 kg.
		{"weighbridge class III", DefaultLoadSdKg(schemas.MethodWeighbridge, 13000), math.Sqrt(2*40*40/3.0 + 2*20*20/12.0)},
		{"cells 0.5 %", DefaultLoadSdKg(schemas.MethodCells, 5000), 25},
		{"volume 5 %", DefaultLoadSdKg(schemas.MethodVolume, 5000), 250},
		{"ran empty", DefaultResidualSdKg(schemas.ResidualEmpty, 0), 20},
		{"cells residual", DefaultResidualSdKg(schemas.ResidualCells, 8000), 40},
		{"level residual", DefaultResidualSdKg(schemas.ResidualLevel, 500), 100},
	} {
		near(t, c.name, c.got, c.want, 0.2)
	}
}

// TestSplitOfTwoHalves: the halves of one 5 000 kg load each carry the natural
// 1.5 % of their 2 500 kg, in opposite directions; one field alone carries none.
func TestSplitOfTwoHalves(t *testing.T) {
	m := Machine{ID: "m", Refills: []Refill{
		refill("r1", 6, left(0, 1e-9), []Piece{on("a", 2500, 1), on("b", 2500, 1)}, load("l1", 5000, 1e-9)),
		refill("r2", 7, left(0, 1e-9), []Piece{on("c", 1e-9, 1)}, load("l2", 1e-9, 1e-9)),
	}}
	o := Options{ScaleBiasShare: 1e-15, NaturalSdShare: 0.015}
	r := run(t, m, o)
	near(t, "half", r.Fields[0].SdKg, 0.015*2500, 1e-6)
	near(t, "cov", Cov(r.Fields[0].Form, r.Fields[1].Form), -math.Pow(0.015*2500, 2), 1e-6)
	m.Refills[0].Spread = []Piece{on("a", 2500, 1), on("a", 2500, 1)}
	near(t, "single field", run(t, m, o).Fields[0].SdKg, 0, 1e-6)
}

func TestUnknownResidualsMerge(t *testing.T) {
	m := Machine{ID: "m", Refills: []Refill{
		refill("r1", 6, Residual{}, []Piece{on("a", 4000, 1)}, load("l1", 4000, 40)),
		refill("r2", 7, Residual{Method: schemas.ResidualUnknown}, []Piece{on("a", 2000, 1), on("b", 2000, 1)}, load("l2", 4000, 40)),
		refill("r3", 8, left(0, 20), nil, load("l3", 4000, 40)),
	}}
	r := run(t, m, exact)
	iv := r.Intervals[0]
	if iv.Merged != 1 || iv.To != "r3" || iv.Loads != 2 || !has(r, MergedIntervals) || !has(r, AssumedEmpty) {
		t.Fatalf("%+v, findings %v", iv, r.Findings)
	}
	near(t, "mass", iv.MassKg, 8000, 1e-9)
	// The unknown first residual counts 10 % of the fullest hopper, 4 000 kg.
	near(t, "sd", iv.SdKg, math.Sqrt(400*400+2*40*40+20*20), 1e-6)
}

func TestProductChange(t *testing.T) {
	m := Machine{ID: "m", Refills: []Refill{
		refill("r1", 6, left(0, 20), []Piece{on("a", 4000, 1)}, load("l1", 4000, 40)),
		refill("r2", 7, Residual{}, []Piece{on("a", 3000, 1)}, load("l2", 3000, 30)),
		refill("r3", 8, left(0, 20), nil, load("l3", 4000, 40)),
	}}
	m.Refills[1].Product = "q"
	r := run(t, m, exact)
	if len(r.Intervals) != 3 || r.Intervals[1].Product != "q" || r.Intervals[0].Merged != 0 || !has(r, AssumedEmpty) {
		t.Fatalf("%+v, findings %v", r.Intervals, r.Findings)
	}
	if len(r.Fields) != 2 || r.Fields[0].Product != "p" || r.Fields[1].MassKg != 3000 {
		t.Errorf("fields by product: %+v", r.Fields)
	}
	m.Refills[1].Residual = left(700, 20)
	r = run(t, m, exact)
	near(t, "carried over", r.Intervals[1].MassKg, 3700, 1e-9)
	if !has(r, MixedProduct) {
		t.Errorf("findings %v", r.Findings)
	}
	// A residual reading alone never changes the product.
	m.Refills[1].Loads, m.Refills[1].Spread = nil, nil
	if p := run(t, m, exact).Intervals[1].Product; p != "p" {
		t.Errorf("product after a reading alone: %s", p)
	}
}

func TestOpenInterval(t *testing.T) {
	open := func(nominal float64) Result {
		return run(t, Machine{ID: "m", Refills: []Refill{
			refill("r1", 6, left(0, 1), []Piece{on("a", 5000, 1)}, load("l1", 4500, 1)),
			refill("r2", 7, left(0, 1), []Piece{on("a", 5000, 1)}, load("l2", 4500, 1)),
			refill("r3", 8, left(0, 1), []Piece{on("b", nominal, 1)}, load("l3", 4500, 1)),
		}}, Options{ScaleBiasShare: 1e-15, NaturalSdShare: 0.015})
	}
	r := open(2000)
	iv := r.Intervals[2]
	// Two loads at 0.9, each 1.5 % off by itself and the residual of 1 kg that
	// they share in opposite directions aside, and 1 +- 10 % before any.
	weight := 2/(0.015*0.015) + 1/(0.1*0.1)
	near(t, "mass by flow ratio 0.9", iv.MassKg, 2000*(0.9*2/(0.015*0.015)+1/(0.1*0.1))/weight, 1e-2)
	near(t, "sd: own 1.5 % of 5 000 kg by the root, and the mean of two", iv.SdKg, math.Sqrt(2000*5000*0.015*0.015+2000*2000/weight), 1e-2)
	near(t, "final", r.FinalKg, 4500-iv.MassKg, 1e-6)
	if iv.RatioKnown || !iv.Open {
		t.Errorf("%+v", iv)
	}
	full := open(6000) // expects 5 400 of 4 500 kg
	if iv := full.Intervals[2]; iv.MassKg > 4500 || iv.MassKg < 4400 || !has(full, OverContent) {
		t.Errorf("bounded mass %.1f, findings %v", iv.MassKg, full.Findings)
	}
}

// TestNoResidualEver: everything merges into one open interval, which must lie
// between all loads less one full hopper and all loads.
func TestNoResidualEver(t *testing.T) {
	m := Machine{ID: "m"}
	for i := range 10 {
		id := string(rune('a' + i))
		m.Refills = append(m.Refills, refill("r"+id, i, Residual{}, []Piece{on("f", 9000, 1)}, load("l"+id, 5000, 50)))
	}
	r := run(t, m, Options{})
	iv := r.Intervals[0]
	if len(r.Intervals) != 1 || iv.Merged != 9 || iv.MassKg < 45000 || iv.MassKg > 50000 || iv.SdKg > 5000 {
		t.Errorf("%d intervals, %+v", len(r.Intervals), iv)
	}
}

func TestUglyInput(t *testing.T) {
	plain := func() Machine {
		return Machine{ID: "m", Refills: []Refill{
			refill("r1", 6, left(0, 20), []Piece{on("a", 4000, 1)}, load("l1", 4000, 40)),
			refill("r2", 7, left(0, 20), nil, load("l2", 4000, 40)),
		}}
	}
	for _, c := range []struct {
		name   string
		break_ func(*Machine)
		want   FindingCode // "": an error
	}{
		{"NaN load", func(m *Machine) { m.Refills[0].Loads[0].NetKg = math.NaN() }, ""},
		{"negative load", func(m *Machine) { m.Refills[0].Loads[0].NetKg = -1 }, ""},
		{"infinite residual", func(m *Machine) { m.Refills[0].Residual.Kg = math.Inf(1) }, ""},
		{"negative nominal", func(m *Machine) { m.Refills[0].Spread[0].NominalKg = -1 }, ""},
		{"refill twice", func(m *Machine) { m.Refills[1].ID = "r1" }, ""},
		{"load twice", func(m *Machine) { m.Refills[1].Loads[0].ID = "l1" }, DuplicateLoad},
		{"more left than loaded", func(m *Machine) { m.Refills[1].Residual.Kg = 9000 }, NegativeMass},
		{"no passes", func(m *Machine) { m.Refills[0].Spread = nil }, MassWithoutPass},
		{"no set rate", func(m *Machine) { m.Refills[0].Spread[0].NominalKg = 0 }, SplitByArea},
		{"passes first", func(m *Machine) { m.Before = []Piece{on("z", 500, 1)} }, PassWithoutMass},
		{"one load and no reading", func(m *Machine) { m.Refills = m.Refills[:1]; m.Refills[0].Residual = Residual{} }, AssumedEmpty},
		{"never a reading", func(m *Machine) {
			for i := range m.Refills {
				m.Refills[i].Residual = Residual{}
			}
		}, MergedIntervals},
		{"zero distance", func(m *Machine) { m.Refills[0].Spread[0] = Piece{Field: "a"} }, MassWithoutPass},
		{"nothing came out", func(m *Machine) { m.Refills[1].Residual.Kg = 4000 }, NothingSpread},
		{"level above the brim", func(m *Machine) { m.HopperKg = 6000; m.Refills[1].Residual.Kg = 6100 }, OverCapacity},
		{"nothing but passes", func(m *Machine) { *m = Machine{Before: []Piece{on("z", 500, 1)}} }, PassWithoutMass},
	} {
		m := plain()
		c.break_(&m)
		r, err := Run(m, Options{})
		if c.want == "" {
			if fault.CodeOf(err) != fault.Input {
				t.Errorf("%s: error %v", c.name, err)
			}
			continue
		}
		if err != nil || !has(r, c.want) {
			t.Errorf("%s: error %v, findings %v", c.name, err, r.Findings)
		}
		if _, err := json.Marshal(r); err != nil { // refuses what is no number
			t.Errorf("%s: %v", c.name, err)
		}
	}
	if r, err := Run(Machine{}, Options{}); err != nil || len(r.Fields)+len(r.Intervals)+len(r.Findings) != 0 {
		t.Errorf("an empty machine: %+v %v", r, err)
	}
}
