package desk

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"hopperbook/ingest"
	"hopperbook/ingest/book"
	"hopperbook/reconcile"
	"hopperbook/reports"
	"hopperbook/schemas"
	"hopperbook/schemas/fault"
)

// filing puts events into a fresh book and asks its desk.
type filing struct {
	t    *testing.T
	book *book.Book
	desk *Desk
	seq  int64
}

func newFiling(t *testing.T) *filing {
	t.Helper()
	b, err := book.Open(context.Background(), t.TempDir(), book.Options{})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := b.Close(); err != nil {
			t.Error(err)
		}
	})
	return &filing{t: t, book: b, desk: New(b)}
}

// add books an event of a device and returns its ID.
func (f *filing) add(device schemas.DeviceID, typ schemas.EventType, minute int, data any) schemas.EventID {
	f.t.Helper()
	f.seq++
	return f.bookOne(schemas.Identity{Source: schemas.DeviceSource(device, "a"), Sequence: f.seq}, typ, minute, data)
}

// bookOne books an event of any source.
func (f *filing) bookOne(of schemas.Identity, typ schemas.EventType, minute int, data any) schemas.EventID {
	f.t.Helper()
	id := schemas.EventID(fmt.Sprintf("01J%023d", f.seq))
	at := time.Date(2026, 3, 2, 8, minute, 0, 0, time.UTC)
	raw, err := schemas.Write(of, id, typ, at, data)
	if err != nil {
		f.t.Fatal(err)
	}
	event, bad := schemas.Read(raw)
	if bad != nil {
		f.t.Fatalf("%v in %s", bad, raw)
	}
	if _, err := f.book.Commit(context.Background(), ingest.Batch{Events: []ingest.Received{{Event: event, At: at}}}); err != nil {
		f.t.Fatal(err)
	}
	return id
}

func ask[T any](f *filing, question string) T {
	f.t.Helper()
	var out bytes.Buffer
	if err := f.desk.Answer(context.Background(), question, []byte("null"), &out); err != nil {
		f.t.Fatal(err)
	}
	var v T
	if err := json.Unmarshal(out.Bytes(), &v); err != nil {
		f.t.Fatal(err)
	}
	return v
}

// line is a straight drive of 400 m along a meridian in 100 s.
func line(minute int, state schemas.Spreading) schemas.PassLogged {
	fixes := make([]schemas.Fix, 101)
	start := time.Date(2026, 3, 2, 8, minute, 0, 0, time.UTC).UnixMilli()
	for i := range fixes {
		fixes[i] = schemas.Fix{UnixMilli: start + int64(i)*1000, LatDeg: -46 + float64(i)*3.6e-5, LonDeg: 169, SpeedKmh: 14.4, HeadingDeg: 0,
			SetRateKgHa: 200, BoutWidthM: 20, Quality: schemas.QualityRTKFixed, Spreading: state}
	}
	p, err := schemas.PassData(fixes, schemas.PassHeader{})
	if err != nil {
		panic(err)
	}
	return p
}

func number(v float64) *float64 { return &v }

// day is one load of 160 kg on one line of nominally 160 kg; it returns the
// load's and the pass log's event.
func (f *filing) day() (load, pass schemas.EventID) {
	ring := []schemas.Position{{168.999, -46.001}, {169.001, -46.001}, {169.001, -45.995}, {168.999, -45.995}, {168.999, -46.001}}
	f.add("office", schemas.TypeRegisterField, 0, schemas.RegisterField{Field: "F1", Customer: "C1", Name: "Long", Boundary: schemas.Boundary{{ring}}})
	load = f.add("ld1", schemas.TypeLoadWeighed, 1, schemas.LoadWeighed{Load: "L1", Product: "super", NetKg: 160, Method: schemas.MethodBucket, SdKg: number(1)})
	f.add("sp1", schemas.TypeHopperRefilled, 2, schemas.HopperRefilled{Refill: "R1", Product: "super", Loads: []schemas.LoadID{"L1"}, ResidualKg: number(0), ResidualMethod: "empty"})
	pass = f.add("sp1", schemas.TypePassLogged, 3, line(3, schemas.SpreadingOn))
	f.add("sp1", schemas.TypeHopperRefilled, 9, schemas.HopperRefilled{Refill: "R2", Product: "super", Loads: []schemas.LoadID{}, ResidualKg: number(0), ResidualMethod: "empty"})
	return load, pass
}

func (f *filing) massKg() float64 {
	f.t.Helper()
	fields := ask[reports.FieldsAnswer](f, Fields).Fields
	if len(fields) == 0 {
		return 0
	}
	return fields[0].MassKg
}

func (f *filing) wantMass(what string, kg float64) {
	f.t.Helper()
	if got := f.massKg(); got < kg-0.5 || got > kg+0.5 {
		f.t.Errorf("%s: %v kg on the field, want %v", what, got, kg)
	}
}

// The kept result is shown until events come, and amendments are applied
// before anything is computed.
func TestAmendmentsCountAtOnce(t *testing.T) {
	f := newFiling(t)
	load, pass := f.day()
	f.wantMass("as entered", 160)

	replacement, err := json.Marshal(schemas.LoadWeighed{Load: "L1", Product: "super", NetKg: 150, Method: schemas.MethodBucket, SdKg: number(1)})
	if err != nil {
		t.Fatal(err)
	}
	f.add("office", schemas.TypeEventAmended, 20, schemas.EventAmended{Amends: load, Action: schemas.AmendReplace, Reason: "misread", Replacement: replacement})
	f.wantMass("load replaced", 150)

	f.add("office", schemas.TypeEventAmended, 21, schemas.EventAmended{Amends: load, Action: schemas.AmendReplace, Reason: "typed badly", Replacement: json.RawMessage(`{"load":"L1"}`)})
	f.wantMass("a replacement that breaks the contract is said and not used", 160)
	if out := findings(f); !strings.Contains(out, "bad_amendment") {
		t.Errorf("findings %s", out)
	}

	off, err := json.Marshal(line(3, schemas.SpreadingOff))
	if err != nil {
		t.Fatal(err)
	}
	f.add("office", schemas.TypeEventAmended, 22, schemas.EventAmended{Amends: pass, Action: schemas.AmendReplace, Reason: "switch was off", Replacement: off})
	f.wantMass("pass log replaced by one that does not spread", 0)

	f.add("office", schemas.TypeEventAmended, 23, schemas.EventAmended{Amends: pass, Action: schemas.AmendVoid, Reason: "a test drive"})
	f.wantMass("pass log void", 0)
	if n := ask[reconcile.Result](f, Reconcile).Totals.PassLogs; n != 0 {
		t.Errorf("%d pass logs count, want none", n)
	}
}

// A law: an event and the amendment that takes it back leave every number of
// every answer as it was, whatever the event was.
func TestAnEventAndItsVoidCancel(t *testing.T) {
	f := newFiling(t)
	f.day()
	numbers := func() string {
		res := ask[reconcile.Result](f, Reconcile)
		raw, err := json.Marshal(res)
		if err != nil {
			t.Fatal(err)
		}
		return string(raw)
	}
	want := numbers()
	for i, add := range []func() schemas.EventID{
		func() schemas.EventID {
			return f.add("ld1", schemas.TypeLoadWeighed, 5, schemas.LoadWeighed{Load: "L2", Product: "super", NetKg: 500, Method: schemas.MethodBucket})
		},
		func() schemas.EventID {
			return f.add("sp1", schemas.TypeHopperRefilled, 6, schemas.HopperRefilled{Refill: "R3", Product: "urea", Loads: []schemas.LoadID{}, ResidualKg: number(70), ResidualMethod: "level"})
		},
		func() schemas.EventID {
			return f.add("sp1", schemas.TypeTestCatch, 7, schemas.TestCatch{CatchTest: "T1", Product: "super", CollectedKg: 100, BoutWidthM: 20, DistanceM: number(50)})
		},
		func() schemas.EventID { return f.add("sp1", schemas.TypePassLogged, 8, line(8, schemas.SpreadingOn)) },
	} {
		id := add()
		if numbers() == want && i > 0 { // a load in no hopper moves no mass, but is a finding
			t.Errorf("event %d changes nothing by itself", i)
		}
		f.add("office", schemas.TypeEventAmended, 30+i, schemas.EventAmended{Amends: id, Action: schemas.AmendVoid, Reason: "entered by mistake"})
		if got := numbers(); got != want {
			t.Errorf("event %d and its void:\n%s\nwant\n%s", i, got, want)
		}
	}
}

// An amendment that names no event, or another amendment, is said.
func TestAnAmendmentOfNothingIsSaid(t *testing.T) {
	f := newFiling(t)
	load, _ := f.day()
	void := f.add("office", schemas.TypeEventAmended, 20, schemas.EventAmended{Amends: load, Action: schemas.AmendVoid, Reason: "x"})
	f.add("office", schemas.TypeEventAmended, 21, schemas.EventAmended{Amends: void, Action: schemas.AmendVoid, Reason: "taken back"})
	f.add("office", schemas.TypeEventAmended, 22, schemas.EventAmended{Amends: "01HZY3Q2Q3W4E5R6T7Y8V9B0NM", Action: schemas.AmendVoid, Reason: "x"})
	if n := strings.Count(findings(f), "amendment_without_event"); n != 2 {
		t.Errorf("%d findings, want 2: %s", n, findings(f))
	}
}

// A broken replacement of what the office entered is said, and does not count.
func TestABrokenReplacementOfARegisterIsSaid(t *testing.T) {
	for what, broken := range map[schemas.EventType]string{
		schemas.TypeRegisterContractor: `{"name":""}`,
		schemas.TypeRegisterCustomer:   `{"customer":"C1"}`,
		schemas.TypeRegisterAgreement:  `{"agreement":"A1","customer":"C1","currency":"NZD","lines":[]}`,
	} {
		f := billable(t)
		var id schemas.EventID
		must(t, f.book.Read(context.Background(), func(v *book.View) error {
			return v.Events(context.Background(), []schemas.EventType{what}, func(e *schemas.Event) error {
				id = e.ID
				return nil
			})
		}))
		amend := func(minute int, with string) {
			f.add("office", schemas.TypeEventAmended, minute, schemas.EventAmended{Amends: id, Action: schemas.AmendReplace, Reason: "x", Replacement: json.RawMessage(with)})
		}
		amend(20, broken)
		if out := findings(f); strings.Count(out, "bad_amendment") != 1 || strings.Contains(out, "amendment_without_event") {
			t.Errorf("%s: findings %s", what, out)
		}
		var plan reports.BillAnswer
		must(t, f.try(Bill, BillParams{Job: "J1"}, &plan))
		if plan.Invoice.Totals.Gross != "47.15" {
			t.Errorf("%s: %s", what, plan.Invoice.Totals.Gross)
		}
	}
}

// A replaced event stays its machine's, though the replacement names none.
func TestAReplacementStaysItsMachines(t *testing.T) {
	const file = "/files/309881df31d295777d6253776a54fa4c5725e2e51c52232b7b8fedf4a53baba3"
	at := time.Date(2026, 3, 2, 8, 0, 0, 0, time.UTC)
	event := func(seq int64, typ schemas.EventType, data any) schemas.Event {
		raw, err := schemas.Write(schemas.Identity{Source: file, Sequence: seq}, schemas.EventID(fmt.Sprintf("01J%023d", seq)), typ, at, data)
		if err != nil {
			t.Fatal(err)
		}
		e, bad := schemas.Read(raw)
		if bad != nil {
			t.Fatal(bad)
		}
		return e
	}
	refill := schemas.HopperRefilled{Refill: "R1", Product: "super", Loads: []schemas.LoadID{}, ResidualMethod: "empty"}
	replacement, err := json.Marshal(refill)
	if err != nil {
		t.Fatal(err)
	}
	refill.Machine = "sp1"
	in, err := InputOf([]schemas.Event{event(1, schemas.TypeHopperRefilled, refill),
		event(2, schemas.TypeEventAmended, schemas.EventAmended{Amends: "01J00000000000000000000001", Action: schemas.AmendReplace, Reason: "x", Replacement: replacement})})
	if err != nil {
		t.Fatal(err)
	}
	if len(in.Refills) != 1 || in.Refills[0].Machine != "sp1" || len(in.Findings) != 0 {
		t.Errorf("refills %+v, findings %+v", in.Refills, in.Findings)
	}
}

func findings(f *filing) string {
	raw, err := json.Marshal(ask[reconcile.Result](f, Reconcile).Findings)
	if err != nil {
		f.t.Fatal(err)
	}
	return string(raw)
}

// The book's rows and the bare events give the same input.
func TestInputOfEventsIsTheBooks(t *testing.T) {
	f := newFiling(t)
	_, pass := f.day()
	f.add("office", schemas.TypeEventAmended, 20, schemas.EventAmended{Amends: pass, Action: schemas.AmendVoid, Reason: "x"})
	var events []schemas.Event
	err := f.book.Export(context.Background(), func(raw []byte) error {
		e, bad := schemas.Read(bytes.Clone(raw))
		if bad != nil {
			return bad
		}
		events = append(events, e)
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	got, err := InputOf(events)
	if err != nil {
		t.Fatal(err)
	}
	want, _, err := f.desk.input(context.Background())
	if err != nil {
		t.Fatal(err)
	}
	a, b := mustRun(t, got), mustRun(t, want)
	if a != b {
		t.Errorf("from events\n%s\nfrom the book\n%s", a, b)
	}
}

func mustRun(t *testing.T, in reconcile.Input) string {
	t.Helper()
	res, err := reconcile.Run(in)
	if err != nil {
		t.Fatal(err)
	}
	raw, err := json.Marshal(res)
	if err != nil {
		t.Fatal(err)
	}
	return string(raw)
}

func TestAnUnknownQuestionSaysSo(t *testing.T) {
	f := newFiling(t)
	err := f.desk.Answer(context.Background(), "weather", nil, &bytes.Buffer{})
	if fault.CodeOf(err) != fault.Usage || fault.HintOf(err) == "" {
		t.Errorf("err = %v", err)
	}
	for _, q := range f.desk.Questions() {
		err := f.desk.Answer(context.Background(), q, []byte("null"), &bytes.Buffer{})
		if slices.Contains([]string{Map, Balance, Certify, Bill, Credit, Document, JobSheet, Before}, q) && fault.CodeOf(err) == fault.NotFound { // of a field, a machine, a job, and there is none
			continue
		}
		if slices.Contains([]string{Season, Why}, q) && fault.CodeOf(err) == fault.Usage { // no season is named
			continue
		}
		if err != nil {
			t.Errorf("%s of an empty book: %v", q, err)
		}
	}
}
