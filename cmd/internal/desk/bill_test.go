package desk

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"slices"
	"strings"
	"sync"
	"testing"

	"hopperbook/reports"
	"hopperbook/schemas"
	"hopperbook/schemas/fault"
)

// billable is the day of filing under job J1, and all that an invoice wants.
func billable(t *testing.T) *filing {
	f := newFiling(t)
	f.day()
	f.add("office", schemas.TypeRegisterContractor, 0, schemas.RegisterContractor{Name: "Tussock & Tarn Spreading", Address: "invented", TimeZone: "Pacific/Auckland", TaxCategory: "S", TaxPct: "15"})
	f.add("office", schemas.TypeRegisterCustomer, 0, schemas.RegisterCustomer{Customer: "C1", Name: "Alder & Sedge"})
	f.add("office", schemas.TypeRegisterJob, 0, schemas.RegisterJob{Job: "J1", Customer: "C1", Fields: []schemas.FieldID{"F1"}, Product: "super", SetRateKgHa: 200})
	f.add("office", schemas.TypeRegisterAgreement, 0, schemas.RegisterAgreement{Agreement: "A1", Customer: "C1", Currency: "NZD", Lines: []schemas.AgreementLine{
		{Kind: schemas.LinePerTonne, Basis: schemas.BasisLoaded, Price: "100"}, {Kind: schemas.LineFixed, Price: "25"}}})
	return f
}

func (f *filing) try(question string, params, answer any) error {
	f.t.Helper()
	raw, err := json.Marshal(params)
	if err != nil {
		f.t.Fatal(err)
	}
	var out bytes.Buffer
	if err := f.desk.Answer(context.Background(), question, raw, &out); err != nil {
		return err
	}
	return json.Unmarshal(out.Bytes(), answer)
}

func must(t *testing.T, err error) {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
}

func wantCode(t *testing.T, what string, err error, code fault.Code, says string) {
	t.Helper()
	if fault.CodeOf(err) != code || err == nil || !strings.Contains(fault.Message(err), says) {
		t.Errorf("%s: %v, want %s with %q", what, err, code, says)
	}
}

// By hand: 0.160 t x 100 = 16.00, and 25: 41.00, 15 % tax 6.15.
func TestABillIsPlannedThenIssuedOnce(t *testing.T) {
	f := billable(t)
	var plan, done reports.BillAnswer
	must(t, f.try(Bill, BillParams{Job: "J1", Day: "2026-03-05"}, &plan))
	if i := plan.Invoice; plan.Issued || i.Totals.Gross != "47.15" || i.Number != "2026-0001" || i.Buyer.Name != "Alder & Sedge" || len(plan.Proof.Loads) != 1 {
		t.Fatalf("plan %+v", plan)
	}
	if got := ask[reports.DocumentsAnswer](f, Documents).Documents; len(got) != 0 {
		t.Fatalf("a plan issued %v", got)
	}
	wantCode(t, "gaps", f.try(Bill, BillParams{Job: "J1", Issue: true}, &done), fault.Conflict, "missing")
	wantCode(t, "another plan", f.try(Bill, BillParams{Job: "J1", Issue: true, AcceptGaps: true, Expect: "f00"}, &done), fault.Conflict, "changed")
	must(t, f.try(Bill, BillParams{Job: "J1", Issue: true, AcceptGaps: true, Expect: plan.Plan, Day: "2026-03-05"}, &done))
	if !done.Issued || done.Invoice.Number != "2026-0001" || done.Invoice.DocumentDigest == "" {
		t.Fatalf("issued %+v", done)
	}
	wantCode(t, "twice", f.try(Bill, BillParams{Job: "J1", Issue: true, AcceptGaps: true}, &done), fault.Conflict, "2026-0001")
	wantCode(t, "series", f.try(Bill, BillParams{Job: "J1", Series: "2026/1"}, &done), fault.Conflict, "2026-0001")

	var doc reports.DocumentAnswer
	number := map[string]string{"number": "2026-0001"}
	must(t, f.try(Document, number, &doc))
	if !doc.Whole || !doc.Unchanged || doc.GrossNow != "47.15" {
		t.Errorf("document %+v", doc)
	}
	wantCode(t, "no such document", f.try(Document, map[string]string{"number": "2026-0009"}, &doc), fault.NotFound, "no such")
}

func TestChangedEvidenceIsSeenAndCredited(t *testing.T) {
	f := billable(t)
	var done reports.BillAnswer
	must(t, f.try(Bill, BillParams{Job: "J1", Issue: true, AcceptGaps: true, Day: "2026-03-05"}, &done))
	load := done.Proof.Loads[0]
	var id schemas.EventID
	must(t, f.book.Events(context.Background(), []schemas.EventType{schemas.TypeLoadWeighed}, func(e *schemas.Event) error { id = e.ID; return nil }))
	heavier, err := json.Marshal(schemas.LoadWeighed{Load: load.Load, Product: "super", NetKg: 180, Method: schemas.MethodBucket, SdKg: number(1)})
	must(t, err)
	f.add("office", schemas.TypeEventAmended, 20, schemas.EventAmended{Amends: id, Action: schemas.AmendReplace, Reason: "misread", Replacement: heavier})

	var doc reports.DocumentAnswer
	must(t, f.try(Document, map[string]string{"number": "2026-0001"}, &doc))
	// 0.180 t x 100 + 25 = 43.00, 15 %: 49.45
	if !doc.Whole || doc.Unchanged || doc.GrossNow != "49.45" || !slices.Equal(doc.Changes, []string{"event.amended: 0 then, 1 now"}) || len(doc.Proof.Amendments) != 1 {
		t.Errorf("document %+v", doc)
	}
	if rows := ask[reports.DocumentsAnswer](f, Documents).Documents; len(rows) != 1 || rows[0].State != "changed" {
		t.Errorf("documents %+v", rows)
	}
	if out := findings(f); !strings.Contains(out, "invoice_evidence_changed") {
		t.Errorf("findings %s", out)
	}
	must(t, f.try(Credit, CreditParams{Number: "2026-0001", Reason: "load misread", Issue: true, Day: "2026-03-06"}, &doc))
	if doc.Credit.Number != "2026C-0001" || doc.Credit.Totals.Gross != "-47.15" {
		t.Errorf("credit note %+v", doc.Credit)
	}
	wantCode(t, "credited twice", f.try(Credit, CreditParams{Number: "2026-0001", Issue: true}, &doc), fault.Conflict, "2026C-0001")
	must(t, f.try(Bill, BillParams{Job: "J1", Issue: true, AcceptGaps: true, Day: "2026-03-06"}, &done))
	if done.Invoice.Number != "2026-0002" || done.Invoice.Totals.Gross != "49.45" {
		t.Errorf("billed anew: %+v", done.Invoice)
	}
	if out := findings(f); strings.Contains(out, "invoice_evidence_changed") {
		t.Errorf("a credited invoice is still a finding: %s", out)
	}
	for _, r := range ask[reports.DocumentsAnswer](f, Documents).Documents {
		var d reports.DocumentAnswer
		must(t, f.try(Document, map[string]schemas.InvoiceNo{"number": r.Number}, &d))
		if !d.Whole {
			t.Errorf("%s is not whole", r.Number)
		}
	}
}

// Eight issuers at once over twenty jobs: each job is billed once, and the
// numbers have no gap.
func TestIssuersAtOnce(t *testing.T) {
	f := billable(t)
	const jobs = 20
	for j := range jobs {
		f.seq++
		x := 170 + 0.01*float64(j)
		ring := []schemas.Position{{x, -46}, {x + 0.002, -46}, {x + 0.002, -45.998}, {x, -45.998}, {x, -46}}
		field := schemas.FieldID(fmt.Sprintf("G%03d", j))
		f.add("office", schemas.TypeRegisterField, 0, schemas.RegisterField{Field: field, Customer: "C1", Name: string(field), Boundary: schemas.Boundary{{ring}}})
		f.add("office", schemas.TypeRegisterJob, 0, schemas.RegisterJob{Job: schemas.JobID("K" + string(field)), Customer: "C1", Fields: []schemas.FieldID{field}, Product: "super", SetRateKgHa: 200})
		device := schemas.DeviceID(fmt.Sprintf("m%03d", j))
		load := schemas.LoadID("L" + string(field))
		f.add(device, schemas.TypeLoadWeighed, 1, schemas.LoadWeighed{Load: load, Product: "super", NetKg: 100, Method: schemas.MethodBucket})
		f.add(device, schemas.TypeHopperRefilled, 2, schemas.HopperRefilled{Refill: schemas.RefillID("R" + string(field)), Product: "super", Loads: []schemas.LoadID{load}})
		p := line(3, schemas.SpreadingOn)
		p.DtMs, p.Lat, p.Lon, p.SpeedKmh, p.Spreading, p.Quality, p.HeadingDeg = p.DtMs[:20], p.Lat[:20], p.Lon[:20], p.SpeedKmh[:20], p.Spreading[:20], nil, nil
		for i := range p.Lon {
			p.Lon[i] = x + 0.001
		}
		f.add(device, schemas.TypePassLogged, 3, p)
	}
	issued := make(chan schemas.InvoiceNo, 8*jobs)
	var wait sync.WaitGroup
	for k := range 8 {
		wait.Go(func() {
			for j := range jobs {
				var a reports.BillAnswer
				job := schemas.JobID(fmt.Sprintf("KG%03d", (j+3*k)%jobs))
				err := f.try(Bill, BillParams{Job: job, Issue: true, AcceptGaps: true, Day: "2026-03-05"}, &a)
				if err == nil {
					issued <- a.Invoice.Number
				} else if fault.CodeOf(err) != fault.Conflict {
					t.Error(err)
				}
			}
		})
	}
	wait.Wait()
	close(issued)
	var got []schemas.InvoiceNo
	for n := range issued {
		got = append(got, n)
	}
	slices.Sort(got)
	for i := range jobs {
		if want := schemas.InvoiceNo(fmt.Sprintf("2026-%04d", i+1)); i >= len(got) || got[i] != want {
			t.Fatalf("%d numbers %v, want %d without a gap", len(got), got, jobs)
		}
	}
	if len(got) != jobs {
		t.Errorf("%d invoices for %d jobs", len(got), jobs)
	}
}
