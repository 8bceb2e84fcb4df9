package nutrient

import (
	"math"
	"strconv"
	"strings"
	"testing"
	"time"

	"hopperbook/schemas"
)

func pct(v float64) *float64 { return &v }

var day0 = time.Date(2026, 9, 3, 20, 0, 0, 0, time.UTC)

// prints reports whether a value is the printed one when it is rounded to its
// printed decimals.
func prints(v float64, printed string) bool {
	_, decimals, _ := strings.Cut(printed, ".")
	return strconv.FormatFloat(v, 'f', len(decimals), 64) == printed
}

// Computed from the same weights with decimal arithmetic (Python), 7 digits;
// 0.4364, 0.8302 and 1.2046: IFA conversion tables; 0.7147, 1.3992 and 0.5603:
// Virginia Tech SPES-201NP.
func TestFactors(t *testing.T) {
	for _, r := range []struct {
		from, to Form
		printed  string
	}{
		{"P2O5", "P", "0.4364268"}, {"P", "P2O5", "2.2913349"}, {"K2O", "K", "0.8301513"}, {"K", "K2O", "1.2045997"},
		{"CaO", "Ca", "0.7146959"}, {"Ca", "CaO", "1.3991966"}, {"MgO", "Mg", "0.6030419"}, {"Mg", "MgO", "1.6582596"},
		{"SO3", "S", "0.4004647"}, {"S", "SO3", "2.4970992"}, {"SO4", "S", "0.3337636"}, {"S", "SO4", "2.9961323"},
		{"NO3", "N", "0.2259048"}, {"N", "NO3", "4.4266438"}, {"NH4", "N", "0.7764843"}, {"N", "NH4", "1.2878561"},
		{"CaCO3", "Ca", "0.4004356"}, {"Ca", "CaCO3", "2.4972803"}, {"MgCO3", "Mg", "0.2882711"}, {"Mg", "MgCO3", "3.4689570"},
		{"CaCO3", "CaO", "0.5602882"}, {"CaO", "CaCO3", "1.7847959"}, {"MgCO3", "MgO", "0.4780283"}, {"MgO", "MgCO3", "2.0919264"},
		{"KCl", "K", "0.5244694"}, {"K", "KCl", "1.9066890"}, {"KCl", "K2O", "0.6317756"}, {"K2O", "KCl", "1.5828404"},
		{"P2O5", "P", "0.4364"}, {"K2O", "K", "0.8302"}, {"K", "K2O", "1.2046"}, {"CaO", "Ca", "0.7147"}, {"Ca", "CaO", "1.3992"}, {"CaCO3", "CaO", "0.5603"},
	} {
		if got, err := Factor(r.from, r.to); err != nil || !prints(got, r.printed) {
			t.Errorf("%s -> %s = %.9f, want %s (%v)", r.from, r.to, got, r.printed, err)
		}
	}
	for _, r := range [][2]Form{{"P2O5", "K"}, {"P2O5", "no"}, {"", "P"}} {
		if _, err := Factor(r[0], r[1]); err == nil {
			t.Errorf("%s -> %s has a factor", r[0], r[1])
		}
	}
}

// Printed values that the same tables round wrongly (Virginia Tech SPES-201NP;
// 2.2914: IFA) are near and not copied.
func TestPrintedSlipsAreNotCopied(t *testing.T) {
	for _, r := range []struct {
		from, to Form
		printed  string
	}{
		{"P2O5", "P", "0.4365"}, {"P", "P2O5", "2.2910"}, {"P", "P2O5", "2.2914"}, {"K2O", "K", "0.8301"}, {"K", "K2O", "1.2051"},
		{"MgO", "Mg", "0.6032"}, {"Mg", "MgO", "1.6578"}, {"KCl", "K", "0.5244"}, {"SO4", "S", "0.3339"}, {"S", "SO4", "2.9963"},
	} {
		got, _ := Factor(r.from, r.to)
		printed, _ := strconv.ParseFloat(r.printed, 64)
		if prints(got, r.printed) || math.Abs(got-printed) > 6e-4 {
			t.Errorf("%s -> %s = %.6f, printed %s", r.from, r.to, got, r.printed)
		}
	}
}

// Pure compounds, percent by mass, computed with decimal arithmetic (Python).
func TestWeights(t *testing.T) {
	nh4 := weightN + 4*weightH
	so4 := weightS + 4*weightO
	urea := weightC + weightO + 2*(weightN+2*weightH)
	map_ := nh4 + 2*weightH + weightP + 4*weightO
	dap := 2*nh4 + weightH + weightP + 4*weightO
	caco3 := weightCa + weightC + 3*weightO
	for _, r := range []struct {
		name      string
		pct, want float64
	}{
		{"urea N", 200 * weightN / urea, 46.6465}, {"ammonium nitrate N", 200 * weightN / (nh4 + weightN + 3*weightO), 34.999},
		{"ammonium sulphate N", 200 * weightN / (2*nh4 + so4), 21.201}, {"ammonium sulphate S", 100 * weightS / (2*nh4 + so4), 24.263},
		{"DAP N", 200 * weightN / dap, 21.214}, {"DAP P2O5", 100 * weightP / dap * factor("P", "P2O5"), 53.743},
		{"MAP N", 100 * weightN / map_, 12.177}, {"MAP P2O5", 100 * weightP / map_ * factor("P", "P2O5"), 61.701},
		{"MOP K2O", 100 * factor("KCl", "K2O"), 63.178}, {"SOP K2O", 200 * weightK / (2*weightK + so4) * factor("K", "K2O"), 54.057},
		{"SOP S", 100 * weightS / (2*weightK + so4), 18.399},
		// Neutralising values; printed 119, 135, 178 by a note of 1986 on an Australian fertiliser act.
		{"MgCO3", 100 * caco3 / (weightMg + weightC + 3*weightO), 118.708}, {"Ca(OH)2", 100 * caco3 / (weightCa + 2*(weightO+weightH)), 135.083},
		{"CaO", 100 * caco3 / (weightCa + weightO), 178.480}, {"MgO", 100 * caco3 / (weightMg + weightO), 248.328},
	} {
		if math.Abs(r.pct-r.want) > 5.1e-4 {
			t.Errorf("%s = %.4f %%, want %.3f", r.name, r.pct, r.want)
		}
	}
}

// Typical analyses (RB209, 8th edition; IFA conversion factors; both by the
// tables of their pages), and what 250 kg/ha of them bring, computed with
// decimal arithmetic (Python).
func TestTypicalAnalyses(t *testing.T) {
	for _, r := range []struct {
		name                       string
		a                          schemas.Analysis
		n, p2o5, p, k2o, k, s, so3 float64 // kg/ha of 250 kg/ha
	}{
		{"urea 46", schemas.Analysis{NPct: pct(46)}, 115, 0, 0, 0, 0, 0, 0},
		{"DAP 18-46", schemas.Analysis{NPct: pct(18), P2O5Pct: pct(46)}, 45, 115, 50.1891, 0, 0, 0, 0},
		{"MAP 12-52", schemas.Analysis{NPct: pct(12), P2O5Pct: pct(52)}, 30, 130, 56.7355, 0, 0, 0, 0},
		{"MAP 11-52", schemas.Analysis{NPct: pct(11), P2O5Pct: pct(52)}, 27.5, 130, 56.7355, 0, 0, 0, 0},
		{"TSP 46", schemas.Analysis{P2O5Pct: pct(46)}, 0, 115, 50.1891, 0, 0, 0, 0},
		{"SSP 20, 12 S", schemas.Analysis{P2O5Pct: pct(20), SPct: pct(12)}, 0, 50, 21.8213, 0, 0, 30, 74.9130},
		{"MOP 60", schemas.Analysis{K2OPct: pct(60)}, 0, 0, 0, 150, 124.5227, 0, 0},
		{"AS 21, 24 S", schemas.Analysis{NPct: pct(21), SPct: pct(24)}, 52.5, 0, 0, 0, 0, 60, 149.8260},
		{"AS 21, 60 SO3", schemas.Analysis{NPct: pct(21), SO3Pct: pct(60)}, 52.5, 0, 0, 0, 0, 60.0697, 150},
		{"SOP 50, 18 S", schemas.Analysis{K2OPct: pct(50), SPct: pct(18)}, 0, 0, 0, 125, 103.7689, 45, 112.3695},
	} {
		in := Input{Fields: []Field{{ID: "F", AreaM2: 10000}}, Products: []Product{{Product: "x", Analysis: &r.a}},
			Applications: []Application{{ID: "a", Field: "F", Product: "x", From: day0, To: day0, MassKg: 250, AreaM2: 10000}}}
		res, err := Run(in)
		if err != nil {
			t.Fatal(err)
		}
		for form, want := range map[Form]float64{"N": r.n, "P2O5": r.p2o5, "P": r.p, "K2O": r.k2o, "K": r.k, "S": r.s, "SO3": r.so3} {
			if got := res.Sums[0].Of(form); math.Abs(got.KgHa-want) > 5.1e-5 || math.Abs(got.KgHa-got.Kg) > 1e-9 || got.Known != (want > 0) {
				t.Errorf("%s: %s %+v, want %.4f kg/ha", r.name, form, got, want)
			}
		}
		if c := ContentOf(&r.a); len(c.Warnings) != 0 {
			t.Errorf("%s: %v", r.name, c.Warnings)
		}
	}
	if got := 60 * factor("SO3", "S"); !prints(got, "24.03") { // RB209's 60 % SO3 beside IFA's 24 % S
		t.Errorf("60 %% SO3 is %.3f %% S", got)
	}
}

// Western Australia, DPIRD, "Comparing limes - long-hand lime comparisons",
// tables 1 and 2 (page of 17 September 2018): five fractions, 86.9 %, and
// (100 / 86.9) x 43 = $49.48 a tonne; its own rows are rounded before they are
// summed, unrounded it is 86.973 % and $49.44.
func TestPublishedLime(t *testing.T) {
	fraction := func(from, to, factor, share, nv float64) schemas.LimeFraction {
		return schemas.LimeFraction{SharePct: share, Factor: factor, FromMm: &from, ToMm: &to, NeutralisingValuePct: &nv}
	}
	a := schemas.Analysis{FinenessSet: "WA DPIRD", Fractions: []schemas.LimeFraction{fraction(0, 0.125, 1, 5, 90), fraction(0.125, 0.25, 1, 48, 90.5),
		fraction(0.25, 0.5, 1, 38, 94.8), fraction(0.5, 1, 0.5, 8, 72.1), fraction(1, 2, 0.2, 1, 62.5)}}
	got, known, warnings := EffectiveLimePct(&a)
	if !known || len(warnings) > 0 || math.Abs(got-86.973) > 1e-9 || math.Abs(got-86.9) > 0.1 {
		t.Errorf("%v %v %v, want 86.973", got, known, warnings)
	}
	for i, printed := range []string{"4.5", "43.4", "36.0", "2.9", "0.1"} {
		one := a
		one.Fractions = append([]schemas.LimeFraction{}, a.Fractions...)
		for k := range one.Fractions {
			if k != i {
				one.Fractions[k].Factor = 0
			}
		}
		if part, _, _ := EffectiveLimePct(&one); !prints(part, printed) {
			t.Errorf("fraction %d gives %.3f, printed %s", i, part, printed)
		}
	}
	for _, r := range []struct {
		pct     float64
		printed string
	}{{86.9, "49.48"}, {got, "49.44"}} {
		if cost, err := CostPerEffectiveTonne(10+25+8, r.pct); err != nil || !prints(cost, r.printed) {
			t.Errorf("at %.3f %%: %.4f a tonne, want %s (%v)", r.pct, cost, r.printed, err)
		}
	}
	for _, bad := range [][2]float64{{-1, 50}, {43, 0}, {math.NaN(), 50}, {43, math.Inf(1)}} {
		if _, err := CostPerEffectiveTonne(bad[0], bad[1]); err == nil {
			t.Errorf("%v has a cost", bad)
		}
	}
}

// New York: factors 0.40, 0.80, 1.00 for what passes 20 and is held on 60,
// 60 to 100, and passes 100 mesh (Cornell, competency area 5); rows computed.
// Moisture: rows computed (wet = dry / (1 - moisture)).
func TestEffectiveLime(t *testing.T) {
	mesh := func(pass20, pass60, pass100 float64) []schemas.LimeFraction {
		return []schemas.LimeFraction{{SharePct: 100 - pass20}, {SharePct: pass20 - pass60, Factor: 0.4}, {SharePct: pass60 - pass100, Factor: 0.8}, {SharePct: pass100, Factor: 1}}
	}
	for _, r := range []struct {
		name  string
		a     schemas.Analysis
		want  float64
		known bool
	}{
		{"ENV 1", schemas.Analysis{NeutralisingValuePct: pct(90), Fractions: mesh(95, 70, 50)}, 68.4, true},
		{"ENV 2", schemas.Analysis{NeutralisingValuePct: pct(102), Fractions: mesh(100, 80, 65)}, 86.7, true},
		{"ENV 1, fineness beside", schemas.Analysis{NeutralisingValuePct: pct(90), Fractions: mesh(95, 70, 50), Fineness: pct(0.76)}, 68.4, true},
		{"ENV 1, another fineness", schemas.Analysis{NeutralisingValuePct: pct(90), Fractions: mesh(95, 70, 50), Fineness: pct(0.78)}, 0, false},
		{"dry, 8 % moisture", schemas.Analysis{NeutralisingValuePct: pct(92), Fineness: pct(1), Basis: schemas.BasisDry, MoisturePct: pct(8)}, 84.64, true},
		{"dry, 3 % moisture", schemas.Analysis{NeutralisingValuePct: pct(100), Fineness: pct(1), Basis: schemas.BasisDry, MoisturePct: pct(3)}, 97, true},
		{"as received, moisture is in it", schemas.Analysis{NeutralisingValuePct: pct(92), Fineness: pct(1), MoisturePct: pct(8)}, 92, true},
		{"dry, no moisture", schemas.Analysis{NeutralisingValuePct: pct(92), Fineness: pct(1), Basis: schemas.BasisDry}, 0, false},
		{"no fineness", schemas.Analysis{NeutralisingValuePct: pct(92)}, 0, false},
		{"no value", schemas.Analysis{Fineness: pct(1)}, 0, false},
		{"fractions without a value", schemas.Analysis{Fractions: mesh(95, 70, 50)}, 0, false},
		{"no lime", schemas.Analysis{NeutralisingValuePct: pct(0)}, 0, true},
		{"99 % of it sieved", schemas.Analysis{NeutralisingValuePct: pct(100), Fractions: []schemas.LimeFraction{{SharePct: 99, Factor: 1}}}, 99, true},
		{"98 % of it sieved", schemas.Analysis{NeutralisingValuePct: pct(100), Fractions: []schemas.LimeFraction{{SharePct: 98, Factor: 1}}}, 0, false},
	} {
		got, known, _ := EffectiveLimePct(&r.a)
		if known != r.known || math.Abs(got-r.want) > 1e-9 {
			t.Errorf("%s: %v %v, want %v %v", r.name, got, known, r.want, r.known)
		}
	}
}
