// Package rating works out what is owed: an agreement's lines times what was
// measured, rounded as the agreement says.
//
// Owns: which agreement holds (Select, Named) and when is paid (Due), what a job's quantities come to
// under it (Rate), splitting a bill over two invoices (Split), taking one back
// (Credit), a bill as the data of an event and back (Fill, Issued), and the
// rules that every bill keeps (Bill.Check).
//
// Does not own: where quantities come from, who may be billed, numbers and
// dates of documents, how one is drawn (reports/invoice).
//
// # Roundings
//
// Four, each once, by the agreement's rule (half away from zero, or half to
// even): a line's quantity, to the agreement's decimals of t, ha, km or h; a
// line's amount, to the currency's minor digits (with a discount in percent:
// quantity x price x rest, so that it is rounded once, and the discount is
// what that leaves); the document's discount, per tax category and rate on the
// sum of its lines; the tax, per category and rate on what is left. Measured
// masses and areas come as float64 and are taken as the shortest decimal that
// reads back as the same float64; nothing else is ever a float. Sums of
// measured values are exact, and rounded after that.
//
// # Prices
//
// A step holds from its quantity on, itself included. Stepped: the whole
// quantity at the price of the step it reaches; the amount may then fall where
// the quantity rises over a step. Tiered: each slice at its own price, one line
// a slice. A discount never makes a line negative; an amount that is taken off
// a tiered line goes off its slices in order. A minimum is held against all
// lines less all discounts, before tax; what is missing is a line of its own.
// The document's discount is not taken off that line.
//
// # Invariants
//
// Pure. The order of Quantities' slices does not show. A quantity that was not
// measured is an error where a line needs it, never a zero. Every bill that
// leaves the package keeps the rules of Check (named after those of EN 16931):
// lines + tax = total, or nothing is issued. Credit(b) is the exact negative of
// b. Split differs from the whole by at most one minor unit a line.
//
// Cost: O(lines x (masses + areas) + slices).
//
// Units and times: kg, m2, km, h in; t, ha, km, h on bills; major units of an
// ISO 4217 currency; agreements are valid over half-open periods of UTC
// instants.
package rating
