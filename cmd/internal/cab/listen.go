package cab

import (
	"context"
	"sync"
	"time"

	"hopperbook/ingest/gnss/feed"
	"hopperbook/ingest/tablet/drive"
	"hopperbook/schemas"
	"hopperbook/schemas/fault"
)

// listener hands on what receiver and switch say, and tells a person when that
// changes.
type listener struct {
	driver *drive.Driver
	log    func(format string, args ...any)

	mu   sync.Mutex
	told map[string]string // the last line of each
}

func newListener(d *drive.Driver, log func(string, ...any)) *listener {
	return &listener{driver: d, log: log, told: map[string]string{}}
}

func (l *listener) Fix(f schemas.Fix, _ time.Time) { l.driver.Fix(f) }

func (l *listener) Switch(on, known bool) { l.driver.Switch(on, known) }

func (l *listener) Status(s feed.Status) {
	if s.State != feed.Opening {
		l.driver.Receiver(s.State == feed.Open || s.State == feed.Garbled)
	}
	l.tell("receiver", s)
	if s.State == feed.Ended {
		r := s.Report
		l.log("receiver: %d fixes, %d epochs without one, %d of %d sentences not used", r.Fixes, r.NoFix, r.NoChecksum+r.BadChecksum+r.Malformed, r.Sentences)
	}
}

func (l *listener) SwitchStatus(s feed.Status) { l.tell("switch", s) }

// tell says each state once, not at every attempt.
func (l *listener) tell(what string, s feed.Status) {
	if s.State == feed.Opening {
		return
	}
	line := what + " " + s.Address + " " + string(s.State)
	if s.Problem != "" {
		line += ": " + s.Problem
		if s.Hint != "" {
			line += "\n  " + s.Hint
		}
	}
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.told[what] != line {
		l.told[what] = line
		l.log("%s", line)
	}
}

// listen starts receiver and switch; wait returns when both have ended.
func (l *listener) listen(ctx context.Context, cfg Config) (wait func()) {
	var running sync.WaitGroup
	start := func(what string, listen func() error) {
		running.Go(func() {
			if err := listen(); err != nil {
				l.log("%s: %s", what, fault.Message(err))
				l.driver.Receiver(false)
			}
		})
	}
	if cfg.GNSS.Kind != "" {
		rc := feed.Config{Address: cfg.GNSS}
		if cfg.Switch.Kind == feed.Own {
			rc.Switch = cfg.Switch
		}
		start("receiver", func() error { return feed.Receive(ctx, rc, l) })
	}
	if cfg.Switch.Kind != "" && cfg.Switch.Kind != feed.Own {
		start("switch", func() error { return feed.Watch(ctx, feed.Config{Address: cfg.Switch}, l) })
	}
	return running.Wait
}
