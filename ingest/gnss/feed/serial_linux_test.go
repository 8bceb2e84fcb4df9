package feed

import (
	"bytes"
	"fmt"
	"os"
	"slices"
	"testing"

	"golang.org/x/sys/unix"
)

// pty opens a pseudo terminal: a serial port as far as the program can tell.
func pty(t *testing.T) (master *os.File, name string) {
	t.Helper()
	master, err := os.OpenFile("/dev/ptmx", os.O_RDWR|unix.O_NOCTTY, 0)
	if err != nil {
		t.Skipf("this system has no pseudo terminals: %v", err)
	}
	raw, err := master.SyscallConn()
	if err != nil {
		t.Fatal(err)
	}
	var n int
	err = raw.Control(func(fd uintptr) {
		if e := unix.IoctlSetPointerInt(int(fd), unix.TIOCSPTLCK, 0); e != nil {
			t.Fatal(e)
		}
		if n, err = unix.IoctlGetInt(int(fd), unix.TIOCGPTN); err != nil {
			t.Fatal(err)
		}
	})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = master.Close() })
	return master, fmt.Sprintf("/dev/pts/%d", n)
}

// The same log by a serial port that is unplugged in the middle of a sentence
// gives the fixes of the two parts.
func TestTheSameLogBySerialPort(t *testing.T) {
	log, want := recorded(t)
	h := newHeard()
	master, name := pty(t)
	stop := receive(t, Config{Address: address(t, "serial://"+name+"?baud=115200")}, h)
	h.until(t, "the port", func() bool { return h.last().State == Open })
	for part := range slices.Chunk(log, 700) {
		if _, err := master.Write(part); err != nil {
			t.Fatal(err)
		}
	}
	h.until(t, "all but the last fix", func() bool { return len(h.fixes) >= len(want)-1 })
	if _, err := master.Write(log[bytes.Index(log, []byte("$G")):][:40]); err != nil {
		t.Fatal(err)
	}
	_ = master.Close() // the cable is pulled out
	h.until(t, "the failure", func() bool { return h.last().State == Failed })
	if err := stop(); err != nil {
		t.Fatal(err)
	}
	if !same(h.fixes, want) {
		t.Errorf("got %d fixes of %d", len(h.fixes), len(want))
	}
	if last := h.last(); last.Problem == "" || last.Hint == "" {
		t.Errorf("status %+v", last)
	}
}
