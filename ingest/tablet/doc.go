// Package tablet is the agent in the cab: what the operator does becomes
// events on the tablet's own disk, what the page shows is folded from them.
//
// Owns: the commands of the operator and their refusals, the view, the fold of
// the tablet's events beside the office's copies, the identifiers it makes, the
// time of its events, the estimate of hopper and rate, which field is near.
//
// Does not own: the disk (ingest/outbox), the link to the hub (ingest/link),
// the receiver (ingest/gnss/feed), which fixes are logged and how spreading is
// decided (ingest/tablet/drive), the page (ingest/tablet/page), the arithmetic
// of tests and the rule of a safe start (Rules: reconcile, wired by cmd).
//
// # Fold
//
// The state is a fold of the tablet's own events, in their order, and of what
// the operator chose without an event (job picked, name, spreading by hand). A
// snapshot of it is kept in the transaction of each event; the office's copies
// are kept apart. Wherever a key-off lies, the view after it is the view
// before; a snapshot that is lost is made anew of the events still on the disk.
// Old entries are dropped when nothing hangs on them (see state.prune).
//
// # Hopper and rate
//
//	rate of a run  = (residual + loads - residual at the next reading) / swath area
//	flow ratio     = the office's verdict; else of the last three runs, by mass;
//	                 else 1. Neither counts from before the last catch test or
//	                 change of gate, gear, PTO speed or discs
//	hopper         = last residual read + loads since - flow ratio x nominal mass since,
//	                 never below empty at any refill
//
// Refills whose residual was not read lie within a run; a run that holds two
// products says nothing, nor does one over less than 0.1 ha or with a flow ratio
// beyond 3 or below 1/3 (common practice, no source). Swath area and nominal mass are
// counted from pass logs, then from the fixes that no log has yet; fixes are
// joined by the rules of reconcile/track. Against simulated crews with a known
// truth nominal mass is within 0.2 % in all and 1.5 % of a single run at 1 Hz.
//
// # Invariants
//
// A command is confirmed when its event is on the disk, not before; one that is
// refused leaves no trace. Nothing is deleted: an entry is taken back by an
// amendment, once, within a day. What is not plausible is asked, never blocked;
// what breaks the contract is refused, never made. It works the same without a
// link, without the office's copies and without a receiver. Identifiers hold
// device, local day and a number that never repeats. The times of this tablet's
// events rise.
//
// A load and a refill carry members the contract does not know and keeps: for
// (the spreader a load is for), told_kg (mass that others weighed, for the
// tablet's own estimate), told_residual_kg and told_residual_method. A refill
// that the loader's tablet books too is noted here without a reading: beside
// the other event's time a residual on its wrong side would empty the hopper in
// the books.
//
// Units and times: kg, m, m2, km/h; instants in UTC, from the receiver where
// it has one, else from the device's clock, in milliseconds.
package tablet
