package invoice_test

import (
	"testing"

	"github.com/shopspring/decimal"

	"hopperbook/reconcile/rating"
	"hopperbook/reports/invoice"
	"hopperbook/schemas"
)

func seller() *schemas.BillParty {
	return &schemas.BillParty{Name: "Tussock & Tarn Spreading", Address: "1 Demo Road\nUpper Demo\nDemoland 1\nFloor 2", Country: "AT", TaxID: "ATU00000000",
		Email: "office@example.org", Phone: "+43 0 000", LegalID: "FN 0"}
}

func buyer() *schemas.BillParty {
	return &schemas.BillParty{Name: "Long Paddock <Farm>", Address: "2 Demo Road", Country: "DE", TaxID: "DE000000000"}
}

// standard is a line of an agreement at 20 %.
func lines(all ...schemas.AgreementLine) schemas.RegisterAgreement {
	return schemas.RegisterAgreement{Agreement: "A-1", Customer: "C-014", Currency: "EUR", Lines: all, TaxCategory: "S", TaxPct: "20"}
}

// agreements are of every kind that shows in a document.
func agreements() map[string]schemas.RegisterAgreement {
	spread := schemas.AgreementLine{Kind: "per_tonne", Basis: "spread", Price: "28.50", Product: "urea-46"}
	covered := schemas.AgreementLine{Kind: "per_hectare", Basis: "covered", Price: "9.125", DiscountPct: "2.5", Text: "=covered"}
	tiered := schemas.AgreementLine{Kind: "per_tonne", Basis: "spread", Price: "30", StepsRule: "tiered", Steps: []schemas.PriceStep{{From: "5", Price: "26"}}, DiscountAmount: "7"}
	exempt := schemas.AgreementLine{Kind: "fixed", Price: "40", TaxCategory: "E", ExemptReason: "not taxed here", ExemptCode: "VATEX-EU-132"}
	low := schemas.AgreementLine{Kind: "per_km", Price: "2.10", TaxCategory: "S", TaxPct: "5"}
	mixed := lines(spread, covered, exempt, low, schemas.AgreementLine{Kind: "per_hour", Price: "95"})
	mixed.DiscountPct = "1.5"
	even := lines(tiered, schemas.AgreementLine{Kind: "minimum", Price: "900"})
	even.Rounding = "half_even"
	reverse := lines(spread)
	reverse.TaxCategory, reverse.TaxPct, reverse.ExemptReason = "AE", "", "reverse charge"
	outside := lines(spread)
	outside.TaxCategory, outside.TaxPct, outside.ExemptReason = "O", "", "outside the scope"
	yen := lines(spread)
	yen.Currency = "JPY"
	return map[string]schemas.RegisterAgreement{"mixed": mixed, "even": even, "reverse": reverse, "outside": outside, "yen": yen}
}

func bill(t testing.TB, a schemas.RegisterAgreement) rating.Bill {
	t.Helper()
	seen := func(v float64) rating.Measure { return rating.Measure{Value: v, From: "Long by sp2"} }
	b, err := rating.Rate(a, rating.Quantities{
		Masses:     []rating.Mass{{Product: "urea-46", DocketKg: seen(6000), LoadedKg: seen(6100), SpreadKg: seen(6120.5)}},
		Areas:      []rating.Area{{Field: "F-7", Product: "urea-46", BoundaryM2: seen(40_000), CoveredM2: seen(39_123.4)}},
		DistanceKm: seen(12.25), TimeH: seen(3.5),
		Unsure: []rating.Unsure{{Kind: rating.UnsureScale, Text: "the loader's scale is not certified for trade"}},
	}, rating.Tax{})
	if err != nil {
		t.Fatal(err)
	}
	return b
}

func issued(t testing.TB, a schemas.RegisterAgreement) schemas.InvoiceIssued {
	t.Helper()
	e := schemas.InvoiceIssued{Number: "2026-0031", Job: "J-101", From: "2026-03-01T00:00:00+01:00", To: "2026-03-03T00:00:00+01:00", IssuedOn: "2026-03-03", DueOn: "2026-03-23",
		Seller: seller(), Buyer: buyer(), Evidence: []schemas.BillEvidence{{Kind: "load.weighed", Count: 3}}, Digest: digest, PaymentNote: "to the account named above"}
	b := bill(t, a)
	b.Fill(&e)
	e.DocumentDigest = invoice.IssuedDigest(e)
	return e
}

const digest = "abababababababababababababababababababababababababababababababab"

// documents gives an invoice and its credit note.
func documents(t testing.TB, a schemas.RegisterAgreement) (invoice.Document, invoice.Document) {
	t.Helper()
	e := issued(t, a)
	d, err := invoice.FromIssued(&e)
	if err != nil {
		t.Fatal(err)
	}
	n, err := rating.CreditOf(&e, "2026-0032", "2026-03-05", "a load was weighed twice")
	if err != nil {
		t.Fatal(err)
	}
	n.DocumentDigest = invoice.CreditedDigest(n)
	c, err := invoice.FromCredited(&n)
	if err != nil {
		t.Fatal(err)
	}
	return d, c
}

func dec(text string) decimal.Decimal { return decimal.RequireFromString(text) }
