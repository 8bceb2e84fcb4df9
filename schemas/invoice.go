package schemas

// BillLine is one line of an issued document; money is decimal text.
type BillLine struct {
	Text          string    `json:"text" rule:"maxlen=2000"`
	Quantity      string    `json:"quantity" rule:"format=decimal"`
	Unit          string    `json:"unit" rule:"maxlen=16"`
	Price         string    `json:"price" rule:"format=decimal"`
	Amount        string    `json:"amount" rule:"format=decimal" doc:"after the line's discount, before tax"`
	Kind          string    `json:"kind,omitempty" rule:"enum=per_tonne|per_hectare|per_km|per_hour|fixed|minimum|product"`
	Basis         string    `json:"basis,omitempty" rule:"enum=docket|loaded|spread|boundary|covered"`
	Product       ProductID `json:"product,omitempty" rule:"id"`
	UnitCode      string    `json:"unit_code,omitempty" rule:"enum=TNE|H18|KMT|HUR|C62" doc:"UN/ECE Recommendation 20"`
	Measured      string    `json:"measured,omitempty" rule:"maxlen=64" doc:"the quantity before it was rounded, with its unit"`
	Source        string    `json:"source,omitempty" rule:"maxlen=2000" doc:"what the quantity comes from"`
	Discount      string    `json:"discount,omitempty" rule:"format=decimal" doc:"taken off quantity x price"`
	DiscountPct   string    `json:"discount_pct,omitempty" rule:"format=percent"`
	TaxCategory   string    `json:"tax_category,omitempty" rule:"enum=S|Z|E|AE|O" doc:"UNCL5305"`
	TaxPct        string    `json:"tax_pct,omitempty" rule:"format=percent"`
	AgreementLine *int64    `json:"agreement_line,omitempty" rule:"min=1 max=200" doc:"which line of the agreement, from 1"`
}

// BillTotals closes an issued document; money is decimal text.
type BillTotals struct {
	Net       string `json:"net" rule:"format=decimal" doc:"lines less discounts"`
	Tax       string `json:"tax" rule:"format=decimal"`
	Gross     string `json:"gross" rule:"format=decimal"`
	Lines     string `json:"lines,omitempty" rule:"format=decimal" doc:"sum of the lines"`
	Discounts string `json:"discounts,omitempty" rule:"format=decimal" doc:"sum of the document's discounts"`
}

// BillParty is a seller or buyer as printed.
type BillParty struct {
	Name    string `json:"name" rule:"maxlen=200"`
	Address string `json:"address,omitempty" rule:"maxlen=1000"`
	Country string `json:"country,omitempty" rule:"format=country" doc:"ISO 3166-1 alpha-2"`
	TaxID   string `json:"tax_id,omitempty" rule:"maxlen=64"`
	Email   string `json:"email,omitempty" rule:"maxlen=254"`
	Phone   string `json:"phone,omitempty" rule:"maxlen=64"`
	LegalID string `json:"legal_id,omitempty" rule:"maxlen=64" doc:"number in a company register"`
}

// BillDiscount is taken off all lines of one tax category and rate.
type BillDiscount struct {
	Text        string `json:"text" rule:"maxlen=200"`
	Base        string `json:"base" rule:"format=decimal" doc:"sum of the lines it is taken off"`
	Pct         string `json:"pct" rule:"format=percent"`
	Amount      string `json:"amount" rule:"format=decimal"`
	TaxCategory string `json:"tax_category" rule:"enum=S|Z|E|AE|O"`
	TaxPct      string `json:"tax_pct,omitempty" rule:"format=percent"`
}

// BillTax is the tax of one category and rate.
type BillTax struct {
	Category     string `json:"category" rule:"enum=S|Z|E|AE|O" doc:"UNCL5305"`
	Pct          string `json:"pct" rule:"format=percent"`
	Base         string `json:"base" rule:"format=decimal" doc:"lines less discounts of this category and rate"`
	Amount       string `json:"amount" rule:"format=decimal"`
	ExemptCode   string `json:"exempt_code,omitempty" rule:"maxlen=32" doc:"VATEX code of the exemption"`
	ExemptReason string `json:"exempt_reason,omitempty" rule:"maxlen=200"`
}

// BillEvidence is how many events of one kind a document's digest covers.
type BillEvidence struct {
	Kind  string `json:"kind" rule:"maxlen=64" doc:"event type"`
	Count int64  `json:"count" rule:"min=0 max=1000000000"`
}

// BillCaution is something that was unsure when a document was issued.
type BillCaution struct {
	Kind string `json:"kind" rule:"maxlen=64"`
	Text string `json:"text" rule:"maxlen=2000"`
}

// InvoiceIssued is an issued invoice: final.
type InvoiceIssued struct {
	Number           InvoiceNo      `json:"number" rule:"id"`
	Customer         CustomerID     `json:"customer,omitempty" rule:"id"`
	Job              JobID          `json:"job,omitempty" rule:"id"`
	From             string         `json:"from,omitempty" rule:"format=date-time" doc:"period, with to, when there is no one job"`
	To               string         `json:"to,omitempty" rule:"format=date-time" doc:"half-open: not included"`
	Currency         string         `json:"currency" rule:"format=currency"`
	Lines            []BillLine     `json:"lines" rule:"minitems=1 maxitems=2000"`
	Totals           BillTotals     `json:"totals"`
	Digest           string         `json:"digest" rule:"format=sha256" doc:"of the evidence, lower-case hex"`
	IssuedOn         string         `json:"issued_on,omitempty" rule:"format=date" doc:"the day on the document"`
	DueOn            string         `json:"due_on,omitempty" rule:"format=date"`
	Agreement        AgreementID    `json:"agreement,omitempty" rule:"id"`
	Jobs             []JobID        `json:"jobs,omitempty" rule:"minitems=1 maxitems=1000 elem.id" doc:"all it bills, when more than one"`
	Seller           *BillParty     `json:"seller,omitempty"`
	Buyer            *BillParty     `json:"buyer,omitempty"`
	Discounts        []BillDiscount `json:"discounts,omitempty" rule:"minitems=1 maxitems=100" doc:"off the whole document, one a tax category and rate"`
	Tax              []BillTax      `json:"tax,omitempty" rule:"minitems=1 maxitems=100" doc:"one a category and rate"`
	Rounding         string         `json:"rounding,omitempty" rule:"enum=half_up|half_even"`
	QuantityDecimals *int64         `json:"quantity_decimals,omitempty" rule:"min=0 max=6"`
	Evidence         []BillEvidence `json:"evidence,omitempty" rule:"minitems=1 maxitems=100" doc:"what the digest covers"`
	Cautions         []BillCaution  `json:"cautions,omitempty" rule:"minitems=1 maxitems=1000" doc:"what was unsure when it was issued"`
	PaymentNote      string         `json:"payment_note,omitempty" rule:"maxlen=500" doc:"how to pay"`
	DocumentDigest   string         `json:"document_digest,omitempty" rule:"format=sha256" doc:"of the document itself: this data without this field"`
	AsOf             []string       `json:"as_of,omitempty" rule:"minitems=1 maxitems=10000 elem.maxlen=20000" doc:"what the book held of each source when it was issued, as SOURCE#UPTO,FROM-TO: from no other events is it drawn again"`
	SharePct         string         `json:"share_pct,omitempty" rule:"format=decimal" doc:"of every line of the bill, where two customers share it"`
	SharedWith       InvoiceNo      `json:"shared_with,omitempty" rule:"id" doc:"the invoice of the rest"`
	ShareNotes       []string       `json:"share_notes,omitempty" rule:"minitems=1 maxitems=3000 elem.maxlen=500" doc:"where the two come to other than one invoice would have"`
}

// InvoiceCredited takes an issued invoice back; same shape.
type InvoiceCredited struct {
	Number           InvoiceNo      `json:"number" rule:"id"`
	Credits          InvoiceNo      `json:"credits" rule:"id" doc:"number of the invoice taken back"`
	Currency         string         `json:"currency" rule:"format=currency"`
	Lines            []BillLine     `json:"lines" rule:"minitems=1 maxitems=2000"`
	Totals           BillTotals     `json:"totals"`
	Digest           string         `json:"digest" rule:"format=sha256"`
	IssuedOn         string         `json:"issued_on,omitempty" rule:"format=date" doc:"the day on the document"`
	CreditsIssuedOn  string         `json:"credits_issued_on,omitempty" rule:"format=date" doc:"the day on the invoice taken back"`
	Reason           string         `json:"reason,omitempty" rule:"maxlen=2000"`
	Customer         CustomerID     `json:"customer,omitempty" rule:"id"`
	Job              JobID          `json:"job,omitempty" rule:"id"`
	From             string         `json:"from,omitempty" rule:"format=date-time"`
	To               string         `json:"to,omitempty" rule:"format=date-time" doc:"half-open: not included"`
	Agreement        AgreementID    `json:"agreement,omitempty" rule:"id"`
	Jobs             []JobID        `json:"jobs,omitempty" rule:"minitems=1 maxitems=1000 elem.id" doc:"all it bills, when more than one"`
	Seller           *BillParty     `json:"seller,omitempty"`
	Buyer            *BillParty     `json:"buyer,omitempty"`
	Discounts        []BillDiscount `json:"discounts,omitempty" rule:"minitems=1 maxitems=100" doc:"off the whole document, one a tax category and rate"`
	Tax              []BillTax      `json:"tax,omitempty" rule:"minitems=1 maxitems=100" doc:"one a category and rate"`
	Rounding         string         `json:"rounding,omitempty" rule:"enum=half_up|half_even"`
	QuantityDecimals *int64         `json:"quantity_decimals,omitempty" rule:"min=0 max=6"`
	Evidence         []BillEvidence `json:"evidence,omitempty" rule:"minitems=1 maxitems=100" doc:"what the digest covers"`
	Cautions         []BillCaution  `json:"cautions,omitempty" rule:"minitems=1 maxitems=1000" doc:"what was unsure when it was issued"`
	PaymentNote      string         `json:"payment_note,omitempty" rule:"maxlen=500" doc:"how to pay"`
	DocumentDigest   string         `json:"document_digest,omitempty" rule:"format=sha256" doc:"of the document itself: this data without this field"`
	AsOf             []string       `json:"as_of,omitempty" rule:"minitems=1 maxitems=10000 elem.maxlen=20000" doc:"what the book held of each source when it was issued, as SOURCE#UPTO,FROM-TO: from no other events is it drawn again"`
}
