// Package unit holds the exact factors between the units of the trade and
// the units inside the code, and the rate arithmetic every part shares.
//
// Owns: factors, rate identities, plain notation of a figure. Does not own:
// rounding for documents, which unit is shown.
//
// Invariants: a rate is never infinite or NaN where there is an error to give;
// the metric and the customary route give the same kg/ha.
//
// Units inside the code: kg, m, m2, s, kg/ha; km/h only at the edges.
// Factors are exact by definition (international pound, foot, acre, mile,
// nautical mile).
package unit
