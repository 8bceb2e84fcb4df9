package tablet

import (
	"cmp"
	"context"
	"encoding/json"
	"math"
	"sync"
	"time"

	"hopperbook/ingest"
	"hopperbook/schemas"
	"hopperbook/schemas/fault"
)

// The roles of a tablet.
const (
	RoleSpreader = "spreader"
	RoleLoader   = "loader"
)

// Config is what an agent is made of.
type Config struct {
	Device  schemas.DeviceID
	Machine schemas.MachineID // "": the device's own name
	Role    string            // RoleSpreader, RoleLoader; "": spreader
	// Install tells installs of one device apart in the identifiers it makes,
	// so that they never repeat; a few letters or digits, "": none.
	Install  string
	TimeZone string // IANA name, until the register says another; "": UTC
	Store    Store
	Rules    Rules
	Now      func() time.Time // the device's clock
}

// tailFixes bounds the fixes that wait for their pass log: an hour at 10 Hz.
const tailFixes = 36_000

// Cab is the agent: what the operator does becomes events in the store, and
// what the page shows is folded from them. It is safe for concurrent use.
type Cab struct {
	cfg Config
	me  schemas.MachineID

	doing sync.Mutex // one command, pass log or packet at a time
	pack  packer     // under doing

	mu      sync.Mutex // guards all below; state and packet change under both
	state   state
	packet  *schemas.CabPacket
	book    *book
	live    odometer // state.Driven and the tail
	tail    []point  // fixes that are in no pass log yet
	fix     schemas.Fix
	marked  string
	inField schemas.FieldID
	gnss    string
	offset  time.Duration // of GNSS time to the device's clock
	link    LinkView
	near    nearby
	shown   map[schemas.NoticeID]time.Time // first seen, by the device's clock
	changed chan struct{}
}

// New makes an agent of what its store holds: the snapshot, the events made
// after it, the office's copies.
func New(cfg Config) (*Cab, error) {
	cfg.Role = cmp.Or(cfg.Role, RoleSpreader)
	c := &Cab{cfg: cfg, me: cmp.Or(cfg.Machine, schemas.MachineID(cfg.Device)), gnss: "none", link: LinkView{State: "off"},
		packet: &schemas.CabPacket{}, shown: map[schemas.NoticeID]time.Time{}, changed: make(chan struct{})}
	const op = "start the tablet"
	raw, err := cfg.Store.State()
	if err != nil {
		return nil, fault.Wrap(op, err)
	}
	c.state = restore(raw)
	later, err := cfg.Store.Since(c.state.Sequence)
	if err != nil {
		return nil, fault.Wrap(op, err)
	}
	if err := c.state.applyAll(later); err != nil {
		return nil, fault.Wrap(op, err)
	}
	if raw, err = cfg.Store.Packet(); err != nil {
		return nil, fault.Wrap(op, err)
	}
	var kept schemas.CabPacket
	if json.Unmarshal(raw, &kept) == nil && kept.Schema == schemas.SchemaCab {
		c.packet = &kept
		c.link.Packet = kept.At
	}
	c.reread()
	return c, nil
}

// reread makes what hangs on state and packet anew; mu is held.
func (c *Cab) reread() {
	c.book = readBook(&c.state, c.packet, c.me)
	c.recount()
	c.near = nearby{}
	c.tell()
}

// recount counts the fixes that no pass log has on top of those that one has.
func (c *Cab) recount() {
	c.live = c.state.Driven.clone()
	first := 0
	for first < len(c.tail) && c.live.Began && c.tail[first].Milli <= c.live.Last.Milli {
		first++
	}
	c.tail = append([]point(nil), c.tail[first:]...)
	for _, p := range c.tail {
		c.live.add(p)
	}
}

// tell wakes whoever waits for a change; mu is held.
func (c *Cab) tell() {
	close(c.changed)
	c.changed = make(chan struct{})
}

// Changed gives a channel that is closed at the next change of View.
func (c *Cab) Changed() <-chan struct{} {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.changed
}

// Run passes on what changes in the store until ctx ends.
func (c *Cab) Run(ctx context.Context) {
	for {
		select {
		case <-ctx.Done():
			return
		case <-c.cfg.Store.Changed():
			c.mu.Lock()
			c.tell()
			c.mu.Unlock()
		}
	}
}

// TakePacket takes the office's copies. They are on the disk when it returns;
// copies older than those that are held change nothing.
func (c *Cab) TakePacket(p schemas.CabPacket) error {
	const op = "take the office's copies"
	c.doing.Lock()
	defer c.doing.Unlock()
	switch {
	case p.Schema != schemas.SchemaCab:
		return fault.Newf(op, fault.TooNew, "they are of the shape "+p.Schema, "update the tablet's program")
	case p.Device != c.cfg.Device:
		return fault.Newf(op, fault.Input, "they are for "+string(p.Device), "")
	case p.At.Before(c.packet.At):
		return nil
	}
	raw, err := json.Marshal(p)
	if err != nil {
		return fault.New(op, fault.Internal, err, "")
	}
	if err := c.cfg.Store.KeepPacket(raw); err != nil {
		return fault.Wrap(op, err)
	}
	c.mu.Lock()
	defer c.mu.Unlock()
	c.packet = &p
	c.link.Packet = p.At
	c.reread()
	return nil
}

// SetLink tells how the link to the office stands; the age of the copies is
// the agent's own.
func (c *Cab) SetLink(l LinkView) {
	c.mu.Lock()
	defer c.mu.Unlock()
	l.Packet = c.packet.At
	if l != c.link {
		c.link = l
		c.tell()
	}
}

// SetGNSS tells how the receiver stands: none, searching, poor, good.
func (c *Cab) SetGNSS(state string) {
	c.mu.Lock()
	defer c.mu.Unlock()
	if state != c.gnss {
		c.gnss = state
		c.tell()
	}
}

// OnFix takes one fix as it came, spreading state decided, and what decided it
// (switch, speed_and_field, hand). A fix that is not later than the one before
// changes nothing. O(1) but for the field it lies in: O(fields + sides nearby).
func (c *Cab) OnFix(f schemas.Fix, marked string) {
	now := c.cfg.Now()
	c.mu.Lock()
	defer c.mu.Unlock()
	stale := f.UnixMilli <= c.fix.UnixMilli && f.UnixMilli >= c.fix.UnixMilli-clockSet
	if stale || math.IsNaN(f.LatDeg) || math.IsNaN(f.LonDeg) {
		return
	}
	second := c.fix.UnixMilli / 1000
	c.offset = time.UnixMilli(f.UnixMilli).Sub(now)
	c.fix, c.marked = f, marked
	c.inField = c.book.fieldAt(f.LatDeg, f.LonDeg)
	rate, bout := c.asked()
	p := pointOf(f, rate, bout)
	c.live.add(p)
	if c.tail = append(c.tail, p); len(c.tail) > tailFixes {
		c.tail = append(c.tail[:0], c.tail[tailFixes/10:]...)
	}
	if f.UnixMilli/1000 != second {
		c.tell()
	}
}

// Driving is what goes with the fixes from now on.
func (c *Cab) Driving() Driving {
	c.mu.Lock()
	defer c.mu.Unlock()
	w := c.work()
	d := Driving{Working: c.book.work.job != "", InField: c.inField, SetRateKgHa: math.NaN(), BoutWidthM: math.NaN(), Hand: c.state.Hand.Mark}
	if d.Working {
		d.Job, d.Field = w.job, w.field
	}
	rate, bout := c.asked()
	if rate > 0 {
		d.SetRateKgHa = rate
	}
	if bout > 0 {
		d.BoutWidthM = bout
	}
	return d
}

// HopperEmpty reports whether the hopper was read as empty and nothing was
// loaded since.
func (c *Cab) HopperEmpty() bool {
	c.mu.Lock()
	defer c.mu.Unlock()
	n := len(c.book.refills)
	if n == 0 {
		return false
	}
	last := &c.book.refills[n-1]
	_, method := last.level()
	return method == schemas.ResidualEmpty && c.book.loaded(last) == 0
}

// LogPass makes the pass log of fixes that OnFix has had, in the place of its
// draft ("": there is none).
func (c *Cab) LogPass(p schemas.PassLogged, draft string) (ingest.Outgoing, error) {
	c.doing.Lock()
	defer c.doing.Unlock()
	if c.cfg.Machine != "" {
		p.Machine = c.cfg.Machine
	}
	made, err := c.append(c.state.Hand, nil, Entry{Type: schemas.TypePassLogged, At: c.stamp(), Data: p, Draft: draft})
	if err != nil {
		return ingest.Outgoing{}, fault.Wrap("log a pass", err)
	}
	return made[0], nil
}

// append makes events and folds them; doing is held. What fails leaves no
// trace. answer (nil: none) gives the key to keep with the events made.
func (c *Cab) append(h hand, answer func(made []ingest.Outgoing) (*keyed, error), entries ...Entry) ([]ingest.Outgoing, error) {
	var next state
	made, err := c.cfg.Store.Append(entries, func(made []ingest.Outgoing) ([]byte, error) {
		next = c.state.clone()
		next.Hand = h
		if err := next.applyAll(made); err != nil {
			return nil, err
		}
		if answer != nil {
			key, err := answer(made)
			if err != nil {
				return nil, err
			}
			next.remember(key)
		}
		return c.pack.snapshot(&next)
	})
	if err != nil {
		return nil, err
	}
	c.mu.Lock()
	defer c.mu.Unlock()
	c.state = next
	if len(entries) == 1 && entries[0].Type == schemas.TypePassLogged {
		c.recount()
		c.tell()
		return made, nil
	}
	c.reread()
	return made, nil
}

// keep puts what the operator chose without an event on the disk; doing is held.
func (c *Cab) keep(h hand, key *keyed) error {
	next := c.state
	next.Hand = h
	next.remember(key)
	kept, err := c.pack.snapshot(&next)
	if err != nil {
		return err
	}
	if err := c.cfg.Store.Keep(kept); err != nil {
		return err
	}
	c.mu.Lock()
	defer c.mu.Unlock()
	c.state = next
	c.near = nearby{}
	c.tell()
	return nil
}

// now is GNSS time where there was a fix since the start, else the device's.
func (c *Cab) now() time.Time { return c.cfg.Now().Add(c.offset).UTC().Truncate(time.Millisecond) }

// stamp is the time of the next event: later than every one before it.
func (c *Cab) stamp() time.Time {
	c.mu.Lock()
	defer c.mu.Unlock()
	now := c.now()
	if least := c.state.At.Add(time.Millisecond); !c.state.At.IsZero() && now.Before(least) {
		return least
	}
	return now
}

// zone is where "which day" is asked.
func (c *Cab) zone() *time.Location {
	name := c.cfg.TimeZone
	if m := c.book.machines[c.me]; m != nil && m.TimeZone != "" {
		name = m.TimeZone
	}
	if at, err := time.LoadLocation(name); err == nil {
		return at
	}
	return time.UTC
}

// work is the job in hand: the one that is started, else the one picked.
func (c *Cab) work() work {
	w := c.book.work
	switch h := c.state.Hand; {
	case w.job == "":
		return work{h.Job, h.Field}
	case h.Job == w.job && h.Field != "":
		w.field = h.Field
	}
	return w
}

// product is what is being spread: the job's, else the last setting's, else
// what came into the hopper last; "": not known.
func (c *Cab) product() schemas.ProductID {
	if j := c.book.job(c.work().job); j != nil {
		return j.Product
	}
	if s := c.book.settings; len(s) > 0 {
		return s[len(s)-1].Data.Product
	}
	if r := c.book.refills; len(r) > 0 {
		return r[len(r)-1].Product
	}
	return ""
}

// asked is the set rate and bout width in force: of the product's setting, the
// rate else of the job; 0 where not known.
func (c *Cab) asked() (rateKgHa, boutM float64) {
	if s := c.book.settingFor(c.product()); s != nil {
		return s.Data.SetRateKgHa, s.Data.BoutWidthM
	}
	if j := c.book.job(c.work().job); j != nil {
		return j.SetRateKgHa, 0
	}
	return 0, 0
}
