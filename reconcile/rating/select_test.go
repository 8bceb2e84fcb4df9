package rating

import (
	"math/rand/v2"
	"strings"
	"testing"
	"time"

	"hopperbook/schemas"
	"hopperbook/schemas/fault"
)

func instant(t testing.TB, text string) time.Time {
	t.Helper()
	at, err := time.Parse(time.RFC3339, text)
	if err != nil {
		t.Fatal(err)
	}
	return at
}

func TestSelect(t *testing.T) {
	const day = "T00:00:00Z"
	valid := func(name, from, to string) schemas.RegisterAgreement {
		a := schemas.RegisterAgreement{Agreement: schemas.AgreementID(name), Customer: "C-1"}
		if from != "" {
			a.ValidFrom = from + day
		}
		if to != "" {
			a.ValidTo = to + day
		}
		return a
	}
	old, year, lime := valid("old", "", ""), valid("year", "2026-01-01", "2027-01-01"), valid("lime", "2026-05-01", "2026-06-01")
	other := valid("other", "2026-01-01", "")
	other.Customer = "C-2"
	twin := valid("twin", "2026-05-01", "2026-05-03")
	east := valid("east", "", "")
	east.ValidFrom = "2026-05-01T12:00:00+12:00" // the same instant as lime
	all := []schemas.RegisterAgreement{old, year, lime, other}
	for _, r := range []struct {
		agreements []schemas.RegisterAgreement
		at         string
		want       string // agreement, or the fault's code and a part of its text
	}{
		{all, "2025-12-31T23:59:59Z", "old"},
		{all, "2026-01-01T00:00:00Z", "year"},
		{all, "2026-05-01T00:00:00Z", "lime"}, // the later one wins
		{all, "2026-05-31T23:59:59Z", "lime"},
		{all, "2026-06-01T00:00:00Z", "year"}, // half open
		{all, "2027-01-01T00:00:00Z", "old"},
		{append(all, twin), "2026-05-02T00:00:00Z", "conflict lime and twin overlap"},
		{append(all, twin), "2026-05-03T00:00:00Z", "lime"}, // the twin is over
		{append(all, east), "2026-05-02T00:00:00Z", "conflict east and lime"},
		{append(all, valid("none", "2026-05-01", "2026-05-01")), "2026-05-01T00:00:00Z", "lime"}, // an empty period is never valid
		{append(all, valid("older", "", "")), "2025-01-01T00:00:00Z", "conflict old and older"},
		{append(all, valid("older", "", "")), "2026-05-02T00:00:00Z", "lime"}, // they overlap, but another one holds
		{[]schemas.RegisterAgreement{year, other}, "2025-12-31T23:59:59Z", "not_found none is valid on 2025-12-31"},
		{nil, "2026-05-02T00:00:00Z", "not_found none"},
		{[]schemas.RegisterAgreement{{Customer: "C-1", Agreement: "odd", ValidFrom: "May"}}, "2026-05-02T00:00:00Z", "input"},
	} {
		for range 5 { // in any order
			a, err := Select(r.agreements, "C-1", instant(t, r.at))
			got := string(a.Agreement)
			if err != nil {
				got = fault.CodeOf(err).String() + " " + err.Error()
			}
			code, part, _ := strings.Cut(r.want, " ")
			if !strings.HasPrefix(got, code) || !strings.Contains(got, part) {
				t.Errorf("at %s: %s, want %s", r.at, got, r.want)
			}
			rand.New(rand.NewPCG(1, 1)).Shuffle(len(r.agreements), func(i, k int) { r.agreements[i], r.agreements[k] = r.agreements[k], r.agreements[i] })
		}
	}
}

func TestNamed(t *testing.T) {
	all := []schemas.RegisterAgreement{
		{Agreement: "a", Customer: "C-1"},
		{Agreement: "b", Customer: "C-1", ValidFrom: "2026-05-01T00:00:00Z"},
		{Agreement: "c", Customer: "C-2"},
	}
	for _, r := range []struct {
		name schemas.AgreementID
		code fault.Code
		ok   bool
	}{{"a", 0, true}, {"b", fault.NotFound, false}, {"c", fault.Conflict, false}, {"d", fault.NotFound, false}} {
		got, err := Named(all, r.name, "C-1", instant(t, "2026-04-30T00:00:00Z"))
		if r.ok != (err == nil) || !r.ok && fault.CodeOf(err) != r.code || r.ok && got.Agreement != r.name {
			t.Errorf("%s: %s, %v", r.name, got.Agreement, err)
		}
	}
}

func TestDue(t *testing.T) {
	for _, r := range []struct {
		issued string
		days   int64
		want   string
	}{
		{"2026-03-03", 20, "2026-03-23"}, {"2026-01-31", 30, "2026-03-02"}, {"2028-02-28", 1, "2028-02-29"}, {"2026-12-31", 1, "2027-01-01"},
		{"2026-03-28", 1, "2026-03-29"}, {"2026-03-03", 0, "2026-03-03"}, {"2026-03-03", -1, ""}, {"3.3.2026", 1, "!"},
	} {
		a := schemas.RegisterAgreement{}
		if r.days >= 0 {
			a.PaymentDays = &r.days
		}
		got, err := Due(&a, r.issued)
		if err != nil {
			got = "!"
		}
		if got != r.want {
			t.Errorf("%s and %d days: %s, want %s", r.issued, r.days, got, r.want)
		}
	}
}
