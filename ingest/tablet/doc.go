// Package tablet is the agent in the cab: what the operator does becomes
// events on the tablet's own disk, what the page shows is folded from them.
//
// Owns: the commands of the operator, the view, the fold of events and office
// copies that the view is made from.
//
// Does not own: the disk (ingest/outbox), the link to the hub (ingest/link),
// the receiver (ingest/gnss/feed), the page (ingest/tablet/page), the
// arithmetic of tests (reconcile, wired by cmd).
//
// Invariants: a command is confirmed when its event is on the disk, not
// before; nothing is deleted, an entry is taken back by an amendment; it works
// the same without a link.
//
// Units and times: kg, m, m2, km/h; instants in UTC, from the receiver where
// it has one.
package tablet
