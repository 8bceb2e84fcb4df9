package desk

import (
	"context"
	"slices"
	"strings"
	"testing"

	"hopperbook/reports"
	"hopperbook/schemas"
)

// state is the document's in the list: open, changed or credited.
func (f *filing) state(n schemas.InvoiceNo) string {
	f.t.Helper()
	for _, r := range ask[reports.DocumentsAnswer](f, Documents).Documents {
		if r.Number == n {
			return r.State
		}
	}
	f.t.Fatalf("%s is not listed", n)
	return ""
}

// What the amounts rest on in the office's register is evidence: the tax that
// counts and the agreement that would be chosen. A telephone is not, nor is an
// agreement of somebody else, one that begins later, or one that began earlier.
func TestWhatTheOfficeRegistersIsEvidence(t *testing.T) {
	contractor := schemas.RegisterContractor{Name: "Tussock & Tarn Spreading", Address: "invented", TimeZone: "Pacific/Auckland", TaxCategory: "S", TaxPct: "15"}
	agreement := schemas.RegisterAgreement{Agreement: "A2", Customer: "C1", Currency: "NZD", ValidFrom: "2026-02-01T00:00:00Z", Lines: []schemas.AgreementLine{{Kind: schemas.LineFixed, Price: "9"}}}
	for _, c := range []struct {
		what  string
		add   func(f *filing)
		state string
		gross string
	}{
		{"another tax", func(f *filing) {
			now := contractor
			now.TaxPct = "10"
			f.add("office", schemas.TypeRegisterContractor, 1, now)
		}, "changed", "45.10"}, // 41.00 and 10 %
		{"another telephone", func(f *filing) {
			now := contractor
			now.Phone = "000 000"
			f.add("office", schemas.TypeRegisterContractor, 1, now)
		}, "open", "47.15"},
		{"an agreement in its stead", func(f *filing) { f.add("office", schemas.TypeRegisterAgreement, 1, agreement) }, "changed", ""},
		{"an agreement of later", func(f *filing) {
			later := agreement
			later.ValidFrom = "2026-04-01T00:00:00Z"
			f.add("office", schemas.TypeRegisterAgreement, 1, later)
		}, "open", ""},
		{"another customer's agreement", func(f *filing) {
			other := agreement
			other.Customer = "C2"
			f.add("office", schemas.TypeRegisterAgreement, 1, other)
		}, "open", ""},
	} {
		f := billable(t)
		var done reports.BillAnswer
		must(t, f.try(Bill, BillParams{Job: "J1", Issue: true, AcceptGaps: true, Day: "2026-03-05"}, &done))
		c.add(f)
		if got := f.state(done.Invoice.Number); got != c.state {
			t.Errorf("%s: the invoice is %s, want %s", c.what, got, c.state)
		}
		var doc reports.DocumentAnswer
		must(t, f.try(Document, map[string]schemas.InvoiceNo{"number": done.Invoice.Number}, &doc))
		if doc.Unchanged != (c.state == "open") || c.gross != "" && doc.GrossNow != c.gross {
			t.Errorf("%s: unchanged %v, now %s", c.what, doc.Unchanged, doc.GrossNow)
		}
	}
}

// A finish that is voided for a later one is another number of hours.
func TestHoursAreEvidence(t *testing.T) {
	f := billable(t)
	f.add("office", schemas.TypeRegisterAgreement, 1, schemas.RegisterAgreement{Agreement: "A1", Customer: "C1", Currency: "NZD", Lines: []schemas.AgreementLine{{Kind: schemas.LinePerHour, Price: "600"}}})
	f.add("sp1", schemas.TypeJobStarted, 2, schemas.JobStarted{Job: "J1"})
	finish := f.add("sp1", schemas.TypeJobFinished, 8, schemas.JobFinished{Job: "J1"})
	var done reports.BillAnswer
	must(t, f.try(Bill, BillParams{Job: "J1", Issue: true, AcceptGaps: true, Day: "2026-03-05"}, &done))
	if got := done.Invoice.Totals.Gross; got != "69.00" { // 0.1 h x 600 = 60, 15 %
		t.Errorf("gross %s", got)
	}
	f.add("office", schemas.TypeEventAmended, 20, schemas.EventAmended{Amends: finish, Action: schemas.AmendVoid, Reason: "pressed too early"})
	f.add("sp1", schemas.TypeJobFinished, 14, schemas.JobFinished{Job: "J1"})
	if got := f.state(done.Invoice.Number); got != "changed" {
		t.Errorf("the invoice is %s", got)
	}
	var doc reports.DocumentAnswer
	must(t, f.try(Document, map[string]schemas.InvoiceNo{"number": done.Invoice.Number}, &doc))
	if doc.Unchanged || doc.GrossNow != "138.00" {
		t.Errorf("unchanged %v, now %s", doc.Unchanged, doc.GrossNow)
	}
}

// Of a job whose field is gone nothing is left to bill, also where a fixed price
// counts nothing that was measured; an agreement in the old one's stead prices it.
func TestTheSameJobsNow(t *testing.T) {
	f := billable(t)
	f.add("office", schemas.TypeRegisterAgreement, 1, schemas.RegisterAgreement{Agreement: "A1", Customer: "C1", Currency: "NZD", Lines: []schemas.AgreementLine{{Kind: schemas.LineFixed, Price: "1"}}})
	var done reports.BillAnswer
	must(t, f.try(Bill, BillParams{Job: "J1", Issue: true, AcceptGaps: true, Day: "2026-03-05"}, &done))
	number := map[string]schemas.InvoiceNo{"number": done.Invoice.Number}
	f.add("office", schemas.TypeRegisterAgreement, 2, schemas.RegisterAgreement{Agreement: "A2", Customer: "C1", Currency: "NZD", ValidFrom: "2026-02-01T00:00:00Z", Lines: []schemas.AgreementLine{{Kind: schemas.LineFixed, Price: "2"}}})
	var doc reports.DocumentAnswer
	must(t, f.try(Document, number, &doc))
	if doc.Unchanged || doc.GrossNow != "2.30" {
		t.Errorf("under another agreement: unchanged %v, now %s", doc.Unchanged, doc.GrossNow)
	}
	var field schemas.EventID
	must(t, f.book.Events(context.Background(), []schemas.EventType{schemas.TypeRegisterField}, func(e *schemas.Event) error { field = e.ID; return nil }))
	f.add("office", schemas.TypeEventAmended, 20, schemas.EventAmended{Amends: field, Action: schemas.AmendVoid, Reason: "drawn twice"})
	must(t, f.try(Document, number, &doc))
	if doc.GrossNow != "" || !slices.ContainsFunc(doc.Changes, func(c string) bool { return strings.Contains(c, "nothing was spread under it") }) {
		t.Errorf("without its field: now %s, changes %q", doc.GrossNow, doc.Changes)
	}
}
