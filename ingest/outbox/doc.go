// Package outbox is the tablet's durable outbox: one bbolt file that holds
// every event until the book has it.
//
// Owns: the file, the sequence (given inside the transaction that stores the
// event), the agent's snapshot and the drafts of pass logs, trimming by the
// book's mark, the limit and its warnings, the last entries for the page.
//
// Does not own: the link (ingest/link), what an event means (schemas), what
// the snapshot and a draft hold (ingest/tablet).
//
// Invariants: an event is confirmed when the transaction that holds it has
// been synced to the disk, never before; sequences are 1, 2, ... without a
// gap; nothing the hub would reject enters; a draft becomes an event at most
// once; only the book's mark takes an event away; what the disk has damaged is
// sent so that the hub keeps it as a reject, never as a fact.
//
// Units and times: sizes in bytes; instants in UTC. Config.Now is read for the
// rate of the last day only; the time of an event comes with it.
package outbox
