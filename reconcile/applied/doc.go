// Package applied works out where the product landed: the transverse pattern
// of the machine laid along its passes, as kg/ha on a grid of square cells.
//
// Owns: the pattern (from a tray test or assumed), the direction it is laid
// in, the share of it that each cell gets, the figures of the map.
//
// Does not own: how much was spread on a piece of driving (balance), cleaning
// of fixes (track), the area covered (coverage), drawing and files (reports/render).
//
// # Method
//
// The machine carries a bar square to its heading, from the left end of
// the pattern to its right end. Between two fixes the bar sweeps a piece of
// ground, cut across into lanes at most half a cell wide; every lane gets the piece's mass times its share of the
// pattern, even over the quadrilateral that its part of the bar sweeps. In a
// turn the outer lanes are therefore longer and thinner, the inner ones shorter
// and denser, and nothing is left out between two pieces. Where the turn is so sharp that a lane folds over itself, it is laid as its
// four triangles, and what has no area goes into the cell it lies in.
//
// The heading at a fix is the direction from 2 m behind it to 2 m
// ahead of it on the track, so that the noise of single fixes does not swing the ends of
// the bar (own choice, no source); at the ends of a run it looks one way only. A
// change of direction above 120 degrees between two pieces ends a run.
//
// Lanes are laid by signed areas: each side of a lane adds to the cells of a
// row what it takes away from those to its right, and one running sum over the row gives the exact share of every
// cell. Cost: O(sides of lanes x cells they cross + cells); memory: 17 bytes a
// cell of the box around field and passes, at most MaxCells of them.
//
// # What is assumed
//
// Without a tray test the pattern is even across the bout width, as in
// coverage: it invents nothing about the machine, and makes every overlap and miss sharper
// than a real pattern with sloping sides does. With one, the density is straight
// between the middles of the trays and falls to nothing one tray spacing beyond
// the outermost, so that each tray stands for its spacing. A pattern keeps its
// width in metres whatever the bout width. Product lands on the bar: how far behind the
// machine it is thrown, and how long its trace is along the drive, is not known and left
// out, and the antenna is taken to be on the bar. Driving is taken as forwards: while
// backing up left and right would be swapped.
//
// A cell belongs to the field when its centre does (even-odd rule), and holds what landed on all of it: where
// spreading stops at the boundary, cells across it look thin, the more the larger they are.
//
// Exclusion areas are no part of the target: their cells are in no figure, and what landed
// on them is told apart from what landed outside the field.
//
// Invariants: mass in cells of the target + in exclusion areas + outside = mass spread, to 1e-9
// relative, or Lay fails; a piece cut in two gives the same map but
// for rounding and for the heading next to a cut that its caller hides; no cell is below zero unless a mass is;
// the order of pieces changes the map by rounding only, the same order gives the same bits.
//
// Error: exact for the lanes it lays; a lane stands for its part of the
// pattern, which moves mass by at most a quarter of a cell. Single cells next to the pivot of a turn
// are as uncertain as the heading is.
//
// Units: metres on the field's plane, kg, kg/ha. No times.
package applied
