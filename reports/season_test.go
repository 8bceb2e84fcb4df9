package reports

import (
	"slices"
	"strings"
	"testing"
	"time"

	"hopperbook/reconcile"
	"hopperbook/reconcile/nutrient"
	"hopperbook/schemas"
)

// A verdict that is not "kept" stands in the box, in the first line and in its
// row, in words and not in colour, with the rule's caveat beside it.
func TestNotShownCannotBeOverlooked(t *testing.T) {
	kg := func(v float64) *float64 { return &v }
	for _, c := range []struct {
		name         string
		limit, sd    float64
		status, loud string
	}{ // invented: 1000 kg of 46 % N on 4 ha are 115 kg/ha
		{"straddles", 116, 20, "CANNOT BE SHOWN TO BE UNDER", "CANNOT BE SHOWN TO BE UNDER: field F1"},
		{"over", 90, 20, "LIMIT EXCEEDED", "EXCEEDED: field F1"},
		{"kept", 150, 20, "LIMITS KEPT", ""},
	} {
		in := nutrient.Input{Fields: []nutrient.Field{{ID: "F1", Customer: "C1", AreaM2: 40000}},
			Products:     []nutrient.Product{{Product: "urea", Form: "granular", Analysis: &schemas.Analysis{NPct: kg(46), Kind: schemas.KindManufactured}}},
			Applications: []nutrient.Application{{ID: "a", Field: "F1", Product: "urea", Machine: "sp1", From: time.Date(2026, 3, 2, 0, 0, 0, 0, time.UTC), To: time.Date(2026, 3, 2, 1, 0, 0, 0, time.UTC), MassKg: 1000, MassSdKg: c.sd, AreaM2: 40000}},
			Rules: []nutrient.Rules{{RuleHead: nutrient.RuleHead{ID: "mine", Caveat: "the adviser decides"},
				Limits: []nutrient.Limit{{Part: nutrient.Part{ID: "cap", Section: "1"}, Nutrient: "N", Scope: nutrient.ScopeField, Value: c.limit, Unit: "kg/ha"}}}}}
		r, err := nutrient.Run(in)
		if err != nil {
			t.Fatal(err)
		}
		a, ok := NewSeasonAnswer(reconcile.Season{Input: in, Origins: []reconcile.Origin{{Application: "a"}}}, r, "2026", SeasonFrame{Customer: "C1", Location: time.UTC})
		if !ok {
			t.Fatal("no application in 2026")
		}
		s := a.Sheet()
		if s.Status != c.status {
			t.Errorf("%s: the box says %q", c.name, s.Status)
		}
		if c.loud != "" && !strings.HasPrefix(s.Against[0], c.loud) {
			t.Errorf("%s: the first line says %q", c.name, s.Against[0])
		}
		limits := s.Tables[0]
		if limits.Caption != "Limits" || limits.Rows[0][0] != VerdictWords(r.Verdicts[0].State) || !strings.Contains(strings.Join(limits.Notes, " "), "the adviser decides") {
			t.Errorf("%s: %+v", c.name, limits)
		}
		if terminal := SeasonTerminal(a); !strings.Contains(terminal.Caption, c.status) {
			t.Errorf("%s: %s", c.name, terminal.Caption)
		}
		for _, table := range SeasonTables(a) {
			for i, row := range table.Rows {
				if len(row) != len(table.Columns) {
					t.Errorf("%s row %d: %d cells, %d columns", table.Name, i, len(row), len(table.Columns))
				}
			}
		}
	}
	assume := []string{nutrient.TakenAsApplying + "F1 may be larger", nutrient.TakenAsApplying + "F2 too", "its hopper is open"}
	over := SeasonAnswer{Verdicts: []SeasonVerdict{{"v", nutrient.Verdict{State: nutrient.Over, Text: "too much", Notes: assume}}}}
	if got := over.Sheet().Against[0]; !strings.HasSuffix(got, "too much; taken as applying: F1 may be larger (and 1 more, in the CSV)") {
		t.Errorf("what an exceeded limit takes as given is not said: %q", got)
	}
	if _, ok := NewSeasonAnswer(reconcile.Season{}, nutrient.Result{}, "2026", SeasonFrame{Location: time.UTC}); ok {
		t.Error("an empty season has applications")
	}
}

// CSV, workbook and page show a verdict's figures as its words do.
func TestVerdictsShowOneSetOfDigits(t *testing.T) {
	v := nutrient.Verdict{State: nutrient.NotShown, Nutrient: "N", Unit: "t/ha", Value: 0.10005, Low: 0.0998, High: 0.1003, HighKnown: true, LimitValue: 0.1}
	a := SeasonAnswer{Verdicts: []SeasonVerdict{{"v", v}}}
	table, page := seasonVerdicts(a).Rows[0], a.verdictPage().Rows[0]
	if got := strings.Join(table[8:11], " "); got != "0.10005 0.09980 0.10030" {
		t.Errorf("the table shows %s", got)
	}
	if page[4] != "0.10005 N" || page[5] != "0.09980 to 0.10030" {
		t.Errorf("the page shows %q", page)
	}
}

// On paper a verdict's notes stand under the table, each once, and what is not known
// names what it is of.
func TestPaperSaysWhatOfAndWhy(t *testing.T) {
	verdict := func(notes ...string) SeasonVerdict {
		return SeasonVerdict{"v", nutrient.Verdict{State: nutrient.Under, Notes: notes}}
	}
	a := SeasonAnswer{Verdicts: []SeasonVerdict{verdict("2 ha are others'", "redrawn"), verdict("redrawn"), verdict()},
		Findings: []nutrient.Finding{{Kind: "field_redrawn", Field: "F1", Text: "x"}, {Kind: "field_redrawn", Field: "F1", Text: "x"}},
		Applications: []SeasonApplication{{ID: "application/F2/2026-03-01/urea/job:J1"}, {ID: "application/F3/2026-03-02/urea"},
			{ID: "application/F4/2026-03-02/urea"}, {ID: "application/F5/2026-03-02/urea"}}}
	a.Planned = []SeasonPlanned{{Field: "F1", Job: "J1", GivenKg: 50, OthersKg: 20}}
	if notes := seasonPlanned(a).Notes; len(notes) != 2 || notes[1] != "F1, job J1: of it 20 kg while the field was another customer's; their records show them." {
		t.Errorf("planned: %q", notes)
	}
	page := a.verdictPage()
	states := []string{page.Rows[0][0], page.Rows[1][0], page.Rows[2][0]}
	if kept := VerdictWords(nutrient.Under); !slices.Equal(states, []string{kept + " (1) (2)", kept + " (2)", kept}) || !slices.Equal(page.Notes, []string{"(1) 2 ha are others'", "(2) redrawn"}) {
		t.Errorf("%q, %q", states, page.Notes)
	}
	rows := a.unknownPage().Rows
	if !slices.Equal(rows[0], []string{"field redrawn", "F1", "x"}) || rows[1][1] != "F2 2026-03-01, F3 2026-03-02, F4 2026-03-02 and 1 more" {
		t.Errorf("%q", rows)
	}
}

// Local times bear their offset, so that an application over the end of summer
// time does not end before it begins.
func TestLocalTimesBearTheirOffset(t *testing.T) {
	halifax, err := time.LoadLocation("America/Halifax")
	if err != nil {
		t.Fatal(err)
	}
	kg := 46.0
	at := time.Date(2024, 11, 3, 4, 50, 0, 0, time.UTC)
	in := nutrient.Input{Location: halifax, Fields: []nutrient.Field{{ID: "F1", Customer: "C1", AreaM2: 40000}},
		Products:     []nutrient.Product{{Product: "urea", At: at.AddDate(0, 0, -1), Event: "e", Analysis: &schemas.Analysis{NPct: &kg, Kind: schemas.KindManufactured}}},
		Applications: []nutrient.Application{{ID: "a", Field: "F1", Product: "urea", Machine: "sp1", From: at, To: at.Add(16 * time.Minute), MassKg: 1000, AreaM2: 40000}}}
	r, err := nutrient.Run(in)
	if err != nil {
		t.Fatal(err)
	}
	origin := reconcile.Origin{Application: "a"}
	origin.Certificate.TestedAt = time.Date(2024, 10, 2, 1, 0, 0, 0, time.UTC)
	a, ok := NewSeasonAnswer(reconcile.Season{Input: in, Origins: []reconcile.Origin{origin}}, r, "2024", SeasonFrame{Customer: "C1", Location: halifax})
	if !ok {
		t.Fatal("no application in 2024")
	}
	p := a.Applications[0]
	if p.FromLocal != "2024-11-03T01:50:00-03:00" || p.ToLocal != "2024-11-03T01:06:00-04:00" || p.Day != "2024-11-03" {
		t.Errorf("%s to %s on %s", p.FromLocal, p.ToLocal, p.Day)
	}
	if got := a.applicationPage().Rows[0][0]; got != "2024-11-03 01:50 \u221203:00" {
		t.Errorf("the page shows %s", got)
	}
	if got := tested(p.Calibration); got != "2024-10-01" {
		t.Errorf("tested on %s, in Halifax the day before", got)
	}
	if got := seasonAnalyses(a).Rows[0][4]; got != "2024-11-02T01:50:00-03:00" {
		t.Errorf("the analysis holds from %s", got)
	}
	in.Applications[0].From = at.Add(14 * time.Minute * 60)
	in.Applications[0].To = in.Applications[0].From
	a, _ = NewSeasonAnswer(reconcile.Season{Input: in, Origins: []reconcile.Origin{origin}}, r, "2024", SeasonFrame{Customer: "C1", Location: halifax})
	if got := a.applicationPage().Rows[0][0]; got != "2024-11-03 14:50" {
		t.Errorf("of one offset the page shows %s", got)
	}
}

// What is worst stands first, and what a rule wants of the weather and the
// crew is read on the page.
func TestThePageReadsWorstFirst(t *testing.T) {
	v := func(state string) SeasonVerdict {
		return SeasonVerdict{"v", nutrient.Verdict{State: state, Text: "N 1"}}
	}
	a := SeasonAnswer{Verdicts: []SeasonVerdict{v(nutrient.NotShown), v(nutrient.Under), v(nutrient.Over)}, Checks: []SeasonCheck{{"c", nutrient.Check{State: nutrient.Broken}}}}
	for i, want := range []string{"EXCEEDED", "CANNOT BE SHOWN TO BE UNDER", "BROKEN"} {
		if got := a.Sheet().Against[i]; !strings.HasPrefix(got, want) {
			t.Errorf("line %d of what is read first is %q, want %s", i, got, want)
		}
	}
	c, chance, mm, hours := 11.5, 30.0, 2.0, 24.0
	a.Applications = []SeasonApplication{{Machine: "m1", Operator: "Ash", Method: "surface", CertificateHolder: "C-77", Weather: &schemas.WeatherNoted{WindMS: 2, Soil: "snow_covered", TemperatureC: &c,
		Forecast: "showers", ForecastRainMm: &mm, ForecastHours: &hours, ForecastRainChancePct: &chance}}}
	row := a.crewPage().Rows[0]
	if row[2] != "m1, Ash, surface, certificate holder C-77" || strings.ReplaceAll(row[4], "\u00a0", " ") != "wind 2.0 m/s, rain 0.0 mm, 11.5 °C, soil snow covered; forecast: showers, rain 2.0 mm within 24 h (chance 30 %)" {
		t.Errorf("the page shows %q", row)
	}
	if got := weatherCells(a.Applications[0].Weather)[4]; got != "showers, rain 2.0 mm within 24 h (chance 30 %)" {
		t.Errorf("the table shows %q", got)
	}
}

// Rows of one field stand by date, whatever was spread.
func TestApplicationsStandByDate(t *testing.T) {
	at := func(day int) time.Time { return time.Date(2026, 3, day, 8, 0, 0, 0, time.UTC) }
	in := nutrient.Input{Fields: []nutrient.Field{{ID: "F1", AreaM2: 40000}, {ID: "F2", AreaM2: 40000}}}
	var origins []reconcile.Origin
	for _, a := range []struct {
		id, product string
		field       schemas.FieldID
		day         int
	}{{"a", "lime", "F1", 9}, {"b", "lime", "F2", 1}, {"c", "urea", "F1", 2}, {"d", "urea", "F1", 5}} {
		in.Applications = append(in.Applications, nutrient.Application{ID: a.id, Field: a.field, Product: schemas.ProductID(a.product), From: at(a.day), To: at(a.day), MassKg: 1, AreaM2: 1})
		origins = append(origins, reconcile.Origin{Application: a.id})
	}
	r, err := nutrient.Run(in)
	if err != nil {
		t.Fatal(err)
	}
	a, _ := NewSeasonAnswer(reconcile.Season{Input: in, Origins: origins}, r, "2026", SeasonFrame{Location: time.UTC})
	var got []string
	for _, p := range a.Applications {
		got = append(got, strings.TrimPrefix(p.ID, "application/"))
	}
	if strings.Join(got, "") != "cdab" {
		t.Errorf("in the order %v", got)
	}
}
