package schemas

// RegisterContractor is the contractor as its documents name it: who sends
// invoices, and the tax of agreements that say none.
type RegisterContractor struct {
	Name         string `json:"name" rule:"maxlen=200"`
	Address      string `json:"address,omitempty" rule:"maxlen=1000"`
	Country      string `json:"country,omitempty" rule:"format=country" doc:"ISO 3166-1 alpha-2"`
	TaxID        string `json:"tax_id,omitempty" rule:"maxlen=64"`
	LegalID      string `json:"legal_id,omitempty" rule:"maxlen=64" doc:"number in a company register"`
	Email        string `json:"email,omitempty" rule:"maxlen=254"`
	Phone        string `json:"phone,omitempty" rule:"maxlen=64"`
	TimeZone     string `json:"time_zone,omitempty" rule:"maxlen=64" doc:"IANA name, for the days on documents"`
	PaymentNote  string `json:"payment_note,omitempty" rule:"maxlen=500" doc:"how to pay, on invoices"`
	TaxCategory  string `json:"tax_category,omitempty" rule:"enum=S|Z|E|AE|O" doc:"UNCL5305; of agreements that say none"`
	TaxPct       string `json:"tax_pct,omitempty" rule:"format=percent"`
	ExemptCode   string `json:"exempt_code,omitempty" rule:"maxlen=32" doc:"VATEX code of the exemption"`
	ExemptReason string `json:"exempt_reason,omitempty" rule:"maxlen=200"`
}

// RegisterCustomer names who pays and who gets the documents.
type RegisterCustomer struct {
	Customer CustomerID `json:"customer" rule:"id" doc:"customer's identifier"`
	Name     string     `json:"name" rule:"maxlen=200" doc:"name on documents"`
	Address  string     `json:"address,omitempty" rule:"maxlen=1000"`
	TaxID    string     `json:"tax_id,omitempty" rule:"maxlen=64"`
	Email    string     `json:"email,omitempty" rule:"maxlen=254"`
	Country  string     `json:"country,omitempty" rule:"format=country" doc:"ISO 3166-1 alpha-2"`
}

// RegisterField gives a field its boundary.
type RegisterField struct {
	Field     FieldID    `json:"field" rule:"id"`
	Customer  CustomerID `json:"customer" rule:"id"`
	Name      string     `json:"name" rule:"maxlen=200"`
	Boundary  Boundary   `json:"boundary" doc:"GeoJSON Polygon or MultiPolygon (RFC 7946), WGS84, longitude first"`
	Soil      string     `json:"soil,omitempty" rule:"maxlen=200"`
	Crop      string     `json:"crop,omitempty" rule:"maxlen=200"`
	Exclusion *Boundary  `json:"exclusion,omitempty" doc:"areas not to be spread, GeoJSON as boundary"`

	Holding      HoldingID `json:"holding,omitempty" rule:"id" doc:"the farm or landholding that limits are held against"`
	LandUse      string    `json:"land_use,omitempty" rule:"enum=pasture|annual_forage|arable|horticulture|other"`
	Zones        []string  `json:"zones,omitzero" rule:"maxitems=32 elem.token" doc:"legal areas it lies in, as rule files name them; an empty list: in none; left out: not known"`
	PreviousCrop string    `json:"previous_crop,omitempty" rule:"maxlen=200"`
	SownAt       string    `json:"sown_at,omitempty" rule:"format=date-time" doc:"of the crop"`
	SlopeDeg     *float64  `json:"slope_deg,omitempty" rule:"min=0 max=90" doc:"of the steepest part that is spread"`
	ExclusionTo  []string  `json:"exclusion_to,omitempty" rule:"minitems=1 maxitems=1000 elem.enum=watercourse|lake|coast|well|karst|supply|large_supply|other" doc:"what the polygons of exclusion are, in their order, as buffers of job.finished name them; a single entry: all of them; left out: not said"`
}

// RegisterMachine describes a spreader or loader; its name is its device's.
type RegisterMachine struct {
	Machine  MachineID `json:"machine" rule:"token" doc:"the device name of the machine's tablet"`
	Name     string    `json:"name" rule:"maxlen=200"`
	HopperM3 float64   `json:"hopper_m3" rule:"min=0 max=100" doc:"hopper volume, level full; 0 for a loader"`
	TimeZone string    `json:"time_zone,omitempty" rule:"maxlen=64" doc:"IANA name, for display and for which day"`
	Kind     string    `json:"kind,omitempty" rule:"enum=spreader|loader"`
	Sensors  []string  `json:"sensors,omitempty" rule:"maxitems=32 elem.maxlen=64"`
}

// What a product is made of, for limits that count only some of it.
const (
	KindLivestockManure = "livestock_manure"
	KindOtherOrganic    = "other_organic"
	KindManufactured    = "manufactured"
)

// BasisDry: the figures are of the dry matter.
const BasisDry = "dry"

// LimeFraction is what a sieve analysis found between two sieves, and how much
// of it counts by the fineness set the analysis names.
type LimeFraction struct {
	SharePct             float64  `json:"share_pct" rule:"min=0 max=100" doc:"percent of the mass"`
	Factor               float64  `json:"factor" rule:"min=0 max=1" doc:"how much of it counts"`
	FromMm               *float64 `json:"from_mm,omitempty" rule:"min=0 max=100"`
	ToMm                 *float64 `json:"to_mm,omitempty" rule:"min=0 max=100"`
	NeutralisingValuePct *float64 `json:"neutralising_value_pct,omitempty" rule:"min=0 max=250" doc:"of this fraction, where it was tested apart; CaCO3 = 100"`
}

// Analysis is what a product contains, percent by mass. An element that is
// left out is not known; 0 says that there is none. Which form a figure is in
// stands in its name. Several register.product events of a product are
// versions of its analysis, by batch and date.
type Analysis struct {
	NPct                 *float64 `json:"n_pct,omitempty" rule:"min=0 max=100"`
	P2O5Pct              *float64 `json:"p2o5_pct,omitempty" rule:"min=0 max=100"`
	PPct                 *float64 `json:"p_pct,omitempty" rule:"min=0 max=100"`
	K2OPct               *float64 `json:"k2o_pct,omitempty" rule:"min=0 max=100"`
	KPct                 *float64 `json:"k_pct,omitempty" rule:"min=0 max=100"`
	SPct                 *float64 `json:"s_pct,omitempty" rule:"min=0 max=100"`
	CaPct                *float64 `json:"ca_pct,omitempty" rule:"min=0 max=100"`
	MgPct                *float64 `json:"mg_pct,omitempty" rule:"min=0 max=100"`
	NeutralisingValuePct *float64 `json:"neutralising_value_pct,omitempty" rule:"min=0 max=250" doc:"CaCO3 = 100"`
	Fineness             *float64 `json:"fineness,omitempty" rule:"min=0 max=1"`
	MoisturePct          *float64 `json:"moisture_pct,omitempty" rule:"min=0 max=100"`
	Organic              *bool    `json:"organic,omitempty"`

	SO3Pct      *float64       `json:"so3_pct,omitempty" rule:"min=0 max=100"`
	CaOPct      *float64       `json:"cao_pct,omitempty" rule:"min=0 max=100"`
	MgOPct      *float64       `json:"mgo_pct,omitempty" rule:"min=0 max=100"`
	Basis       string         `json:"basis,omitempty" rule:"enum=as_received|dry" doc:"left out: as_received; dry needs moisture_pct"`
	Kind        string         `json:"kind,omitempty" rule:"enum=livestock_manure|other_organic|manufactured"`
	RelSdPct    *float64       `json:"rel_sd_pct,omitempty" rule:"min=0 max=100" doc:"standard uncertainty of every figure, percent of it; left out: none"`
	Batch       DocketID       `json:"batch,omitempty" rule:"id" doc:"the docket of the delivery it is of; left out: of every delivery"`
	ValidFrom   string         `json:"valid_from,omitempty" rule:"format=date-time" doc:"left out: the time of the event"`
	Source      string         `json:"source,omitempty" rule:"maxlen=200" doc:"laboratory report, label or declaration it was taken from"`
	FinenessSet string         `json:"fineness_set,omitempty" rule:"maxlen=200" doc:"law or method whose factors fineness or fractions use"`
	Fractions   []LimeFraction `json:"fractions,omitempty" rule:"maxitems=32" doc:"of lime, by sieve; in the place of fineness"`
}

// RegisterProduct describes what is spread.
type RegisterProduct struct {
	Product         ProductID `json:"product" rule:"id"`
	Name            string    `json:"name" rule:"maxlen=200"`
	Form            string    `json:"form" rule:"enum=granular|powder|seed"`
	BulkDensityKgM3 *float64  `json:"bulk_density_kg_m3,omitempty" rule:"min=50 max=4000"`
	Analysis        *Analysis `json:"analysis,omitempty"`
}

// Kinds of an agreement's line.
const (
	LinePerTonne   = "per_tonne"
	LinePerHectare = "per_hectare"
	LinePerKm      = "per_km"
	LinePerHour    = "per_hour"
	LineFixed      = "fixed"
	LineMinimum    = "minimum" // the least the lines come to, before tax and after every discount
	LineProduct    = "product" // product supplied, by the tonne
)

// Bases of a line: what its tonnes or hectares are taken from.
const (
	BasisDocket   = "docket"
	BasisLoaded   = "loaded"
	BasisSpread   = "spread"
	BasisBoundary = "boundary"
	BasisCovered  = "covered"
)

// Rules of a line's steps.
const (
	StepsStepped = "stepped" // the whole quantity at the price of the step it reaches
	StepsTiered  = "tiered"  // each slice at its own price
)

// Tax categories of EN 16931 (UNCL5305).
const (
	TaxStandard      = "S"
	TaxZero          = "Z"
	TaxExempt        = "E"
	TaxReverseCharge = "AE"
	TaxOutOfScope    = "O"
)

// Who the product spread belongs to.
const (
	SupplySupplied = "supplied"
	SupplyOwn      = "own" // the customer's
)

// PriceStep is a price from a quantity on.
type PriceStep struct {
	From  string `json:"from" rule:"format=unsigned" doc:"the price holds from this quantity on, itself included; t, ha, km or h"`
	Price string `json:"price" rule:"format=unsigned"`
}

// AgreementLine is one priced line of an agreement; reconcile/rating says what
// it comes to.
type AgreementLine struct {
	Kind           string      `json:"kind" rule:"enum=per_tonne|per_hectare|per_km|per_hour|fixed|minimum|product"`
	Price          string      `json:"price" rule:"format=decimal" doc:"decimal text, in the agreement's currency; with steps, the price below the first of them"`
	Basis          string      `json:"basis,omitempty" rule:"enum=docket|loaded|spread|boundary|covered"`
	Text           string      `json:"text,omitempty" rule:"maxlen=200" doc:"how the line is called on documents"`
	Product        ProductID   `json:"product,omitempty" rule:"id" doc:"the line counts this product alone"`
	Steps          []PriceStep `json:"steps,omitempty" rule:"minitems=1 maxitems=50"`
	StepsRule      string      `json:"steps_rule,omitempty" rule:"enum=stepped|tiered" doc:"stepped: the whole quantity at the price of the step it reaches; tiered: each slice at its own price"`
	DiscountPct    string      `json:"discount_pct,omitempty" rule:"format=percent" doc:"off the line's amount"`
	DiscountAmount string      `json:"discount_amount,omitempty" rule:"format=unsigned" doc:"off the line's amount, at most all of it"`
	TaxCategory    string      `json:"tax_category,omitempty" rule:"enum=S|Z|E|AE|O" doc:"UNCL5305; before the agreement's"`
	TaxPct         string      `json:"tax_pct,omitempty" rule:"format=percent"`
	ExemptCode     string      `json:"exempt_code,omitempty" rule:"maxlen=32" doc:"VATEX code of the exemption"`
	ExemptReason   string      `json:"exempt_reason,omitempty" rule:"maxlen=200"`
}

// RegisterAgreement is what a customer and the contractor agreed to pay by.
type RegisterAgreement struct {
	Agreement        AgreementID     `json:"agreement" rule:"id"`
	Customer         CustomerID      `json:"customer" rule:"id"`
	Currency         string          `json:"currency" rule:"format=currency" doc:"ISO 4217"`
	Lines            []AgreementLine `json:"lines" rule:"minitems=1 maxitems=200"`
	ValidFrom        string          `json:"valid_from,omitempty" rule:"format=date-time"`
	ValidTo          string          `json:"valid_to,omitempty" rule:"format=date-time" doc:"half-open: not included"`
	Rounding         string          `json:"rounding,omitempty" rule:"enum=half_up|half_even" doc:"of quantities, amounts and taxes; half_up, the default: half away from zero"`
	QuantityDecimals *int64          `json:"quantity_decimals,omitempty" rule:"min=0 max=6" doc:"of t, ha, km and h; 3 where not said"`
	PaymentDays      *int64          `json:"payment_days,omitempty" rule:"min=0 max=3650"`
	ProductSupply    string          `json:"product_supply,omitempty" rule:"enum=supplied|own" doc:"own: the customer's product; no line sells any"`
	DiscountPct      string          `json:"discount_pct,omitempty" rule:"format=percent" doc:"off all lines"`
	TaxCategory      string          `json:"tax_category,omitempty" rule:"enum=S|Z|E|AE|O" doc:"UNCL5305; of lines that say none"`
	TaxPct           string          `json:"tax_pct,omitempty" rule:"format=percent"`
	ExemptCode       string          `json:"exempt_code,omitempty" rule:"maxlen=32" doc:"VATEX code of the exemption"`
	ExemptReason     string          `json:"exempt_reason,omitempty" rule:"maxlen=200"`
}

// RegisterJob is work that was ordered.
type RegisterJob struct {
	Job         JobID       `json:"job" rule:"id"`
	Customer    CustomerID  `json:"customer" rule:"id"`
	Fields      []FieldID   `json:"fields" rule:"minitems=1 maxitems=1000 elem.id"`
	Product     ProductID   `json:"product" rule:"id"`
	SetRateKgHa float64     `json:"set_rate_kg_ha" rule:"min=0 max=50000"`
	Agreement   AgreementID `json:"agreement,omitempty" rule:"id"`
	WantedBy    string      `json:"wanted_by,omitempty" rule:"format=date-time"`
	Note        string      `json:"note,omitempty" rule:"maxlen=2000"`
}
