// Package coverage measures what a field got: the union of swaths inside a
// boundary and outside exclusion areas, what was covered twice and more often, what was missed,
// thrown outside and spread where nothing should be.
//
// Owns: the outline of a swath, the rule for "covered again", the areas and their error
// estimate, coverage that grows batch by batch (Cover).
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
// The plane is turned so that v runs along the main direction of driving. A run becomes a row of
// bars; between two bars lies a quadrilateral (bars.go). In a slight turn neighbours share the bar on the
// bisector, whose outer tip is set so that the area is that of rectangles and sector; else a fan of
// bars sweeps the sector. Steps that stay within 0.05 % of the bout width, or 0.6 % of a strip, of a straight line become one
// quadrilateral as much wider as the wiggle is longer, so that its area is theirs.
//
// Quadrilaterals are filed by tiles, 3.5 bouts wide and 27 strips high (tiles.go). A tile is worked out by itself
// (work.go): lines across the driving are cut exactly with the quadrilaterals, one sweep over the sorted ends
// counts visits and clips with the fences (line.go, zones.go). Between vertices and crossings lengths are linear in v, so the middle
// of a strip stands for it. Strips that hold the end of a piece, or sides lying along the lines, are
// cut where these begin and end, and further where three lines contradict one; a corner gives its strip a
// line of its own; else one line for nine strips is enough while lines bend by less than a tolerance, three for nine, or all.
// Strips are a 400th of the side of a square as large as what is covered, from 0.02 to 1 m.
//
// Sums are kept as whole 1e-8 m2, so they do not depend on the order of tiles or batches. A late batch
// is filed with its tiles; they, and those within 2.5 bouts of where it joins what was there, are worked out again.
// Frame and strips are chosen by the first segments, anew while they double up to 4096.
//
// The area of the ground is worked out from its sides alone, layer by layer between their ends (ground.go).
//
// # Error
//
// Aimed at 2e-5 of the area; ErrorM2 is an estimate of all areas' error, not a bound: three standard deviations from how much lines
// bend and three contradicted one, and 5e-6 of the swath. Covered area beside GEOS on 200 seeded fields of 0.5 to 1.7 ha, rough
// receivers among them: at most 3.7e-5 apart, none by more than ErrorM2. Refining stops at 400 lines a strip.
//
// # Cost
//
// Measured with the benchmarks here on one core of a shared machine (BenchmarkMeasure, and BenchmarkBesideGEOS in one run
// with GEOS 3.11; a bout of 18 m, RTK noise). The fastest preparation for GEOS is buffers of simplified pieces of the path:
//
//	                     5 ha          40 ha         150 ha
//	                 1 Hz   5 Hz    1 Hz   5 Hz    1 Hz   5 Hz
//	million fixes/s   1.0    2.2     2.8    7.4     4.2    8.4
//	in a slower hour  0.7    1.8     2.5    5.2     3.2    6.3
//	x GEOS, quads      54    270     380   1360     490
//	x GEOS, fastest     3      8      31     45      28
//
// What bounds it: at 5 Hz reading the segments (80 of 120 ns a fix on 150 ha); at 1 Hz and on small fields the lines through
// strips in which passes end, which do not grow with the fixes. A pass log of 60 fixes that comes late costs 0.1 ms on 40 and on 150 ha.
//
// O(n) to lay n segments in order, then about 4 lines a tile of 60 by 27 m where driving is
// straight, more where pieces end. n segments all on
// one place cost O(n log n). Memory: 40 bytes a bar (0.2 to 1 a segment) and about 150 a tile; none is
// allocated for a field that is not larger than those a Cover saw before.
//
// Invariants: the same set of segments in any order gives Measure the same bits;
// CoveredM2 + MissedM2 = BoundaryM2 - ExclusionM2; Overlap2M2 + Overlap3M2 <=
// CoveredM2. The sum of the classes times their count is not SwathM2: folds and sectors differ.
//
// Units: metres on one plane, m2. No times; StartM orders the drive.
package coverage
