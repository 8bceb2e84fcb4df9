package stock

import (
	"bytes"
	"encoding/json"
	"fmt"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
	"time"

	"hopperbook/schemas"
	"hopperbook/schemas/fault"
)

var monday = time.Date(2026, 3, 2, 6, 0, 0, 0, time.UTC)

func hour(h int) time.Time { return monday.Add(time.Duration(h) * time.Hour) }

// week is an invented week of two stockpiles and two machines on one loader:
// each pile opens with 30 t, gets four dockets of 26 t, gives 20 loads of 5 t
// and closes with 34 t. Every figure is true.
func week() Input {
	in := Input{Spreads: []Spread{{Machine: "sp1", Product: "lime", Since: monday}, {Machine: "sp2", Product: "lime", Since: monday},
		{Machine: "sp1", Product: "super", Since: monday}, {Machine: "sp2", Product: "super", Since: monday}}}
	number := 0
	for k, product := range []schemas.ProductID{"lime", "super"} {
		pile := schemas.StockpileID("pile-" + string(product))
		in.Surveys = append(in.Surveys, Survey{pile, product, hour(0), 30_000, 600}, Survey{pile, product, hour(100), 34_000, 700})
		for i := range 4 {
			number++
			in.Dockets = append(in.Dockets, Docket{ID: schemas.DocketID(fmt.Sprintf("d-%03d", number)), Stockpile: pile, Product: product, Time: hour(1 + 20*i), NetKg: 26_000, SdKg: 35, SdUnstatedKg: 68})
		}
		for i := range 20 {
			in.Loads = append(in.Loads, Load{ID: schemas.LoadID(fmt.Sprintf("%s-%02d", product, i)), Stockpile: pile, Product: product, Scale: "s1",
				Time: hour(2 + 4*i), NetKg: 5000, SdKg: 30, SdUnstatedKg: 50, Spread: 2*k + i%2})
		}
	}
	for i := range in.Spreads {
		s := &in.Spreads[i]
		s.ResidualChangeKg, s.ResidualSdKg, s.Calibrated, s.NominalKg, s.NaturalKg = 200, 30, true, 49_800, 300
	}
	return in
}

func settle(t *testing.T, in Input) Result {
	t.Helper()
	res, err := Run(in)
	if err != nil {
		t.Fatal(err)
	}
	return res
}

func TestATrueWeekClosesByHand(t *testing.T) {
	res := settle(t, week())
	if len(res.Rows) != 2 || len(res.Suspects)+len(res.Findings) != 0 || !res.Test.Passes || res.Test.Dof != 6 {
		t.Fatalf("%+v", res)
	}
	r := res.Rows[0]
	for name, c := range map[string]struct {
		a        Amount
		kg, sdKg float64
	}{
		"opening":  {r.Opening, 30_000, 600},
		"docketed": {r.Docketed, 104_000, 125.3}, // sqrt(4 35^2 + (0.1 % of 104 t)^2)
		"loaded":   {r.Loaded, 100_000, 517.7},   // sqrt(20 30^2 + (0.5 % of 100 t)^2)
		"spread":   {r.Spread, 99_600, 1846.0},   // two machines of sqrt(300^2 + (5 % / 1.96 of 49.8 t)^2)
		"closing":  {r.Closing, 34_000, 700},
	} {
		near(t, name+" measured", c.a.MeasuredKg, c.kg, 0.001)
		near(t, name+" sd", c.a.MeasuredSd, c.sdKg, 0.1)
		near(t, name, c.a.Kg, c.kg, 0.001)
		if !(c.a.SdKg < c.a.MeasuredSd) || c.a.LowKg >= c.a.HighKg {
			t.Errorf("%s must be surer than measured: %+v", name, c.a)
		}
	}
	near(t, "imbalance", r.ImbalanceKg, 0, 0.001)
	near(t, "imbalance sd", r.ImbalanceSd, 1064.8, 0.1) // of 600, 125.3, 517.7 and 700
}

// What can go wrong is named as what it is.
//
// tripwire: one table of faults.
func TestFaultsAreNamed(t *testing.T) {
	for _, c := range []struct {
		name   string
		break_ func(*Input)
		want   Suspect
		say    []string
		orElse string
	}{
		{"a docket is missing", func(in *Input) { in.Dockets = slices.Delete(in.Dockets, 2, 3) },
			Suspect{Kind: MissingDocket, Stockpile: "pile-lime", MassKg: 26_000, Dockets: []schemas.DocketID{"d-003"}}, []string{"a docket is missing", "d-003", "26.0 t"}, "survey it again"},
		{"the last docket is missing: no gap shows it", func(in *Input) { in.Dockets = slices.Delete(in.Dockets, 7, 8) },
			Suspect{Kind: MissingDocket, Stockpile: "pile-super", MassKg: 26_000}, []string{"a docket is missing"}, "survey it again"},
		{"two dockets are missing", func(in *Input) { in.Dockets = slices.Delete(in.Dockets, 1, 3) },
			Suspect{Kind: MissingDocket, Stockpile: "pile-lime", MassKg: 52_000}, []string{"2 dockets are missing"}, ""},
		{"a docket under two numbers", func(in *Input) {
			d := in.Dockets[1]
			d.ID = "x"
			in.Dockets = append(in.Dockets, d)
		}, Suspect{Kind: DocketTooMany, Stockpile: "pile-lime", MassKg: 26_000}, []string{"booked twice"}, ""},
		{"the opening survey is wrong", func(in *Input) { in.Surveys[0].MassKg += 9000 },
			Suspect{Kind: SurveyOff, Stockpile: "pile-lime", MassKg: 9000}, []string{"2026-03-02", "too much"}, "less came than the dockets say"},
		{"a load is lost", func(in *Input) {
			for i := range in.Spreads {
				in.Spreads[i].Calibrated = false
			}
			in.Loads = slices.Delete(in.Loads, 5, 6)
		}, Suspect{Kind: LostLoad, Stockpile: "pile-lime", MassKg: 5000}, []string{"a load is lost"}, "less came than the dockets say"},
		{"the scale shows too much", func(in *Input) {
			for i := range in.Loads {
				in.Loads[i].NetKg *= 1.05
			}
		}, Suspect{Kind: ScaleOff, Scale: "s1", MassKg: 10_000}, []string{"s1", "too much", "check-weigh"}, ""},
		{"a machine is off its calibration", func(in *Input) { in.Spreads[1].NominalKg *= 1.15 },
			Suspect{Kind: CalibrationOff, Machine: "sp2", Product: "lime", MassKg: 7470}, []string{"less of lime", "hopperbook drift"}, ""},
	} {
		in := week()
		c.break_(&in)
		res := settle(t, in)
		if len(res.Suspects) != 1 || res.Test.Passes || !res.After.Passes {
			t.Errorf("%s: test %+v, after %+v, suspects %+v", c.name, res.Test, res.After, res.Suspects)
			continue
		}
		s := res.Suspects[0]
		if s.Kind != c.want.Kind || c.want.Stockpile != "" && s.Stockpile != c.want.Stockpile || s.Machine != c.want.Machine && c.want.Machine != "" ||
			s.Scale != c.want.Scale || !slices.Equal(s.Dockets, c.want.Dockets) {
			t.Errorf("%s: %+v", c.name, s)
		}
		near(t, c.name+": mass", s.MassKg, c.want.MassKg, 0.1*c.want.MassKg)
		if s.LowKg > c.want.MassKg || s.HighKg < c.want.MassKg || s.Z <= s.Critical {
			t.Errorf("%s: %v kg, %v to %v, statistic %v of %v", c.name, s.MassKg, s.LowKg, s.HighKg, s.Z, s.Critical)
		}
		for _, words := range c.say {
			if !strings.Contains(s.Text, words) {
				t.Errorf("%s: %q does not say %q", c.name, s.Text, words)
			}
		}
		if !slices.ContainsFunc(s.OrElse, func(o string) bool { return strings.Contains(o, c.orElse) }) && c.orElse != "" {
			t.Errorf("%s: what else it may be: %q", c.name, s.OrElse)
		}
	}
}

func TestDegenerateBooks(t *testing.T) {
	for _, c := range []struct {
		name   string
		break_ func(*Input)
		want   Kind
	}{
		{"nothing at all", func(in *Input) { *in = Input{} }, NoRedundancy},
		{"one docket alone", func(in *Input) { *in = Input{Dockets: in.Dockets[:1]} }, NoSurvey},
		{"no survey", func(in *Input) { in.Surveys = nil }, NoSurvey},
		{"one survey", func(in *Input) { in.Surveys = in.Surveys[:1] }, NoSurvey},
		{"a survey without uncertainty", func(in *Input) { in.Surveys[0].SdKg = 0 }, NoUncertainty},
		{"a load without uncertainty", func(in *Input) { in.Loads[0].SdKg = 0 }, NoUncertainty},
		{"no uncertainty anywhere", func(in *Input) {
			for i := range in.Loads {
				in.Loads[i].SdKg, in.Loads[i].SdUnstatedKg = 0, 0
			}
			for i := range in.Dockets {
				in.Dockets[i].SdKg, in.Dockets[i].SdUnstatedKg = 0, 0
			}
		}, NoUncertainty},
		{"one docket twice", func(in *Input) { in.Dockets = append(in.Dockets, in.Dockets[0]) }, DocketTwice},
		{"a load of no stockpile", func(in *Input) { in.Loads[0].Stockpile, in.Loads[0].Product = "", "urea" }, NoStockpile},
		{"more loaded than ever was there", func(in *Input) { in.Surveys, in.Dockets = []Survey{in.Surveys[0]}, nil }, NegativeStock},
		{"a number missing, the masses agree", func(in *Input) { in.Dockets[5].ID = "d-009" }, DocketGap},
		{"loads of nothing", func(in *Input) {
			for i := range in.Loads {
				in.Loads[i].NetKg = 0
			}
			in.Surveys = in.Surveys[:1]
		}, NoSurvey},
	} {
		in := week()
		c.break_(&in)
		res := settle(t, in)
		if !slices.ContainsFunc(res.Findings, func(f Finding) bool { return f.Kind == c.want }) {
			t.Errorf("%s: findings %+v", c.name, res.Findings)
		}
		if _, err := json.Marshal(res); err != nil { // refuses NaN
			t.Errorf("%s: %v", c.name, err)
		}
	}
	for name, break_ := range map[string]func(*Input){
		"docket": func(in *Input) { in.Dockets[0].NetKg = -1 }, "survey": func(in *Input) { in.Surveys[0].MassKg = -1 },
		"load": func(in *Input) { in.Loads[0].NetKg = -1 }, "run": func(in *Input) { in.Loads[0].Spread = 9 }, "spread": func(in *Input) { in.Spreads[0].NominalKg = -1 },
	} {
		in := week()
		break_(&in)
		if _, err := Run(in); fault.CodeOf(err) != fault.Input {
			t.Errorf("negative %s: %v", name, err)
		}
	}
}

// A stockpile that was never surveyed at its end gets its stock from the rest.
func TestStockFromDocketsAndLoads(t *testing.T) {
	in := week()
	in.Surveys = slices.Delete(in.Surveys, 1, 2)
	r := settle(t, in).Rows[0]
	near(t, "closing", r.Closing.Kg, 34_000, 0.001)
	if r.Closing.Measured || r.Checked || !r.Closing.Known || r.Closing.SdKg < 600 {
		t.Errorf("%+v", r)
	}
}

// Laws: the order of facts changes no byte; all masses doubled double all
// masses; a docket in two halves and a survey between two periods that says
// nothing new leave stocks and verdict.
func TestLawsOfTheBook(t *testing.T) {
	broken := func() Input {
		in := week()
		in.Dockets = slices.Delete(in.Dockets, 2, 3)
		return in
	}
	want := settle(t, broken())
	rng := rand.New(rand.NewPCG(5, 6))
	in := broken()
	rng.Shuffle(len(in.Loads), func(i, j int) { in.Loads[i], in.Loads[j] = in.Loads[j], in.Loads[i] })
	rng.Shuffle(len(in.Dockets), func(i, j int) { in.Dockets[i], in.Dockets[j] = in.Dockets[j], in.Dockets[i] })
	rng.Shuffle(len(in.Surveys), func(i, j int) { in.Surveys[i], in.Surveys[j] = in.Surveys[j], in.Surveys[i] })
	if a, b := text(t, settle(t, in)), text(t, want); !bytes.Equal(a, b) {
		t.Errorf("another order gives\n%s\nnot\n%s", a, b)
	}

	in = broken()
	for i := range in.Surveys {
		in.Surveys[i].MassKg, in.Surveys[i].SdKg = 2*in.Surveys[i].MassKg, 2*in.Surveys[i].SdKg
	}
	for i := range in.Dockets {
		in.Dockets[i].NetKg, in.Dockets[i].SdKg = 2*in.Dockets[i].NetKg, 2*in.Dockets[i].SdKg
	}
	for i := range in.Loads {
		in.Loads[i].NetKg, in.Loads[i].SdKg = 2*in.Loads[i].NetKg, 2*in.Loads[i].SdKg
	}
	for i := range in.Spreads {
		s := &in.Spreads[i]
		s.ResidualChangeKg, s.ResidualSdKg, s.NominalKg, s.NaturalKg = 2*s.ResidualChangeKg, 2*s.ResidualSdKg, 2*s.NominalKg, 2*s.NaturalKg
	}
	got := settle(t, in)
	near(t, "chi-square", got.Test.ChiSquare, want.Test.ChiSquare, 1e-3)
	near(t, "mass missing", got.Suspects[0].MassKg, 2*want.Suspects[0].MassKg, 0.01)
	near(t, "closing", got.Rows[0].Closing.Kg, 2*want.Rows[0].Closing.Kg, 0.01)

	in = week()
	in.Surveys[0].MassKg += 1000
	want1 := settle(t, in)
	half := in.Dockets[0]
	half.NetKg, half.SdKg = half.NetKg/2, half.SdKg/1.4142135623730951
	in.Dockets[0] = half
	half.ID = "other half"
	in.Dockets = append(in.Dockets, half)
	got = settle(t, in)
	near(t, "chi-square", got.Test.ChiSquare, want1.Test.ChiSquare, 1e-3)
	near(t, "docketed", got.Rows[0].Docketed.Kg, want1.Rows[0].Docketed.Kg, 0.01)

	in = broken()
	in.Surveys = append(in.Surveys, Survey{"pile-lime", "lime", hour(50), 36_000, 1e6})
	got = settle(t, in)
	near(t, "opening", got.Rows[0].Opening.Kg, want.Rows[0].Opening.Kg, 100)
	near(t, "closing", got.Rows[1].Closing.Kg, want.Rows[0].Closing.Kg, 100)
	if len(got.Rows) != 3 || len(got.Suspects) != 1 {
		t.Errorf("%d rows, suspects %+v", len(got.Rows), got.Suspects)
	}
}

func text(t *testing.T, r Result) []byte {
	t.Helper()
	raw, err := json.Marshal(r)
	if err != nil {
		t.Fatal(err)
	}
	return raw
}

func TestDocketNumbers(t *testing.T) {
	ids := func(names ...string) (out []Docket) {
		for i, n := range names {
			out = append(out, Docket{ID: schemas.DocketID(n), Time: hour(i)})
		}
		return out
	}
	for _, c := range []struct {
		have []Docket
		want string
	}{
		{ids("d-0001", "d-0002", "d-0004"), "[d-0003]"},
		{ids("d-9", "d-10", "d-12"), "[d-11]"},
		{ids("1", "2", "3"), "[]"},
		{ids("71003", "71019", "71042"), "[]"}, // the supplier has other customers
		{ids("a-1", "b-3"), "[]"},
		{ids("ticket", "note"), "[]"},
		{ids("99999999999999999999", "99999999999999999997"), "[]"},
		{nil, "[]"},
	} {
		var got []schemas.DocketID
		for _, g := range docketGaps(c.have) {
			got = append(got, g.id)
		}
		if fmt.Sprint(got) != c.want {
			t.Errorf("%v: %v, want %s", c.have, got, c.want)
		}
	}
}
