// Package gnss reads what a GNSS receiver sends, NMEA 0183, as fixes.
//
// Owns: finding sentences in a byte stream (a file, a serial port), their
// checksum, the four sentences GGA, RMC, VTG and ZDA, putting those of one
// epoch together, dating it, and counting all that could not be used.
//
// Does not own: opening ports, other protocols (their bytes are skipped),
// judging a track (jumps, gaps, duplicates: reconcile/track), spreading state.
//
// Invariants: a fix comes only from sentences whose checksum is there and
// right; what is not used is counted in the Report; memory is bounded whatever
// the bytes (one sentence of at most 1024 bytes, at most 8192 undated fixes);
// how the bytes are cut into reads changes nothing.
//
// What makes a fix: the position of GGA (quality 1 to 8) or, without a GGA,
// of RMC (status A or D). Where either sentence of an epoch says "no fix"
// there is none; an empty quality or status says so too, and so do a satellite
// position (quality 1 to 5) from 0 satellites, which is a guess that wanders
// (hemi.log of the recorded logs), and 0°N 0°E, which receivers send from empty
// memory (common practice, no source). A GGA
// or RMC without a fix does not undo an earlier one of the same kind in the
// same epoch: some receivers send one GGA for each satellite system.
//
// Speed and course are those of RMC, else of VTG. VTG has no time of its own
// and belongs to the epoch that is open, or to the next when that has one.
//
// Units and times: degrees WGS84, km/h (1 knot = 1.852 km/h exactly), true
// course in degrees, Unix milliseconds UTC (rounded to the nearest). The date
// comes from RMC or ZDA of the same epoch; an epoch without one continues the
// one before: at most 1 h back and less than 23 h ahead, which carries over
// midnight. Before the first date fixes wait for it. The date of an epoch
// without a fix is not trusted: receivers make dates up until they have one.
// Two-digit years 80 to 99 are 19xx, 00 to 79 are 20xx.
//
// Sources: the sentence layouts are those in the comments of gpsd 3.22,
// drivers/driver_nmea0183.c (BSD-2-Clause), and the tests read its recorded
// receiver logs.
package gnss
