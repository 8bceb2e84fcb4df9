package fault

import (
	"errors"
	"net/http"
	"strings"
)

// Code says what kind of thing went wrong; the zero value is Internal.
type Code uint8

// The codes. Each has one exit status and one HTTP status (see Exit, HTTP).
const (
	Internal    Code = iota // a fault of the program itself
	Usage                   // the command line or request is off
	Input                   // data was read but is not acceptable
	NotFound                // what was asked for is not in the book
	Conflict                // another fact with the same identity or against it, or a stale plan
	Held                    // another process has the book
	Unavailable             // hub or network does not answer
	TooNew                  // made by a newer version of the program
	Full                    // no room on the disk or in the stream
	Canceled                // stopped by the user
)

type row struct {
	name string
	exit int
	http int
}

// table gives every code its name and statuses; indexed by Code.
var table = [...]row{
	Internal:    {"internal", 1, http.StatusInternalServerError},
	Usage:       {"usage", 2, http.StatusBadRequest},
	Input:       {"input", 4, http.StatusUnprocessableEntity},
	NotFound:    {"not_found", 5, http.StatusNotFound},
	Conflict:    {"conflict", 6, http.StatusConflict},
	Held:        {"held", 7, http.StatusLocked},
	Unavailable: {"unavailable", 8, http.StatusServiceUnavailable},
	TooNew:      {"too_new", 9, http.StatusNotImplemented},
	Full:        {"full", 10, http.StatusInsufficientStorage},
	Canceled:    {"canceled", 130, 499},
}

func (c Code) row() row {
	if int(c) >= len(table) {
		return table[Internal]
	}
	return table[c]
}

// String is the code's wire name, snake_case.
func (c Code) String() string { return c.row().name }

// Exit is the process exit status of the code.
func (c Code) Exit() int { return c.row().exit }

// HTTP is the HTTP status of the code.
func (c Code) HTTP() int { return c.row().http }

// ParseCode is the inverse of Code.String; an unknown name is Internal.
func ParseCode(name string) Code {
	for i, r := range table {
		if r.name == name {
			return Code(i)
		}
	}
	return Internal
}

// Codes lists every code in order of its number.
func Codes() []Code {
	all := make([]Code, len(table))
	for i := range all {
		all[i] = Code(i)
	}
	return all
}

// Error is what every exported function of hopperbook returns when it fails.
type Error struct {
	Op   string // what was being done, a short phrase: "open the book"
	Code Code
	Hint string // what the user can do about it, one sentence; may be empty
	Err  error  // the cause; may be nil
}

// New makes an Error from a cause or from a plain phrase.
func New(op string, code Code, err error, hint string) *Error {
	return &Error{Op: op, Code: code, Hint: hint, Err: err}
}

// Newf makes an Error whose cause is a plain phrase.
func Newf(op string, code Code, cause, hint string) *Error {
	return New(op, code, errors.New(cause), hint)
}

// Wrap adds what was being done to err and keeps its code and hint. Wrap of nil is nil.
func Wrap(op string, err error) error {
	if err == nil {
		return nil
	}
	return &Error{Op: op, Code: CodeOf(err), Err: err}
}

// Error is "op: cause", outermost first, without the hints.
func (e *Error) Error() string {
	switch {
	case e.Err == nil:
		return e.Op
	case e.Op == "":
		return e.Err.Error()
	}
	return e.Op + ": " + e.Err.Error()
}

// Unwrap gives the cause to errors.Is and errors.As.
func (e *Error) Unwrap() error { return e.Err }

// CodeOf is the code of the outermost fault in err; Internal for other errors.
func CodeOf(err error) Code {
	var f *Error
	if errors.As(err, &f) {
		return f.Code
	}
	return Internal
}

// HintOf is the first hint found from the outside in; "" if none.
func HintOf(err error) string {
	for err != nil {
		var f *Error
		if !errors.As(err, &f) {
			return ""
		}
		if f.Hint != "" {
			return f.Hint
		}
		err = f.Err
	}
	return ""
}

// Message is the text for a person: the error and, on a second line, what to do.
func Message(err error) string {
	var b strings.Builder
	b.WriteString(err.Error())
	if h := HintOf(err); h != "" {
		b.WriteString("\n  ")
		b.WriteString(h)
	}
	return b.String()
}
