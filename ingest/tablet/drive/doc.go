// Package drive makes pass logs of what the receiver says.
//
// Owns: which fixes are good enough, whether the machine spreads at each of
// them and what said so, thinning while it stands, where one pass log ends and
// the next begins, drafts that survive a power cut, and counting every fix
// that is in no log.
//
// Does not own: the receiver (ingest/gnss/feed), job, setting and field in
// force (ingest/tablet), the disk (ingest/outbox), judging the track
// (reconcile/track).
//
// What says whether product leaves, the first that speaks: the operator's
// hand; the switch, while it is heard; the rule of speed and field: a job is
// started, the position lies in a field, the speed is between Config.MinKmh
// and Config.MaxKmh, and the hopper is not known to be empty. The field is the
// one of the fix before: at 1 Hz and 15 km/h 4 m late.
//
// Invariants: every fix handed in is in a pass log, is held for one, or is
// counted as left out (Counts); a pass log has one job, field, bout width and
// marker, and set rates for all fixes or none; what a power cut takes is at
// most 2 s of driving (a draft at least every second, looked after four times
// a second, and the epoch that the decoder still holds); a draft becomes an
// event at most once, because both change in one transaction of the store.
//
// Units and times: km/h, degrees; fixes carry GNSS time; Config.Now is asked
// only for how long ago something was.
package drive
