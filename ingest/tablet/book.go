package tablet

import (
	"encoding/json"
	"slices"
	"time"

	"hopperbook/schemas"
)

// book is the state and the office's copies, read: what the view and the
// commands look things up in. It is made anew when an event or a packet comes.
type book struct {
	packet   *schemas.CabPacket
	fields   map[schemas.FieldID]*schemas.RegisterField
	products map[schemas.ProductID]*schemas.RegisterProduct
	machines map[schemas.MachineID]*schemas.RegisterMachine
	names    map[schemas.CustomerID]string
	boxes    []box // of packet.Fields

	work     work
	jobs     map[schemas.JobID]jobNote
	loads    map[schemas.LoadID]loadNote // own, not taken back, and the office's
	refills  []refillNote                // into this machine's hopper, oldest first
	used     map[schemas.LoadID]bool     // in a refill of this tablet
	settings []dated[schemas.SettingChanged]
	catches  []dated[schemas.TestCatch]
	density  map[schemas.ProductID]schemas.TestDensity
	checks   []Checked
	released map[schemas.ProductID]time.Time // since when its flow ratio is another
	acked    map[schemas.NoticeID]bool
}

type dated[T any] struct {
	At   time.Time
	Data T
}

type work struct {
	job   schemas.JobID // "": none started
	field schemas.FieldID
}

type jobNote struct {
	state string
	at    time.Time
}

// loadData is a load as this tablet makes it: the contract's, and the spreader
// it is for, which the contract keeps without knowing it.
type loadData struct {
	schemas.LoadWeighed
	For schemas.MachineID `json:"for,omitempty"`
}

type loadNote struct {
	loadData
	at       time.Time
	sequence int64 // 0: from the office
}

// refillData is a refill as this tablet makes it: the contract's, and what it
// was told of loads that others weighed. ToldResidualKg is a reading that
// belongs to a refill which the loader's tablet books.
type refillData struct {
	schemas.HopperRefilled
	ToldKg         *float64 `json:"told_kg,omitempty"`
	ToldResidualKg *float64 `json:"told_residual_kg,omitempty"`
	ToldMethod     string   `json:"told_residual_method,omitempty"`
}

type refillNote struct {
	refillData
	event schemas.EventID
	at    time.Time
}

// readBook reads a state beside the office's copies.
func readBook(s *state, packet *schemas.CabPacket, me schemas.MachineID) *book {
	b := &book{packet: packet, fields: map[schemas.FieldID]*schemas.RegisterField{}, products: map[schemas.ProductID]*schemas.RegisterProduct{},
		machines: map[schemas.MachineID]*schemas.RegisterMachine{}, names: map[schemas.CustomerID]string{}, jobs: map[schemas.JobID]jobNote{},
		loads: map[schemas.LoadID]loadNote{}, used: map[schemas.LoadID]bool{}, density: map[schemas.ProductID]schemas.TestDensity{},
		released: map[schemas.ProductID]time.Time{}, acked: map[schemas.NoticeID]bool{}}
	b.registers()
	b.office(s)
	for i := range s.Own {
		if o := &s.Own[i]; !o.Undone {
			b.note(o, me)
		}
	}
	b.order()
	return b
}

func (b *book) registers() {
	p := b.packet
	for i := range p.Fields {
		b.fields[p.Fields[i].Field] = &p.Fields[i]
		b.boxes = append(b.boxes, boxOf(p.Fields[i].Boundary))
	}
	for i := range p.Products {
		b.products[p.Products[i].Product] = &p.Products[i]
	}
	for i := range p.Machines {
		b.machines[p.Machines[i].Machine] = &p.Machines[i]
	}
	for _, c := range p.Customers {
		b.names[c.Customer] = c.Name
	}
}

// office takes what the office knows of loads, settings, tests and checks,
// without what was taken back here.
func (b *book) office(s *state) {
	undone := map[schemas.LoadID]bool{}
	checks := map[time.Time]bool{}
	catches := map[schemas.TestID]bool{}
	for _, o := range s.Own {
		switch {
		case o.Type == schemas.TypeLoadWeighed && o.Undone:
			undone[decode[loadData](&o).Load] = true
		case o.Type == schemas.TypeCheckMachine:
			checks[o.At.UTC()] = true
		case o.Type == schemas.TypeTestCatch:
			catches[decode[schemas.TestCatch](&o).CatchTest] = true
		}
	}
	for _, l := range b.packet.Loads {
		if !undone[l.Load] {
			b.loads[l.Load] = loadNote{loadData: loadData{LoadWeighed: schemas.LoadWeighed{Load: l.Load, Product: l.Product, NetKg: l.NetKg}}, at: l.At}
		}
	}
	for _, set := range b.packet.Settings {
		b.setting(dated[schemas.SettingChanged]{Data: set})
	}
	for _, t := range b.packet.Checks {
		var c schemas.CheckMachine
		if json.Unmarshal(t.Data, &c) == nil && !checks[t.At.UTC()] {
			b.checks = append(b.checks, Checked{t.At, c})
		}
	}
	for _, t := range b.packet.Catch {
		var c schemas.TestCatch
		if json.Unmarshal(t.Data, &c) == nil && !catches[c.CatchTest] {
			b.caught(dated[schemas.TestCatch]{t.At, c})
		}
	}
}

// decode reads an entry's data, which was checked when it was made.
func decode[T any](o *own) (v T) {
	_ = json.Unmarshal(o.Data, &v) // what the contract let in has the type's shape
	return v
}

func (b *book) note(o *own, me schemas.MachineID) {
	switch o.Type {
	case schemas.TypeJobStarted:
		d := decode[schemas.JobStarted](o)
		b.work = work{d.Job, d.Field}
		b.jobs[d.Job] = jobNote{"started", o.At}
	case schemas.TypeJobFinished:
		d := decode[schemas.JobFinished](o)
		b.work = work{}
		b.jobs[d.Job] = jobNote{"finished", o.At}
	case schemas.TypeLoadWeighed:
		d := decode[loadData](o)
		b.loads[d.Load] = loadNote{d, o.At, o.Sequence}
	case schemas.TypeHopperRefilled:
		d := decode[refillData](o)
		for _, l := range d.Loads {
			b.used[l] = true
		}
		if d.Machine == "" || d.Machine == me {
			b.refills = append(b.refills, refillNote{d, o.Event, o.At})
		}
	case schemas.TypeSettingChanged:
		b.setting(dated[schemas.SettingChanged]{o.At, decode[schemas.SettingChanged](o)})
	case schemas.TypeTestCatch:
		b.caught(dated[schemas.TestCatch]{o.At, decode[schemas.TestCatch](o)})
	case schemas.TypeTestDensity:
		d := decode[schemas.TestDensity](o)
		b.density[d.Product] = d
	case schemas.TypeCheckMachine:
		b.checks = append(b.checks, Checked{o.At, decode[schemas.CheckMachine](o)})
	case schemas.TypeNoticeAcknowledged:
		b.acked[decode[schemas.NoticeAcknowledged](o).Notice] = true
	}
}

// setting takes a setting and, where it changes what the flow hangs on, lets
// go of the product's flow ratio.
func (b *book) setting(d dated[schemas.SettingChanged]) {
	if last := b.settingFor(d.Data.Product); last != nil && !sameFlow(&last.Data, &d.Data) {
		b.release(d.Data.Product, d.At)
	}
	b.settings = append(b.settings, d)
}

func (b *book) caught(d dated[schemas.TestCatch]) {
	b.catches = append(b.catches, d)
	b.release(d.Data.Product, d.At)
}

func (b *book) release(p schemas.ProductID, at time.Time) {
	if at.After(b.released[p]) {
		b.released[p] = at
	}
}

// sameFlow reports whether two settings meter alike: a set rate or bout width
// that changes alone leaves the flow ratio as it is.
func sameFlow(a, b *schemas.SettingChanged) bool {
	same := func(x, y *float64) bool { return x == nil || y == nil || *x == *y }
	return same(a.GateMm, b.GateMm) && same(a.PTORpm, b.PTORpm) && a.BeltGear == b.BeltGear && a.DiscSet == b.DiscSet
}

// settingFor is the setting in force for a product; nil: none.
func (b *book) settingFor(p schemas.ProductID) *dated[schemas.SettingChanged] {
	for i := len(b.settings) - 1; i >= 0; i-- {
		if b.settings[i].Data.Product == p {
			return &b.settings[i]
		}
	}
	return nil
}

func (b *book) order() {
	slices.SortStableFunc(b.checks, func(x, y Checked) int { return x.At.Compare(y.At) })
	slices.SortStableFunc(b.catches, func(x, y dated[schemas.TestCatch]) int { return x.At.Compare(y.At) })
}
