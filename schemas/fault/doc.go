// Package fault is the one error type of hopperbook.
//
// Owns: the codes, the table code -> exit status and code -> HTTP status, and
// the shape of a message that tells a person what to do.
//
// Does not own: logging, printing.
//
// Invariants: every Code has a row in the table; wrapping keeps the innermost
// code unless the outer call names one; an error that is no fault is Internal.
//
// Units and times: none.
package fault
