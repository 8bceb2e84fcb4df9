// Package balance is the mass balance of one machine: what each balance
// interval spread, what of it went on each field, and how sure that is.
//
// Owns: the chain of balance intervals from refills, loads and residuals; the
// flow ratio of an interval; the split of an interval over fields; every mass
// as a linear form in independent errors (Form), so that variances and
// covariances within and across machines are exact; the estimate of an
// interval that no residual closes yet.
//
// Does not own: tracks and nominal mass (reconcile/track), areas and rates
// (reconcile/coverage), whether a flow ratio means drift (reconcile/drift),
// stock (reconcile/stock).
//
// # Model
//
// Mass of an interval = residual at its start + loads - residual at its end.
// Errors are independent normals, each with a key: one per load, one per
// residual reading, one relative bias per scale, one per field of a split
// interval, one per estimated (open) interval. A residual closes one interval
// and opens the next, so a field served by both carries the difference of its
// two shares as coefficient: a field that takes both whole does not feel that
// reading at all.
//
// Split. Within an interval mass goes to fields by nominal mass. The flow
// wanders, so the split has an error of its own: the mass spread per nominal
// kg is white noise, fixed by the load-to-load spread it must cause (default
// 1.5 % over 5 000 kg; common practice, no source). A field with share p of a
// mass M then has split variance w M p (1-p), w = 0.015^2 x 5 000 kg, fields
// of one interval are negatively correlated, and a single field has none. For
// one load-to-load spread white noise is the larger of the two plain choices:
// the halves of a load differ by 2 sigma, under a random walk by 1 sigma.
//
// Unknown residual. Intervals are merged up to the next known residual. At
// the first refill, and at a change of product, an unknown residual is taken
// as empty with a large standard uncertainty, and a Finding says so.
//
// Open interval. The last interval (and passes before the first refill) has no
// closing reading: flow ratio of the nearest closed intervals of the product
// x nominal mass, as a normal truncated to what the hopper can have given.
//
// # Invariants
//
// Field masses, outside included, sum to the interval masses, and these to
// initial content + loads - final content, to the gram: Run checks it and
// fails otherwise. Same input, same bytes, in whatever order refills and loads
// come. No NaN leaves the package. A 95 % interval is mass +- 1.96 standard
// uncertainties (normal).
//
// Units and times: kg, m2, ratios as shares of 1; UTC instants, an interval is
// half open from one refill to the next.
package balance
