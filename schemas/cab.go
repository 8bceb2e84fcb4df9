package schemas

import (
	"encoding/json"
	"time"
)

// CabPacket is what a tablet keeps of the office so that it can work without a
// link: the registers, the calibration and state of its machine, the notices
// to its crew. It is a copy; the events are in the book. No prices are in it.
type CabPacket struct {
	Schema    string              `json:"schema"` // "hopperbook.cab/1"
	Device    DeviceID            `json:"device"`
	At        time.Time           `json:"at"` // when it was made
	Digest    string              `json:"digest"`
	Fields    []RegisterField     `json:"fields"`
	Machines  []RegisterMachine   `json:"machines"`
	Products  []RegisterProduct   `json:"products"`
	Jobs      []CabJob            `json:"jobs"`
	Customers []CabCustomer       `json:"customers"`
	Stockpile []CabStockpile      `json:"stockpiles"`
	Settings  []SettingChanged    `json:"settings"` // in force, one a product, latest last
	Catch     []CabTest           `json:"catch"`    // the machine's catch tests as they count, as test.catch data
	Checks    []CabTest           `json:"checks"`   // the machine's checks, as check.machine data
	Drift     []CabDrift          `json:"drift"`
	Notices   []NoticeRaised      `json:"notices"` // raised for the machine and not acknowledged
	Loads     []CabLoad           `json:"loads"`   // weighed and in no hopper yet
	Rates     map[string]CabRates `json:"rates,omitempty"`
}

// SchemaCab names the shape of CabPacket's JSON.
const SchemaCab = "hopperbook.cab/1"

// CabCustomer is a customer's name: what a cab needs of it.
type CabCustomer struct {
	Customer CustomerID `json:"customer"`
	Name     string     `json:"name"`
}

// CabJob is an ordered job and how it stands.
type CabJob struct {
	RegisterJob
	State string `json:"state"` // ordered, started, finished
}

// CabStockpile is a stockpile and what lies there.
type CabStockpile struct {
	Stockpile StockpileID `json:"stockpile"`
	Product   ProductID   `json:"product"`
}

// CabTest is a test or check with the time it was made.
type CabTest struct {
	At   time.Time       `json:"at"`
	Data json.RawMessage `json:"data"`
}

// CabDrift is the office's verdict on the machine with a product.
type CabDrift struct {
	Product    ProductID `json:"product"`
	State      string    `json:"state"` // holding, watch, recalibrate
	FlowRatio  float64   `json:"flow_ratio"`
	SizePct    float64   `json:"size_pct"`
	ChangeLoad int       `json:"change_load"`
	FlowFactor float64   `json:"flow_factor"` // 0: none
	GateTryMm  float64   `json:"gate_try_mm"` // 0: none
	Loads      int       `json:"loads"`
}

// CabLoad is a load that waits for a hopper.
type CabLoad struct {
	Load    LoadID    `json:"load"`
	Product ProductID `json:"product"`
	NetKg   float64   `json:"net_kg"`
	At      time.Time `json:"at"`
	Machine MachineID `json:"machine"` // that weighed it
}

// CabRates are the office's real rates of a refill, by refill identifier.
type CabRates struct {
	MachineRateKgHa float64 `json:"machine_rate_kg_ha"`
	LowKgHa         float64 `json:"low_kg_ha"`
	HighKgHa        float64 `json:"high_kg_ha"`
}

// CabSubject is where a tablet asks for its packet (request: CabAsk as JSON;
// answer: CabPacket, or an empty body where the digest has not changed).
func CabSubject(c ContractorID, d DeviceID) string { return "cab." + string(c) + "." + string(d) }

// CabNewsSubject is where the hub says, without a body, that a new packet of a
// device is to be had.
func CabNewsSubject(c ContractorID, d DeviceID) string {
	return "cabnews." + string(c) + "." + string(d)
}

// CabAsk asks for a packet; Digest is the one that is held already.
type CabAsk struct {
	Digest string `json:"digest,omitempty"`
}

// EnrolSubject is where a tablet hands in its one-time code.
func EnrolSubject(c ContractorID) string { return "enrol." + string(c) }

// EnrolRequest is the tablet's side of an enrolment; the NKey's seed never
// leaves the tablet.
type EnrolRequest struct {
	Device    DeviceID `json:"device"`
	Code      string   `json:"code"`
	PublicKey string   `json:"public_key"`
}

// EnrolAnswer says that the device is enrolled, or why not.
type EnrolAnswer struct {
	Device     DeviceID     `json:"device,omitempty"`
	Contractor ContractorID `json:"contractor,omitempty"`
	Refused    string       `json:"refused,omitempty"`
	Hint       string       `json:"hint,omitempty"`
}
