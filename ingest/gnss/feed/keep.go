package feed

import (
	"context"
	"errors"
	"io"
	"math/rand/v2"
	"sync"
	"sync/atomic"
	"time"

	"hopperbook/ingest/gnss"
	"hopperbook/schemas/fault"
)

// State is how a receiver or switch stands.
type State string

// The states. Open says that it is connected, not that it has a position.
const (
	Opening State = "opening"
	Open    State = "open"
	Garbled State = "garbled" // bytes come, but nothing that can be read
	Silent  State = "silent"  // was connected and said nothing; it is opened again
	Failed  State = "failed"  // cannot be opened or broke off; it is opened again
	Ended   State = "ended"   // the recorded log is at its end
)

// Status is what is known of a receiver or switch.
type Status struct {
	Address  string
	State    State
	Since    time.Time
	LastByte time.Time   // zero: none yet
	Failures int         // attempts in a row that gave no byte
	Opened   int64       // how often it was opened
	Problem  string      // what broke last, "" while all is well
	Hint     string      // what can be done about it
	Report   gnss.Report // of all connections together; for a switch Used and Malformed are its lines
}

// Config is how patient a feed is.
type Config struct {
	Address Address
	// Switch is a line of the receiver's own port (Kind Own); zero: none.
	Switch Address
	// SilentAfter closes a connection that says nothing; 0 means 10 s.
	SilentAfter time.Duration
	// Jitter gives numbers in [0,1) that spread attempts; nil: random.
	Jitter func() float64

	open opener
}

type opener func(context.Context) (io.ReadCloser, error)

const (
	silentAfter  = 10 * time.Second
	openTimeout  = 10 * time.Second
	firstPause   = 500 * time.Millisecond
	longestPause = 30 * time.Second
	statusEvery  = time.Second
)

func (c Config) withDefaults() Config {
	if c.SilentAfter == 0 {
		c.SilentAfter = silentAfter
	}
	if c.Jitter == nil {
		c.Jitter = rand.Float64
	}
	if c.open == nil {
		c.open = c.Address.opener()
	}
	return c
}

// pause before the next attempt: doubling up to half a minute, times 0.5 to
// 1.5 so that tablets that lost a receiver together do not come back together.
func pause(failures int, jitter float64) time.Duration {
	p := longestPause
	if n := max(failures-1, 0); n < 6 {
		p = min(firstPause<<n, longestPause)
	}
	return time.Duration((0.5 + jitter) * float64(p))
}

// keeper opens a place again and again.
type keeper struct {
	cfg    Config
	status Status
	tell   func(Status)
	use    func(context.Context, io.Reader) error
	once   bool // the end of the bytes is the end
}

// run returns when ctx ends, or at the end of a file.
func (k *keeper) run(ctx context.Context) error {
	k.status.Address = k.cfg.Address.String()
	for {
		k.turn(Opening, nil)
		err := k.connect(ctx)
		switch {
		case ctx.Err() != nil:
			return nil
		case k.once && errors.Is(err, io.EOF):
			k.turn(Ended, nil)
			return nil
		case k.once:
			k.turn(Failed, err)
			return err
		}
		state := Failed
		if errors.Is(err, errSilent) {
			state = Silent
		}
		k.turn(state, err)
		select {
		case <-ctx.Done():
			return nil
		case <-time.After(pause(k.status.Failures, k.cfg.Jitter())):
		}
	}
}

var errSilent = errors.New("nothing was heard")

// connect opens the place once and uses it until it breaks, falls silent or
// ctx ends.
func (k *keeper) connect(ctx context.Context) error {
	opening, cancel := context.WithTimeout(ctx, openTimeout)
	conn, err := k.cfg.open(opening)
	cancel()
	k.status.Failures++
	if err != nil {
		return err
	}
	k.status.Opened++
	k.turn(Open, nil)
	w := newWatched(conn, k.cfg.SilentAfter, k.heard)
	stop := context.AfterFunc(ctx, w.close)
	err = k.use(ctx, w)
	stop()
	w.close()
	if w.silent.Load() {
		return fault.New("listen to "+k.status.Address, fault.Unavailable, errSilent, "check that the device is switched on, its cable, and that it is set to send")
	}
	return err
}

func (k *keeper) turn(s State, err error) {
	if k.status.State != s {
		k.status.State, k.status.Since = s, time.Now()
	}
	switch {
	case err != nil:
		k.status.Problem, k.status.Hint = err.Error(), fault.HintOf(err)
	case s == Open || s == Ended:
		k.status.Problem, k.status.Hint = "", ""
	}
	k.tell(k.status)
}

func (k *keeper) heard(at time.Time) {
	k.status.LastByte, k.status.Failures = at, 0
}

// watched closes a connection that says nothing for too long, or whose time
// is over.
type watched struct {
	conn   io.ReadCloser
	after  time.Duration
	heard  func(time.Time)
	timer  *time.Timer
	silent atomic.Bool
	once   sync.Once
}

func newWatched(conn io.ReadCloser, after time.Duration, heard func(time.Time)) *watched {
	w := &watched{conn: conn, after: after, heard: heard}
	w.timer = time.AfterFunc(after, func() {
		w.silent.Store(true)
		w.close()
	})
	w.timer.Stop() // it runs while something is waited for
	return w
}

// Read restarts the wait for silence with every byte that came. Time that the
// user of the bytes takes is not silence.
func (w *watched) Read(p []byte) (int, error) {
	w.timer.Reset(w.after)
	n, err := w.conn.Read(p)
	w.timer.Stop()
	if n > 0 {
		w.heard(time.Now())
	}
	return n, err
}

func (w *watched) close() {
	w.once.Do(func() {
		w.timer.Stop()
		_ = w.conn.Close() // it is left in any case, and there is nobody to tell
	})
}
