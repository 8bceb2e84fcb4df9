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
// Violation that names the JSON pointer and the rule. Data that Read accepts
// always decodes as its Go type, and is accepted by the JSON Schema of its
// type; what Read refuses and a JSON Schema cannot is listed at JSONSchema.
// Numbers are float64: digits beyond its precision do not count.
//
// Units and times: kg, m, mm, m3, kg/m3, kg/ha, km/h, degrees WGS84; times
// are RFC 3339 UTC instants of the years 1900 to 2200, without leap seconds.
//
// The files in json and asyncapi.json are made by go generate ./schemas from
// the same struct tags; a test fails when they differ.
package schemas

//go:generate go run hopperbook/schemas/internal/generate .
