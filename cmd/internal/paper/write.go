package paper

import (
	"bytes"
	"errors"
	"io"
	"os"
	"syscall"

	"hopperbook/reports/render"
	"hopperbook/schemas/fault"
)

// Ready reports whether documents of that size can be drawn into the folder, and
// makes it where it is not there: so that nothing is issued first and refused
// then.
func Ready(dir string, size render.Paper) error {
	if err := render.CheckPaper(size); err != nil {
		return err
	}
	err := os.MkdirAll(dir, 0o755)
	if err == nil {
		var f *os.File
		if f, err = os.CreateTemp(dir, ".try-*"); err == nil {
			err = errors.Join(f.Close(), os.Remove(f.Name()))
		}
	}
	return unwritten("write into "+dir, err, "name a folder that can be made and written to")
}

// Write leaves no file behind that is not whole: it is drawn before it is made,
// and takes its name when it is written.
func Write(name string, draw func(io.Writer) error) error { return writeAs(name, 0o644, draw) }

// WriteSecret is Write for the owner's eyes alone.
func WriteSecret(name string, draw func(io.Writer) error) error { return writeAs(name, 0o600, draw) }

func writeAs(name string, mode os.FileMode, draw func(io.Writer) error) error {
	var b bytes.Buffer
	if err := draw(&b); err != nil {
		return fault.Wrap("draw "+name, err)
	}
	was, err := os.Stat(name)
	if err == nil && !was.Mode().IsRegular() { // a pipe, a terminal
		err = os.WriteFile(name, b.Bytes(), mode)
	} else {
		beside := name + ".new"
		if err = os.WriteFile(beside, b.Bytes(), mode); err == nil {
			err = os.Rename(beside, name)
		}
		if err != nil {
			_ = os.Remove(beside) // the first error is the one to tell
		}
	}
	return unwritten("write "+name, err, "name a file in a folder that exists and can be written to")
}

func unwritten(op string, err error, hint string) error {
	switch {
	case err == nil:
		return nil
	case errors.Is(err, syscall.ENOSPC):
		return fault.New(op, fault.Full, err, "make room on the disk, then do it again")
	}
	return fault.New(op, fault.Usage, err, hint)
}
