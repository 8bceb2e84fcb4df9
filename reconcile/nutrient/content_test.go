package nutrient

import (
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"hopperbook/schemas"
)

func boolean(v bool) *bool { return &v }

func kinds(c Content) string {
	var out []string
	for _, w := range c.Warnings {
		out = append(out, w.Kind)
	}
	slices.Sort(out)
	return strings.Join(out, " ")
}

func TestContentOf(t *testing.T) {
	for _, r := range []struct {
		name     string
		a        *schemas.Analysis
		n        Nutrient
		perKg    float64 // -1: not known
		kind     string
		warnings string
	}{
		{"none", nil, N, -1, KindUnknown, NothingKnown},
		{"empty", &schemas.Analysis{}, N, -1, KindUnknown, NothingKnown},
		{"zero is known", &schemas.Analysis{NPct: pct(0)}, N, 0, KindUnknown, ""},
		{"left out is not zero", &schemas.Analysis{NPct: pct(46)}, P, -1, KindUnknown, ""},
		{"oxide", &schemas.Analysis{P2O5Pct: pct(46)}, P, 0.46 * 0.4364268, KindUnknown, ""},
		{"both, agree", &schemas.Analysis{P2O5Pct: pct(46), PPct: pct(20.1)}, P, 0.201, KindUnknown, ""},
		{"both, disagree", &schemas.Analysis{P2O5Pct: pct(46), PPct: pct(46)}, P, -1, KindUnknown, FormsDisagree},
		{"K disagree, N stays", &schemas.Analysis{NPct: pct(10), K2OPct: pct(50), KPct: pct(10)}, N, 0.1, KindUnknown, FormsDisagree},
		{"both zero", &schemas.Analysis{MgPct: pct(0), MgOPct: pct(0)}, Mg, 0, KindUnknown, ""},
		{"one of both zero", &schemas.Analysis{CaPct: pct(0), CaOPct: pct(50)}, Ca, -1, KindUnknown, FormsDisagree},
		{"within 0.05", &schemas.Analysis{SPct: pct(1), SO3Pct: pct(2.6)}, S, 0.01, KindUnknown, ""},
		{"dry", &schemas.Analysis{NPct: pct(4), Basis: "dry", MoisturePct: pct(75)}, N, 0.01, KindUnknown, ""},
		{"dry without moisture", &schemas.Analysis{NPct: pct(4), Basis: "dry"}, N, -1, KindUnknown, MoistureMissing},
		{"over the whole", &schemas.Analysis{NPct: pct(46), P2O5Pct: pct(46), K2OPct: pct(20)}, N, 0.46, KindUnknown, OverWhole},
		{"pure SOP is whole", &schemas.Analysis{K2OPct: pct(54.057), SPct: pct(18.399)}, K, 0.54057 * 0.8301513, KindUnknown, ""},
		{"elemental sulphur", &schemas.Analysis{SPct: pct(90)}, S, 0.9, KindUnknown, ""},
		{"burnt lime", &schemas.Analysis{CaOPct: pct(100), MgOPct: pct(0), NeutralisingValuePct: pct(178.48), Fineness: pct(1)}, Lime, 1.7848, KindUnknown, ""},
		{"value too high", &schemas.Analysis{CaOPct: pct(30), MgOPct: pct(0), NeutralisingValuePct: pct(90), Fineness: pct(1)}, Lime, 0.9, KindUnknown, ValueTooHigh},
		{"value, Mg not known", &schemas.Analysis{CaOPct: pct(30), NeutralisingValuePct: pct(90), Fineness: pct(1)}, Lime, 0.9, KindUnknown, ""},
		{"manure", &schemas.Analysis{NPct: pct(1), Kind: "livestock_manure", Organic: boolean(true)}, N, 0.01, schemas.KindLivestockManure, ""},
		{"organic alone", &schemas.Analysis{NPct: pct(1), Organic: boolean(true)}, N, 0.01, KindOrganic, ""},
		{"not organic", &schemas.Analysis{NPct: pct(1), Organic: boolean(false)}, N, 0.01, schemas.KindManufactured, ""},
		{"kinds disagree", &schemas.Analysis{NPct: pct(1), Kind: "manufactured", Organic: boolean(true)}, N, 0.01, KindUnknown, KindDisagrees},
	} {
		c := ContentOf(r.a)
		want := max(r.perKg, 0)
		if c.Known[r.n] != (r.perKg >= 0) || math.Abs(c.PerKg[r.n]-want) > 1e-6 || c.Kind != r.kind || kinds(c) != r.warnings {
			t.Errorf("%s: known %v, %.7f, kind %s, warnings %q (%v); want %v, %q, %q", r.name, c.Known[r.n], c.PerKg[r.n], c.Kind, kinds(c), c.Warnings, r.perKg, r.kind, r.warnings)
		}
	}
}

// Which version of an analysis holds.
func TestVersions(t *testing.T) {
	at := func(day int) time.Time { return time.Date(2026, 3, day, 0, 0, 0, 0, time.UTC) }
	product := func(event schemas.EventID, day int, n float64, batch schemas.DocketID, from string) Product {
		return Product{Product: "x", Event: event, At: at(day), Analysis: &schemas.Analysis{NPct: &n, Batch: batch, ValidFrom: from}}
	}
	all := []Product{
		product("e1", 5, 10, "", ""), product("e2", 10, 11, "", ""), product("e3", 20, 12, "", "2026-03-15T00:00:00Z"),
		product("e4", 6, 20, "D1", ""), product("e5", 12, 30, "D2", "2026-03-12T00:00:00Z"),
		{Product: "x", Event: "e6", At: at(25)}, {Product: "y", Event: "e7", At: at(1), Analysis: &schemas.Analysis{NPct: pct(1)}},
	}
	for _, r := range []struct {
		product schemas.ProductID
		batch   schemas.DocketID
		day     int
		event   schemas.EventID // "": none
		later   bool
	}{
		{"x", "", 5, "e1", false}, {"x", "", 9, "e1", false}, {"x", "", 10, "e2", false}, {"x", "", 14, "e2", false}, {"x", "", 15, "e3", false}, {"x", "", 30, "e3", false},
		{"x", "", 1, "e1", true}, // nothing held before: the first without a date is taken
		{"x", "D1", 8, "e4", false}, {"x", "D1", 2, "e4", true}, {"x", "D9", 8, "e1", false},
		{"x", "D2", 12, "e5", false}, {"x", "D2", 11, "e2", false}, // its own does not hold yet
		{"y", "", 2, "e7", false}, {"z", "", 2, "", false},
	} {
		v, later, found := chosen(all, r.product, r.batch, at(r.day))
		if v.Event != r.event || later != r.later || found != (r.event != "") {
			t.Errorf("%s %s on %d: %q later %v, want %q %v", r.product, r.batch, r.day, v.Event, later, r.event, r.later)
		}
	}
	if _, _, found := chosen([]Product{product("e5", 12, 30, "", "2026-03-12T00:00:00Z")}, "x", "", at(11)); found {
		t.Error("an analysis that says from when it holds holds before")
	}
}

func TestPeriods(t *testing.T) {
	nz := time.FixedZone("NZST", 12*3600)
	for _, r := range []struct {
		p        Period
		at       string
		name     string // "": none
		from, to string
	}{
		{Period{}, "2026-03-01T00:00:00Z", "2026", "2025-12-31T12:00:00Z", "2026-12-31T12:00:00Z"},
		{Period{Kind: CalendarYear}, "2025-12-31T12:00:00Z", "2026", "2025-12-31T12:00:00Z", "2026-12-31T12:00:00Z"},
		{Period{Kind: CalendarYear}, "2025-12-31T11:59:59Z", "2025", "2024-12-31T12:00:00Z", "2025-12-31T12:00:00Z"},
		{Period{Kind: FromDate, Month: 7}, "2026-06-30T11:59:59Z", "2025/26", "2025-06-30T12:00:00Z", "2026-06-30T12:00:00Z"},
		{Period{Kind: FromDate, Month: 7, Day: 1}, "2026-06-30T12:00:00Z", "2026/27", "2026-06-30T12:00:00Z", "2027-06-30T12:00:00Z"},
		{Period{Kind: FromDate, Month: 9, Day: 15, Months: 3}, "2026-10-01T00:00:00Z", "2026 from 15 September", "2026-09-14T12:00:00Z", "2026-12-14T12:00:00Z"},
		{Period{Kind: FromDate, Month: 9, Day: 15, Months: 3}, "2026-12-14T12:00:00Z", "", "", ""},
		{Period{Kind: FromDate, Month: 11, Months: 4}, "2027-02-27T00:00:00Z", "2026/27 from 1 November", "2026-10-31T12:00:00Z", "2027-02-28T12:00:00Z"},
		{Period{Kind: PerApplication}, "2026-03-01T00:00:00Z", "", "", ""},
	} {
		at, _ := time.Parse(time.RFC3339, r.at)
		s, ok := r.p.span(at, nz)
		if ok != (r.name != "") || ok && (s.Name != r.name || s.From.Format(time.RFC3339) != r.from || s.To.Format(time.RFC3339) != r.to) {
			t.Errorf("%+v at %s: %+v %v, want %s %s %s", r.p, r.at, s, ok, r.name, r.from, r.to)
		}
	}
	for _, r := range []struct {
		from, to, first, last string
		want                  bool
	}{
		{"2026-08-31T11:00:00Z", "2026-08-31T11:59:59Z", "09-01", "02-01", false}, // local 31 August
		{"2026-08-31T11:00:00Z", "2026-08-31T12:00:00Z", "09-01", "02-01", false}, // half open
		{"2026-08-31T11:00:00Z", "2026-08-31T12:00:01Z", "09-01", "02-01", true},
		{"2026-12-25T00:00:00Z", "2026-12-25T01:00:00Z", "09-01", "02-01", true},
		{"2027-02-01T11:59:00Z", "2027-02-01T11:59:59Z", "09-01", "02-01", true}, // the last day is in it
		{"2027-02-01T12:00:00Z", "2027-02-01T12:00:00Z", "09-01", "02-01", false},
		{"2026-03-01T00:00:00Z", "2027-03-01T00:00:00Z", "09-01", "09-01", true}, // a year of passes
		{"2026-06-15T00:00:00Z", "2026-06-15T01:00:00Z", "06-01", "06-30", true},
		{"2026-07-01T00:00:00Z", "2026-07-01T01:00:00Z", "06-01", "06-30", false},
	} {
		from, _ := time.Parse(time.RFC3339, r.from)
		to, _ := time.Parse(time.RFC3339, r.to)
		if got := touches(from, to, r.first, r.last, nz); got != r.want {
			t.Errorf("%s to %s in %s to %s: %v", r.from, r.to, r.first, r.last, got)
		}
	}
}
