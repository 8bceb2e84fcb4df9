package feed

import (
	"fmt"
	"math"
	"net"
	"net/url"
	"strconv"
	"strings"

	"hopperbook/schemas/fault"
)

// Kind is how a receiver or switch is reached.
type Kind string

// The kinds; Own is a modem line of the receiver's own port.
const (
	Serial Kind = "serial"
	TCP    Kind = "tcp"
	UDP    Kind = "udp"
	File   Kind = "file"
	Stdin  Kind = "stdin"
	Own    Kind = "line"
)

// Line is a modem line of a serial port.
type Line string

// The lines a switch can be wired to.
const (
	CTS Line = "cts"
	DSR Line = "dsr"
	DCD Line = "dcd"
	RI  Line = "ri"
)

// DefaultBaud is the speed NMEA 0183 prescribes.
const DefaultBaud = 4800

// Address is where a receiver or switch is. The package comment has the syntax.
type Address struct {
	Kind    Kind
	Place   string  // the port's name, HOST:PORT, the file's path
	Baud    int     // serial
	Line    Line    // serial and Own, for a switch
	Speed   float64 // file: times real time; 0: as fast as possible
	Shifted bool    // file: the times as if it began now
	Invert  bool    // of a switch
}

// ParseReceiver reads the address of a GNSS receiver.
func ParseReceiver(s string) (Address, error) {
	a, err := parse(s)
	switch {
	case err != nil:
	case a.Kind == Own || a.Kind == Stdin:
		err = fmt.Errorf("%s: is no way to reach a receiver", a.Kind)
	case a.Line != "" || a.Invert:
		err = fmt.Errorf("line and invert belong to a switch")
	}
	return checked(a, err, "name the receiver like serial:///dev/ttyUSB0?baud=115200, tcp://HOST:PORT, udp://:10110 or file:PATH?speed=10")
}

// ParseSwitch reads the address of a spreading switch.
func ParseSwitch(s string) (Address, error) {
	a, err := parse(s)
	switch {
	case err != nil:
	case a.Kind == File:
		err = fmt.Errorf("a switch cannot be a file")
	case a.Kind == Serial && a.Line == "":
		err = fmt.Errorf("which line of the port is it? Add ?line=cts")
	}
	return checked(a, err, "name the switch like line:cts, serial:///dev/ttyUSB1?line=cts, tcp://HOST:PORT, udp://:10111 or stdin:")
}

func checked(a Address, err error, hint string) (Address, error) {
	if err != nil {
		return Address{}, fault.New("read the address", fault.Usage, err, hint)
	}
	return a, nil
}

func parse(s string) (Address, error) {
	kind, rest, _ := strings.Cut(s, ":")
	place, query, _ := strings.Cut(rest, "?")
	a := Address{Kind: Kind(kind), Place: place}
	if strings.ContainsFunc(s, func(r rune) bool { return r < ' ' || r == 0x7f || r == '\uFFFD' }) {
		return a, fmt.Errorf("%q holds characters that no address has", s)
	}
	switch a.Kind {
	case Serial:
		a.Baud = DefaultBaud
		a.Place = strings.TrimPrefix(place, "//")
	case TCP, UDP:
		a.Place = strings.TrimPrefix(place, "//")
		if err := hostPort(a); err != nil {
			return a, err
		}
	case File:
		a.Speed = 1
	case Own:
		a.Line, a.Place = Line(place), ""
		if !a.Line.known() {
			return a, fmt.Errorf("%q is no line: cts, dsr, dcd or ri", place)
		}
	case Stdin:
		if place != "" {
			return a, fmt.Errorf("stdin: takes no place")
		}
	default:
		return a, fmt.Errorf("%q is no address", s)
	}
	if a.Place == "" && (a.Kind == Serial || a.Kind == File) {
		return a, fmt.Errorf("%q does not say which %s", s, map[Kind]string{Serial: "port", File: "file"}[a.Kind])
	}
	return a, a.options(query)
}

func hostPort(a Address) error {
	host, port, err := net.SplitHostPort(a.Place)
	if err != nil {
		return fmt.Errorf("%q is no HOST:PORT", a.Place)
	}
	n, err := strconv.Atoi(port)
	if err != nil || n < 1 || n > 65535 {
		return fmt.Errorf("%q is no port from 1 to 65535", port)
	}
	if a.Kind == TCP && host == "" {
		return fmt.Errorf("%q does not name the host", a.Place)
	}
	return nil
}

func (a *Address) options(query string) error {
	values, err := url.ParseQuery(query)
	if err != nil {
		return fmt.Errorf("%q cannot be read", query)
	}
	for name, all := range values {
		if len(all) != 1 {
			return fmt.Errorf("%s stands twice", name)
		}
		if err := a.option(name, all[0]); err != nil {
			return err
		}
	}
	return nil
}

func (a *Address) option(name, value string) error {
	var err error
	ok := false
	switch {
	case name == "baud" && a.Kind == Serial:
		a.Baud, err = strconv.Atoi(value)
		ok = err == nil && a.Baud >= 300 && a.Baud <= 4_000_000
	case name == "line" && a.Kind == Serial:
		a.Line = Line(value)
		ok = a.Line.known()
	case name == "speed" && a.Kind == File && value == "max":
		a.Speed, ok = 0, true
	case name == "speed" && a.Kind == File:
		a.Speed, err = strconv.ParseFloat(value, 64)
		ok = err == nil && a.Speed >= 0.01 && a.Speed <= 1e6
	case name == "times" && a.Kind == File:
		a.Shifted = value == "shifted"
		ok = a.Shifted || value == "kept"
	case name == "invert" && a.Kind != File:
		a.Invert = value == "yes"
		ok = a.Invert || value == "no"
	default:
		return fmt.Errorf("%s: has no %q", a.Kind, name)
	}
	if !ok || math.IsNaN(a.Speed) {
		return fmt.Errorf("%q is no %s", value, name)
	}
	return nil
}

func (l Line) known() bool { return l == CTS || l == DSR || l == DCD || l == RI }

// String writes the address so that parsing it gives the same again.
func (a Address) String() string {
	var options []string
	add := func(is bool, option string) {
		if is {
			options = append(options, option)
		}
	}
	text := string(a.Kind) + ":"
	switch a.Kind {
	case Own:
		text += string(a.Line)
	case Serial, TCP, UDP:
		text += "//" + a.Place
	default:
		text += a.Place
	}
	add(a.Kind == Serial, "baud="+strconv.Itoa(a.Baud))
	add(a.Kind == Serial && a.Line != "", "line="+string(a.Line))
	add(a.Kind == File && a.Speed == 0, "speed=max")
	add(a.Kind == File && a.Speed != 0, "speed="+strconv.FormatFloat(a.Speed, 'g', -1, 64))
	add(a.Shifted, "times=shifted")
	add(a.Invert, "invert=yes")
	if len(options) > 0 {
		text += "?" + strings.Join(options, "&")
	}
	return text
}
