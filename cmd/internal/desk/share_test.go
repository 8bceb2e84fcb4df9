package desk

import (
	"slices"
	"testing"

	"hopperbook/reports"
	"hopperbook/reports/invoice"
	"hopperbook/schemas"
	"hopperbook/schemas/fault"
)

// Two customers share a bill. By hand, 50.5 % for C2, half up:
//
//	loaded, 0.160 t: 0.160 x 0.495 = 0.0792 t, and 0.0808 t; at 100: 7.92 and 8.08
//	fixed, 1 x 25:   0.495 x 25 = 12.375 -> 12.38; 0.505 x 25 = 12.625 -> 12.63; together 25.01
//	before tax 20.30 and 20.71; 15 %: 3.045 -> 3.05 and 3.1065 -> 3.11; with tax 23.35 and 23.82
func TestTwoCustomersShareABill(t *testing.T) {
	f := billable(t)
	f.add("office", schemas.TypeRegisterCustomer, 0, schemas.RegisterCustomer{Customer: "C2", Name: "Tern Trust"})
	ask := BillParams{Job: "J1", ShareWith: "C2", SharePct: "50.5", AcceptGaps: true, Day: "2026-03-05"}
	var a reports.BillAnswer
	must(t, f.try(Bill, ask, &a))
	ask.Issue, ask.Expect = true, a.Plan
	must(t, f.try(Bill, ask, &a))
	one, two := a.Invoice, a.Shared
	if one.Number != "2026-0001" || two.Number != "2026-0002" || one.SharedWith != two.Number || two.SharedWith != one.Number ||
		one.Totals.Gross != "23.35" || two.Totals.Gross != "23.82" || two.Customer != "C2" || two.Buyer.Name != "Tern Trust" || one.SharePct != "49.5" || two.SharePct != "50.5" {
		t.Fatalf("%+v\n%+v", one, two)
	}
	want := []string{"line 2: the two invoices come to 25.01 NZD, one invoice to 25.00", "net: the two invoices come to 41.01 NZD, one invoice to 41.00",
		"tax: the two invoices come to 6.16 NZD, one invoice to 6.15", "total: the two invoices come to 47.17 NZD, one invoice to 47.15"}
	if !slices.Equal(one.ShareNotes, want) || !slices.Equal(two.ShareNotes, want) {
		t.Errorf("notes %q", one.ShareNotes)
	}
	for _, i := range a.Invoices() {
		doc, err := invoice.FromIssued(&i)
		must(t, err)
		if !slices.Contains(doc.Notes(), "This is "+i.SharePct+" % of every line; the rest stands on invoice "+string(i.SharedWith)+".") || !slices.Contains(doc.Notes(), "By rounding, "+want[0]) {
			t.Errorf("notes of %s: %q", i.Number, doc.Notes())
		}
		var kept reports.DocumentAnswer
		must(t, f.try(Document, map[string]schemas.InvoiceNo{"number": i.Number}, &kept))
		if !kept.Whole || !kept.Unchanged || kept.GrossNow != i.Totals.Gross {
			t.Errorf("%s: %+v", i.Number, kept)
		}
	}
	f.credited(one.Number, two.Number)
}

// credited takes both invoices back: the job can be billed only after the second.
func (f *filing) credited(one, two schemas.InvoiceNo) {
	f.t.Helper()
	var a reports.BillAnswer
	var doc reports.DocumentAnswer
	again := BillParams{Job: "J1"}
	wantCode(f.t, "both stand", f.try(Bill, again, &a), fault.Conflict, "stands on")
	must(f.t, f.try(Credit, CreditParams{Number: one, Reason: "x", Issue: true}, &doc))
	wantCode(f.t, "one stands", f.try(Bill, again, &a), fault.Conflict, "stands on "+string(two))
	must(f.t, f.try(Credit, CreditParams{Number: two, Reason: "x", Issue: true}, &doc))
	must(f.t, f.try(Bill, again, &a))
}

// What the same work would come to now is the invoice's part of it.
func TestASharedBillIsWorkedOutAnewInParts(t *testing.T) {
	f := billable(t)
	f.add("office", schemas.TypeRegisterCustomer, 0, schemas.RegisterCustomer{Customer: "C2", Name: "Tern Trust"})
	var a reports.BillAnswer
	must(t, f.try(Bill, BillParams{Job: "J1", ShareWith: "C2", SharePct: "20", AcceptGaps: true, Issue: true}, &a))
	f.add("office", schemas.TypeRegisterAgreement, 1, schemas.RegisterAgreement{Agreement: "A1", Customer: "C1", Currency: "NZD", Lines: []schemas.AgreementLine{{Kind: schemas.LineFixed, Price: "100"}}})
	for number, gross := range map[schemas.InvoiceNo]string{a.Invoice.Number: "92.00", a.Shared.Number: "23.00"} { // 80 and 20, 15 % tax
		var doc reports.DocumentAnswer
		must(t, f.try(Document, map[string]schemas.InvoiceNo{"number": number}, &doc))
		if doc.Unchanged || doc.GrossNow != gross {
			t.Errorf("%s comes to %s now, want %s", number, doc.GrossNow, gross)
		}
	}
}

func TestASharedBillRefuses(t *testing.T) {
	f := billable(t)
	f.add("office", schemas.TypeRegisterCustomer, 0, schemas.RegisterCustomer{Customer: "C2", Name: "Tern Trust"})
	var a reports.BillAnswer
	for _, c := range []struct {
		with schemas.CustomerID
		pct  string
		code fault.Code
		says string
	}{
		{"C2", "", fault.Usage, "--share 40"}, {"", "40", fault.Usage, "--share-with"}, {"C2", "x", fault.Usage, "percent"}, {"C9", "40", fault.NotFound, "not registered"},
		{"C1", "40", fault.Usage, "pays the rest"}, {"C2", "0", fault.Usage, "between 0 and 100"}, {"C2", "100", fault.Usage, "between 0 and 100"}, {"C2", "-5", fault.Usage, "between 0 and 100"},
	} {
		wantCode(t, string(c.with)+" "+c.pct, f.try(Bill, BillParams{Job: "J1", ShareWith: c.with, SharePct: c.pct}, &a), c.code, c.says)
	}
}
