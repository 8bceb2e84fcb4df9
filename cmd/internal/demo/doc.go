// Package demo plays a simulated week of an invented crew through the real
// pipeline and holds the result against the truth that only a simulation
// knows.
//
// Owns: how the tablets of the demo publish (each over its own connection, a
// late one afterwards), the comparison with the truth, its report.
//
// Does not own: the simulation (ingest/season), the pipeline
// (cmd/internal/office, ingest), the computations (reconcile).
//
// Invariants: no function is called past the bus: events go through NATS into
// the book, results come back as answers over NATS. All data is invented.
//
// Units and times: as in reconcile; sizes in percent.
package demo
