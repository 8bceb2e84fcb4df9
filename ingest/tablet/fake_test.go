package tablet

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"math/rand/v2"
	"sync"
	"testing"
	"time"

	"github.com/oklog/ulid/v2"

	"hopperbook/ingest"
	"hopperbook/schemas"
	"hopperbook/schemas/fault"
)

// disk is a Store in memory that keeps the contract's promises; fail, where
// set, is what the next write ends with.
type disk struct {
	mu        sync.Mutex
	events    []ingest.Outgoing
	state     []byte
	packet    []byte
	confirmed int64
	fail      error
	changed   chan struct{}
	writes    int
}

func newDisk() *disk { return &disk{changed: make(chan struct{})} }

func (d *disk) ready() error {
	err := d.fail
	d.fail = nil
	d.writes++
	return err
}

func (d *disk) Append(entries []Entry, state func([]ingest.Outgoing) ([]byte, error)) ([]ingest.Outgoing, error) {
	d.mu.Lock()
	defer d.mu.Unlock()
	if err := d.ready(); err != nil {
		return nil, err
	}
	var made []ingest.Outgoing
	for i, e := range entries {
		out := ingest.Outgoing{Identity: schemas.Identity{Source: "/devices/spreader-1/a1", Sequence: int64(len(d.events) + i + 1)}, Type: e.Type}
		id, err := ulid.New(ulid.Timestamp(e.At), rand.NewChaCha8([32]byte{byte(out.Sequence), byte(out.Sequence >> 8)}))
		if err != nil {
			return nil, err
		}
		if out.Raw, err = schemas.Write(out.Identity, schemas.EventID(id.String()), e.Type, e.At, e.Data); err != nil {
			return nil, err
		}
		if _, bad := schemas.Read(out.Raw); bad != nil {
			return nil, fmt.Errorf("event breaks the contract: %w: %s", bad, out.Raw)
		}
		made = append(made, out)
	}
	kept, err := state(made)
	if err != nil {
		return nil, err
	}
	d.events, d.state = append(d.events, made...), kept
	return made, nil
}

func (d *disk) Keep(state []byte) error {
	d.mu.Lock()
	defer d.mu.Unlock()
	if err := d.ready(); err != nil {
		return err
	}
	d.state = state
	return nil
}

func (d *disk) KeepPacket(p []byte) error {
	d.mu.Lock()
	defer d.mu.Unlock()
	if err := d.ready(); err != nil {
		return err
	}
	d.packet = p
	return nil
}

func (d *disk) State() ([]byte, error)  { return d.state, nil }
func (d *disk) Packet() ([]byte, error) { return d.packet, nil }
func (d *disk) Since(seq int64) ([]ingest.Outgoing, error) {
	return d.events[min(int(seq), len(d.events)):], nil
}
func (d *disk) Status() Status {
	d.mu.Lock()
	defer d.mu.Unlock()
	return Status{OutboxView{Waiting: len(d.events) - int(d.confirmed), State: "ok"}, d.confirmed}
}
func (d *disk) Changed() <-chan struct{} { return d.changed }

// plainRules are rules as simple as the tests need.
type plainRules struct{}

func (plainRules) Checks(checks []Checked, at time.Time) []CheckView {
	out := []CheckView{}
	for _, item := range []string{schemas.ItemGuard, schemas.ItemBeltSag} {
		v := CheckView{Item: item, State: "unknown", Safety: item == schemas.ItemGuard}
		for _, c := range checks {
			if c.Item == item && !c.At.After(at) {
				if v.State, v.At = "failed", c.At; c.Pass {
					v.State = "passed"
				}
			}
		}
		out = append(out, v)
	}
	return out
}

func (r plainRules) Start(checks []Checked, at time.Time, o *schemas.Override) error {
	if r.Checks(checks, at)[0].State == "failed" && o == nil {
		return fault.Newf("start the job", fault.Conflict, "the guard has failed", "mend it")
	}
	return nil
}

func (plainRules) Density(t schemas.TestDensity, _ float64) (DensityResult, error) {
	if t.MassKg == 13 {
		return DensityResult{}, errors.New("cannot be worked out")
	}
	return DensityResult{DensityKgM3: t.MassKg / t.VolumeL * 1000}, nil
}

func (plainRules) Catch(t schemas.TestCatch, set float64, past []schemas.TestCatch) (CatchResult, error) {
	if t.DistanceM == nil || *t.DistanceM == 0 || t.BoutWidthM == 0 {
		return CatchResult{}, errors.New("no distance")
	}
	rate := t.CollectedKg / (*t.DistanceM * t.BoutWidthM) * 1e4
	return CatchResult{RateKgHa: &rate, SetKgHa: &set, Findings: []string{fmt.Sprint(len(past), " earlier")}}, nil
}

func (plainRules) Tray(t schemas.TestTray, _ *schemas.RegisterProduct) (TrayResult, error) {
	if len(t.MassesG) < 3 {
		return TrayResult{}, errors.New("too few trays")
	}
	return TrayResult{BoutWidthM: t.BoutWidthM}, nil
}

// bench is an agent with its disk and a clock that the test turns.
type bench struct {
	*Cab
	t    testing.TB
	disk *disk
	at   time.Time
	cfg  Config
}

var morning = time.Date(2026, 3, 2, 7, 0, 0, 0, time.UTC)

func newBench(t testing.TB, role string) *bench {
	b := &bench{t: t, disk: newDisk(), at: morning}
	b.cfg = Config{Device: "spreader-1", Role: role, Store: b.disk, Rules: plainRules{}, Now: func() time.Time { return b.at }}
	if role == RoleLoader {
		b.cfg.Device = "loader-1"
	}
	b.restart()
	return b
}

// restart is a key-off and key-on: only the disk is left.
func (b *bench) restart() {
	b.t.Helper()
	c, err := New(b.cfg)
	if err != nil {
		b.t.Fatal(err)
	}
	b.Cab = c
}

func (b *bench) do(name string, body any) Done {
	b.t.Helper()
	done, err := b.try1(name, body)
	if err != nil {
		b.t.Fatalf("%s %+v: %s", name, body, fault.Message(err))
	}
	return done
}

func (b *bench) try1(name string, body any) (Done, error) {
	b.t.Helper()
	raw, err := json.Marshal(body)
	if err != nil {
		b.t.Fatal(err)
	}
	if s, ok := body.(string); ok {
		raw = []byte(s)
	}
	b.at = b.at.Add(time.Second)
	return b.Do(context.Background(), name, raw)
}

// refused does what must be refused, under the key, and leaves no trace.
func (b *bench) refused(key, name string, body any) *Refusal {
	b.t.Helper()
	state, events := string(b.disk.state), len(b.disk.events)
	_, err := b.try1(name, body)
	r, ok := RefusalOf(err)
	if !ok || r.Key != key {
		b.t.Fatalf("%s %+v: got %v, want the refusal %s", name, body, err, key)
	}
	if string(b.disk.state) != state || len(b.disk.events) != events {
		b.t.Fatalf("%s %+v: the refusal left a trace", name, body)
	}
	return r
}

// last is the data of the latest event.
func (b *bench) last() string {
	b.t.Helper()
	e, bad := schemas.Read(b.disk.events[len(b.disk.events)-1].Raw)
	if bad != nil {
		b.t.Fatal(bad)
	}
	return e.Data
}

func num(v float64) *float64 { return &v }

// square is a boundary of side metres east and north of a corner at sea.
func square(eastM, northM, sideM float64) schemas.Boundary {
	latM, lonM := metresPerDegree(-35)
	at := func(x, y float64) schemas.Position { return schemas.Position{20 + x/lonM, -35 + y/latM} }
	return schemas.Boundary{{{at(eastM, northM), at(eastM+sideM, northM), at(eastM+sideM, northM+sideM), at(eastM, northM+sideM), at(eastM, northM)}}}
}

// fixAt is a fix metres east and north of the same corner.
func fixAt(at time.Time, eastM, northM float64, on bool) schemas.Fix {
	latM, lonM := metresPerDegree(-35)
	f := schemas.Fix{UnixMilli: at.UnixMilli(), LatDeg: -35 + northM/latM, LonDeg: 20 + eastM/lonM, SpeedKmh: 18, HeadingDeg: nan, SetRateKgHa: nan, BoutWidthM: nan,
		Quality: schemas.QualityRTKFixed, Spreading: schemas.SpreadingOff}
	if on {
		f.Spreading = schemas.SpreadingOn
	}
	return f
}

// packet is what the office of the tests sends.
func packet(device schemas.DeviceID, at time.Time) schemas.CabPacket {
	return schemas.CabPacket{Schema: schemas.SchemaCab, Device: device, At: at,
		Fields: []schemas.RegisterField{{Field: "far", Customer: "c1", Name: "Far", Boundary: square(2000, 0, 400)},
			{Field: "home", Customer: "c1", Name: "Home", Boundary: square(0, 0, 1000)}},
		Machines: []schemas.RegisterMachine{{Machine: "spreader-1", Name: "Blue", HopperM3: 6, Kind: "spreader", TimeZone: "Australia/Brisbane"},
			{Machine: "spreader-2", Name: "Green", HopperM3: 4, Kind: "spreader"}, {Machine: "loader-1", Name: "Loader", Kind: "loader"}},
		Products: []schemas.RegisterProduct{{Product: "lime", Name: "Lime", Form: "powder", BulkDensityKgM3: num(1000)}, {Product: "urea", Name: "Urea", Form: "granular"}},
		Jobs: []schemas.CabJob{{RegisterJob: schemas.RegisterJob{Job: "j1", Customer: "c1", Fields: []schemas.FieldID{"far", "home"}, Product: "lime", SetRateKgHa: 2000}, State: "ordered"},
			{RegisterJob: schemas.RegisterJob{Job: "j2", Customer: "c1", Fields: []schemas.FieldID{"unmapped"}, Product: "urea", SetRateKgHa: 100}, State: "ordered"}},
		Customers: []schemas.CabCustomer{{Customer: "c1", Name: "A customer"}},
		Notices:   []schemas.NoticeRaised{{Notice: "n1", Machine: "spreader-1", Kind: "check", Text: "look"}},
		Loads:     []schemas.CabLoad{{Load: "from-loader", Product: "lime", NetKg: 4000, At: morning, Machine: "loader-1"}},
	}
}

// readyBench has the office's copies.
func readyBench(t testing.TB, role string) *bench {
	b := newBench(t, role)
	if err := b.TakePacket(packet(b.cfg.Device, morning)); err != nil {
		t.Fatal(err)
	}
	return b
}
