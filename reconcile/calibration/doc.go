// Package calibration works out the field tests of a spreader: what the
// product weighs, what the setting delivers, how evenly it lands.
//
// Owns: bulk density; the catch test and its calibrated flow; the gate
// scale's curve over several catch tests and the gate to set for a rate; the
// tray test (rate of each tray, symmetry, coefficient of variation over every
// bout width, widest bout width, what the shape asks for); the overlap test;
// the findings each of them calls for.
//
// Does not own: how tests reach the book (schemas, ingest), whether a machine
// left its calibration later (reconcile/drift), how results are shown
// (reports), any maker's chart.
//
// # Overlap of passes
//
// A tray stands for the strip of one tray spacing around its centre, so a
// pattern is a step function m(x) of the distance x to the right of the
// driving line. With bout width B the ground between two driving lines gets
//
//	round-and-round  y(x) = sum over p of m(x - p B),           period B
//	to-and-fro       y(x) = sum over p of m((-1)^p (x - p B)),  period 2 B
//
// every second pass of to-and-fro being driven the other way. The mean of y is
// S/B with S the integral of m, whatever the mode. The population variance is
// the integral of (y - mean)^2 over the period divided by the period, computed
// exactly from the edges of the steps; the sample variance is that times
// N/(N-1), N = period / spacing trays. Where B is a multiple of the spacing
// (and, to-and-fro, the row is laid symmetrically about the driving line) every
// y is constant over a tray, and both are the sums over the N trays of a
// period that the standards (ASABE S341, ISO 5690-1, EN 13739-2) take; between
// multiples it is the only rule that needs no choice of sampling points and
// keeps mean x bout width constant. CV = 100 s / mean. The sample divisor is
// the default; results name the one used.
//
// # Uncertainty
//
// The standard error of a mean of n repeats is s/sqrt(n); its 95 % half-width
// uses Student's t with n-1 degrees of freedom (t is 12.7 for two repeats: three
// or more are worth the walk). One reading alone has none.
//
// # Invariants
//
// Same input, same bytes; inputs are not changed; no NaN in a result (what is
// not known is left out); what cannot be computed is a fault.Input error that
// names the reading, what can be computed but not be trusted is a Finding.
//
// Units and times: kg, m, m2, s, kg/ha, kg/m3 and l for containers, g for
// trays, mm for gates, km/h for speeds, m/s for wind; no clock.
package calibration
