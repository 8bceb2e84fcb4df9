package drive

import (
	"context"
	"math"
	"sync"
	"time"

	"hopperbook/ingest/tablet"
	"hopperbook/schemas"
	"hopperbook/schemas/fault"
)

// Driver makes pass logs; its methods are safe for concurrent use.
type Driver struct {
	cfg    Config
	cab    Cab
	drafts Drafts

	mu       sync.Mutex
	counts   Counts
	problem  error // what the disk said last; nil: it takes everything
	gnss     string
	heard    bool // the receiver is connected
	coarse   bool // the last fix was not good enough
	fixAt    time.Time
	on       bool // the switch, while known
	known    bool
	last     schemas.Fix // the last usable one; UnixMilli 0: none
	batch    batch
	waiting  []batch // logs that are complete and on no disk
	draftAt  time.Time
	numbered int // of draft keys
}

// New makes a driver, and pass logs of the drafts that a power cut left. What
// finds no room now is tried again later.
func New(cfg Config, cab Cab, drafts Drafts) (*Driver, error) {
	d := &Driver{cfg: cfg.withDefaults(), cab: cab, drafts: drafts, gnss: "none"}
	left, err := drafts.All()
	if err != nil {
		return nil, fault.Wrap("read the drafts of pass logs", err)
	}
	d.recover(left)
	d.draftAt = d.cfg.Now()
	return d, nil
}

// Run looks after drafts and what waits until ctx ends. Close comes after it.
func (d *Driver) Run(ctx context.Context) {
	t := time.NewTicker(tick)
	defer t.Stop()
	for {
		select {
		case <-ctx.Done():
			return
		case <-t.C:
			d.Tick()
		}
	}
}

// Tick does what is due: a draft, a log that waited for room, a log whose
// receiver has fallen silent.
func (d *Driver) Tick() {
	d.mu.Lock()
	defer d.mu.Unlock()
	now := d.cfg.Now()
	if len(d.batch.fixes) > 0 && now.Sub(d.fixAt) >= leave {
		d.finish()
	}
	d.draft(now)
	d.tellGNSS(now)
}

// Close makes a pass log of what is gathered. The error is what the disk says;
// the fixes are in a draft then, where it took one.
func (d *Driver) Close() error {
	d.mu.Lock()
	defer d.mu.Unlock()
	d.finish()
	d.send()
	if len(d.waiting) > 0 {
		return fault.Wrap("log the last pass", d.problem)
	}
	return nil
}

// Counts says where every fix went.
func (d *Driver) Counts() Counts {
	d.mu.Lock()
	defer d.mu.Unlock()
	c := d.counts
	c.Held = int64(len(d.batch.fixes))
	for i := range d.waiting {
		c.Held += int64(d.waiting[i].size)
	}
	return c
}

// Problem is why pass logs or drafts are on no disk; nil: they are.
func (d *Driver) Problem() error {
	d.mu.Lock()
	defer d.mu.Unlock()
	return d.problem
}

// Receiver tells whether the receiver is connected and heard.
func (d *Driver) Receiver(heard bool) {
	d.mu.Lock()
	defer d.mu.Unlock()
	d.heard = heard
	d.tellGNSS(d.cfg.Now())
}

// Switch tells what the switch says; not known: it is not heard.
func (d *Driver) Switch(on, known bool) {
	d.mu.Lock()
	defer d.mu.Unlock()
	d.on, d.known = on, known
}

// Fix takes the next fix of the receiver. O(1), and the disk's sync once a
// batch and a draft.
func (d *Driver) Fix(f schemas.Fix) {
	d.mu.Lock()
	defer d.mu.Unlock()
	now := d.cfg.Now()
	d.counts.In++
	d.fixAt, d.heard = now, true
	usable := d.usable(&f)
	d.tellGNSS(now)
	if !usable {
		return
	}
	w := d.cab.Driving()
	on, by := d.judge(&f, &w)
	f.Spreading = schemas.SpreadingOff
	if on {
		f.Spreading = schemas.SpreadingOn
	}
	f.SetRateKgHa, f.BoutWidthM = w.SetRateKgHa, w.BoutWidthM
	d.last = f
	d.cab.OnFix(f, by)
	if d.cfg.PositionsOnly {
		d.counts.Positions++
		return
	}
	d.log(f, head{job: w.Job, field: w.Field, by: by, boutWidthM: finite(w.BoutWidthM), rated: !math.IsNaN(w.SetRateKgHa)})
	d.draft(now)
}

// usable counts what is left out, and gives a fix without a speed the one of
// its way from the fix before.
func (d *Driver) usable(f *schemas.Fix) bool {
	d.coarse = rank(f.Quality) < rank(d.cfg.Coarsest) || rank(f.Quality) == 0
	switch {
	case !(math.Abs(f.LatDeg) <= 90 && math.Abs(f.LonDeg) <= 180) || f.UnixMilli <= 0:
		d.counts.Impossible++
	case d.coarse:
		d.counts.Coarse++
	case f.UnixMilli == d.last.UnixMilli:
		d.counts.Repeated++
	case math.IsNaN(f.SpeedKmh) && d.last.UnixMilli == 0:
		d.last = *f // the next one has a speed
		d.counts.Impossible++
	default:
		if math.IsNaN(f.SpeedKmh) {
			f.SpeedKmh = speedKmh(&d.last, f)
		}
		if f.SpeedKmh >= 0 && f.SpeedKmh <= maxKmh && (math.IsNaN(f.HeadingDeg) || f.HeadingDeg >= 0 && f.HeadingDeg <= 360) {
			return true
		}
		d.last = *f // a jump is one jump
		d.counts.Impossible++
	}
	return false
}

// judge says whether product leaves, and what said so.
func (d *Driver) judge(f *schemas.Fix, w *tablet.Driving) (on bool, by string) {
	switch {
	case w.Hand != "":
		return w.Hand == "on", schemas.MarkedByHand
	case d.known:
		return d.on, schemas.MarkedBySwitch
	}
	on = w.Working && w.InField != "" && f.SpeedKmh >= d.cfg.MinKmh && f.SpeedKmh <= d.cfg.MaxKmh && !d.cfg.HopperEmpty()
	return on, schemas.MarkedByRule
}

// tellGNSS tells the agent how the receiver stands.
func (d *Driver) tellGNSS(now time.Time) {
	state := "none"
	switch {
	case !d.heard:
	case d.fixAt.IsZero() || now.Sub(d.fixAt) >= quiet:
		state = "searching"
	case d.coarse:
		state = "poor"
	default:
		state = "good"
	}
	if state != d.gnss {
		d.gnss = state
		d.cab.SetGNSS(state)
	}
}

// speedKmh is the mean speed between two positions on a sphere: within 0.6 %.
func speedKmh(a, b *schemas.Fix) float64 {
	const radiusM, rad = 6371008.8, math.Pi / 180
	north := (b.LatDeg - a.LatDeg) * rad
	east := math.Remainder(b.LonDeg-a.LonDeg, 360) * rad * math.Cos((a.LatDeg+b.LatDeg)/2*rad)
	return math.Hypot(north, east) * radiusM / math.Abs(float64(b.UnixMilli-a.UnixMilli)) * 3600
}

// finite makes "not known" a value that equals itself.
func finite(v float64) float64 {
	if math.IsNaN(v) {
		return -1
	}
	return v
}
