package schemas

import "encoding/json"

// DocketReceived is a weighbridge ticket of product delivered.
type DocketReceived struct {
	Docket    DocketID    `json:"docket" rule:"id"`
	Product   ProductID   `json:"product" rule:"id"`
	Stockpile StockpileID `json:"stockpile" rule:"id"`
	NetKg     float64     `json:"net_kg" rule:"min=0 max=10000000"`
	GrossKg   *float64    `json:"gross_kg,omitempty" rule:"min=0 max=10000000"`
	TareKg    *float64    `json:"tare_kg,omitempty" rule:"min=0 max=10000000"`
	Supplier  string      `json:"supplier,omitempty" rule:"maxlen=200"`
	SdKg      *float64    `json:"sd_kg,omitempty" rule:"min=0 max=10000000"`
}

// StockSurveyed is what a survey found in a stockpile.
type StockSurveyed struct {
	Stockpile       StockpileID `json:"stockpile" rule:"id"`
	Product         ProductID   `json:"product" rule:"id"`
	MassKg          float64     `json:"mass_kg" rule:"min=0 max=1000000000"`
	SdKg            float64     `json:"sd_kg" rule:"min=0 max=1000000000"`
	VolumeM3        *float64    `json:"volume_m3,omitempty" rule:"min=0 max=1000000"`
	BulkDensityKgM3 *float64    `json:"bulk_density_kg_m3,omitempty" rule:"min=50 max=4000"`
}

// What an amendment does to the event it names.
const (
	AmendVoid    = "void"
	AmendReplace = "replace"
)

// EventAmended voids or replaces an earlier event; the earlier one stays in
// the book.
type EventAmended struct {
	Amends      EventID         `json:"amends" rule:"format=ulid" doc:"id of the event that was wrong"`
	Action      string          `json:"action" rule:"enum=void|replace"`
	Reason      string          `json:"reason" rule:"maxlen=2000"`
	Replacement json.RawMessage `json:"replacement,omitempty" doc:"the data that should have stood there; with action replace"`
}

// NoticeRaised is a message from the hub to a crew.
type NoticeRaised struct {
	Notice   NoticeID        `json:"notice" rule:"id"`
	Machine  MachineID       `json:"machine" rule:"token"`
	Kind     string          `json:"kind" rule:"enum=recalibrate|check|sync"`
	Text     string          `json:"text" rule:"maxlen=2000"`
	Evidence json.RawMessage `json:"evidence,omitempty"`
}

// NoticeAcknowledged says that the crew has seen a notice.
type NoticeAcknowledged struct {
	Notice  NoticeID  `json:"notice" rule:"id"`
	Machine MachineID `json:"machine" rule:"token"`
	Kind    string    `json:"kind" rule:"enum=recalibrate|check|sync"`
	Text    string    `json:"text" rule:"maxlen=2000"`
}
