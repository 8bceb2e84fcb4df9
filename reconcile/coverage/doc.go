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
// bisector, whose outer tip is set so that the area is that of rectangles and sector; in a sharper one a fan of
// bars sweeps the sector, in one above 37 degrees the sector is a shape of its own (arc.go). Segments that stay within 0.1 %
// of the bout width, and 4e-5 of the side of a square as large as what is covered, of a straight line become one
// quadrilateral as much wider as the wiggle is longer, so that its area is theirs.
//
// Shapes are filed by tiles, 3.5 bouts wide and at most 81 m high (tiles.go: 0.2 of that square's side).
// A tile is worked out by itself (work.go): lines across the driving are cut exactly with the shapes, one sweep over the sorted
// ends counts visits and clips with the fences (line.go, zones.go). Between the heights at which something ends
// (bars at the ends of pieces, sides lying along the lines, fences, circles) lengths are nearly linear in v. So the tile is cut into
// sections there, and a section is added up by the lines at its two ends and in its middle. Where these three
// bend by more than a tolerance, or the area changes by so much that they may agree by chance, the middle line is asked what
// it says of both ends (moves.go): the sides and circles that cut it go on, and what lies between them stays what it is. Where the ends
// bear that out, circles are added up exactly; else its halves follow, with one line
// more each. Sections too thin to matter have no middle line; heights closer than that to both neighbours are left out.
//
// Sums are kept as whole 1e-8 m2, so they do not depend on the order of tiles or batches. A late batch
// is filed with its tiles; they, and those within 2.5 bouts of where it joins what was there, are worked out again.
// Frame and tiles are chosen by the first segments, anew while they double up to 4096.
//
// The area of the ground is worked out from its sides alone, layer by layer between their ends (ground.go).
//
// # Error
//
// ErrorM2 is an estimate of all areas' error, not a bound: three standard deviations from how much lines
// bend, 5e-6 of the swath, and 0.5 % of the square of each sector's radius. Covered area beside GEOS on 200 seeded fields of 0.5 to 1.7 ha, rough
// receivers among them: at most 6.3e-5 apart, none by more than ErrorM2. Half of it is straightening, half the lines. Circles are taken for chords
// where they cross other sides in a section, always to the same side: on 150 ha with 135 turns 0.2 % of what was covered twice, which
// is what the sectors' share of ErrorM2 is for. Refining stops at about 1000 lines a tile.
//
// # Cost
//
// Measured with the benchmarks here on one core of a shared machine whose speed drifts, lowest to highest of nine runs beside
// others' work (BenchmarkMeasure; BenchmarkBesideGEOS, in one run with GEOS 3.11; a bout of 18 m, RTK noise). The fastest preparation
// for GEOS is buffers of simplified pieces of the path:
//
//	                         5 ha              40 ha              150 ha
//	                    1 Hz      5 Hz     1 Hz      5 Hz      1 Hz    5 Hz
//	million fixes/s  2.2-3.2  6.9-12.4  6.3-9.3  14.4-20.9  5.2-11.0   15-23
//	x GEOS, quads    176-267      974+     693+      2744+     1370+
//	x GEOS, fastest    11-17     39-67    54-88    106-134    79-142
//
// What bounds it: at 5 Hz reading the segments (27 to 37 ns each); at 1 Hz and on small fields the lines in
// tiles where passes end: 0.4 us each, some 330 of them and 80 forecasts on 5 ha, 700 on 40, 1700 on 150, whatever the fixes. A pass log of 60 fixes
// that comes late costs about 0.1 ms on 40 and on 150 ha, 0.2 on 5.
//
// O(n) to lay n segments in order, then 3 lines a tile of 63 by 81 m where driving is
// straight, more where pieces end. n segments all on
// one place cost O(n log n). Memory: 40 bytes a bar (0.03 to 1 a segment) and about 150 a tile; none is
// allocated for a field that is not larger than those a Cover saw before.
//
// Invariants: the same set of segments in any order gives Measure the same bits;
// CoveredM2 + MissedM2 = BoundaryM2 - ExclusionM2; Overlap2M2 + Overlap3M2 <=
// CoveredM2. The sum of the classes times their count is not SwathM2: folds and sectors differ.
//
// Units: metres on one plane, m2. No times; StartM orders the drive.
package coverage
