// Package calibration works out the field tests of a spreader: what the
// product weighs, what the setting delivers, how evenly it lands.
//
// Owns: bulk density; the catch test and its calibrated flow; the gate
// scale's curve over several catch tests and the gate to set for a rate; the
// tray test (rate of each tray, symmetry, coefficient of variation over every
// bout width, widest bout width, what the shape asks for); the overlap test;
// the findings each of them calls for; machine checks against limits that are
// data, and whether a failed one stands against starting a job; the calibration
// certificate and how long it holds.
//
// Does not own: how tests reach the book (schemas, ingest), whether a machine
// left its calibration later (reconcile/drift), what it has spread since
// (reconcile), how results are shown (reports), any maker's chart.
//
// # Overlap of passes
//
// m(x) is the catch of a tray x metres right of the driving line: what was
// weighed at the tray centres, straight between them, nothing from one spacing
// outside the row on. With bout width B the ground between driving lines gets
//
//	round-and-round  y(x) = sum over p of m(x - p B),           period B
//	to-and-fro       y(x) = sum over p of m((-1)^p (x - p B)),  period 2 B
//
// every second pass of to-and-fro being driven the other way. y is read at N
// trays a period, equally spaced: round-and-round N = B/spacing rounded to a
// whole number, to-and-fro twice that, standing to the driving line as the
// test's trays do (one on it, or the line half-way between two). CV = 100 s /
// mean of these N values, s with divisor N-1 (sample, the default) or N
// (population); results name the one used.
//
// Where B is a multiple of the spacing and the row is laid symmetrically, these
// are the sums over trays of the standards (ASABE S341, ISO 5690-1, EN 13739-2)
// and nothing is interpolated. Between multiples the trays of neighbouring passes
// would not meet; taking m as steps there makes saw teeth that no field has (a
// triangle 20 m wide has a CV of 0.8 % at 10.25 m, in steps of 1 m 4.6 %).
// The mean rate is total mass x spacing / B, whatever the mode.
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
