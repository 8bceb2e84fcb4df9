// Package render draws view models: plain text for a terminal, CSV.
//
// Owns: alignment, CSV form (RFC 4180). Does not own: what is shown (reports).
//
// Invariants: a text table has one line a row and no colour; CSV text that a
// spreadsheet would take for a formula is quoted with an apostrophe.
//
// Units: none of its own.
package render
