// Package book is the book: one DuckDB file that holds every event as it came
// and the tables derived from the events.
//
// Owns: the file and its migrations, the one writer (Commit), deduplication
// by marks, quarantine, rejects and clock flags, the packed form of fixes,
// snapshot readers, Rebuild. It is the only package that links DuckDB.
//
// Does not own: the contract (schemas), the loop and its acknowledgements
// (ingest), geometry, money, rules of the trade.
//
// Invariants: a batch is in the book whole or not at all; an event is stored
// once per identity; bytes come back as they came; every typed table, pass_log
// and clock_flag can be dropped and made again from event and source; a reject
// is repaired exactly when an event with its identity is stored; head grows
// with every commit that changed something and with nothing else.
//
// Deduplication costs the same in an empty and in a large book: what was never
// seen is known from the marks in memory; only an identity the marks hold is
// looked up, by source and range, in a table without an index (zone maps of
// row groups prune it).
//
// Two files: hopperbook.duckdb is the book; hopperbook.lock is an empty DuckDB
// file that is opened first, so that a second process is refused, and a second
// Open in the same process shares one DuckDB instance instead of corrupting
// the file.
//
// Units and times: as the fields say; times are UTC instants, exact to the
// nanosecond (years 1900 to 2200 by the contract). Packed fixes keep 1e-9
// degrees, 1 ms, 0.001 km/h, 0.01 degrees of heading, 0.001 kg/ha, 0.001 m.
package book
