package feed

import (
	"context"
	"errors"
	"fmt"
	"io"
	"runtime"
	"sync/atomic"
	"time"

	"go.bug.st/serial"

	"hopperbook/schemas/fault"
)

// pollRead is how long a read of a port waits at most before it looks whether
// the port is to be closed: closing a port under a read is not safe on every
// system.
const pollRead = 200 * time.Millisecond

// rawPort is what a port's driver does.
type rawPort interface {
	io.ReadCloser
	GetModemStatusBits() (*serial.ModemStatusBits, error)
}

// port is a serial port that can be closed while it is read.
type port struct {
	raw     rawPort
	reading chan struct{} // holds one while a read is under way
	asking  chan struct{} // the same of the modem lines
	closed  atomic.Bool
}

func newPort(raw rawPort) *port {
	return &port{raw: raw, reading: make(chan struct{}, 1), asking: make(chan struct{}, 1)}
}

func openSerial(_ context.Context, a Address) (io.ReadCloser, error) {
	raw, err := serial.Open(a.Place, &serial.Mode{BaudRate: a.Baud})
	if err != nil {
		return nil, serialFault(a, err)
	}
	if err := raw.SetReadTimeout(pollRead); err != nil {
		_ = raw.Close() // the first error is the one to tell
		return nil, serialFault(a, err)
	}
	return newPort(raw), nil
}

func serialFault(a Address, err error) error {
	hint := "check the cable and the port's name"
	var known *serial.PortError
	switch {
	case runtime.GOOS == "android":
		hint = "an Android app may not open serial ports: use tcp:// or udp:// with a program that shares the receiver"
	case errors.As(err, &known) && known.Code() == serial.PermissionDenied:
		hint = "let the user open serial ports, on most Linux systems by adding it to the group dialout"
	case errors.As(err, &known) && known.Code() == serial.PortBusy:
		hint = "another program has the port; end it, or read the receiver over TCP"
	case errors.As(err, &known) && known.Code() == serial.InvalidSpeed:
		hint = "the port does not know this baud; use the one that the receiver's manual names"
	}
	return fault.New("open the serial port "+a.Place, fault.Unavailable, err, hint)
}

// Read waits for at least one byte, the end of the port, or Close.
func (p *port) Read(b []byte) (int, error) {
	for {
		n, err := p.readOnce(b)
		if n > 0 || err != nil {
			return n, err
		}
	}
}

func (p *port) readOnce(b []byte) (int, error) {
	p.reading <- struct{}{}
	defer func() { <-p.reading }()
	if p.closed.Load() {
		return 0, io.ErrClosedPipe
	}
	return p.raw.Read(b)
}

// Close waits for a read under way, at most pollRead.
func (p *port) Close() error {
	if p.closed.Swap(true) {
		return nil
	}
	p.reading <- struct{}{}
	p.asking <- struct{}{}
	defer func() { <-p.reading; <-p.asking }()
	return p.raw.Close()
}

// line reads one modem line.
func (p *port) line(l Line) (bool, error) {
	p.asking <- struct{}{}
	defer func() { <-p.asking }()
	if p.closed.Load() {
		return false, io.ErrClosedPipe
	}
	bits, err := p.raw.GetModemStatusBits()
	if err != nil {
		return false, fault.New("read the modem lines", fault.Unavailable, err, "this port has no such line; use one that has, or send 0 and 1 over TCP or UDP")
	}
	switch l {
	case CTS:
		return bits.CTS, nil
	case DSR:
		return bits.DSR, nil
	case DCD:
		return bits.DCD, nil
	case RI:
		return bits.RI, nil
	}
	return false, fault.Newf("read the modem lines", fault.Usage, fmt.Sprintf("there is no line %q", l), "name cts, dsr, dcd or ri")
}
