package feed

import (
	"testing"

	"hopperbook/schemas/fault"
)

func TestReceiverAddresses(t *testing.T) {
	for _, c := range []struct {
		text string
		want Address
	}{
		{"serial:///dev/ttyUSB0?baud=115200", Address{Kind: Serial, Place: "/dev/ttyUSB0", Baud: 115200}},
		{"serial:///dev/ttyACM0", Address{Kind: Serial, Place: "/dev/ttyACM0", Baud: 4800}},
		{"serial://COM3?baud=38400", Address{Kind: Serial, Place: "COM3", Baud: 38400}},
		{`serial://\\.\COM12`, Address{Kind: Serial, Place: `\\.\COM12`, Baud: 4800}},
		{"tcp://192.0.2.7:2947", Address{Kind: TCP, Place: "192.0.2.7:2947"}},
		{"tcp://[2001:db8::1]:10110", Address{Kind: TCP, Place: "[2001:db8::1]:10110"}},
		{"udp://:10110", Address{Kind: UDP, Place: ":10110"}},
		{"udp://127.0.0.1:10110", Address{Kind: UDP, Place: "127.0.0.1:10110"}},
		{"file:day.nmea", Address{Kind: File, Place: "day.nmea", Speed: 1}},
		{"file:/logs/my day.nmea?speed=10&times=shifted", Address{Kind: File, Place: "/logs/my day.nmea", Speed: 10, Shifted: true}},
		{"file:day.nmea?speed=max", Address{Kind: File, Place: "day.nmea"}},
		{`file:C:\logs\day.nmea?times=kept`, Address{Kind: File, Place: `C:\logs\day.nmea`, Speed: 1}},
	} {
		got, err := ParseReceiver(c.text)
		if err != nil || got != c.want {
			t.Errorf("%s: got %+v, %v", c.text, got, err)
		}
	}
	for _, text := range []string{"", "gps", "/dev/ttyUSB0", "serial:", "serial://", "serial:///dev/x?baud=12", "serial:///dev/x?baud=9600&baud=4800",
		"serial:///dev/x?line=cts", "serial:///dev/x?speed=2", "tcp://:10110", "tcp://host", "tcp://host:0", "tcp://host:70000", "tcp://host:nmea",
		"udp://", "file:", "file:a?speed=0", "file:a?speed=-1", "file:a?speed=NaN", "file:a?speed=Inf", "file:a?times=now", "line:cts", "stdin:", "http://host:80",
		"udp://:1?invert=yes", "file:a\nb", "file:a?%zz"} {
		if got, err := ParseReceiver(text); err == nil {
			t.Errorf("%q: got %+v, want a refusal", text, got)
		} else if fault.CodeOf(err) != fault.Usage || fault.HintOf(err) == "" {
			t.Errorf("%q: %v has no hint or code", text, err)
		}
	}
}

func TestSwitchAddresses(t *testing.T) {
	for _, c := range []struct {
		text string
		want Address
	}{
		{"line:cts", Address{Kind: Own, Line: CTS}},
		{"line:dcd?invert=yes", Address{Kind: Own, Line: DCD, Invert: true}},
		{"serial:///dev/ttyUSB1?line=dsr", Address{Kind: Serial, Place: "/dev/ttyUSB1", Baud: 4800, Line: DSR}},
		{"udp://:10111?invert=no", Address{Kind: UDP, Place: ":10111"}},
		{"tcp://192.0.2.7:10111", Address{Kind: TCP, Place: "192.0.2.7:10111"}},
		{"stdin:", Address{Kind: Stdin}},
	} {
		got, err := ParseSwitch(c.text)
		if err != nil || got != c.want {
			t.Errorf("%s: got %+v, %v", c.text, got, err)
		}
	}
	for _, text := range []string{"line:", "line:rts", "line:CTS", "serial:///dev/ttyUSB1", "file:a", "stdin:x", "udp://:1?invert=maybe", "line:cts?baud=9600"} {
		if got, err := ParseSwitch(text); err == nil {
			t.Errorf("%q: got %+v, want a refusal", text, got)
		}
	}
}

// An address that can be read is written so that it reads the same.
func FuzzAddress(f *testing.F) {
	for _, seed := range []string{"serial:///dev/ttyUSB0?baud=115200", "serial://COM3?line=cts&invert=yes", "tcp://[::1]:1", "udp://:10110", "file:a?speed=0.5&times=shifted",
		"file:a?speed=max", "line:ri?invert=yes", "stdin:?invert=yes", "file:a%20b?speed=1e3", "tcp://a:01"} {
		f.Add(seed)
	}
	f.Fuzz(func(t *testing.T, text string) {
		for _, parse := range []func(string) (Address, error){ParseReceiver, ParseSwitch} {
			a, err := parse(text)
			if err != nil {
				continue
			}
			if again, err := parse(a.String()); err != nil || again != a {
				t.Errorf("%q is %+v, written %q, which reads %+v, %v", text, a, a.String(), again, err)
			}
		}
	})
}
