// Package schemas is the contract of hopperbook: every event type, its
// envelope, identity, subject and rules, and nothing that reads or writes.
//
// Owns: the Go types of all events (the one source), the rules read from
// their struct tags, the JSON Schemas and the AsyncAPI document generated
// from the same tags, NATS subjects, identifiers, the Fix.
//
// Does not own: storage, transport, geometry, money arithmetic of bills.
//
// Invariants: (Source, Sequence) identifies an event; field names are
// snake_case and end in their unit; unknown fields are kept and never an
// error; a wrong type, a value out of range or a missing required field is a
// Violation that names the JSON pointer and the rule.
//
// Units and times: kg, m, mm, m3, kg/m3, kg/ha, km/h, degrees WGS84; times
// are RFC 3339 UTC instants. The generated files are made by
// go generate ./schemas and a test fails when they differ.
package schemas

//go:generate go run hopperbook/schemas/internal/generate .
