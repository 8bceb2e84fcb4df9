package schemas

import (
	"encoding/json"
	"math"
	"reflect"
	"slices"
	"testing"
	"time"

	cloudevents "github.com/cloudevents/sdk-go/v2"
	"hopperbook/schemas/fault"
)

func TestIdentity(t *testing.T) {
	for s, want := range map[string]Identity{ // the zero Identity: refused
		"/devices/sp-1/k7#17":                  {"/devices/sp-1/k7", 17},
		"/office/desk1#1":                      {"/office/desk1", 1},
		"/devices/sp-1/k7#999999999999999999":  {"/devices/sp-1/k7", 999_999_999_999_999_999},
		"":                                     {},
		"#1":                                   {},
		"/devices/sp-1/k7":                     {},
		"/devices/sp-1/k7#":                    {},
		"/devices/sp-1/k7#0":                   {},
		"/devices/sp-1/k7#-1":                  {},
		"/devices/sp-1/k7#+1":                  {},
		"/devices/sp-1/k7#01":                  {},
		"/devices/sp-1/k7#1#2":                 {},
		"/devices/sp-1/k7#1000000000000000000": {},
		"/devices/SP-1/k7#1":                   {},
		"devices/sp-1/k7#1":                    {},
		"/devices/sp-1/k7/x#1":                 {},
	} {
		got, ok := ParseIdentity(s)
		if ok != (want != Identity{}) || ok && (got != want || got.String() != s) {
			t.Errorf("ParseIdentity(%q) = %+v, %v; want %+v", s, got, ok, want)
		}
	}
}

func TestMachineOfAnEvent(t *testing.T) {
	for _, r := range []struct {
		source Source
		data   string
		want   MachineID
	}{
		{"/devices/sp-1/k7", `{}`, "sp-1"},
		{"/devices/sp-1/k7", `{"machine":"sp-2"}`, "sp-2"},
		{"/devices/sp-1/k7", `{"totals":{"machine":"x"}}`, "sp-1"},
		{"/office/desk1", `{"m\u0061chine":"sp-2"}`, "sp-2"},
		{"/office/desk1", `{}`, ""},
	} {
		e := Event{Identity: Identity{Source: r.source}, Data: r.data}
		if got := e.Machine(); got != r.want {
			t.Errorf("%s %s: %q, want %q", r.source, r.data, got, r.want)
		}
	}
	if got := DeviceSource("sp-1", "k7"); got != "/devices/sp-1/k7" || !got.valid() {
		t.Errorf("DeviceSource gives %q", got)
	}
}

func TestWrite(t *testing.T) {
	at := time.Date(2026, 3, 2, 20, 40, 0, 5, time.FixedZone("", 13*3600))
	id := Identity{"/devices/sp-1/k7", 17}
	raw, err := Write(id, "01JNB3Q2Q3W4E5R6T7Y8V9B00E", TypeJobStarted, at, JobStarted{Job: "J-1"})
	const want = `{"specversion":"1.0","id":"01JNB3Q2Q3W4E5R6T7Y8V9B00E","source":"/devices/sp-1/k7","sequence":"17","type":"job.started",` +
		`"time":"2026-03-02T07:40:00.000000005Z","dataschema":"urn:hopperbook:job.started/1","data":{"job":"J-1"}}`
	if err != nil || string(raw) != want {
		t.Errorf("wrote %s, %v", raw, err)
	}
	if e, bad := Read(raw); bad != nil || e.Identity != id || !e.Time.Equal(at) || e.Time.Location() != time.UTC {
		t.Errorf("read again as %+v, %v", e, bad)
	}
	if _, err = Write(id, "", "no.such", at, nil); fault.CodeOf(err) != fault.Input {
		t.Errorf("unknown type: %v", err)
	}
	if _, err = Write(id, "", TypeLoadWeighed, at, LoadWeighed{NetKg: math.NaN()}); fault.CodeOf(err) != fault.Input {
		t.Errorf("NaN: %v", err)
	}
}

// decodeAs decodes an event as the Go type the catalogue has for its type.
func decodeAs(e *Event) (any, error) {
	switch e.Type {
	case TypeRegisterContractor:
		return decodeOne[RegisterContractor](e)
	case TypeRegisterCustomer:
		return decodeOne[RegisterCustomer](e)
	case TypeRegisterField:
		return decodeOne[RegisterField](e)
	case TypeRegisterMachine:
		return decodeOne[RegisterMachine](e)
	case TypeRegisterProduct:
		return decodeOne[RegisterProduct](e)
	case TypeRegisterAgreement:
		return decodeOne[RegisterAgreement](e)
	case TypeRegisterJob:
		return decodeOne[RegisterJob](e)
	case TypeJobStarted:
		return decodeOne[JobStarted](e)
	case TypeJobFinished:
		return decodeOne[JobFinished](e)
	case TypeSettingChanged:
		return decodeOne[SettingChanged](e)
	case TypeLoadWeighed:
		return decodeOne[LoadWeighed](e)
	case TypeHopperRefilled:
		return decodeOne[HopperRefilled](e)
	case TypePassLogged:
		return decodeOne[PassLogged](e)
	case TypeTestDensity:
		return decodeOne[TestDensity](e)
	case TypeTestCatch:
		return decodeOne[TestCatch](e)
	case TypeTestTray:
		return decodeOne[TestTray](e)
	case TypeTestOverlap:
		return decodeOne[TestOverlap](e)
	case TypeCheckMachine:
		return decodeOne[CheckMachine](e)
	}
	return decodeOffice(e)
}

func decodeOffice(e *Event) (any, error) {
	switch e.Type {
	case TypeWeatherNoted:
		return decodeOne[WeatherNoted](e)
	case TypeDocketReceived:
		return decodeOne[DocketReceived](e)
	case TypeStockSurveyed:
		return decodeOne[StockSurveyed](e)
	case TypeEventAmended:
		return decodeOne[EventAmended](e)
	case TypeInvoiceIssued:
		return decodeOne[InvoiceIssued](e)
	case TypeInvoiceCredited:
		return decodeOne[InvoiceCredited](e)
	case TypeNoticeRaised:
		return decodeOne[NoticeRaised](e)
	case TypeNoticeAcknowledged:
		return decodeOne[NoticeAcknowledged](e)
	}
	panic("no Go type for " + string(e.Type))
}

func decodeOne[T any](e *Event) (any, error) { return DecodeData[T](e) }

// Reading, decoding, writing and reading again gives the same data.
func TestDataSurvivesTheRoundTrip(t *testing.T) {
	for _, ex := range examples(t) {
		e, bad := Read(ex.raw)
		if bad != nil {
			t.Fatal(bad)
		}
		data, err := decodeAs(&e)
		if err != nil {
			t.Errorf("%s: %v", ex.name, err)
			continue
		}
		raw, err := Write(e.Identity, e.ID, e.Type, e.Time, data)
		if err != nil {
			t.Errorf("%s: %v", ex.name, err)
			continue
		}
		again, bad := Read(raw)
		if bad != nil || again.Identity != e.Identity || again.ID != e.ID || !again.Time.Equal(e.Time) {
			t.Errorf("%s: again %+v, %v", ex.name, again, bad)
		}
		if ex.name == "register.field-multi" { // altitudes are dropped
			continue
		}
		if was, is := decode(t, []byte(e.Data)), decode(t, []byte(again.Data)); !reflect.DeepEqual(was, is) {
			t.Errorf("%s:\nwas %v\nis  %v", ex.name, was, is)
		}
	}
}

func TestIntegersAndNumberOrList(t *testing.T) {
	var n Integers
	if err := json.Unmarshal([]byte(`[1, 2.0, 3e2]`), &n); err != nil || !slices.Equal(n, Integers{1, 2, 300}) {
		t.Errorf("%v, %v", n, err)
	}
	for _, bad := range []string{`[1.5]`, `["1"]`, `1`, `{}`} {
		if err := json.Unmarshal([]byte(bad), &n); err == nil {
			t.Errorf("%s is accepted", bad)
		}
	}
	five := 5.0
	for text, want := range map[string]NumberOrList{`5`: {One: &five}, `[5,6]`: {Each: []float64{5, 6}}, `null`: {}} {
		var got NumberOrList
		if err := json.Unmarshal([]byte(text), &got); err != nil || !reflect.DeepEqual(got, want) {
			t.Errorf("%s read as %+v, %v", text, got, err)
		}
		if back, err := json.Marshal(got); err != nil || string(back) != text || got.IsZero() != (text == "null") {
			t.Errorf("%s written as %s, %v", text, back, err)
		}
	}
}

// The envelope holds for an outside implementation of CloudEvents.
func TestExamplesAreCloudEvents(t *testing.T) {
	for _, ex := range examples(t) {
		var ce cloudevents.Event
		if err := json.Unmarshal(ex.raw, &ce); err != nil {
			t.Errorf("%s: %v", ex.name, err)
			continue
		}
		e, bad := Read(ex.raw)
		if bad != nil {
			t.Fatal(bad)
		}
		if err := ce.Validate(); err != nil {
			t.Errorf("%s: %v", ex.name, err)
		}
		sequence, ok := ce.Extensions()["sequence"].(string)
		if n, good := parseSequence(sequence); !ok || !good || n != e.Sequence {
			t.Errorf("%s: sequence extension is %q", ex.name, sequence)
		}
		if ce.Type() != string(e.Type) || ce.Source() != string(e.Source) || ce.ID() != string(e.ID) || !ce.Time().Equal(e.Time) ||
			ce.DataSchema() != ex.info.DataSchema() {
			t.Errorf("%s: read otherwise: %v", ex.name, ce)
		}
		if !reflect.DeepEqual(decode(t, ce.Data()), decode(t, []byte(e.Data))) {
			t.Errorf("%s: data read otherwise", ex.name)
		}
	}
}
