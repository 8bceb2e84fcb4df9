// Package balance is the mass balance of one machine: what each balance
// interval spread, what of it went on each field, what is in the hopper now and
// how it flows, and how sure that is.
//
// Owns: the chain of balance intervals from refills, loads and residuals; the
// state space of hopper and flow ratio, its filter and smoother; how the flow
// wanders, learned from the readings; the split of an interval over fields;
// every mass as a linear form in independent errors (Form), so that variances
// and covariances within and across machines are exact.
//
// Does not own: tracks and nominal mass (reconcile/track), areas and rates
// (reconcile/coverage), whether a flow ratio means drift (reconcile/drift),
// stock (reconcile/stock).
//
// # Model
//
// State: mass in the hopper, flow ratio, one relative bias per scale. A load
// adds its net mass, wrong by its own error and its scale's bias. Nominal mass
// n takes the integral of the flow ratio over n out of the hopper: a random
// walk plus white noise, both defined on nominal mass itself, so that it does
// not matter where passes and refills cut it. A residual read is the hopper's
// mass with an error; one not read is no measurement. A catch test, another
// product and another setting release the flow ratio: 1 +- 10 % (common
// practice, no source). The first residual, and one at a change of product,
// when not read is taken as empty with a large standard uncertainty, and a
// Finding says so. All errors are independent normals, each with a key (Term).
//
// The filter (live: Ratio, Innovation, open intervals) and the smoother (Level,
// Part.LeftKg) are this model as it stands. A reading after which next to
// nothing is gone though the machine drove, or mass is gone without a pass,
// sets the hopper and says nothing of the flow.
//
// The record (masses of closed intervals and fields) is the smoother of the
// same model with the flow ratio released at every reading. Its solution has a
// closed form: mass = residual at its start + loads - residual at its end, and
// within an interval by nominal mass. Nominal mass shares what went out between
// two readings, also over refills whose residual was not read (Parts), and never
// says how much it was. Weighing it in was tried: intervals 0.64 times as wide
// while the flow wanders as it did, but where it jumps, which is what drift looks
// for, the loads near are pulled to the wrong side: around a step of 12 % their
// 95 % intervals held the truth in 86 % (the record's: in 95 %), and a field
// would be charged for mass that no scale has seen.
//
// The split has an error of its own: the masses of pieces about their nominal
// share have the covariances of the integrals above, less what all share. A
// residual closes one interval and opens the next, so a field served by both
// carries the difference of its two shares as coefficient: a field that takes
// both whole does not feel that reading at all.
//
// An open interval (the last one, and passes before the first refill) has no
// closing reading: its mass is what the filter expects, as a normal truncated
// to what the hopper can have given. Its Form holds the filter's derivative by
// every reading and load, so that it is covariant with the rest.
//
// How the flow wanders (natural spread from load to load, walk) is stated, or
// learned: the two variances' means over their likelihood between bounds, the
// defaults counted as one reading each; the defaults where fewer than four
// readings say something (learn.go).
//
// # How right
//
// 3 000 seasons played without the model over noise (0.4, 1, 2 of the defaults)
// x empties (0.1, 0.5, 0.9) x missing residuals (0, 0.15, 0.5): 95 % intervals
// hold the truth, in percent over all and least and most of the 27 cells
// (TestIntervalsHoldTheTruth prints every cell):
//
//	field mass            95.2   93.0 to 97.3
//	flow ratio, interval  95.6   94.0 to 97.6
//	mass of a part        94.4   91.0 to 97.5
//	flow ratio, smoothed  96.0   93.1 to 98.9
//	flow ratio now        96.7   92.0 to 100
//	hopper now            95.4   90.2 to 98.2
//
// Filter, innovations, smoother and forms are conditioning of one dense normal
// distribution, and the record is dense generalized least squares, to 1e-9.
//
// # Invariants
//
// Field masses, outside included, sum to the interval masses, and these to
// initial content + loads - final content, to the gram: Run checks it and
// fails otherwise. Same input, same bytes, in whatever order refills and loads
// come. A refill without loads and without a reading changes no mass, no
// uncertainty and no flow ratio. No NaN leaves the package. A 95 % interval is
// mass +- 1.96 standard uncertainties (normal).
//
// Units and times: kg, m2, ratios as shares of 1; UTC instants, an interval is
// half open from one refill to the next.
package balance
