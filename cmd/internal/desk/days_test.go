package desk

import (
	"testing"

	"hopperbook/reports"
	"hopperbook/schemas"
	"hopperbook/schemas/fault"
)

// The work of billable ended early in March 2026.
func TestDaysOfDocuments(t *testing.T) {
	f := billable(t)
	var a reports.BillAnswer
	var doc reports.DocumentAnswer
	bill := func(day, series string) error {
		return f.try(Bill, BillParams{Job: "J1", Issue: true, AcceptGaps: true, Day: day, Series: series}, &a)
	}
	credit := func(n schemas.InvoiceNo, day string) error {
		return f.try(Credit, CreditParams{Number: n, Reason: "x", Issue: true, Day: day}, &doc)
	}
	for _, day := range []string{"1990-01-01", "9999-12-31", "2026-02-30", "5 March"} {
		wantCode(t, day, bill(day, ""), fault.Usage, "day")
	}
	wantCode(t, "before the work", bill("2026-03-01", ""), fault.Usage, "the work ended on 2026-03-0")
	must(t, bill("2026-03-10", ""))
	wantCode(t, "credited before it was issued", credit("2026-0001", "2026-03-09"), fault.Usage, "the invoice is of 2026-03-10")
	must(t, credit("2026-0001", "2026-03-10"))
	wantCode(t, "a later number of an earlier day", bill("2026-03-09", ""), fault.Usage, "2026-0001 is of 2026-03-10")
	must(t, bill("2026-03-09", "B"))
	if a.Invoice.Number != "B-0001" {
		t.Errorf("number %s", a.Invoice.Number)
	}
	must(t, credit("B-0001", "2026-03-12"))
	wantCode(t, "the credit notes' series", bill("2026-03-12", "BC"), fault.Usage, "credit notes")
}

// What was taken back may rest on anything by now; what stands may not.
func TestWhatWasTakenBackAgrees(t *testing.T) {
	for agrees, a := range map[bool]reports.DocumentAnswer{
		true:  {Whole: true, CreditedBy: "2026C-0001"},
		false: {Whole: true},
	} {
		if a.Agrees() != agrees {
			t.Errorf("%+v", a)
		}
	}
	for _, a := range []reports.DocumentAnswer{{CreditedBy: "x"}, {Whole: true, Unchanged: true, File: reports.FileDiffers}} {
		if a.Agrees() {
			t.Errorf("%+v agrees", a)
		}
	}
}
