package rating

import (
	"encoding/json"
	"testing"

	"hopperbook/schemas"
)

// Whatever an agreement says, it is billed by its rules or refused; no panic,
// no bill that breaks a rule, no event that breaks the contract's decimals.
func FuzzAgreement(f *testing.F) {
	for _, text := range []string{
		"EUR even q2 -1% S20 | spread 28.50 step 50:26,200:24.75 -2.5% | min 250",
		"JPY | covered 9 tier 10:5 -100 E | km 2.10 | h 95", "KWD S5 | product 640 of urea | fixed 40 -15",
	} {
		a := agreement(f, text)
		raw, err := json.Marshal(a)
		if err != nil {
			f.Fatal(err)
		}
		f.Add(raw, 6120.5, 39_000.25)
	}
	f.Add([]byte(`{"currency":"EUR","lines":[{"kind":"fixed","price":"1e999999999"}]}`), 0.0, 1e308)
	f.Fuzz(func(t *testing.T, raw []byte, kg, m2 float64) {
		var a schemas.RegisterAgreement
		if json.Unmarshal(raw, &a) != nil {
			return
		}
		mass, area := Measure{kg, "x"}, Measure{m2, "x"}
		q := Quantities{Masses: []Mass{{"urea", mass, mass, mass}}, Areas: []Area{{"F", "urea", area, area}}, DistanceKm: area, TimeH: mass}
		b, err := Rate(a, q, Tax{Category: "S", Pct: dec("20")})
		if err != nil {
			return
		}
		if broken := b.Check(); len(broken) > 0 {
			t.Fatalf("%v", broken)
		}
		var e schemas.InvoiceIssued
		b.Fill(&e)
		back, err := Issued(&e)
		if err != nil || show(&back) != show(&b) {
			t.Fatalf("%s reads back as %s, %v", show(&b), show(&back), err)
		}
		if _, err := Split(b, dec("0.3")); err != nil {
			t.Fatal(err)
		}
	})
}
