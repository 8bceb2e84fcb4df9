// Package storetest holds the conformance suite of ingest.Store and a fake
// store that is obviously right.
//
// Owns: what every store must do (Run), the fake (Fake), which is also the
// oracle the real store is compared with.
//
// Does not own: what only a file can get wrong (ingest/book's own tests).
//
// Invariants: Fake keeps plain maps and recomputes everything on each call;
// tests are seeded and do not read the clock.
//
// Units and times: UTC instants.
package storetest
