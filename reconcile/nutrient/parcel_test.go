package nutrient

import (
	"slices"
	"strings"
	"testing"
	"time"

	"hopperbook/schemas"
)

// manured is 4 ha of holding H that got 300 kg N/ha, held against 170, with
// more land and more spreading.
func manured(fields []Field, more ...Application) Input {
	in := oneField(Rules{RuleHead: RuleHead{ID: "mine"}, Limits: []Limit{{Part: Part{ID: "n"}, Nutrient: "N", Scope: ScopeHolding, Value: 170, Unit: "kg/ha"}}},
		schemas.Analysis{NPct: pct(100), Kind: "manufactured"}, 0, 0)
	f, a := &in.Fields[0], &in.Applications[0]
	f.ID, f.Holding, f.AreaM2 = "A", "H", 4e4
	a.Field, a.MassKg, a.MassSdKg, a.Shared, a.AreaM2 = "A", 1200, 0, nil, 4e4
	in.Fields, in.Applications = append(in.Fields[:1], fields...), append(in.Applications, more...)
	return in
}

// later is the first application of manured on another day and field.
func later(days int, field schemas.FieldID, kg float64) Application {
	a := manured(nil).Applications[0]
	a.ID, a.Field, a.MassKg = "later", field, kg
	a.From, a.To = a.From.AddDate(0, 0, days), a.To.AddDate(0, 0, days)
	return a
}

// Land that comes or goes hides no breach of a holding's limit, and what was
// done about it is told.
func TestLandOfAHolding(t *testing.T) {
	first := manured(nil).Applications[0].From
	at := func(days int) time.Time { return first.AddDate(0, 0, days) }
	c := func(from time.Time, holding schemas.HoldingID) Field {
		return Field{ID: "C", From: from, Holding: holding, AreaM2: 8e4}
	}
	for name, w := range map[string]struct {
		in        Input
		state     string
		low, high float64
		note      string
		fields    []schemas.FieldID
	}{
		"alone":                     {manured(nil), Over, 300, 300, "", []schemas.FieldID{"A"}},
		"always there":              {manured([]Field{c(at(-9), "H")}), Under, 100, 100, "", []schemas.FieldID{"A", "C"}},
		"entered late in the year":  {manured([]Field{c(at(9), "H")}), Under, 100, 100, "was first registered on", []schemas.FieldID{"A", "C"}},
		"registered after the year": {manured([]Field{c(at(500), "H")}), Over, 300, 300, "after the period, and nothing that counts was spread on it", []schemas.FieldID{"A", "C"}},
		"after the year, spread on": {manured([]Field{c(at(500), "H")}, later(1, "C", 0.001)), Under, 100, 100.01, "", []schemas.FieldID{"A", "C"}},
		"another's after the year":  {manured([]Field{c(at(500), "X")}), Over, 300, 300, "", []schemas.FieldID{"A"}},
		"joins, and a little more":  {manured([]Field{c(at(-9), "X"), c(at(9), "H")}, later(10, "A", 0.001)), NotShown, 100, 300.01, "field C (8.0000 ha) joined", []schemas.FieldID{"A", "C"}},
		"joins and leaves":          {manured([]Field{c(at(-9), "X"), c(at(9), "H"), c(at(20), "X")}, later(10, "A", 0.001), func() Application { a := later(30, "A", 0.001); a.ID = "last"; return a }()), NotShown, 100, 300.01, "joined", []schemas.FieldID{"A", "C"}},
		"leaves":                    {manured([]Field{c(at(-9), "H"), c(at(9), "X")}, later(10, "A", 0.001)), NotShown, 100, 300.01, "field C (8.0000 ha) left", []schemas.FieldID{"A", "C"}},
		"shrinks unspread":          {manured([]Field{c(at(-9), "H"), {ID: "C", From: at(9), Holding: "H", AreaM2: 1e4}}, later(10, "A", 0.001)), NotShown, 100, 240.01, "", []schemas.FieldID{"A", "C"}},
		"of unknown area":           {manured([]Field{c(at(-9), "X"), {ID: "C", From: at(9), Holding: "H"}}, later(10, "A", 0.001)), NotShown, 0, 0, "joined", []schemas.FieldID{"A", "C"}},
	} {
		v := run(t, w.in).Verdicts
		if len(v) != 1 || v[0].State != w.state || v[0].Low < w.low-0.01 || v[0].Low > w.low+0.01 || v[0].High < w.high-0.01 || v[0].High > w.high+0.01 {
			t.Errorf("%s: %+v", name, v)
		} else if notes := strings.Join(v[0].Notes, "\n"); w.note == "" && notes != "" && name != "shrinks unspread" || !strings.Contains(notes, w.note) || !slices.Equal(v[0].Fields, w.fields) {
			t.Errorf("%s: %q %v", name, v[0].Notes, v[0].Fields)
		}
	}
}

// What was registered after a season is no land of it unless it was spread on.
func TestFieldsOfASeason(t *testing.T) {
	in := manured([]Field{{ID: "C", From: day0.AddDate(3, 0, 0), Holding: "H", AreaM2: 8e4}})
	span := Span{From: day0.AddDate(-1, 0, 0), To: day0.AddDate(2, 0, 0)}
	if got := in.FieldsIn(span); len(got) != 1 || got[0].ID != "A" {
		t.Errorf("%+v", got)
	}
	for _, s := range run(t, in).Sums {
		if s.Scope == ScopeHolding && s.AreaM2 != 4e4 {
			t.Errorf("%+v", s)
		}
	}
	in.Applications = append(in.Applications, later(1, "C", 1))
	if got := in.FieldsIn(span); len(got) != 2 {
		t.Errorf("%+v", got)
	}
}

// A boundary drawn anew after an application takes from what is known of it:
// never kept, and a breach stays one. Drawn back, or before, it takes nothing.
func TestRedrawn(t *testing.T) {
	first := manured(nil).Applications[0].From
	a := func(days int, ha float64) Field {
		return Field{ID: "A", From: first.AddDate(0, 0, days), Holding: "H", AreaM2: ha * 1e4}
	}
	for name, w := range map[string]struct {
		limit  float64
		fields []Field
		state  string
		known  bool
	}{
		"not":           {310, nil, Under, true},
		"after":         {310, []Field{a(500, 3.9)}, NotShown, false},
		"after, over":   {170, []Field{a(500, 3.9)}, Over, false},
		"drawn back":    {310, []Field{a(5, 1), a(500, 4)}, Under, true},
		"the crop only": {310, []Field{a(500, 4)}, Under, true},
	} {
		in := manured(w.fields)
		in.Rules[0].Limits[0].Value = w.limit
		v := run(t, in).Verdicts[0]
		if v.State != w.state || v.HighKnown != w.known || !w.known && (!strings.Contains(v.Text, "what field A got outside the boundary that was drawn anew on 2028-") || !strings.Contains(strings.Join(v.Notes, " "), "amend")) {
			t.Errorf("%s: %+v", name, v)
		}
	}
}
