// Package reconcile works out, from events alone, what went on each field,
// with its uncertainty, and whether each machine is still on its calibration.
//
// Owns: putting the computations together: fixes to track, track to field and
// area, refills to balance intervals, intervals to field rates and flow
// ratios, flow ratios to drift and its likely causes; dockets, surveys, loads and what machines
// spread to stockpiles. The computations themselves stand in track, coverage,
// balance, drift and stock.
//
// Does not own: where events come from, how results are shown or stored.
//
// Invariants: pure: the same Input gives the same Result, byte for byte as
// JSON, whatever order its slices are in; no clock, no I/O, no randomness.
// Mass is conserved to the gram: what was loaded is on fields, outside them or
// left in a hopper.
//
// Units and times: kg, m2, m, kg/ha; UTC instants; 95 % intervals are the
// estimate plus and minus 1.96 standard uncertainties.
package reconcile
