package book

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"regexp"
	"slices"
	"strings"
	"syscall"

	duckdb "github.com/duckdb/duckdb-go/v2"
	"hopperbook/schemas/fault"
)

// DuckDB gives its I/O errors one type and no code; what happened stands only
// in the text. This file is the one place that reads it, and tests provoke the
// errors for real, so that a DuckDB that words them otherwise is noticed.

// holder matches the program and process that a refused lock names.
var holder = regexp.MustCompile(`(\S+) \(PID (\d+)\)`)

// explain makes a fault of what DuckDB or the file system said.
func (b *Book) explain(op string, err error) error {
	if err == nil {
		return nil
	}
	if f := (*fault.Error)(nil); errors.As(err, &f) {
		return fault.Wrap(op, err)
	}
	if errors.Is(err, context.Canceled) || errors.Is(err, context.DeadlineExceeded) {
		return fault.New(op, fault.Canceled, err, "")
	}
	text := err.Error()
	if containsAny(text, "Could not set lock on file", "used by another process", "already open in") {
		return b.held(op, text)
	}
	code, hint := fault.Internal, ""
	switch {
	case isFull(err):
		code, hint = fault.Full, "make room on the disk that holds "+b.dir+"; the book is whole and goes on once there is room"
	case containsAny(text, "we can only read versions"):
		code, hint = fault.TooNew, "update hopperbook; the book is not changed"
	case containsAny(text, "not a valid DuckDB database file", "Could not read enough bytes", "orrupt", "hecksum", "Serialization Error"):
		code, hint = fault.Input, "the file is damaged or not a book: keep a copy, restore "+b.path()+" from a backup, or move it away and publish the exported events into a new book"
	case errors.Is(err, fs.ErrPermission), containsAny(text, "Permission denied", "Read-only file system"):
		code, hint = fault.Input, "give this user the right to read and write "+b.dir
	}
	return fault.New(op, code, err, hint)
}

func (b *Book) held(op, text string) error {
	who := "another process"
	if m := holder.FindStringSubmatch(text); m != nil {
		who = fmt.Sprintf("process %s (%s)", m[2], m[1])
	}
	return fault.Newf(op, fault.Held, b.path()+" is held by "+who, "stop the hub, or run this command while the hub answers")
}

// isFull: no space, quota used up, or the file may not grow further. Inside
// DuckDB's text stands what the C library calls these, inside Go's errors what
// Go calls them.
func isFull(err error) bool {
	for _, full := range []error{syscall.ENOSPC, syscall.EDQUOT, syscall.EFBIG} {
		if errors.Is(err, full) || strings.Contains(strings.ToLower(err.Error()), full.Error()) {
			return true
		}
	}
	return containsAny(err.Error(), "ut of disk space", "Could not write all bytes")
}

func containsAny(text string, parts ...string) bool {
	return slices.ContainsFunc(parts, func(part string) bool { return strings.Contains(text, part) })
}

// isFatal: DuckDB has given the instance up; only opening anew helps.
func isFatal(err error) bool {
	var d *duckdb.Error
	return errors.As(err, &d) && (d.Type == duckdb.ErrorTypeFatal || strings.Contains(d.Msg, "database has been invalidated"))
}
