// Package link is the tablet's side of the wire: enrolling with the hub,
// connecting to it, forwarding what the outbox holds, and fetching the copies
// of the office.
//
// Owns: the tablet's credentials and their file, the pinned CA, how often and
// how fast it tries, when an event counts as booked.
//
// Does not own: the hub's side (ingest/hub), the disk (ingest/outbox), what
// events mean (ingest/tablet).
//
// Invariants: the NKey's seed is made here and never leaves the tablet; no hub
// is spoken to but the one whose CA is pinned, except on this machine's own
// loopback; the tablet's clock decides nothing (it may be years off, and the
// dates of the hub's certificate are not looked at); what waits for a link waits in the outbox, nowhere else.
//
// Units and times: sizes in bytes, instants in UTC.
package link
