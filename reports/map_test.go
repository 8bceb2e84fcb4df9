package reports

import (
	"math"
	"strings"
	"testing"

	"hopperbook/reconcile"
)

func invented() MapAnswer {
	return MapAnswer{Field: "F1", Name: "Square", Product: "urea", ProductName: "Urea 46N", SetRateKgHa: 187.5, MeanKgHa: 190.04, CVPct: 12.34, BelowPct: 5.55, AbovePct: 6.66, NotHitPct: 1,
		InFieldKg: 2345.6, OutsideKg: 12.3, AreaM2: 123400, CellM: 0.5, ClassPct: []float64{1, 2, 3, 4, 70, 13.34, 4, 2.66},
		Patterns: []reconcile.MapPattern{{Machine: "sp1", TrayTest: "T1"}, {Machine: "sp2", BoutWidthM: 18}}}
}

func TestTheWordsOfAMap(t *testing.T) {
	a := invented()
	s := a.Sheet()
	if s.Title != "Square (F1): Urea 46N as applied, set 187.5 kg/ha" || s.Scale != "Share of the set rate" {
		t.Errorf("%q, %q", s.Title, s.Scale)
	}
	for class, want := range map[int]LegendLine{
		0: {"not hit", "", "1.0 %"}, 1: {"under 60 %", "< 112.5", "2.0 %"}, 2: {"60 to 80 %", "112.5 to 150.0", "3.0 %"},
		4: {"90 to 110 %", "168.8 to 206.3", "70.0 %"}, 7: {"over 140 %", "> 262.5", "2.7 %"},
	} {
		if s.Legend[class] != want {
			t.Errorf("class %d: %+v, want %+v", class, s.Legend[class], want)
		}
	}
	table := Map(a)
	want := [][2]string{{"Set rate", "187.5 kg/ha"}, {"Mean on the field", "190.0 kg/ha"}, {"Variation between cells (CV)", "12.3 %"}, {"Under 80 % of the set rate", "5.6 % of the area"},
		{"Not hit, part of that", "1.0 % of the area"}, {"Over 120 % of the set rate", "6.7 % of the area"}, {"On the field", "2.35 t on 12.34 ha"}, {"Thrown over the boundary", "12 kg"}, {"Cells", "0.5 m"}}
	for i, w := range want {
		if table.Rows[i][0] != w[0] || table.Rows[i][1] != w[1] {
			t.Errorf("row %d: %q, want %q", i, table.Rows[i], w)
		}
	}
	words := strings.Join(table.Notes, " ")
	for _, want := range []string{"not measured", "tray test T1 of sp1", "even across the bout width"} {
		if !strings.Contains(words, want) {
			t.Errorf("the notes %q do not say %q", words, want)
		}
	}
}

// Exclusion areas are named where there are some, in the table and in the legend.
func TestTheWordsOfExclusionAreas(t *testing.T) {
	a := invented()
	if a.Sheet().Exclusion != "" || len(Map(a).Rows) != 9 {
		t.Error("exclusion areas are named where there are none")
	}
	a.ExcludedKg, a.ExcludedM2 = 41.7, 2345
	rows := Map(a).Rows
	if got := rows[len(rows)-3]; got[0] != "In exclusion areas" || got[1] != "42 kg on 0.23 ha" || !strings.Contains(a.Sheet().Exclusion, "not to be spread") {
		t.Errorf("%q, %q", got, a.Sheet().Exclusion)
	}
}

// Without a set rate the mean stands in, and everything says so.
func TestAMapWithoutASetRate(t *testing.T) {
	a := invented()
	a.SetRateKgHa, a.Open, a.SetRateVaries = 0, true, true
	s := a.Sheet()
	if a.ReferenceKgHa() != a.MeanKgHa || s.Scale != "Share of the mean rate" || strings.Contains(s.Title, "set") || !strings.HasPrefix(s.Figures[0][1], "not known") {
		t.Errorf("%v, %+v", a.ReferenceKgHa(), s)
	}
	if len(s.Caution) != 3 {
		t.Errorf("cautions %q", s.Caution)
	}
	a.ClassPct = nil
	if !math.IsNaN(a.classPct(1)) || a.Sheet().Legend[1].Area != "- %" {
		t.Error("a class that is not in the answer has an area")
	}
}
