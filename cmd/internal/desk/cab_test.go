package desk

import (
	"context"
	"encoding/json"
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"hopperbook/reconcile"
	"hopperbook/schemas"
)

func (f *filing) packet(device schemas.DeviceID) *schemas.CabPacket {
	f.t.Helper()
	cabs, err := f.desk.Cabs(context.Background())
	if err != nil {
		f.t.Fatal(err)
	}
	p, err := cabs.Packet(device, time.Date(2026, 3, 3, 0, 0, 0, 0, time.UTC))
	if err != nil {
		f.t.Fatal(err)
	}
	return p
}

// named lists what a key of the packet's rows says.
func named[T any](rows []T, key func(T) string) string {
	out := []string{}
	for _, r := range rows {
		out = append(out, key(r))
	}
	return strings.Join(out, " ")
}

func jobsOf(p *schemas.CabPacket) string {
	return named(p.Jobs, func(j schemas.CabJob) string { return string(j.Job) + ":" + j.State })
}

// A job leaves the cab when it, or each of its fields, is finished, and comes
// back when it is started again.
func TestJobsInTheCab(t *testing.T) {
	f := newFiling(t)
	job := func(id schemas.JobID, fields ...schemas.FieldID) {
		f.add("office", schemas.TypeRegisterJob, 0, schemas.RegisterJob{Job: id, Customer: "C1", Fields: fields, Product: "super", SetRateKgHa: 200, Agreement: "A1"})
	}
	job("J1", "F1")
	job("J2", "F1", "F2")
	want := func(jobs string) {
		t.Helper()
		if got := jobsOf(f.packet("sp1")); got != jobs {
			t.Errorf("jobs %q, want %q", got, jobs)
		}
	}
	minute := 0
	do := func(typ schemas.EventType, data any) schemas.EventID {
		minute++
		return f.add("sp1", typ, minute, data)
	}
	want("J1:ordered J2:ordered")
	do(schemas.TypeJobStarted, schemas.JobStarted{Job: "J1"})
	want("J1:started J2:ordered")
	end := do(schemas.TypeJobFinished, schemas.JobFinished{Job: "J1"})
	want("J2:ordered")
	f.add("sp1", schemas.TypeEventAmended, 20, schemas.EventAmended{Amends: end, Action: schemas.AmendVoid, Reason: "not yet"})
	want("J1:started J2:ordered")
	do(schemas.TypeJobFinished, schemas.JobFinished{Job: "J1", Field: "F1"}) // its only field
	want("J2:ordered")
	do(schemas.TypeJobStarted, schemas.JobStarted{Job: "J1"}) // a strip was forgotten
	want("J1:started J2:ordered")
	do(schemas.TypeJobStarted, schemas.JobStarted{Job: "J2", Field: "F1"})
	do(schemas.TypeJobFinished, schemas.JobFinished{Job: "J2", Field: "F1"})
	want("J1:started J2:started")
	do(schemas.TypeJobFinished, schemas.JobFinished{Job: "J2", Field: "F2"})
	want("J1:started")
}

// What waits for a hopper, as it was amended; what is in one waits no more.
func TestLoadsInTheCab(t *testing.T) {
	f := newFiling(t)
	f.day() // L1 is in a hopper
	weigh := func(id schemas.LoadID, minute int) schemas.EventID {
		return f.add("ld1", schemas.TypeLoadWeighed, minute, schemas.LoadWeighed{Load: id, Product: "super", NetKg: 500, Method: schemas.MethodBucket})
	}
	l2, l3 := weigh("L2", 10), weigh("L3", 11)
	loads := func() string {
		return named(f.packet("sp1").Loads, func(l schemas.CabLoad) string { return fmt.Sprintf("%s %g %s;", l.Load, l.NetKg, l.Machine) })
	}
	if got := loads(); got != "L2 500 ld1; L3 500 ld1;" {
		t.Errorf("waiting: %s", got)
	}
	right, err := json.Marshal(schemas.LoadWeighed{Load: "L2", Product: "super", NetKg: 550, Method: schemas.MethodBucket})
	if err != nil {
		t.Fatal(err)
	}
	f.add("ld1", schemas.TypeEventAmended, 20, schemas.EventAmended{Amends: l2, Action: schemas.AmendReplace, Reason: "misread", Replacement: right})
	f.add("ld1", schemas.TypeEventAmended, 21, schemas.EventAmended{Amends: l3, Action: schemas.AmendVoid, Reason: "tipped back"})
	if got := loads(); got != "L2 550 ld1;" {
		t.Errorf("amended: %s", got)
	}
	for i := range cabLoads {
		weigh(schemas.LoadID(fmt.Sprintf("M%03d", i)), 22)
	}
	if p := f.packet("sp1"); len(p.Loads) != cabLoads || p.Loads[cabLoads-1].Load != "M099" {
		t.Errorf("%d loads travel", len(p.Loads))
	}
}

func TestNoticesInTheCab(t *testing.T) {
	f := newFiling(t)
	raise := func(id schemas.NoticeID, m schemas.MachineID) {
		f.add("office", schemas.TypeNoticeRaised, 1, schemas.NoticeRaised{Notice: id, Machine: m, Kind: "check", Text: "look"})
	}
	raise("N1", "sp1")
	raise("N2", "sp2")
	raise("N3", "sp1")
	f.add("sp1", schemas.TypeNoticeAcknowledged, 2, schemas.NoticeAcknowledged{Notice: "N1", Machine: "sp1", Kind: "check", Text: "look"})
	if got := named(f.packet("sp1").Notices, func(n schemas.NoticeRaised) string { return string(n.Notice) }); got != "N3" {
		t.Errorf("notices %q", got)
	}
}

// Of the verdicts on a machine those under the calibration in force, the
// latest series of each product.
func TestDriftsInTheCab(t *testing.T) {
	at := func(day int) time.Time { return time.Date(2026, 3, day, 0, 0, 0, 0, time.UTC) }
	c := Cabs{res: reconcile.Result{Drifts: []reconcile.Drift{
		{Machine: "sp1", Product: "super", Since: at(1), Superseded: true, State: "recalibrate", Loads: 1},
		{Machine: "sp1", Product: "super", Since: at(2), State: "watch", Loads: 2},
		{Machine: "sp1", Product: "super", Since: at(3), State: "holding", Loads: 3},
		{Machine: "sp1", Product: "super", Since: at(4), Superseded: true, State: "recalibrate", Loads: 4},
		{Machine: "sp1", Product: "lime", Since: at(1), State: "watch", Loads: 5},
		{Machine: "sp2", Product: "super", Since: at(9), State: "recalibrate", Loads: 6},
		{Machine: "sp1", Product: "urea", Since: at(9), Superseded: true, State: "recalibrate", Loads: 7},
	}}}
	got := named(c.drifts("sp1"), func(d schemas.CabDrift) string { return fmt.Sprintf("%s %s %d;", d.Product, d.State, d.Loads) })
	if got != "lime watch 5; super holding 3;" {
		t.Errorf("drifts %s", got)
	}
}

// No price and nothing personal of a customer travels to a cab.
func TestNoPricesInTheCab(t *testing.T) {
	f := newFiling(t)
	f.day()
	f.add("office", schemas.TypeRegisterCustomer, 0, schemas.RegisterCustomer{Customer: "C1", Name: "Invented farm", Address: "SECRETROAD", TaxID: "SECRETTAX", Email: "secret@example.org"})
	f.add("office", schemas.TypeRegisterAgreement, 0, json.RawMessage(`{"agreement":"SECRETAGREEMENT","customer":"C1","currency":"NZD","lines":[{"line":"1","kind":"per_tonne","basis":"loaded","price":"77.31","text":"SECRETLINE"}]}`))
	f.add("office", schemas.TypeRegisterJob, 0, schemas.RegisterJob{Job: "J1", Customer: "C1", Fields: []schemas.FieldID{"F1"}, Product: "super", SetRateKgHa: 200, Agreement: "SECRETAGREEMENT"})
	raw, err := json.Marshal(f.packet("sp1"))
	if err != nil {
		t.Fatal(err)
	}
	for _, secret := range []string{"SECRET", "secret@", "77.31", "NZD"} {
		if strings.Contains(string(raw), secret) {
			t.Errorf("the packet says %s", secret)
		}
	}
	var all any
	if err := json.Unmarshal(raw, &all); err != nil {
		t.Fatal(err)
	}
	keys := keysOf(all)
	for _, k := range keys {
		for _, word := range []string{"price", "amount", "currency", "tax", "agreement", "invoice", "total", "discount", "line", "address", "email"} {
			if strings.Contains(k, word) {
				t.Errorf("the packet has a key %s", k)
			}
		}
	}
	if !slices.Contains(keys, "set_rate_kg_ha") {
		t.Error("the job itself is not in the packet")
	}
}

func keysOf(v any) (keys []string) {
	switch v := v.(type) {
	case map[string]any:
		for k, x := range v {
			keys = append(append(keys, k), keysOf(x)...)
		}
	case []any:
		for _, x := range v {
			keys = append(keys, keysOf(x)...)
		}
	}
	return keys
}

// The digest stays while nothing but the time of making differs, and changes
// with every part of the packet; another machine's events leave it alone.
func TestThePacketsDigest(t *testing.T) {
	f := newFiling(t)
	f.day()
	cabs, err := f.desk.Cabs(context.Background())
	if err != nil {
		t.Fatal(err)
	}
	last := f.packet("sp1").Digest
	later, err := cabs.Packet("sp1", time.Date(2027, 1, 1, 0, 0, 0, 0, time.UTC))
	if err != nil || later.Digest != last || later.At.Year() != 2027 {
		t.Errorf("made later: %s of %v, want %s (%v)", later.Digest, later.At, last, err)
	}
	if f.packet("sp2").Digest == last {
		t.Error("two devices, one digest")
	}
	for i, e := range []struct {
		device schemas.DeviceID
		typ    schemas.EventType
		data   any
		change bool
	}{
		{"office", schemas.TypeRegisterCustomer, schemas.RegisterCustomer{Customer: "C1", Name: "Invented farm"}, true},
		{"office", schemas.TypeRegisterCustomer, schemas.RegisterCustomer{Customer: "C1", Name: "Invented farm", Email: "a@example.org"}, false},
		{"office", schemas.TypeRegisterMachine, schemas.RegisterMachine{Machine: "sp1", Name: "One", HopperM3: 6}, true},
		{"office", schemas.TypeRegisterProduct, schemas.RegisterProduct{Product: "super", Name: "Super", Form: "granular"}, true},
		{"office", schemas.TypeRegisterJob, schemas.RegisterJob{Job: "J1", Customer: "C1", Fields: []schemas.FieldID{"F1"}, Product: "super", SetRateKgHa: 200}, true},
		{"sp1", schemas.TypeJobStarted, schemas.JobStarted{Job: "J1"}, true},
		{"sp1", schemas.TypeSettingChanged, schemas.SettingChanged{Product: "super", BoutWidthM: 20, SetRateKgHa: 200}, true},
		{"sp2", schemas.TypeSettingChanged, schemas.SettingChanged{Product: "super", BoutWidthM: 18, SetRateKgHa: 200}, false},
		{"sp1", schemas.TypeTestCatch, schemas.TestCatch{CatchTest: "T1", Product: "super", CollectedKg: 100, BoutWidthM: 20, DistanceM: number(50)}, true},
		{"sp1", schemas.TypeCheckMachine, schemas.CheckMachine{Item: schemas.ItemGuard, Value: 1, Unit: "1", Pass: true}, true},
		{"ld1", schemas.TypeLoadWeighed, schemas.LoadWeighed{Load: "L7", Product: "super", NetKg: 500, Method: schemas.MethodBucket, Stockpile: "S1"}, true},
		{"office", schemas.TypeDocketReceived, schemas.DocketReceived{Docket: "D1", Product: "super", Stockpile: "S2", NetKg: 9000}, true},
		{"office", schemas.TypeNoticeRaised, schemas.NoticeRaised{Notice: "N1", Machine: "sp1", Kind: "check", Text: "look"}, true},
		{"office", schemas.TypeNoticeRaised, schemas.NoticeRaised{Notice: "N2", Machine: "sp2", Kind: "check", Text: "look"}, false},
	} {
		f.add(e.device, e.typ, 30+i, e.data)
		p := f.packet("sp1")
		if (p.Digest != last) != e.change {
			t.Errorf("%s of %s: the digest changes: %v, want %v", e.typ, e.device, p.Digest != last, e.change)
		}
		last = p.Digest
	}
}
