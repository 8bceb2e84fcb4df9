package desk

import (
	"strings"
	"testing"

	"hopperbook/reports"
	"hopperbook/schemas"
	"hopperbook/schemas/fault"
)

// An invoice or a credit note that a device sends bills nothing, takes nothing
// back and takes no number; that it came is said.
func TestADocumentIssuedElsewhereDoesNotCount(t *testing.T) {
	f := billable(t)
	var a reports.BillAnswer
	must(t, f.try(Bill, BillParams{Job: "J1", Issue: true, AcceptGaps: true, Day: "2026-03-05"}, &a))
	if out := findings(f); strings.Contains(out, "document_issued_elsewhere") {
		t.Fatalf("findings %s", out)
	}
	forged := a.Invoice
	forged.Number, forged.Job = "2026-0500", "J2"
	f.add("sp1", schemas.TypeInvoiceIssued, 30, forged)
	f.add("sp1", schemas.TypeInvoiceCredited, 31, schemas.InvoiceCredited{Number: "2026C-0009", Credits: a.Invoice.Number, Currency: "NZD", Lines: a.Invoice.Lines, Totals: a.Invoice.Totals, Digest: a.Invoice.Digest})
	rows := ask[reports.DocumentsAnswer](f, Documents).Documents
	if len(rows) != 1 || rows[0].Number != "2026-0001" || rows[0].State != "open" {
		t.Errorf("documents %+v", rows)
	}
	if n := strings.Count(findings(f), "document_issued_elsewhere"); n != 2 {
		t.Errorf("%d findings, want 2: %s", n, findings(f))
	}
	var doc reports.DocumentAnswer
	wantCode(t, "the forged one", f.try(Document, map[string]string{"number": "2026-0500"}, &doc), fault.NotFound, "no such document")
	must(t, f.try(Credit, CreditParams{Number: "2026-0001", Reason: "x", Issue: true, Day: "2026-03-06"}, &doc))
	must(t, f.try(Bill, BillParams{Job: "J1", Issue: true, AcceptGaps: true, Day: "2026-03-06"}, &a))
	if doc.Credit.Number != "2026C-0001" || a.Invoice.Number != "2026-0002" {
		t.Errorf("numbers %s and %s", doc.Credit.Number, a.Invoice.Number)
	}
}

// An invoice whose words are others than its digest is told as such.
func TestAnAlteredInvoiceIsTold(t *testing.T) {
	f := billable(t)
	var a reports.BillAnswer
	must(t, f.try(Bill, BillParams{Job: "J1", AcceptGaps: true, Day: "2026-03-05"}, &a))
	a.Invoice.PaymentNote = "to another account"
	f.bookOne(schemas.Identity{Source: billing, Sequence: 1}, schemas.TypeInvoiceIssued, 30, a.Invoice)
	rows := ask[reports.DocumentsAnswer](f, Documents)
	if len(rows.Documents) != 1 || rows.Documents[0].State != "altered" || len(reports.Documents(rows).Notes) != 1 {
		t.Errorf("%+v", rows)
	}
}
