package paper

import (
	"errors"
	"io"
	"os"
	"path/filepath"
	"syscall"
	"testing"

	"hopperbook/reports/render"
	"hopperbook/schemas/fault"
)

// A file that cannot be drawn or written leaves the one that was there as it was,
// and nothing beside it.
func TestAFileIsWrittenWholeOrNotAtAll(t *testing.T) {
	dir := t.TempDir()
	name := filepath.Join(dir, "x.pdf")
	text := func(s string) func(io.Writer) error {
		return func(w io.Writer) error { _, err := io.WriteString(w, s); return err }
	}
	if err := Write(name, text("first")); err != nil {
		t.Fatal(err)
	}
	broken := errors.New("broken")
	if err := Write(name, func(w io.Writer) error { _ = text("half")(w); return broken }); !errors.Is(err, broken) {
		t.Error(err)
	}
	if err := Write(filepath.Join(dir, "none", "x.pdf"), text("x")); fault.CodeOf(err) != fault.Usage || fault.HintOf(err) == "" {
		t.Error(err)
	}
	if err := Write(dir, text("x")); fault.CodeOf(err) != fault.Usage {
		t.Error(err)
	}
	if raw, err := os.ReadFile(name); err != nil || string(raw) != "first" {
		t.Errorf("%q, %v", raw, err)
	}
	if err := Write(name, text("second")); err != nil {
		t.Error(err)
	}
	if list, err := os.ReadDir(dir); err != nil || len(list) != 1 {
		t.Errorf("%v, %v", list, err)
	}
	if err := unwritten("write", &os.PathError{Op: "write", Err: syscall.ENOSPC}, ""); fault.CodeOf(err) != fault.Full {
		t.Error(err)
	}
}

// Before anything is issued it is known whether it can be drawn.
func TestReady(t *testing.T) {
	dir := t.TempDir()
	file := filepath.Join(dir, "file")
	if err := os.WriteFile(file, nil, 0o600); err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		dir  string
		size render.Paper
		ok   bool
	}{{filepath.Join(dir, "a", "b"), render.A4, true}, {dir, "a3", false}, {file, render.A4, false}, {filepath.Join(file, "x"), render.A4, false}} {
		if err := Ready(c.dir, c.size); (err == nil) != c.ok || err != nil && (fault.CodeOf(err) != fault.Usage || fault.HintOf(err) == "") {
			t.Errorf("%+v: %v", c, err)
		}
	}
	if list, err := os.ReadDir(filepath.Join(dir, "a", "b")); err != nil || len(list) != 0 {
		t.Errorf("left behind: %v, %v", list, err)
	}
}
