// Package track turns the fixes of one machine into the ground it drove over:
// ordered segments with length, bout width, set rate and spreading state, and
// findings about everything in the log that was not as it should be.
//
// Owns: ordering, dropping and joining of fixes; distance; nominal mass and
// swath area of a segment; which field a piece of a segment lies in, by the
// field's boundary (an R-tree over all boundaries, Ground); sharing segments between periods.
//
// Does not own: the union of swaths (coverage), the mass balance, what the
// operator said the field was, settings (the caller writes bout width and set rate into the fixes).
//
// Rules:
//   - A fix at (0, 0), without a fix quality or outside the globe is dropped; of several
//     fixes with one time the first in a fixed order of all their values is kept.
//   - Neighbouring fixes further apart than MaxGapS, or that ask for more than
//     MaxSpeedKmh (with a metre for the noise of two positions), are not joined; but a single
//     fix off a track that goes on without it is dropped.
//   - A fix nearer than MinMoveM (RoughMoveM where it is not an RTK fixed one) to the start of the
//     segment under way does not end it: a machine that stands still covers nothing however
//     long it is logged. It does hand on its state. Where the swath begins, ends or
//     changes its width, and where a line ends, MinMoveM holds for every fix: a swath may begin or
//     end that much too early, and the end of a line may lose as much.
//   - A segment has the state of the fix it begins with.
//   - Where a log does not say whether product was leaving, driving between
//     InferFromKmh and InferToKmh counts as spreading, and the segment says so.
//   - Spreading on a radius below half the bout width is a finding (see tightTurns), as is
//     spreading for 10 m or more outside every field (OutsideFields).
//
// Invariants: the same set of fixes in any order gives the same segments, and
// the same findings but for out_of_order; a repeated fix changes nothing but the count of duplicates.
// Pieces cut from a segment share its ends exactly and add up to it. Line numbers rise from
// 0, with holes where a fix stood alone; inside a line each segment begins where the one before ended.
// Ground.Split gives what a scan over all fields gives.
//
// Error: lengths are right to 1e-9 relative for the given positions (plane.DistanceM), anywhere, as
// there is no common origin. Noise of the positions lengthens a track: independent noise of
// sigma across steps of length d by about (sigma/d)² relative. Measured on simulated seasons
// (ingest/season, spread distance against the truth, all fixes joined from 0.3 m on and as it is):
//
//	receiver                        1 Hz             5 Hz             10 Hz
//	0.02 m, correlated, RTK     0.06 %  0.06 %   0.02 %  0.02 %   0.00 %  0.00 %
//	0.3 m, correlated           0.06 %  0.06 %   0.03 %  0.00 %   0.07 %  0.01 %
//	1 m, correlated             0.08 %  0.08 %   0.21 %  0.03 %   0.63 %  0.04 %
//	and 0.1 m independent       0.17 %  0.17 %   2.31 %  0.21 %   6.51 %  0.26 %
//
// The 0.06 % at 1 Hz is there without noise too. Steps longer than 2 m would gain
// little more and cut curves: a chord of 2 m on a radius of 10 m stands 5 cm off.
// A boundary crossing is found on the field's own plane, within 0.1 mm for steps of 100 m.
//
// Cost: Clean O(n log n), in order O(n). Split is O(n log sides) where boundaries are drawn finely;
// what is left is the sides a line eastwards crosses. Beside n = 20 000 a fix costs the same at
// 200 000 within the noise of the machine, 0.2 to 1 us (BenchmarkUglyDrives: circling on 3 m, standing for hours at 5 Hz with and
// without noise, one time a thousand times, backwards, jumps and gaps at every fix); a boundary of 200 000 sides
// costs a segment 1.5 us where one of 200 costs 0.8 (BenchmarkDetailedBoundary).
//
// Units and times: metres, kg/ha, kg, degrees WGS84; Unix milliseconds UTC; periods half-open.
package track
