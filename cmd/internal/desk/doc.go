// Package desk answers the office's questions from an open book.
//
// Owns: which questions there are, what each means, turning the book's rows
// into the input of a reconciliation, keeping the result in the book and
// knowing when it is stale.
//
// Does not own: the book (ingest/book), the computations (reconcile), how an
// answer travels (ingest/hub) or is shown (reports).
//
// Invariants: an answer is JSON (events: JSON lines); a kept result is shown
// only while no event has come since; amendments are applied before anything
// is computed.
//
// Units and times: as in reconcile.
package desk
