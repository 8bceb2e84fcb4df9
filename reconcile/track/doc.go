// Package track turns the fixes of one machine into the ground it drove over:
// ordered segments with length, bout width, set rate and spreading state, and
// findings about everything in the log that was not as it should be.
//
// Owns: ordering, dropping and joining of fixes; distance; nominal mass and
// swath area of a segment; which field a piece of a segment lies in, by the
// field's boundary; sharing segments between periods.
//
// Does not own: the union of swaths (coverage), the mass balance, what the
// operator said the field was, settings (the caller writes bout width and set rate into the fixes).
//
// Rules:
//   - A fix at (0, 0), without a fix quality or outside the globe is dropped; of several
//     fixes with one time the first in a fixed order of all their values is kept.
//   - Neighbouring fixes further apart than MaxGapS, or that ask for more than
//     MaxSpeedKmh (with a metre for the noise of two positions), are not joined.
//   - A fix nearer than MinMoveM to the start of the segment under way does not end
//     it: a machine that stands still covers nothing however long it is logged. It does
//     hand on its state, so a state may begin up to MinMoveM early or late and
//     the end of a line may lose as much.
//   - A segment has the state of the fix it begins with.
//   - Where a log does not say whether product was leaving, driving between
//     InferFromKmh and InferToKmh counts as spreading, and the segment says so.
//
// Invariants: the same set of fixes in any order gives the same segments, and
// the same findings but for out_of_order; a repeated fix changes nothing but the count of duplicates.
// Pieces cut from a segment share its ends exactly and add up to it. Line numbers rise from
// 0, with holes where a fix stood alone; inside a line each segment begins where the one before ended.
//
// Error: lengths are right to 1e-9 relative for the given positions (plane.DistanceM), anywhere, as
// there is no common origin. Noise of the positions lengthens a track: independent noise of
// sigma across steps of length d by about (sigma/d)² relative, which is why slow logs at
// high frequency want a larger MinMoveM.
// A boundary crossing is found on the field's own plane, within 0.1 mm for steps of 100 m.
//
// Units and times: metres, kg/ha, kg, degrees WGS84; Unix milliseconds UTC; periods half-open.
package track
