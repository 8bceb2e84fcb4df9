// Package clearance measures how far from an area product was spread: from the
// edge of the swaths to the nearest point of the area.
//
// Owns: the distance between swaths and a polygon.
//
// Does not own: swaths (coverage.FromTrack), the plane, which areas are
// compared with which passes, how far off a receiver may be (reconcile).
//
// # Method
//
// A swath is coverage's: a bar of one bout width swept along the drive, that
// is a rectangle about each segment and, where a segment goes on from the one
// before in a turn, the sector of a circle that the outer half of the bar
// sweeps. The distance of each to each side of the area is exact: a side is
// taken into the frame of the rectangle and cut with it, or cut with the wedge
// of the sector. Ground spread inside the area, or whose swath meets it, is at
// distance 0. What is thrown beyond the bout width is no part of a swath.
//
// Degenerate: segments without length sweep nothing; without a swath or a side
// there is no distance. A side without length is a point. Areas are read by the
// even-odd rule.
//
// Error: that of the plane (below 3 ppm within 10 km) and rounding (1e-9 m); a
// tip that coverage sets on the bisector of a slight turn stands up to 0.05 m
// off the circle used here.
//
// Cost: O(s e) for s segments and e sides, far less in fact: sides are taken
// from the nearest to the swaths' box on, and pairs whose boxes lie further
// apart than the nearest yet are left out.
//
// Invariants: the order of segments, sides and areas changes nothing; cutting a
// segment in two changes nothing beyond rounding; more swaths are never further.
//
// Units: metres on one plane. No times; StartM orders the drive.
package clearance
