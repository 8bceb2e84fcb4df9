// Package rules tests the house rules a machine can check: who imports whom,
// a doc.go in every package, no init functions, and the tripwires on the
// length of files and functions.
//
// Owns: these tests. Does not own: gofmt, vet and staticcheck, which the test
// script runs.
//
// Invariants: a rule is broken only with a written reason beside it (a
// comment line "tripwire: <reason>" in the file or on the function).
//
// Units: lines.
package rules
