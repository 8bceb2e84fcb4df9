package invoice

import (
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"strings"

	"hopperbook/reconcile/rating"
	"hopperbook/reports"
	"hopperbook/schemas"
)

// Document is an invoice or a credit note, ready to be drawn.
type Document struct {
	Credit          bool
	Number          schemas.InvoiceNo
	Credits         schemas.InvoiceNo // of a credit note: the invoice it takes back
	CreditsIssuedOn string
	Reason          string
	IssuedOn        string
	DueOn           string
	Customer        schemas.CustomerID
	Jobs            []schemas.JobID
	From, To        string // RFC 3339, half open; "" where it is for jobs
	Seller, Buyer   schemas.BillParty
	Bill            rating.Bill // negative on a credit note
	Evidence        []schemas.BillEvidence
	Digest          string // of the evidence
	DocumentDigest  string
	PaymentNote     string
	SharePct        string // of the bill, in percent; "": all of it
	SharedWith      schemas.InvoiceNo
	ShareNotes      []string
}

// FromIssued makes the document of an issued invoice.
func FromIssued(e *schemas.InvoiceIssued) (Document, error) {
	b, err := rating.Issued(e)
	if err != nil {
		return Document{}, err
	}
	return Document{
		Number: e.Number, IssuedOn: e.IssuedOn, DueOn: e.DueOn, Customer: e.Customer, Jobs: Jobs(e.Job, e.Jobs), From: e.From, To: e.To,
		Seller: party(e.Seller, ""), Buyer: party(e.Buyer, string(e.Customer)), Bill: b, Evidence: e.Evidence,
		Digest: e.Digest, DocumentDigest: e.DocumentDigest, PaymentNote: e.PaymentNote,
		SharePct: e.SharePct, SharedWith: e.SharedWith, ShareNotes: e.ShareNotes,
	}, nil
}

// FromCredited makes the document of a credit note.
func FromCredited(e *schemas.InvoiceCredited) (Document, error) {
	b, err := rating.Credited(e)
	if err != nil {
		return Document{}, err
	}
	return Document{
		Credit: true, Number: e.Number, Credits: e.Credits, CreditsIssuedOn: e.CreditsIssuedOn, Reason: e.Reason, IssuedOn: e.IssuedOn,
		Customer: e.Customer, Jobs: Jobs(e.Job, e.Jobs), From: e.From, To: e.To, Seller: party(e.Seller, ""), Buyer: party(e.Buyer, string(e.Customer)),
		Bill: b, Evidence: e.Evidence, Digest: e.Digest, DocumentDigest: e.DocumentDigest, PaymentNote: e.PaymentNote,
	}, nil
}

// Jobs are those a document's event bills: all, or the one where it is one.
func Jobs(one schemas.JobID, all []schemas.JobID) []schemas.JobID {
	if len(all) == 0 && one != "" {
		return []schemas.JobID{one}
	}
	return all
}

func party(p *schemas.BillParty, name string) schemas.BillParty {
	if p == nil {
		return schemas.BillParty{Name: name}
	}
	return *p
}

// IssuedDigest is the digest of an invoice's own content: SHA-256, lower-case
// hex, of its data as this program writes it, without document_digest.
func IssuedDigest(e schemas.InvoiceIssued) string {
	e.DocumentDigest = ""
	return digest(e)
}

// CreditedDigest is IssuedDigest for a credit note.
func CreditedDigest(e schemas.InvoiceCredited) string {
	e.DocumentDigest = ""
	return digest(e)
}

func digest(data any) string {
	raw, err := json.Marshal(data)
	if err != nil {
		panic("invoice: " + err.Error()) // texts and whole numbers: found by any test
	}
	sum := sha256.Sum256(raw)
	return hex.EncodeToString(sum[:])
}

// Title is what the document is called.
func (d *Document) Title() string {
	if !d.Credit {
		return "Invoice " + string(d.Number)
	}
	title := fmt.Sprintf("Credit note %s for invoice %s", d.Number, d.Credits)
	if d.CreditsIssuedOn != "" {
		title += " of " + d.CreditsIssuedOn
	}
	return title
}

// Notes is what stands under the tables: why, what was unsure, how it was
// rounded, what proves it, how to pay.
func (d *Document) Notes() []string {
	var all []string
	add := func(text string) {
		if text != "" {
			all = append(all, text)
		}
	}
	if d.Reason != "" {
		add("Reason: " + d.Reason)
	}
	if d.SharePct != "" {
		add(fmt.Sprintf("This is %s %% of every line; the rest stands on invoice %s.", d.SharePct, d.SharedWith))
		if len(d.ShareNotes) == 0 {
			add("The two invoices come to what one would have.")
		}
		for _, n := range d.ShareNotes {
			add("By rounding, " + n)
		}
	}
	for _, t := range d.Bill.Taxes {
		if t.ExemptReason != "" || t.ExemptCode != "" {
			add(fmt.Sprintf("Tax category %s: %s", t.Category, joined(t.ExemptReason, t.ExemptCode)))
		}
	}
	for _, u := range d.Bill.Unsure {
		add("Caution: " + u.Text)
	}
	all = append(all, d.Bill.Roundings...)
	var evidence []string
	for _, e := range d.Evidence {
		evidence = append(evidence, fmt.Sprintf("%d %s", e.Count, e.Kind))
	}
	if len(evidence) > 0 {
		add("Evidence: " + strings.Join(evidence, ", "))
	}
	if d.Digest != "" {
		add("Digest of the evidence (SHA-256): " + d.Digest)
	}
	add(d.PaymentNote)
	return all
}

func joined(reason, code string) string {
	switch {
	case reason == "":
		return code
	case code == "":
		return reason
	}
	return reason + " (" + code + ")"
}

// LineTable is the document's lines and discounts.
func (d *Document) LineTable() reports.Table {
	t := reports.Table{Caption: d.Title(), Columns: []reports.Column{
		{Key: "line", Title: "No.", Right: true}, {Key: "text", Title: "For"},
		{Key: "quantity", Title: "Quantity", Right: true}, {Key: "unit", Title: "Unit"}, {Key: "price", Title: "Price", Right: true},
		{Key: "discount", Title: "Discount", Right: true}, {Key: "amount", Title: "Amount " + string(d.Bill.Currency), Right: true}, {Key: "tax", Title: "Tax"},
	}}
	var e schemas.InvoiceIssued
	d.Bill.Fill(&e)
	for i, l := range e.Lines {
		t.Rows = append(t.Rows, []string{fmt.Sprint(i + 1), l.Text, l.Quantity, l.Unit, l.Price, orNone(l.Discount), l.Amount, taxName(l.TaxCategory, l.TaxPct)})
	}
	for _, x := range e.Discounts {
		t.Rows = append(t.Rows, []string{"-", fmt.Sprintf("%s of %s", x.Text, x.Base), "-", "-", "-", "-", minus(x.Amount), taxName(x.TaxCategory, x.TaxPct)})
	}
	return t
}

// SourceTable is what each line's quantity was measured by.
func (d *Document) SourceTable() reports.Table {
	t := reports.Table{Caption: "Where the quantities come from", Columns: []reports.Column{
		{Key: "line", Title: "No.", Right: true}, {Key: "measured", Title: "Measured", Right: true}, {Key: "source", Title: "By"}}}
	var e schemas.InvoiceIssued
	d.Bill.Fill(&e)
	for i, l := range e.Lines {
		if l.Source != "" {
			t.Rows = append(t.Rows, []string{fmt.Sprint(i + 1), orNone(l.Measured), l.Source})
		}
	}
	return t
}

// TotalTable is the document's totals, with the tax by category and rate.
func (d *Document) TotalTable() reports.Table {
	t := reports.Table{Columns: []reports.Column{{Key: "total", Title: "Total"}, {Key: "amount", Title: "Amount " + string(d.Bill.Currency), Right: true}}, Sum: true}
	text, totals := d.Bill.Currency.Text, d.Bill.Totals
	if len(d.Bill.Discounts) > 0 {
		t.Rows = append(t.Rows, []string{"Lines", text(totals.Lines)}, []string{"Discounts", minus(text(totals.Discounts))})
	}
	t.Rows = append(t.Rows, []string{"Before tax", text(totals.Net)})
	for _, x := range d.Bill.Taxes {
		t.Rows = append(t.Rows, []string{fmt.Sprintf("Tax, %s of %s", taxName(x.Category, x.Pct.String()), text(x.Base)), text(x.Amount)})
	}
	if len(d.Bill.Taxes) == 0 { // of the first version of the contract
		t.Rows = append(t.Rows, []string{"Tax", text(totals.Tax)})
	}
	t.Rows = append(t.Rows, []string{d.due(), text(totals.Gross)})
	return t
}

// due is what the total with tax is.
func (d *Document) due() string {
	if d.Credit {
		return "Credited"
	}
	return "To pay"
}

// minus turns the sign of a number that stands for something taken off.
func minus(amount string) string {
	switch {
	case amount[0] == '-':
		return amount[1:]
	case strings.Trim(amount, "0.") == "":
		return amount
	}
	return "-" + amount
}

func orNone(text string) string {
	if text == "" {
		return "-"
	}
	return text
}

func taxName(category, pct string) string {
	switch category {
	case "":
		return "-"
	case schemas.TaxStandard:
		return pct + " %"
	case schemas.TaxZero:
		return "0 %"
	case schemas.TaxExempt:
		return "exempt"
	case schemas.TaxReverseCharge:
		return "reverse charge"
	}
	return "outside tax"
}
