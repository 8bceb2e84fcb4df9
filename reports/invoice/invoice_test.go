package invoice_test

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/shopspring/decimal"

	"hopperbook/reconcile"
	"hopperbook/reconcile/rating"
	"hopperbook/reports"
	"hopperbook/reports/invoice"
	"hopperbook/reports/render"
	"hopperbook/schemas"
	"hopperbook/schemas/fault"
)

// What is billed keeps the contract of events, both ways.
func TestEventsKeepTheContract(t *testing.T) {
	write := func(typ schemas.EventType, data any) *schemas.Event {
		raw, err := schemas.Write(schemas.Identity{Source: "/office/desk1", Sequence: 1}, "01JNB3Q2Q3W4E5R6T7Y8V9B00V", typ, time.Date(2026, 3, 3, 0, 0, 0, 0, time.UTC), data)
		if err != nil {
			t.Fatal(err)
		}
		e, bad := schemas.Read(raw)
		if bad != nil {
			t.Fatalf("%v in %s", bad, raw)
		}
		return &e
	}
	for name, a := range agreements() {
		write(schemas.TypeRegisterAgreement, a)
		e := issued(t, a)
		back, err := schemas.DecodeData[schemas.InvoiceIssued](write(schemas.TypeInvoiceIssued, e))
		if err != nil || invoice.IssuedDigest(back) != e.DocumentDigest {
			t.Errorf("%s: %v, digest %s", name, err, invoice.IssuedDigest(back))
		}
		n, err := rating.CreditOf(&back, "2026-0032", "2026-03-05", "wrong")
		if err != nil {
			t.Fatal(err)
		}
		write(schemas.TypeInvoiceCredited, n)
	}
}

// Every change of an invoice's data changes its digest, but for the digest.
func TestDigest(t *testing.T) {
	e := issued(t, agreements()["mixed"])
	want := invoice.IssuedDigest(e)
	changed := e
	changed.DocumentDigest = "other"
	if invoice.IssuedDigest(changed) != want || len(want) != 64 {
		t.Error("the digest holds itself")
	}
	raw, err := json.Marshal(e)
	if err != nil {
		t.Fatal(err)
	}
	var data map[string]json.RawMessage
	if err := json.Unmarshal(raw, &data); err != nil {
		t.Fatal(err)
	}
	for field := range data {
		less := map[string]json.RawMessage{}
		for k, v := range data {
			if k != field {
				less[k] = v
			}
		}
		var other schemas.InvoiceIssued
		if raw, err = json.Marshal(less); err == nil {
			err = json.Unmarshal(raw, &other)
		}
		if err != nil {
			t.Fatal(err)
		}
		if (invoice.IssuedDigest(other) == want) != (field == "document_digest") {
			t.Errorf("without %s the digest is %s", field, invoice.IssuedDigest(other))
		}
	}
	n, err := rating.CreditOf(&e, "1", "2026-03-05", "")
	if err != nil || invoice.CreditedDigest(n) == want {
		t.Errorf("a credit note has its invoice's digest: %v", err)
	}
}

func TestTables(t *testing.T) {
	d, c := documents(t, agreements()["mixed"])
	var b bytes.Buffer
	for _, doc := range []*invoice.Document{&d, &c} {
		lines := doc.LineTable()
		lines.Notes = doc.Notes()
		for i, table := range []error{render.Text(&b, lines), render.Text(&b, doc.SourceTable()), render.Text(&b, doc.TotalTable())} {
			if table != nil {
				t.Errorf("table %d: %v", i, table)
			}
		}
	}
	golden(t, "testdata/mixed.txt", b.Bytes())
}

// A document's ledger rows sum to its total, and no text in them runs.
func TestLedger(t *testing.T) {
	var docs []invoice.Document
	want := map[string]decimal.Decimal{}
	for _, name := range []string{"mixed", "even", "reverse", "outside", "yen"} {
		d, c := documents(t, agreements()[name])
		d.Number, c.Number = schemas.InvoiceNo(name), schemas.InvoiceNo("credit-"+name)
		want[name], want["credit-"+name] = d.Bill.Totals.Gross, d.Bill.Totals.Gross.Neg()
		docs = append(docs, d, c)
	}
	old := schemas.InvoiceIssued{Number: "old", Currency: "EUR", Lines: []schemas.BillLine{{Text: "@urea", Quantity: "1", Unit: "t", Price: "10", Amount: "10"}},
		Totals: schemas.BillTotals{Net: "10", Tax: "2", Gross: "12"}}
	d, err := invoice.FromIssued(&old)
	if err != nil {
		t.Fatal(err)
	}
	docs, want["old"] = append(docs, d), dec("12")
	var b bytes.Buffer
	if err := render.CSV(&b, invoice.Ledger(docs...)); err != nil {
		t.Fatal(err)
	}
	rows, err := csv.NewReader(&b).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	if got := strings.Join(rows[0], ","); got != "document,type,credits,issued_on,due_on,customer,customer_name,jobs,row,line,kind,product,text,quantity,unit,price,amount,currency,tax_category,tax_pct" {
		t.Errorf("columns %s", got)
	}
	got := map[string]decimal.Decimal{}
	for _, row := range rows[1:] {
		got[row[0]] = got[row[0]].Add(dec(row[16]))
		if strings.HasPrefix(row[12], "=") || strings.HasPrefix(row[12], "@") {
			t.Errorf("%s is a formula", row[12])
		}
	}
	for number, total := range want {
		if !got[number].Equal(total) {
			t.Errorf("%s sums to %s, total %s", number, got[number], total)
		}
	}
	if first := strings.Join(rows[1], ","); first != "mixed,invoice,,2026-03-03,2026-03-23,C-014,Long Paddock <Farm>,J-101,line,1,per_tonne,urea-46,Spreading per tonne urea-46 (as spread),6.121,t,28.50,174.45,EUR,S,20" {
		t.Errorf("%s", first) // 6.1205 t up; 6.121 x 28.5 = 174.4485
	}
}

// Each rule sees the document that breaks it, and UBL is refused by its name.
func TestRules(t *testing.T) {
	for rule, damage := range map[string]func(d *invoice.Document){
		"BR-02": func(d *invoice.Document) { d.Number = "" }, "BR-03": func(d *invoice.Document) { d.IssuedOn = "" },
		"BR-06": func(d *invoice.Document) { d.Seller.Name = "" }, "BR-07": func(d *invoice.Document) { d.Buyer.Name = "" },
		"BR-09": func(d *invoice.Document) { d.Seller.Country = "" }, "BR-11": func(d *invoice.Document) { d.Buyer.Country = "" },
		"BR-16": func(d *invoice.Document) { d.Bill.Lines = nil }, "BR-55": func(d *invoice.Document) { d.Credit = true },
		"BR-CL-04": func(d *invoice.Document) { d.Bill.Currency = "ABC" }, "BR-CL-14": func(d *invoice.Document) { d.Buyer.Country = "XX" },
		"BR-CL-18": func(d *invoice.Document) { d.Bill.Taxes[0].Category = "X" }, "BR-CL-23": func(d *invoice.Document) { d.Bill.Lines[1].UnitCode = "HAR" },
		"BR-CO-04": func(d *invoice.Document) { d.Bill.Lines[0].Tax.Category = "" },
		"BR-CO-09": func(d *invoice.Document) { d.Buyer.TaxID = "000" },
		"BR-CO-10": func(d *invoice.Document) { d.Bill.Totals.Lines = dec("1") }, "BR-CO-13": func(d *invoice.Document) { d.Bill.Totals.Net = dec("1") },
		"BR-CO-15": func(d *invoice.Document) { d.Bill.Totals.Gross = dec("1") }, "BR-CO-17": func(d *invoice.Document) { d.Bill.Taxes[0].Amount = dec("1") },
		"BR-CO-25": func(d *invoice.Document) { d.DueOn, d.PaymentNote = "", "" },
		"BR-CO-26": func(d *invoice.Document) { d.Seller.TaxID, d.Seller.LegalID = "", "" },
		"BR-CL-22": func(d *invoice.Document) { d.Bill.Taxes[1].ExemptCode = "FOO BAR" },
		"BR-S-02":  func(d *invoice.Document) { d.Seller.TaxID = "" }, "BR-E-02": func(d *invoice.Document) { d.Seller.TaxID = "" },
		"BR-AE-02": func(d *invoice.Document) { d.Bill.Taxes[1].Category, d.Buyer.TaxID = "AE", "" },
		"BR-E-10":  func(d *invoice.Document) { d.Bill.Taxes[1].ExemptCode, d.Bill.Taxes[1].ExemptReason = "", "" },
		"BR-O-11":  func(d *invoice.Document) { d.Bill.Taxes[1].Category = "O" },
		"BR-Z-02":  func(d *invoice.Document) { d.Bill.Taxes[1].Category, d.Seller.TaxID = "Z", "" },
		"BR-DEC":   func(d *invoice.Document) { d.Bill.Currency = "KWD" },
	} {
		d, _ := documents(t, agreements()["mixed"])
		if broken := invoice.CheckUBL(&d); len(broken) > 0 {
			t.Fatalf("before: %v", broken)
		}
		damage(&d)
		found := false
		for _, b := range invoice.CheckUBL(&d) {
			found = found || b.Rule == rule
		}
		if !found {
			t.Errorf("%s is not seen: %v", rule, invoice.CheckUBL(&d))
		}
		if _, err := invoice.UBL(&d); fault.CodeOf(err) != fault.Input || !strings.Contains(err.Error(), rule) {
			t.Errorf("%s: %v", rule, err)
		}
	}
}

// Outside the scope of tax no tax number is written, so that the seller needs
// another.
func TestASellerOutsideTheScopeOfTax(t *testing.T) {
	d, _ := documents(t, agreements()["mixed"])
	d.Bill.Taxes = d.Bill.Taxes[:1]
	d.Bill.Taxes[0].Category, d.Bill.Taxes[0].ExemptReason = schemas.TaxOutOfScope, "outside"
	rule := func(b rating.Breach) bool { return b.Rule == "BR-CO-26" }
	if d.Seller.TaxID == "" || d.Seller.LegalID == "" || slices.ContainsFunc(invoice.CheckUBL(&d), rule) {
		t.Fatalf("before: %v", invoice.CheckUBL(&d))
	}
	if d.Seller.LegalID = ""; !slices.ContainsFunc(invoice.CheckUBL(&d), rule) {
		t.Errorf("a seller without a number: %v", invoice.CheckUBL(&d))
	}
}

// Greece's prefix, and what an issued document needs without UBL.
func TestCheckAlone(t *testing.T) {
	d, _ := documents(t, agreements()["mixed"])
	d.Buyer.TaxID = "EL000000000"
	if broken := invoice.CheckUBL(&d); len(broken) > 0 {
		t.Errorf("%v", broken)
	}
	d.Seller.Country, d.Buyer.Country, d.Buyer.TaxID, d.DueOn, d.PaymentNote = "", "", "12", "", ""
	if broken := invoice.Check(&d); len(broken) > 0 {
		t.Errorf("a document that is no UBL may be issued: %v", broken)
	}
}

func TestOddEvents(t *testing.T) {
	e := issued(t, agreements()["mixed"])
	e.Lines[0].Quantity = "many"
	if _, err := invoice.FromIssued(&e); fault.CodeOf(err) != fault.Input {
		t.Errorf("%v", err)
	}
	if _, err := invoice.FromCredited(&schemas.InvoiceCredited{Totals: schemas.BillTotals{Net: "x"}}); fault.CodeOf(err) != fault.Input {
		t.Errorf("%v", err)
	}
}

// Heavy rates (gypsum, lime, compost) and faint ones are plain figures on the document.
func TestRatesArePlainFigures(t *testing.T) {
	d, _ := documents(t, agreements()["mixed"])
	s := d.Sheet(reports.Proof{Fields: []reconcile.Application{
		{AskedKgHa: 12000, Field: reconcile.Field{Name: "Flat", FieldRateKgHa: 12345.4, FieldRateLow: 11999.6, FieldRateHigh: 100000}},
		{AskedKgHa: 187.5, Field: reconcile.Field{Name: "Hill", FieldRateKgHa: 61.254, FieldRateLow: 0.000123, FieldRateHigh: 2416.3}}}}, true, nil, nil)
	var b bytes.Buffer
	if err := render.SheetHTML(&b, s); err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{">12000<", ">12345<", ">12000 to 100000<", ">187.5<", ">61.25<", ">0.000123 to 2416<"} {
		if !strings.Contains(b.String(), want) {
			t.Errorf("no %s in\n%s", want, b.String())
		}
	}
}
