// Package season plays crews of spreaders and loaders at work and keeps the
// truth beside the events they would have made: for the demo, for benchmarks,
// and for tests that must know what really went on a field.
//
// Owns: the invented world (customers, fields, products, machines), driving,
// mass flow, measuring errors, faults to inject, the truth.
//
// Does not own: sending the events, reading them, reconciling them. It shares
// no code with reconcile, so that neither can hide the other's mistakes.
//
// All names, places and figures are invented; the fields lie at sea so that
// nobody's land is meant. Densities, rates, speeds and error sizes are common
// practice, no source.
//
// # Model
//
// True flow = set rate x bout width x true speed x true ratio. True ratio =
// error of the last catch test (constant until the next) x a slow random walk
// per tonne x faults. A catch test is made standing: it does not show slip.
// Product leaves the hopper by that flow until only what sticks is left; that
// is "empty". Where a product or a day ends with a little left, the operator
// runs it out on a lap already spread.
//
// Every stated standard uncertainty is the one the error was drawn with. A
// load is stated without the scale's own bias, which is one number a scale.
// An empty hopper is stated as 0 kg; what really sticks is folded to above
// zero, so that its root mean square is the stated value.
//
// Spreading is on only while the machine's centre is inside the field and not
// over its hole. A swath that reaches over the boundary throws its share
// outside; nothing else lands outside. Loaders keep up: no machine waits for
// another, and a loader is wherever it is needed.
//
// Besides the catch test a crew checks its machine, weighs the density and lays
// trays when it sets up for a product, and looks at the overlap after the first
// field. Nothing is the matter there, and nothing else depends on their chances.
// The trays' pattern overlaps to the even ground the truth is told of.
//
// # Invariants
//
// The same Config gives the same bytes (on one architecture: floating point
// may be fused elsewhere); each source counts 1, 2, ... without a gap, its
// times do not fall; every event keeps the contract of schemas; loaded =
// spread + left in hoppers to the gram, which Play checks.
//
// Units and times: kg, m, m2, kg/ha, km/h where the name says so, shares of 1;
// times are UTC. The clock is never read.
package season
