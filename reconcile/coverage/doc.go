// Package coverage measures what a field got: the union of swaths inside a
// boundary, what was covered twice and more often, what was missed and what was thrown outside.
//
// Owns: the outline of a swath, the rule for "covered again", the areas and their error estimate.
//
// Does not own: cleaning of fixes and swath lengths (track), the projection and
// its area error (plane; at most 2.5 ppm on a field 20 km across), where product lands across the
// bout: a swath is exactly one bout width wide.
//
// # What a swath is
//
// A bar one bout width long, square to the drive, swept along: a rectangle about
// each segment and, where a segment begins at the end of the one before, the sector of a circle
// that the outer half of the bar sweeps while it turns. A change of heading above 120 degrees is
// backing up or noise and sweeps nothing. Where the bout width changes the narrower one sweeps.
//
// # What counts as covered again
//
// A place is covered once by every visit. Segments that go on from each other are one run;
// within it a new visit begins when the machine has driven more than 1.5 bout widths since it
// last covered the place. Other runs (spreading was off between, a gap, another
// machine, another piece cut by the boundary) are other visits. So the inner fold of a turn is
// covered once, although it does get more product; seams between segments are never overlap;
// a return pass, a spiral or backing up over the own track are overlap, save the last
// 0.75 bout widths or so next to the turn itself, which count once. A machine that circles so
// tightly that it never leaves a place covers it once.
//
// # Method
//
// Lines are laid across the main direction of driving, one for every metre of the
// field and, between those, wherever the lengths found on neighbouring lines are not on a
// straight line. On a line every shape is an exact interval (a rectangle gives two linear
// inequalities in x each way, a sector a root and two more), intervals of neighbours in a run are joined
// where the drive hardly bends (within 26 degrees), and one sweep over the sorted ends counts visits and
// clips with the boundary (even-odd). Lengths are linear in y between vertices and crossings of
// outlines, so the trapezoid rule over the lines is exact but for the strips that hold one of these.
//
// Error: aimed at 5e-6 of the swath area; ErrorM2 is an estimate, not a bound: on
// 200 seeded tangled drives the covered area was off by at most 4e-5, once by more than
// ErrorM2 (1.3 times). Pieces shorter in y than a strip and seen by no line are missed: a run of one
// step below a metre. Refining stops at 300 lines a strip.
//
// Cost: O(n log n) for sorting, then for every line the shapes that reach into its
// strip. Memory: about 300 bytes a segment and 4 bytes for every strip a shape reaches into.
// Strips do not depend on each other: a later incremental form needs to redo only those a batch touches.
//
// Invariants: sums run in the order of strips, so the same set of segments in any
// order gives the same bits; CoveredM2 + MissedM2 = BoundaryM2; Overlap2M2 + Overlap3M2 <=
// CoveredM2. The sum of the classes times their count is not SwathM2: folds and sectors differ.
//
// Units: metres on one plane, m2. No times; StartM orders the drive.
package coverage
