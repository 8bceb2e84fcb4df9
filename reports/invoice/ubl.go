package invoice

import (
	"bytes"
	"encoding/xml"
	"fmt"
	"strconv"
	"strings"

	"github.com/shopspring/decimal"

	"hopperbook/reconcile/rating"
	"hopperbook/reports"
	"hopperbook/schemas"
	"hopperbook/schemas/fault"
)

// UBL writes a document as UBL 2.1 by EN 16931. A document that breaks a rule
// of CheckUBL is refused with all that it breaks. Same document, same bytes.
// What XML cannot hold (control characters) becomes U+FFFD.
func UBL(d *Document) ([]byte, error) {
	if broken := CheckUBL(d); len(broken) > 0 {
		all := make([]string, len(broken))
		for i, b := range broken {
			all[i] = b.Rule + ": " + b.Text
		}
		return nil, fault.Newf("write "+d.Title()+" as UBL", fault.Input, strings.Join(all, "; "), "complete the registers of seller and customer, or use another form of the document")
	}
	var b bytes.Buffer
	b.WriteString(xml.Header)
	e := xml.NewEncoder(&b)
	e.Indent("", "  ")
	w := writer{d: d, b: d.Bill}
	if d.Credit {
		w.b = rating.Credit(d.Bill)
	}
	if err := e.Encode(w.document()); err != nil {
		return nil, fault.New("write "+d.Title()+" as UBL", fault.Internal, err, "")
	}
	b.WriteByte('\n')
	return b.Bytes(), nil
}

const (
	nsCac = "urn:oasis:names:specification:ubl:schema:xsd:CommonAggregateComponents-2"
	nsCbc = "urn:oasis:names:specification:ubl:schema:xsd:CommonBasicComponents-2"
)

// writer turns a document into UBL's elements; b is its bill with the amounts
// that an XML of its kind has above zero.
type writer struct {
	d *Document
	b rating.Bill
}

func (w *writer) document() *ublDocument {
	kind, typeCode := "Invoice", "380"
	if w.d.Credit {
		kind, typeCode = "CreditNote", "381"
	}
	u := &ublDocument{
		XMLName: xml.Name{Local: kind}, Xmlns: "urn:oasis:names:specification:ubl:schema:xsd:" + kind + "-2", Cac: nsCac, Cbc: nsCbc,
		Customization: "urn:cen.eu:en16931:2017", ID: string(w.d.Number), IssueDate: w.d.IssuedOn, Currency: string(w.b.Currency),
		Note: w.note(), Supplier: ublParty{w.party(w.d.Seller)}, Customer: ublParty{w.party(w.d.Buyer)},
		TaxTotal: w.taxTotal(), Totals: w.totals(),
	}
	if w.d.Credit {
		u.CreditType = typeCode
		u.Billing = &ublBilling{ublReference{string(w.d.Credits), w.d.CreditsIssuedOn}}
	} else {
		u.InvoiceType, u.DueDate = typeCode, w.d.DueOn
	}
	if from, to := day(w.d.From), lastDay(w.d.To); from != "" && to >= from {
		u.Period = &ublPeriod{from, to}
	}
	switch {
	case w.d.PaymentNote != "":
		u.Terms = &ublNote{w.d.PaymentNote}
	case w.d.Credit:
		u.Terms = &ublNote{"Set against invoice " + string(w.d.Credits)}
	}
	for i := range w.b.Discounts {
		x := &w.b.Discounts[i]
		category := w.category(x.Tax, false)
		u.Allowances = append(u.Allowances, ublAllowance{false, x.Text, x.Pct.String(), w.amount(x.Amount), ptr(w.amount(x.Base)), &category})
	}
	for i := range w.b.Lines {
		l := w.line(i)
		if w.d.Credit {
			u.CreditLines = append(u.CreditLines, l)
		} else {
			u.InvoiceLines = append(u.InvoiceLines, l)
		}
	}
	return u
}

// note is why, and what was unsure: people read it; and the mark that verify finds.
func (w *writer) note() string {
	var all []string
	if w.d.Reason != "" {
		all = append(all, w.d.Reason)
	}
	for _, u := range w.b.Unsure {
		all = append(all, u.Text)
	}
	all = append(all, reports.Mark(w.d.Number, w.d.DocumentDigest))
	return strings.Join(all, " / ")
}

func (w *writer) amount(v decimal.Decimal) ublAmount {
	return ublAmount{string(w.b.Currency), w.b.Currency.Text(v)}
}

// party leaves the tax number out of a document that is outside the scope of
// the tax (BR-O-02).
func (w *writer) party(p schemas.BillParty) ublPartyBody {
	body := ublPartyBody{Address: address(p), Entity: ublEntity{p.Name, p.LegalID}}
	if p.TaxID != "" && taxNumbers(&w.b) {
		body.Tax = &ublPartyTax{p.TaxID, vat()}
	}
	if p.Phone != "" || p.Email != "" {
		body.Contact = &ublContact{p.Phone, p.Email}
	}
	return body
}

// address puts an address's first two lines in the elements for streets and
// the rest into one line.
func address(p schemas.BillParty) ublAddress {
	var lines []string
	for line := range strings.Lines(p.Address) {
		if line = strings.TrimSpace(line); line != "" {
			lines = append(lines, line)
		}
	}
	a := ublAddress{Country: ublCountry{p.Country}}
	if len(lines) > 0 {
		a.Street = lines[0]
	}
	if len(lines) > 1 {
		a.Additional = lines[1]
	}
	if len(lines) > 2 {
		a.Line = &ublLine{strings.Join(lines[2:], ", ")}
	}
	return a
}

// category writes a tax category; reasons stand only where taxes are summed.
func (w *writer) category(t rating.Tax, reason bool) ublCategory {
	c := ublCategory{ID: t.Category, Scheme: vat()}
	if t.Category != schemas.TaxOutOfScope { // BR-O-05: no rate at all
		c.Percent = t.Pct.String()
	}
	if reason {
		c.ReasonCode, c.Reason = t.ExemptCode, t.ExemptReason
	}
	return c
}

func (w *writer) taxTotal() ublTaxTotal {
	t := ublTaxTotal{Amount: w.amount(w.b.Totals.Tax)}
	for _, x := range w.b.Taxes {
		t.Subtotals = append(t.Subtotals, ublSubtotal{w.amount(x.Base), w.amount(x.Amount), w.category(x.Tax, true)})
	}
	return t
}

func (w *writer) totals() ublTotals {
	t := &w.b.Totals
	u := ublTotals{Lines: w.amount(t.Lines), Net: w.amount(t.Net), Gross: w.amount(t.Gross), Payable: w.amount(t.Gross)}
	if len(w.b.Discounts) > 0 {
		u.Allowances = ptr(w.amount(t.Discounts))
	}
	return u
}

func (w *writer) line(i int) ublItemLine {
	l := &w.b.Lines[i]
	quantity := &ublQuantity{l.UnitCode, l.Quantity.String()}
	u := ublItemLine{ID: strconv.Itoa(i + 1), Note: l.Source, Amount: w.amount(l.Amount)}
	u.Item = ublItem{l.Text, w.category(l.Tax, false)}
	u.Price = ublPrice{ublAmount{string(w.b.Currency), w.b.PriceText(l.Price)}}
	if w.d.Credit {
		u.Credited = quantity
	} else {
		u.Invoiced = quantity
	}
	if !l.Discount.IsZero() {
		reason := "Discount"
		if l.DiscountPct.IsPositive() {
			reason = fmt.Sprintf("Discount %s %%", l.DiscountPct)
		}
		u.Allowance = &ublAllowance{Reason: reason, Amount: w.amount(l.Discount)}
	}
	return u
}

func ptr[T any](v T) *T { return &v }
