package tablet

import (
	"context"
	"encoding/json"
	"time"

	"hopperbook/schemas"
)

// Agent is what the operator's page needs of the tablet: look, do, and hear
// that something changed.
type Agent interface {
	// View is what is to be seen now; safe for concurrent use.
	View() View
	// Do carries out one command of the operator. A refusal is a fault.Error
	// whose Hint says what to do; its Refusal (see RefusalOf) has a key for the
	// page's catalogue and says whether the same body may be confirmed.
	Do(ctx context.Context, name string, body json.RawMessage) (Done, error)
	// Changed gives a channel that is closed at the next change of View.
	Changed() <-chan struct{}
}

// Done is what a command did.
type Done struct {
	Event schemas.EventID   `json:"event,omitempty"` // "" where a command makes no event
	Type  schemas.EventType `json:"type,omitempty"`
	// Result is what a test's arithmetic gave, for the page (see Commands).
	Result any `json:"result,omitempty"`
}

// View is everything the page shows. Words are left to the page's catalogue:
// states are codes. Numbers that are not known are null.
type View struct {
	At       time.Time         `json:"at"` // GNSS time where there is one
	Device   schemas.DeviceID  `json:"device"`
	Machine  string            `json:"machine_name"`
	Role     string            `json:"role"` // spreader, loader
	TimeZone string            `json:"time_zone"`
	Operator schemas.Operator  `json:"operator"`
	GNSS     GNSSView          `json:"gnss"`
	Work     WorkView          `json:"work"`
	Rate     RateView          `json:"rate"`
	Hopper   HopperView        `json:"hopper"`
	Drift    *schemas.CabDrift `json:"drift"` // of the product in use; null: the office has not said
	Setting  *SettingView      `json:"setting"`
	Outbox   OutboxView        `json:"outbox"`
	Link     LinkView          `json:"link"`
	Notices  []NoticeView      `json:"notices"`
	Undo     *UndoView         `json:"undo"` // what "undo" would take back; null: nothing
	Jobs     []JobView         `json:"jobs"` // nearest field first
	Products []ProductView     `json:"products"`
	Piles    []PileView        `json:"stockpiles"`
	Waiting  []LoadView        `json:"waiting_loads"` // weighed here or said by the office, in no hopper yet
	Spreader []MachineView     `json:"spreaders"`     // for a loader: whom it can fill
	Checks   []CheckView       `json:"checks"`        // every item in the order it is walked
	Last     []EntryView       `json:"last"`          // latest entries, newest first
}

// GNSSView is how the receiver stands.
type GNSSView struct {
	State    string   `json:"state"` // none, searching, poor, good
	Quality  int      `json:"quality"`
	Lat      *float64 `json:"lat"`
	Lon      *float64 `json:"lon"`
	SpeedKmh *float64 `json:"speed_kmh"`
}

// WorkView is the job in hand.
type WorkView struct {
	State     string            `json:"state"` // idle, picked, working
	Job       schemas.JobID     `json:"job"`
	Field     schemas.FieldID   `json:"field"`
	FieldName string            `json:"field_name"`
	Customer  string            `json:"customer_name"`
	Product   schemas.ProductID `json:"product"`
	SetRate   *float64          `json:"set_rate_kg_ha"`
	Spreading string            `json:"spreading"` // off, on
	Marked    string            `json:"marked_by"` // switch, speed_and_field, hand
	InField   schemas.FieldID   `json:"in_field"`  // the field the position lies in; "": none known
	// Unsafe lists failed safety items that stand against a start.
	Unsafe []CheckView `json:"unsafe"`
}

// RateView is the real machine rate beside the set rate.
type RateView struct {
	SetKgHa *float64 `json:"set_kg_ha"`
	// Last is of the last closed balance interval, from its refill to the next reading.
	LastKgHa  *float64 `json:"last_kg_ha"`
	LastOffPc *float64 `json:"last_off_pct"`
	LastTold  string   `json:"last_told_by"` // tablet, office
	// Now is what the current load is going out at, as the flow ratio of the last ones says: an estimate.
	NowKgHa *float64 `json:"now_kg_ha"`
	Series  []Point  `json:"series"` // of the last loads, oldest first
}

// Point is one load's real machine rate.
type Point struct {
	Load   schemas.RefillID `json:"refill"`
	KgHa   float64          `json:"kg_ha"`
	OffPct float64          `json:"off_pct"`
}

// HopperView is the estimate of what is in the hopper.
type HopperView struct {
	Kg        *float64 `json:"kg"`
	Share     *float64 `json:"share"`   // of the hopper's capacity by bulk density; null: not known
	HaLeft    *float64 `json:"ha_left"` // at the real rate: set rate x flow ratio
	LoadedKg  *float64 `json:"loaded_kg"`
	SpreadHa  *float64 `json:"spread_ha"`  // swath area since the last refill
	LastKnown string   `json:"last_known"` // the reading the estimate counts from: empty, level, cells; "": none
}

// SettingView is the setting in force.
type SettingView struct {
	schemas.SettingChanged
	At time.Time `json:"at"`
}

// OutboxView is what the office has not confirmed yet.
type OutboxView struct {
	Waiting    int       `json:"waiting"` // events
	OldestAt   time.Time `json:"oldest_at,omitzero"`
	Bytes      int64     `json:"bytes"`
	LimitBytes int64     `json:"limit_bytes"`
	State      string    `json:"state"`     // ok, filling (warn), full
	DaysLeft   *float64  `json:"days_left"` // until full, at the rate of the last day
}

// LinkView is how the link to the office stands.
type LinkView struct {
	State  string    `json:"state"` // off (not enrolled), down, up, refused
	Since  time.Time `json:"since,omitzero"`
	Packet time.Time `json:"packet_at,omitzero"` // age of the copies
}

// NoticeView is a notice to the crew.
type NoticeView struct {
	schemas.NoticeRaised
	New bool `json:"new"` // not shown before: sound
}

// UndoView is the last entry that can be taken back.
type UndoView struct {
	Event schemas.EventID   `json:"event"`
	Type  schemas.EventType `json:"type"`
	At    time.Time         `json:"at"`
	Kg    *float64          `json:"kg"`
	Words string            `json:"words"` // identifier or name to show
}

// JobView is an ordered job.
type JobView struct {
	Job       schemas.JobID     `json:"job"`
	Field     schemas.FieldID   `json:"field"`
	FieldName string            `json:"field_name"`
	Customer  string            `json:"customer_name"`
	Product   schemas.ProductID `json:"product"`
	SetRate   float64           `json:"set_rate_kg_ha"`
	AwayM     *float64          `json:"away_m"` // 0 inside the field; null: no position
	AreaHa    float64           `json:"area_ha"`
	State     string            `json:"state"`
}

// ProductView is a product to choose.
type ProductView struct {
	Product         schemas.ProductID `json:"product"`
	Name            string            `json:"name"`
	Form            string            `json:"form"`
	BulkDensityKgM3 *float64          `json:"bulk_density_kg_m3"`
	Ammonium        bool              `json:"ammonium_nitrate_caution"`
}

// PileView is a stockpile to load from.
type PileView struct {
	Stockpile schemas.StockpileID `json:"stockpile"`
	Product   schemas.ProductID   `json:"product"`
}

// LoadView is a load that waits for a hopper.
type LoadView struct {
	Load    schemas.LoadID    `json:"load"`
	Product schemas.ProductID `json:"product"`
	NetKg   float64           `json:"net_kg"`
	At      time.Time         `json:"at"`
	For     schemas.MachineID `json:"for"` // the spreader it was weighed for; "": not said
}

// MachineView is a machine to choose.
type MachineView struct {
	Machine schemas.MachineID `json:"machine"`
	Name    string            `json:"name"`
}

// CheckView is one item of the machine check.
type CheckView struct {
	Item   string    `json:"item"`
	Unit   string    `json:"unit"`
	State  string    `json:"state"` // unknown, passed, failed
	Safety bool      `json:"safety"`
	At     time.Time `json:"at,omitzero"`
	Limit  *float64  `json:"limit_high"`
}

// EntryView is one entry of the tablet's own log.
type EntryView struct {
	Event  schemas.EventID   `json:"event"`
	Type   schemas.EventType `json:"type"`
	At     time.Time         `json:"at"`
	Kg     *float64          `json:"kg"`
	Words  string            `json:"words"`
	Sent   bool              `json:"sent"` // the book has it
	Undone bool              `json:"undone"`
}

// The commands of the page and their bodies. Masses are in kg whatever the
// page shows.
const (
	DoPick    = "pick"    // Pick
	DoStart   = "start"   // Start
	DoFinish  = "finish"  // {}
	DoSpread  = "spread"  // Spread: the spreading state by hand
	DoSetting = "setting" // schemas.SettingChanged without machine
	DoLoad    = "load"    // Load
	DoRefill  = "refill"  // Refill
	DoDensity = "density" // schemas.TestDensity; Result: DensityResult
	DoCatch   = "catch"   // schemas.TestCatch without catch_test; Result: CatchResult
	DoTray    = "tray"    // schemas.TestTray without tray_test; Result: TrayResult
	DoCheck   = "check"   // schemas.CheckMachine
	DoWeather = "weather" // schemas.WeatherNoted
	DoUndo    = "undo"    // Undo
	DoNotice  = "notice"  // Ack
	DoWho     = "who"     // Who
	DoTry     = "try"     // Try: a test's arithmetic without making an event
)

// Pick chooses the job in hand.
type Pick struct {
	Job   schemas.JobID   `json:"job"`
	Field schemas.FieldID `json:"field"`
}

// Start begins work; Override is needed where a safety check has failed.
type Start struct {
	OverrideReason string `json:"override_reason,omitempty"`
}

// Spread marks spreading by hand; Auto gives it back to switch or rules.
type Spread struct {
	On   bool `json:"on"`
	Auto bool `json:"auto"`
}

// Load is a load weighed: lifts add up, less the tare of each where the
// bucket's scale is not zeroed.
type Load struct {
	Product   schemas.ProductID   `json:"product"`
	Method    string              `json:"method"`
	LiftsKg   []float64           `json:"lifts_kg,omitempty"` // gross of each lift
	TareKg    *float64            `json:"tare_kg,omitempty"`  // taken off each lift
	NetKg     *float64            `json:"net_kg,omitempty"`   // without lifts
	VolumeM3  *float64            `json:"volume_m3,omitempty"`
	Scale     schemas.ScaleID     `json:"scale,omitempty"`
	Docket    schemas.DocketID    `json:"docket,omitempty"`
	Stockpile schemas.StockpileID `json:"stockpile,omitempty"`
	For       schemas.MachineID   `json:"for,omitempty"`    // loader: the spreader it is for
	Refill    bool                `json:"refill,omitempty"` // it goes into the hopper at once
	Residual  *Residual           `json:"residual,omitempty"`
	Confirm   bool                `json:"confirm,omitempty"` // after a refusal that may be confirmed
}

// Residual is what was left in the hopper just before a refill.
type Residual struct {
	Method string   `json:"method"` // empty, level, cells (a number), unknown
	Kg     *float64 `json:"kg,omitempty"`
	Share  *float64 `json:"share,omitempty"` // of the full hopper, from the level picture
}

// Refill is loads entering the hopper. Loads empty: a residual reading alone.
// ToldKg is what the loader's driver called out, for the tablet's own estimate
// where the loader's tablet books loads and refill.
type Refill struct {
	Loads    []schemas.LoadID  `json:"loads"`
	Residual Residual          `json:"residual"`
	For      schemas.MachineID `json:"for,omitempty"`
	ToldKg   *float64          `json:"told_kg,omitempty"`
	Product  schemas.ProductID `json:"product,omitempty"` // of a reading alone; "": what is in the hopper
	Confirm  bool              `json:"confirm,omitempty"` // after a refusal that may be confirmed
}

// Undo takes back one entry by an amendment; Event "": the latest.
type Undo struct {
	Event  schemas.EventID `json:"event"`
	Reason string          `json:"reason,omitempty"`
}

// Ack acknowledges a notice.
type Ack struct {
	Notice schemas.NoticeID `json:"notice"`
}

// Who says who is in the cab.
type Who struct {
	Operator schemas.Operator `json:"operator"`
}

// Try is a test to be worked out without booking it.
type Try struct {
	Test string          `json:"test"` // density, catch, tray
	Data json.RawMessage `json:"data"`
}
