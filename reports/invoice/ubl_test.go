package invoice_test

import (
	"encoding/xml"
	"flag"
	"fmt"
	"io"
	"math/big"
	"os"
	"slices"
	"strings"
	"testing"

	"hopperbook/reports/invoice"
)

var update = flag.Bool("update", false, "write the golden files anew")

// element is any XML element, read by encoding/xml.
type element struct {
	XMLName  xml.Name
	Attrs    []xml.Attr `xml:",any,attr"`
	Text     string     `xml:",chardata"`
	Children []element  `xml:",any"`
}

// at gives the elements at a path of local names.
func (e *element) at(path string) (all []*element) {
	name, rest, deeper := strings.Cut(path, "/")
	for i := range e.Children {
		if e.Children[i].XMLName.Local != name {
			continue
		}
		if !deeper {
			all = append(all, &e.Children[i])
			continue
		}
		all = append(all, e.Children[i].at(rest)...)
	}
	return all
}

func (e *element) text(path string) string {
	if all := e.at(path); len(all) == 1 {
		return strings.TrimSpace(all[0].Text)
	}
	return ""
}

func (e *element) number(t testing.TB, path string) *big.Rat {
	t.Helper()
	text := e.text(path)
	if text == "" {
		text = "0"
	}
	v, ok := new(big.Rat).SetString(text)
	if !ok {
		t.Fatalf("%s is %q", path, text)
	}
	return v
}

func read(t testing.TB, raw []byte) *element {
	t.Helper()
	var root element
	d := xml.NewDecoder(strings.NewReader(strings.TrimSpace(string(raw))))
	if err := d.Decode(&root); err != nil {
		t.Fatalf("%v in\n%s", err, raw)
	}
	if _, err := d.Token(); err != io.EOF {
		t.Fatalf("something after the document: %v", err)
	}
	return &root
}

// sequence is the order of the elements in UBL 2.1 (OASIS, UBL-Invoice-2.1,
// UBL-CreditNote-2.1 and UBL-CommonAggregateComponents-2.1; those before and
// after and between ours that EN 16931 knows, too). Not read from the schemas
// here: they are not at hand where the tests run.
func sequence(name string) []string {
	head := "CustomizationID ProfileID ID IssueDate "
	parts := "OrderReference BillingReference DespatchDocumentReference ReceiptDocumentReference ContractDocumentReference AdditionalDocumentReference " +
		"AccountingSupplierParty AccountingCustomerParty PayeeParty TaxRepresentativeParty Delivery PaymentMeans PaymentTerms AllowanceCharge TaxTotal LegalMonetaryTotal "
	line := "ID Note InvoicedQuantity CreditedQuantity LineExtensionAmount AccountingCost InvoicePeriod OrderLineReference DocumentReference AllowanceCharge Item Price"
	return strings.Fields(map[string]string{
		"Invoice":                  head + "DueDate InvoiceTypeCode Note TaxPointDate DocumentCurrencyCode TaxCurrencyCode AccountingCost BuyerReference InvoicePeriod " + parts + "InvoiceLine",
		"CreditNote":               head + "TaxPointDate CreditNoteTypeCode Note DocumentCurrencyCode TaxCurrencyCode AccountingCost BuyerReference InvoicePeriod " + parts + "CreditNoteLine",
		"InvoicePeriod":            "StartDate EndDate DescriptionCode",
		"BillingReference":         "InvoiceDocumentReference",
		"InvoiceDocumentReference": "ID IssueDate",
		"AccountingSupplierParty":  "Party", "AccountingCustomerParty": "Party",
		"Party":         "EndpointID PartyIdentification PartyName PostalAddress PartyTaxScheme PartyLegalEntity Contact",
		"PostalAddress": "StreetName AdditionalStreetName CityName PostalZone CountrySubentity AddressLine Country",
		"AddressLine":   "Line", "Country": "IdentificationCode", "PartyTaxScheme": "CompanyID TaxScheme", "TaxScheme": "ID",
		"PartyLegalEntity": "RegistrationName CompanyID CompanyLegalForm", "Contact": "Name Telephone ElectronicMail", "PaymentTerms": "Note",
		"AllowanceCharge": "ChargeIndicator AllowanceChargeReasonCode AllowanceChargeReason MultiplierFactorNumeric Amount BaseAmount TaxCategory",
		"TaxTotal":        "TaxAmount TaxSubtotal", "TaxSubtotal": "TaxableAmount TaxAmount TaxCategory",
		"TaxCategory":           "ID Percent TaxExemptionReasonCode TaxExemptionReason TaxScheme",
		"ClassifiedTaxCategory": "ID Percent TaxScheme",
		"LegalMonetaryTotal":    "LineExtensionAmount TaxExclusiveAmount TaxInclusiveAmount AllowanceTotalAmount ChargeTotalAmount PrepaidAmount PayableRoundingAmount PayableAmount",
		"InvoiceLine":           line, "CreditNoteLine": line,
		"Item": "Description Name ClassifiedTaxCategory", "Price": "PriceAmount AllowanceCharge BaseQuantity",
	}[name])
}

// structure holds an element's children against the sequence, and that every
// element has a value or children, in the namespace of its kind.
func structure(t *testing.T, e *element, depth int) {
	t.Helper()
	name := e.XMLName.Local
	order := sequence(name)
	if (len(order) == 0) != (len(e.Children) == 0) {
		t.Errorf("%s has %d children, the sequence has %d", name, len(e.Children), len(order))
	}
	if len(e.Children) == 0 && strings.TrimSpace(e.Text) == "" {
		t.Errorf("%s is empty", name)
	}
	space := "CommonBasicComponents-2"
	switch {
	case depth == 0:
		space = name + "-2"
	case len(e.Children) > 0:
		space = "CommonAggregateComponents-2"
	}
	if e.XMLName.Space != "urn:oasis:names:specification:ubl:schema:xsd:"+space {
		t.Errorf("%s is of %s", name, e.XMLName.Space)
	}
	last := -1
	for i := range e.Children {
		at := slices.Index(order, e.Children[i].XMLName.Local)
		if at < last || at < 0 {
			t.Errorf("%s stands wrong in %s", e.Children[i].XMLName.Local, name)
		}
		last = at
		structure(t, &e.Children[i], depth+1)
	}
}

// rules holds the numbers in the XML itself against EN 16931, in fractions.
func rules(t *testing.T, root *element) {
	t.Helper()
	sum := func(path string) *big.Rat {
		s := new(big.Rat)
		for _, e := range root.at(path) {
			v, ok := new(big.Rat).SetString(e.Text)
			if !ok {
				t.Fatalf("%s: %q", path, e.Text)
			}
			s.Add(s, v)
		}
		return s
	}
	same := func(rule string, got, want *big.Rat) {
		if got.Cmp(want) != 0 {
			t.Errorf("%s: %s, want %s", rule, got.FloatString(4), want.FloatString(4))
		}
	}
	line := "InvoiceLine"
	if root.XMLName.Local == "CreditNote" {
		line = "CreditNoteLine"
	}
	total := func(name string) *big.Rat { return root.number(t, "LegalMonetaryTotal/"+name) }
	same("BR-CO-10", total("LineExtensionAmount"), sum(line+"/LineExtensionAmount"))
	same("BR-CO-11", total("AllowanceTotalAmount"), sum("AllowanceCharge/Amount"))
	same("BR-CO-13", total("TaxExclusiveAmount"), new(big.Rat).Sub(total("LineExtensionAmount"), total("AllowanceTotalAmount")))
	tax := root.number(t, "TaxTotal/TaxAmount")
	same("BR-CO-14", tax, sum("TaxTotal/TaxSubtotal/TaxAmount"))
	same("BR-CO-15", total("TaxInclusiveAmount"), new(big.Rat).Add(total("TaxExclusiveAmount"), tax))
	same("BR-CO-16", total("PayableAmount"), total("TaxInclusiveAmount"))
	half := big.NewRat(1, 200)
	if root.text("DocumentCurrencyCode") == "JPY" {
		half = big.NewRat(1, 2)
	}
	near := func(rule string, got, exact *big.Rat, most *big.Rat) {
		if off := new(big.Rat).Sub(got, exact); off.Abs(off).Cmp(most) > 0 {
			t.Errorf("%s: %s, exactly %s", rule, got.FloatString(4), exact.FloatString(6))
		}
	}
	for _, s := range root.at("TaxTotal/TaxSubtotal") {
		exact := new(big.Rat).Mul(s.number(t, "TaxableAmount"), s.number(t, "TaxCategory/Percent"))
		near("BR-CO-17", s.number(t, "TaxAmount"), exact.Mul(exact, big.NewRat(1, 100)), half)
	}
	for _, l := range root.at(line) {
		exact := new(big.Rat).Mul(l.number(t, map[bool]string{true: "InvoicedQuantity", false: "CreditedQuantity"}[line == "InvoiceLine"]), l.number(t, "Price/PriceAmount"))
		near("line "+l.text("ID"), l.number(t, "LineExtensionAmount"), exact.Sub(exact, l.number(t, "AllowanceCharge/Amount")), half)
	}
	var walk func(e *element)
	walk = func(e *element) {
		if _, frac, _ := strings.Cut(e.Text, "."); strings.HasSuffix(e.XMLName.Local, "Amount") && e.XMLName.Local != "PriceAmount" && len(frac) > 2 {
			t.Errorf("BR-DEC: %s is %s", e.XMLName.Local, e.Text)
		}
		if strings.HasPrefix(strings.TrimSpace(e.Text), "-") {
			t.Errorf("%s is %s: amounts of invoices and credit notes are above zero", e.XMLName.Local, e.Text)
		}
		for i := range e.Children {
			walk(&e.Children[i])
		}
	}
	walk(root)
}

func TestUBL(t *testing.T) {
	for name, a := range agreements() {
		d, c := documents(t, a)
		for _, doc := range []invoice.Document{d, c} {
			raw, err := invoice.UBL(&doc)
			if err != nil {
				t.Fatal(err)
			}
			root := read(t, raw)
			structure(t, root, 0)
			rules(t, root)
			if name == "mixed" || name == "outside" {
				golden(t, fmt.Sprintf("testdata/%s-%s.xml", root.XMLName.Local, name), raw)
			}
			if again, _ := invoice.UBL(&doc); string(again) != string(raw) {
				t.Error("the same document, other bytes")
			}
		}
	}
}

func golden(t *testing.T, path string, got []byte) {
	t.Helper()
	if *update {
		if err := os.WriteFile(path, got, 0o644); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if string(got) != string(want) {
		t.Errorf("%s differs:\n%s", path, got)
	}
}

// What a program that reads the XML looks for.
func TestUBLSays(t *testing.T) {
	d, c := documents(t, agreements()["mixed"])
	for doc, want := range map[*invoice.Document]map[string]string{
		&d: {"ID": "2026-0031", "InvoiceTypeCode": "380", "DueDate": "2026-03-23", "DocumentCurrencyCode": "EUR", "InvoicePeriod/StartDate": "2026-03-01", "InvoicePeriod/EndDate": "2026-03-02",
			"AccountingSupplierParty/Party/PartyTaxScheme/CompanyID": "ATU00000000", "AccountingSupplierParty/Party/PostalAddress/AddressLine/Line": "Demoland 1, Floor 2",
			"AccountingCustomerParty/Party/PartyLegalEntity/RegistrationName": "Long Paddock <Farm>", "LegalMonetaryTotal/PayableAmount": d.Bill.Totals.Gross.StringFixed(2)},
		&c: {"ID": "2026-0032", "CreditNoteTypeCode": "381", "DueDate": "", "BillingReference/InvoiceDocumentReference/ID": "2026-0031",
			"BillingReference/InvoiceDocumentReference/IssueDate": "2026-03-03", "LegalMonetaryTotal/PayableAmount": d.Bill.Totals.Gross.StringFixed(2)},
	} {
		raw, err := invoice.UBL(doc)
		if err != nil {
			t.Fatal(err)
		}
		root := read(t, raw)
		for path, text := range want {
			if got := root.text(path); got != text {
				t.Errorf("%s is %q, want %q", path, got, text)
			}
		}
		quantity := map[bool]string{false: "InvoiceLine/InvoicedQuantity", true: "CreditNoteLine/CreditedQuantity"}[doc.Credit]
		var codes []string
		for _, q := range root.at(quantity) {
			codes = append(codes, q.Attrs[0].Value+" "+q.Text)
		}
		if got := strings.Join(codes, ", "); got != "TNE 6.121, H18 3.912, C62 1, KMT 12.25, HUR 3.5" {
			t.Errorf("quantities %s", got)
		}
	}
	outside, _ := documents(t, agreements()["outside"])
	raw, err := invoice.UBL(&outside)
	if err != nil || strings.Contains(string(raw), "PartyTaxScheme") || strings.Contains(string(raw), "Percent>") {
		t.Errorf("outside the scope there is neither tax number nor rate: %v\n%s", err, raw)
	}
	d.Bill.Lines[0].Text = "a\x00b\x1b[2J <&>"
	raw, err = invoice.UBL(&d)
	if err != nil || read(t, raw).at("InvoiceLine/Item/Name")[0].Text != "a\uFFFDb\uFFFD[2J <&>" {
		t.Errorf("%v", err)
	}
}
