package feed

import (
	"context"
	"errors"
	"io"
	"time"

	"hopperbook/ingest/gnss"
	"hopperbook/schemas"
	"hopperbook/schemas/fault"
)

// Listener takes what a receiver says. Fix and Status come one at a time; what
// the switch of Config.Switch says comes from a goroutine of its own.
type Listener interface {
	SwitchListener
	// Fix is a position; heardAt is the device's clock when it was complete.
	Fix(fix schemas.Fix, heardAt time.Time)
	// Status comes at each change and about once a second while bytes come.
	Status(Status)
}

// Receive listens to a receiver until ctx ends, which is no error, or a
// recorded log has been played. Only a file can fail: everything else is
// opened again, as the status says.
func Receive(ctx context.Context, cfg Config, to Listener) error {
	cfg = cfg.withDefaults()
	if cfg.Switch.Kind == Own && cfg.Address.Kind != Serial {
		return fault.Newf("listen to the receiver", fault.Usage, "the switch is to be a line of the receiver's serial port, and the receiver is at "+cfg.Address.String(),
			"wire the switch to a serial port, or send 0 and 1 over TCP or UDP")
	}
	r := &receiver{cfg: cfg, to: to}
	r.keeper = keeper{cfg: cfg, tell: to.Status, use: r.listen, once: cfg.Address.Kind == File}
	inner := r.keeper.cfg.open
	r.keeper.cfg.open = func(ctx context.Context) (io.ReadCloser, error) {
		conn, err := inner(ctx)
		r.port, _ = conn.(*port)
		return conn, err
	}
	return fault.Wrap("listen to the receiver", r.keeper.run(ctx))
}

type receiver struct {
	keeper keeper
	cfg    Config
	to     Listener
	port   *port // the open one; nil: it has no lines

	before   gnss.Report // of earlier connections
	lastFix  schemas.Fix
	lastAt   time.Time // the device's clock at lastFix
	toldAt   time.Time
	paceFrom time.Time // of a replay: the device's clock at its first fix
	paceMs   int64     // and that fix's time
}

func (r *receiver) listen(ctx context.Context, conn io.Reader) error {
	if r.port != nil && r.cfg.Switch.Kind == Own {
		defer r.watchSwitch(ctx)()
	}
	r.before = r.keeper.status.Report
	in := &counted{Reader: conn}
	d := gnss.NewDecoder(in, gnss.Options{FirstDay: r.today()})
	in.after = func() { r.report(d.Report(), time.Now()) }
	for {
		fix, err := d.Next()
		r.keeper.status.Report = sum(r.before, d.Report())
		switch {
		case errors.Is(err, io.EOF) && !r.keeper.once:
			return fault.New("listen to "+r.keeper.status.Address, fault.Unavailable, err, "the other side has closed the connection; it is opened again")
		case err != nil:
			return err
		case !r.pace(ctx, &fix):
			return ctx.Err()
		}
		r.lastFix, r.lastAt = fix, time.Now()
		r.to.Fix(fix, r.lastAt)
	}
}

// watchSwitch reads the port's own line beside its bytes, until stop.
func (r *receiver) watchSwitch(ctx context.Context) (stop func()) {
	watching, cancel := context.WithCancel(ctx)
	done := make(chan struct{})
	go func() {
		defer close(done)
		s := Status{Address: r.cfg.Switch.String(), State: Open, Since: time.Now()}
		r.to.SwitchStatus(s)
		if err := watchLine(watching, r.port, r.cfg.Switch, r.to.Switch); watching.Err() == nil {
			s.State, s.Since, s.Problem, s.Hint = Failed, time.Now(), err.Error(), fault.HintOf(err)
			r.to.SwitchStatus(s)
		}
	}()
	return func() { cancel(); <-done }
}

// today is the day for a receiver that sends no date, from the last fix and
// what has passed since: the device's own date is not asked.
func (r *receiver) today() time.Time {
	if r.lastAt.IsZero() {
		return time.Time{}
	}
	return time.UnixMilli(r.lastFix.UnixMilli).Add(time.Since(r.lastAt)).UTC()
}

// pace waits until a recorded fix is due and shifts its time where asked. It
// is false when ctx ended.
func (r *receiver) pace(ctx context.Context, fix *schemas.Fix) bool {
	if r.cfg.Address.Kind != File {
		return true
	}
	if r.paceFrom.IsZero() {
		r.paceFrom, r.paceMs = time.Now(), fix.UnixMilli
	}
	sinceMs := fix.UnixMilli - r.paceMs
	if r.cfg.Address.Shifted {
		fix.UnixMilli = r.paceFrom.UnixMilli() + sinceMs
	}
	if r.cfg.Address.Speed == 0 {
		return ctx.Err() == nil
	}
	wait := time.Duration(float64(sinceMs)*float64(time.Millisecond)/r.cfg.Address.Speed) - time.Since(r.paceFrom)
	if wait <= 0 {
		return ctx.Err() == nil
	}
	select {
	case <-ctx.Done():
		return false
	case <-time.After(wait):
		return true
	}
}

// garbledBytes without one sound sentence mean that the baud is wrong, or that
// it is no NMEA 0183: twenty sentences' length.
const garbledBytes = 20 * 82

// report tells how it goes, at most once a second.
func (r *receiver) report(now gnss.Report, at time.Time) {
	k := &r.keeper
	k.status.Report = sum(r.before, now)
	garbled := now.Used+now.OtherKinds == 0 && now.SkippedBytes+82*now.Sentences > garbledBytes
	if garbled != (k.status.State == Garbled) {
		if garbled {
			k.turn(Garbled, fault.Newf("listen to "+k.status.Address, fault.Input, "bytes come but no NMEA 0183 sentence",
				"check the baud, and that the receiver is set to send NMEA 0183 with GGA and RMC"))
		} else {
			k.turn(Open, nil)
		}
		r.toldAt = at
		return
	}
	if at.Sub(r.toldAt) >= statusEvery {
		r.toldAt = at
		k.tell(k.status)
	}
}

// counted runs after each read, in the reading goroutine.
type counted struct {
	io.Reader
	after func()
}

func (c *counted) Read(p []byte) (int, error) {
	c.after()
	return c.Reader.Read(p)
}

func sum(a, b gnss.Report) gnss.Report {
	return gnss.Report{
		Sentences: a.Sentences + b.Sentences, Used: a.Used + b.Used, OtherKinds: a.OtherKinds + b.OtherKinds,
		NoChecksum: a.NoChecksum + b.NoChecksum, BadChecksum: a.BadChecksum + b.BadChecksum, Malformed: a.Malformed + b.Malformed,
		SkippedBytes: a.SkippedBytes + b.SkippedBytes, Epochs: a.Epochs + b.Epochs, Fixes: a.Fixes + b.Fixes,
		NoFix: a.NoFix + b.NoFix, Undated: a.Undated + b.Undated, Backwards: a.Backwards + b.Backwards,
	}
}
