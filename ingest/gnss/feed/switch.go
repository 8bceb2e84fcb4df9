package feed

import (
	"bufio"
	"context"
	"errors"
	"io"
	"time"

	"hopperbook/schemas/fault"
)

const (
	// pollLine is how often a modem line is looked at. Two looks must agree: a
	// contact bounces for some milliseconds.
	pollLine = 50 * time.Millisecond
	// wordFor is how long a 0 or 1 counts; senders repeat it every 5 s.
	wordFor = 12 * time.Second
	maxWord = 256
)

// SwitchListener takes what a switch says.
type SwitchListener interface {
	Switch(on, known bool)
	SwitchStatus(Status)
}

// Watch listens to a switch of its own until ctx ends. A switch that is not
// heard is told as not known.
func Watch(ctx context.Context, cfg Config, to SwitchListener) error {
	if cfg.SilentAfter == 0 {
		cfg.SilentAfter = wordFor
	}
	cfg = cfg.withDefaults()
	if cfg.Address.Kind == Own {
		return fault.Newf("listen to the switch", fault.Usage, "it is a line of the receiver's port", "start it with the receiver, which must be a serial port")
	}
	k := &keeper{cfg: cfg, tell: to.SwitchStatus}
	inner := k.cfg.open
	k.cfg.open = func(ctx context.Context) (io.ReadCloser, error) {
		conn, err := inner(ctx)
		if d, ok := conn.(*datagrams); ok {
			d.lines = true
		}
		return conn, err
	}
	k.use = func(ctx context.Context, conn io.Reader) error { return readWords(k, conn, to.Switch) }
	if cfg.Address.Kind == Serial {
		watchPort(k, to.Switch)
	}
	return fault.Wrap("listen to the switch", k.run(ctx))
}

// watchPort reads a line instead of bytes: the port need not say anything.
func watchPort(k *keeper, tell func(on, known bool)) {
	inner := k.cfg.open
	var opened *port
	k.cfg.open = func(ctx context.Context) (io.ReadCloser, error) {
		conn, err := inner(ctx)
		opened, _ = conn.(*port)
		return conn, err
	}
	k.use = func(ctx context.Context, conn io.Reader) error {
		if opened == nil {
			return fault.Newf("read the modem lines", fault.Usage, "it is no serial port", "name a serial port")
		}
		return watchLine(ctx, opened, k.cfg.Address, func(on, known bool) {
			k.heard(time.Now())
			tell(on, known)
		})
	}
}

// watchLine tells the state of a line at each change, until ctx ends or the
// line cannot be read.
func watchLine(ctx context.Context, p *port, a Address, tell func(on, known bool)) error {
	tick := time.NewTicker(pollLine)
	defer tick.Stop()
	defer tell(false, false)
	seen, told, known := false, false, false
	for first := true; ; first = false {
		on, err := p.line(a.Line)
		if err != nil {
			return err
		}
		on = on != a.Invert
		if settled := !first && on == seen; settled && (!known || on != told) {
			told, known = on, true
			tell(on, true)
		}
		seen = on
		select {
		case <-ctx.Done():
			return ctx.Err()
		case <-tick.C:
		}
	}
}

// readWords reads lines of 0 and 1. Other lines only count.
func readWords(k *keeper, conn io.Reader, tell func(on, known bool)) error {
	defer tell(false, false)
	lines := bufio.NewScanner(conn)
	lines.Buffer(make([]byte, maxWord), maxWord)
	for lines.Scan() {
		switch word(lines.Bytes()) {
		case '1':
			k.status.Report.Used++
			tell(!k.cfg.Address.Invert, true)
		case '0':
			k.status.Report.Used++
			tell(k.cfg.Address.Invert, true)
		default:
			k.status.Report.Malformed++
		}
		k.tell(k.status)
	}
	err := lines.Err()
	if err == nil {
		err = io.EOF
	}
	hint := "it is opened again"
	if errors.Is(err, bufio.ErrTooLong) {
		hint = "a switch sends lines with 0 or 1"
	}
	return fault.New("listen to "+k.status.Address, fault.Unavailable, err, hint)
}

// word is the line's only character beside blanks, or 0.
func word(line []byte) byte {
	var only byte
	for _, c := range line {
		switch {
		case c == ' ' || c == '\t' || c == '\r':
		case only != 0:
			return 0
		default:
			only = c
		}
	}
	return only
}
