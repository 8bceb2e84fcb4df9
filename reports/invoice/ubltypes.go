package invoice

import (
	"encoding/xml"
	"time"
)

// The elements of UBL 2.1 that are written; fields stand in the order of the
// schema's sequences, which is the order they are written in.

type ublDocument struct {
	XMLName       xml.Name
	Xmlns         string         `xml:"xmlns,attr"`
	Cac           string         `xml:"xmlns:cac,attr"`
	Cbc           string         `xml:"xmlns:cbc,attr"`
	Customization string         `xml:"cbc:CustomizationID"`
	ID            string         `xml:"cbc:ID"`
	IssueDate     string         `xml:"cbc:IssueDate"`
	DueDate       string         `xml:"cbc:DueDate,omitempty"`
	InvoiceType   string         `xml:"cbc:InvoiceTypeCode,omitempty"`
	CreditType    string         `xml:"cbc:CreditNoteTypeCode,omitempty"`
	Note          string         `xml:"cbc:Note,omitempty"`
	Currency      string         `xml:"cbc:DocumentCurrencyCode"`
	Period        *ublPeriod     `xml:"cac:InvoicePeriod"`
	Billing       *ublBilling    `xml:"cac:BillingReference"`
	Supplier      ublParty       `xml:"cac:AccountingSupplierParty"`
	Customer      ublParty       `xml:"cac:AccountingCustomerParty"`
	Terms         *ublNote       `xml:"cac:PaymentTerms"`
	Allowances    []ublAllowance `xml:"cac:AllowanceCharge"`
	TaxTotal      ublTaxTotal    `xml:"cac:TaxTotal"`
	Totals        ublTotals      `xml:"cac:LegalMonetaryTotal"`
	InvoiceLines  []ublItemLine  `xml:"cac:InvoiceLine"`
	CreditLines   []ublItemLine  `xml:"cac:CreditNoteLine"`
}

type ublPeriod struct {
	Start string `xml:"cbc:StartDate"`
	End   string `xml:"cbc:EndDate"`
}

type ublBilling struct {
	Invoice ublReference `xml:"cac:InvoiceDocumentReference"`
}

type ublReference struct {
	ID        string `xml:"cbc:ID"`
	IssueDate string `xml:"cbc:IssueDate,omitempty"`
}

type ublParty struct {
	Party ublPartyBody `xml:"cac:Party"`
}

type ublPartyBody struct {
	Address ublAddress   `xml:"cac:PostalAddress"`
	Tax     *ublPartyTax `xml:"cac:PartyTaxScheme"`
	Entity  ublEntity    `xml:"cac:PartyLegalEntity"`
	Contact *ublContact  `xml:"cac:Contact"`
}

type ublAddress struct {
	Street     string     `xml:"cbc:StreetName,omitempty"`
	Additional string     `xml:"cbc:AdditionalStreetName,omitempty"`
	Line       *ublLine   `xml:"cac:AddressLine"`
	Country    ublCountry `xml:"cac:Country"`
}

type ublLine struct {
	Line string `xml:"cbc:Line"`
}

type ublCountry struct {
	Code string `xml:"cbc:IdentificationCode"`
}

type ublPartyTax struct {
	ID     string    `xml:"cbc:CompanyID"`
	Scheme ublScheme `xml:"cac:TaxScheme"`
}

type ublScheme struct {
	ID string `xml:"cbc:ID"`
}

func vat() ublScheme { return ublScheme{"VAT"} }

type ublEntity struct {
	Name string `xml:"cbc:RegistrationName"`
	ID   string `xml:"cbc:CompanyID,omitempty"`
}

type ublContact struct {
	Phone string `xml:"cbc:Telephone,omitempty"`
	Email string `xml:"cbc:ElectronicMail,omitempty"`
}

type ublNote struct {
	Note string `xml:"cbc:Note"`
}

type ublAmount struct {
	Currency string `xml:"currencyID,attr"`
	Value    string `xml:",chardata"`
}

// ublAllowance is a discount; of a charge its indicator would be true.
type ublAllowance struct {
	Charge   bool         `xml:"cbc:ChargeIndicator"`
	Reason   string       `xml:"cbc:AllowanceChargeReason"`
	Percent  string       `xml:"cbc:MultiplierFactorNumeric,omitempty"`
	Amount   ublAmount    `xml:"cbc:Amount"`
	Base     *ublAmount   `xml:"cbc:BaseAmount"`
	Category *ublCategory `xml:"cac:TaxCategory"`
}

type ublCategory struct {
	ID         string    `xml:"cbc:ID"`
	Percent    string    `xml:"cbc:Percent,omitempty"`
	ReasonCode string    `xml:"cbc:TaxExemptionReasonCode,omitempty"`
	Reason     string    `xml:"cbc:TaxExemptionReason,omitempty"`
	Scheme     ublScheme `xml:"cac:TaxScheme"`
}

type ublTaxTotal struct {
	Amount    ublAmount     `xml:"cbc:TaxAmount"`
	Subtotals []ublSubtotal `xml:"cac:TaxSubtotal"`
}

type ublSubtotal struct {
	Base     ublAmount   `xml:"cbc:TaxableAmount"`
	Amount   ublAmount   `xml:"cbc:TaxAmount"`
	Category ublCategory `xml:"cac:TaxCategory"`
}

type ublTotals struct {
	Lines      ublAmount  `xml:"cbc:LineExtensionAmount"`
	Net        ublAmount  `xml:"cbc:TaxExclusiveAmount"`
	Gross      ublAmount  `xml:"cbc:TaxInclusiveAmount"`
	Allowances *ublAmount `xml:"cbc:AllowanceTotalAmount"`
	Payable    ublAmount  `xml:"cbc:PayableAmount"`
}

type ublItemLine struct {
	ID        string        `xml:"cbc:ID"`
	Note      string        `xml:"cbc:Note,omitempty"`
	Invoiced  *ublQuantity  `xml:"cbc:InvoicedQuantity"`
	Credited  *ublQuantity  `xml:"cbc:CreditedQuantity"`
	Amount    ublAmount     `xml:"cbc:LineExtensionAmount"`
	Allowance *ublAllowance `xml:"cac:AllowanceCharge"`
	Item      ublItem       `xml:"cac:Item"`
	Price     ublPrice      `xml:"cac:Price"`
}

type ublQuantity struct {
	Code  string `xml:"unitCode,attr"`
	Value string `xml:",chardata"`
}

type ublItem struct {
	Name     string      `xml:"cbc:Name"`
	Category ublCategory `xml:"cac:ClassifiedTaxCategory"`
}

type ublPrice struct {
	Amount ublAmount `xml:"cbc:PriceAmount"`
}

// day is the day an instant lies on in its own offset; "" for none.
func day(text string) string {
	t, err := time.Parse(time.RFC3339Nano, text)
	if err != nil {
		return ""
	}
	return t.Format(time.DateOnly)
}

// lastDay is the last day of a half-open period that ends at an instant.
func lastDay(text string) string {
	t, err := time.Parse(time.RFC3339Nano, text)
	if err != nil {
		return ""
	}
	return t.Add(-time.Nanosecond).Format(time.DateOnly)
}
