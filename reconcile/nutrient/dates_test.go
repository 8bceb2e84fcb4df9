package nutrient

import (
	"math/rand/v2"
	"reflect"
	"slices"
	"testing"
	"time"
	_ "time/tzdata" // places with summer time, whatever the machine has

	"hopperbook/schemas"
	"hopperbook/schemas/fault"
)

func zone(t *testing.T, name string) *time.Location {
	t.Helper()
	loc, err := time.LoadLocation(name)
	if err != nil {
		t.Fatal(err)
	}
	return loc
}

// Local days, half open; the name has the last day.
func TestDates(t *testing.T) {
	for _, c := range []struct{ first, after, zone, name, from, to string }{
		{"2026-03-01", "2026-04-01", "UTC", "2026-03-01 to 2026-03-31", "2026-03-01T00:00:00Z", "2026-04-01T00:00:00Z"},
		{"2026-03-01", "2026-03-02", "Pacific/Auckland", "2026-03-01 to 2026-03-01", "2026-02-28T11:00:00Z", "2026-03-01T11:00:00Z"},
		{"2026-03-29", "2026-03-30", "Europe/Vienna", "2026-03-29 to 2026-03-29", "2026-03-28T23:00:00Z", "2026-03-29T22:00:00Z"}, // a day of 23 hours
		{"2028-02-29", "2028-03-01", "UTC", "2028-02-29 to 2028-02-29", "2028-02-29T00:00:00Z", "2028-03-01T00:00:00Z"},
		{"2026-03-01", "2026-03-01", "UTC", "", "", ""},
		{"2026-03-02", "2026-03-01", "UTC", "", "", ""},
		{"2026-02-29", "2026-03-01", "UTC", "", "", ""},
		{"1 March", "2026-03-01", "UTC", "", "", ""},
		{"2026-03-01", "", "UTC", "", "", ""},
	} {
		s, err := Dates(c.first, c.after, zone(t, c.zone))
		if c.name == "" {
			if fault.CodeOf(err) != fault.Usage {
				t.Errorf("%s to %s: %+v, %v", c.first, c.after, s, err)
			}
			continue
		}
		if err != nil || s.Name != c.name || s.From.Format(time.RFC3339) != c.from || s.To.Format(time.RFC3339) != c.to {
			t.Errorf("%s to %s in %s: %+v, %v", c.first, c.after, c.zone, s, err)
		}
	}
	if _, err := Run(Input{Dates: Span{Name: "x", From: day0, To: day0}}); fault.CodeOf(err) != fault.Usage {
		t.Errorf("dates without a day: %v", err)
	}
}

// A limit of 170 kg N/ha a calendar year, and one a season from 1 July: judged
// where the dates hold the whole period, to the day.
func TestLimitsOfDates(t *testing.T) {
	rule := Rules{RuleHead: RuleHead{ID: "mine"}, Limits: []Limit{
		{Part: Part{ID: "year"}, Nutrient: "N", Scope: ScopeField, Value: 170, Unit: "kg/ha"},
		{Part: Part{ID: "july"}, Nutrient: "N", Scope: ScopeField, Value: 170, Unit: "kg/ha", Period: Period{Kind: FromDate, Month: 7}},
		{Part: Part{ID: "each"}, Nutrient: "N", Scope: ScopeApplication, Value: 170, Unit: "kg/ha", Period: Period{Kind: PerApplication}}}}
	vienna := zone(t, "Europe/Vienna")
	for _, c := range []struct{ first, after, year, july string }{
		{"2026-01-01", "2027-01-01", Under, NotJudged},
		{"2026-01-01", "2026-12-31", NotJudged, NotJudged},
		{"2026-01-02", "2027-01-01", NotJudged, NotJudged},
		{"2025-07-01", "2026-07-01", NotJudged, Under},
		{"2025-07-01", "2027-01-01", Under, Under},
		{"2026-03-01", "2026-04-01", NotJudged, NotJudged},
		{"2025-07-02", "2026-12-31", NotJudged, NotJudged},
	} {
		in := oneField(rule, schemas.Analysis{NPct: pct(46), Kind: "manufactured"}, 1000, 0)
		in.Location = vienna
		in.Applications[0].From, in.Applications[0].To = time.Date(2026, 3, 10, 9, 0, 0, 0, vienna), time.Date(2026, 3, 10, 10, 0, 0, 0, vienna)
		var err error
		if in.Dates, err = Dates(c.first, c.after, vienna); err != nil {
			t.Fatal(err)
		}
		r := run(t, in)
		year, july, each := verdictOf(t, r, "year", "F1"), verdictOf(t, r, "july", "F1"), verdictOf(t, r, "each", "a1")
		if year.State != c.year || july.State != c.july || each.State != Under {
			t.Errorf("%s to %s: %s, %s, %s", c.first, c.after, year.State, july.State, each.State)
		}
		if year.State == NotJudged && (year.Value != 0 || year.Text == "" || len(year.Applications) != 0) {
			t.Errorf("not judged, and yet %+v", year)
		}
	}
}

// slowDates gives what a day's name says lies in the dates.
func slowDates(in Input, first, after string) (ids []string, kg float64) {
	for _, a := range in.Applications {
		if day := a.From.In(in.Location).Format(time.DateOnly); day >= first && day < after {
			ids, kg = append(ids, a.ID), kg+a.MassKg
		}
	}
	slices.Sort(ids)
	return ids, kg
}

// Dates beside the names of the days; the dates of a season give the season; cut in two,
// dates lose and gain no kilogram.
func TestLawsOfDates(t *testing.T) {
	of := func(r Result, scope string) (s Sum) {
		for _, x := range r.Sums {
			if x.Scope == scope && x.Product == "" && x.Kind == "" {
				s = x
			}
		}
		return s
	}
	withDates := func(in Input, first, after string) Result {
		var err error
		if in.Dates, err = Dates(first, after, in.Location); err != nil {
			t.Fatal(err)
		}
		return run(t, in)
	}
	held := 0
	for seed := range uint64(60) {
		in := randomInput(seed, randomRule(seed))
		in.Season = Period{}
		r := rand.New(rand.NewPCG(seed, 88))
		day := func(n int) string { return day0.AddDate(0, 0, n).Format(time.DateOnly) }
		from := r.IntN(600) - 400
		first, cut, after := day(from), day(from+1+r.IntN(100)), day(from+101+r.IntN(300))
		all := of(withDates(in, first, after), ScopeAll)
		ids, kg := slowDates(in, first, after)
		if !slices.Equal(all.Applications, ids) && len(ids)+len(all.Applications) > 0 || !near(all.MassKg, kg) {
			t.Fatalf("seed %d: %v %v kg, want %v %v kg", seed, all.Applications, all.MassKg, ids, kg)
		}
		if a, b := of(withDates(in, first, cut), ScopeAll), of(withDates(in, cut, after), ScopeAll); !near(a.MassKg+b.MassKg, kg) {
			t.Fatalf("seed %d: %v and %v kg of %v", seed, a.MassKg, b.MassKg, kg)
		}
		whole := run(t, in)
		for _, s := range whole.Sums {
			if s.Scope != ScopeAll || s.Product != "" || s.Kind != "" {
				continue
			}
			year := s.Season.From.In(in.Location).Year()
			dated := withDates(in, time.Date(year, 1, 1, 0, 0, 0, 0, time.UTC).Format(time.DateOnly), time.Date(year+1, 1, 1, 0, 0, 0, 0, time.UTC).Format(time.DateOnly))
			got := of(dated, ScopeAll)
			if got.Season.From != s.Season.From || got.Season.To != s.Season.To {
				t.Fatalf("seed %d: %+v, season %+v", seed, got.Season, s.Season)
			}
			if got.Season = s.Season; !reflect.DeepEqual(got, s) {
				t.Fatalf("seed %d: %+v\nseason %+v", seed, got, s)
			}
			for i, v := range dated.Verdicts {
				if v.State != NotJudged && !reflect.DeepEqual(v, whole.Verdicts[i]) {
					t.Fatalf("seed %d: %+v\nwithout dates %+v", seed, v, whole.Verdicts[i])
				}
				if v.State != NotJudged {
					held++
				}
			}
		}
	}
	if held < 20 {
		t.Errorf("only %d verdicts were compared", held)
	}
}
