// Package office is how a command reaches the book: through a running hub, or
// by opening the book itself.
//
// Owns: finding the hub, running one (for the hub command, and inside a
// command when there is none), the wiring of bus, writer, book and desk.
//
// Does not own: what a question means (cmd/internal/desk), the bus
// (ingest/hub), the book (ingest/book), what is printed.
//
// Invariants: one process has the book at a time; who has it is named when it
// cannot be opened; what was started is ended.
//
// Units and times: none of its own.
package office
