package outbox

import (
	"errors"
	"io/fs"
	"slices"
	"strings"

	berrors "go.etcd.io/bbolt/errors"

	"hopperbook/schemas/fault"
)

const hintFull = "make room on the tablet's disk, or bring it to a link so that the office takes what waits; nothing confirmed is lost, and it goes on once there is room"

// explain makes a fault of what bbolt or the file system said; nil of nil.
func explain(op string, err error) error {
	var f *fault.Error
	switch {
	case err == nil:
		return nil
	case errors.As(err, &f):
		return fault.Wrap(op, err)
	case isFull(err):
		return fault.New(op, fault.Full, err, hintFull)
	case errors.Is(err, berrors.ErrTimeout):
		return fault.New(op, fault.Held, err, "another hopperbook-tablet has the outbox open: stop it first")
	case errors.Is(err, berrors.ErrInvalid), errors.Is(err, berrors.ErrVersionMismatch), errors.Is(err, berrors.ErrChecksum):
		return fault.New(op, fault.Input, err, "the file is damaged or not an outbox: keep a copy of it and move it away, a new one is made")
	case errors.Is(err, fs.ErrPermission), errors.Is(err, fs.ErrNotExist):
		return fault.New(op, fault.Usage, err, "name a folder that is there and that this user may write")
	}
	return fault.New(op, fault.Internal, err, "restart the tablet; when it stays, keep a copy of the outbox and ask for help")
}

// isFull: no room, quota used up, or the file may not grow further. Where
// bbolt grows its file it keeps only the text of the error, so the text is
// looked at too; a test provokes it for real.
func isFull(err error) bool {
	return slices.ContainsFunc(fullErrors(), func(full error) bool {
		return errors.Is(err, full) || strings.Contains(err.Error(), full.Error())
	})
}
