// Command hopperbook-tablet is the program in the cab: the operator's page,
// the receiver, the durable outbox and the link to the office.
//
// Owns: flags, help, what goes to stdout and stderr, exit statuses; one file a
// command.
//
// Does not own: any logic; see cmd/internal/cab and ingest.
//
// Invariants: it builds without cgo for linux, windows and android and holds
// neither DuckDB nor a NATS server; data goes to stdout, everything else to
// stderr.
//
// Units and times: SI and UTC.
package main
