package schemas

import (
	"reflect"
	"slices"
	"strings"
	"sync"
)

// EventType is the CloudEvents type of an event.
type EventType string

// The event types of the contract.
const (
	TypeRegisterContractor EventType = "register.contractor"
	TypeRegisterCustomer   EventType = "register.customer"
	TypeRegisterField      EventType = "register.field"
	TypeRegisterMachine    EventType = "register.machine"
	TypeRegisterProduct    EventType = "register.product"
	TypeRegisterAgreement  EventType = "register.agreement"
	TypeRegisterJob        EventType = "register.job"
	TypeJobStarted         EventType = "job.started"
	TypeJobFinished        EventType = "job.finished"
	TypeSettingChanged     EventType = "setting.changed"
	TypeLoadWeighed        EventType = "load.weighed"
	TypeHopperRefilled     EventType = "hopper.refilled"
	TypePassLogged         EventType = "pass.logged"
	TypeTestDensity        EventType = "test.density"
	TypeTestCatch          EventType = "test.catch"
	TypeTestTray           EventType = "test.tray"
	TypeTestOverlap        EventType = "test.overlap"
	TypeCheckMachine       EventType = "check.machine"
	TypeWeatherNoted       EventType = "weather.noted"
	TypeDocketReceived     EventType = "docket.received"
	TypeStockSurveyed      EventType = "stock.surveyed"
	TypeEventAmended       EventType = "event.amended"
	TypeInvoiceIssued      EventType = "invoice.issued"
	TypeInvoiceCredited    EventType = "invoice.credited"
	TypeNoticeRaised       EventType = "notice.raised"
	TypeNoticeAcknowledged EventType = "notice.acknowledged"
)

// TypeInfo is what the contract says of one event type.
type TypeInfo struct {
	Type    EventType
	Version int    // the version of its data this program reads and writes
	Doc     string // one sentence
	Data    Rule   // the rule of the data object
	cross   cross
}

// DataSchema is the dataschema of the type's current version, and the $id of
// its JSON Schema: urn:hopperbook:TYPE/VERSION.
func (t TypeInfo) DataSchema() string { return schemaURN + shortSchema(t.Type, t.Version) }

// TableName is the type's name as an SQL identifier: load.weighed -> load_weighed.
func (t TypeInfo) TableName() string { return strings.ReplaceAll(string(t.Type), ".", "_") }

type catalogue struct {
	all    []TypeInfo
	byType map[EventType]int
}

var loadCatalogue = sync.OnceValue(func() catalogue {
	row := func(t EventType, data any, doc string) TypeInfo {
		return TypeInfo{Type: t, Version: 1, Doc: doc, Data: objectRule(reflect.TypeOf(data))}
	}
	all := []TypeInfo{
		row(TypeRegisterContractor, RegisterContractor{}, "The contractor as its documents name it."),
		row(TypeRegisterCustomer, RegisterCustomer{}, "A customer's name and address."),
		row(TypeRegisterField, RegisterField{}, "A field's boundary."),
		row(TypeRegisterMachine, RegisterMachine{}, "A spreader or loader."),
		row(TypeRegisterProduct, RegisterProduct{}, "A product and what is in it."),
		row(TypeRegisterAgreement, RegisterAgreement{}, "What a customer pays by."),
		row(TypeRegisterJob, RegisterJob{}, "Work that was ordered."),
		row(TypeJobStarted, JobStarted{}, "Work on a job begins."),
		row(TypeJobFinished, JobFinished{}, "Work on a job ends."),
		row(TypeSettingChanged, SettingChanged{}, "What the machine is set to from now on."),
		row(TypeLoadWeighed, LoadWeighed{}, "Product weighed for a spreader."),
		row(TypeHopperRefilled, HopperRefilled{}, "Loads enter the hopper, over the residual that was in it."),
		row(TypePassLogged, PassLogged{}, "A batch of GNSS fixes."),
		row(TypeTestDensity, TestDensity{}, "A density test."),
		row(TypeTestCatch, TestCatch{}, "A catch test."),
		row(TypeTestTray, TestTray{}, "A tray test."),
		row(TypeTestOverlap, TestOverlap{}, "An overlap test."),
		row(TypeCheckMachine, CheckMachine{}, "One item of a machine check."),
		row(TypeWeatherNoted, WeatherNoted{}, "The weather the operator saw."),
		row(TypeDocketReceived, DocketReceived{}, "A weighbridge ticket of product delivered."),
		row(TypeStockSurveyed, StockSurveyed{}, "What a survey found in a stockpile."),
		row(TypeEventAmended, EventAmended{}, "An earlier event is void or replaced."),
		row(TypeInvoiceIssued, InvoiceIssued{}, "An invoice, final."),
		row(TypeInvoiceCredited, InvoiceCredited{}, "An invoice taken back."),
		row(TypeNoticeRaised, NoticeRaised{}, "A message from the hub to a crew."),
		row(TypeNoticeAcknowledged, NoticeAcknowledged{}, "The crew has seen a notice."),
	}
	slices.SortFunc(all, func(a, b TypeInfo) int { return strings.Compare(string(a.Type), string(b.Type)) })
	c := catalogue{all: all, byType: make(map[EventType]int, len(all))}
	for i := range all {
		c.byType[all[i].Type] = i
		all[i].cross = crossRules(all[i].Type)
	}
	return c
})

// Types lists every event type, sorted by name.
func Types() []TypeInfo { return slices.Clone(loadCatalogue().all) }

// Lookup finds an event type.
func Lookup(t EventType) (TypeInfo, bool) {
	info, ok := lookup(t)
	if !ok {
		return TypeInfo{}, false
	}
	return *info, true
}

func lookup(t EventType) (*TypeInfo, bool) {
	c := loadCatalogue()
	i, ok := c.byType[t]
	if !ok {
		return nil, false
	}
	return &c.all[i], true
}
