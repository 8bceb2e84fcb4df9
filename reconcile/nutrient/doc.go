// Package nutrient says which nutrients went where in a season, and holds
// that against limits that rule files give.
//
// Owns: the factors between an element and its oxide (Factor), what a
// product's analysis says a kilogram holds (ContentOf), effective lime, which
// version of an analysis holds for a batch and a day, kilograms and kg/ha by
// application, field, zone, holding and season with their 95 % interval, rule
// files and their reader (Read, Shipped), verdicts, checks of closed periods,
// buffers, soil, rain and slope, and which record fields of a rule are missing.
//
// Does not own: what landed on a field (reconcile, reconcile/balance), reading
// events, documents. No rule file is legal advice: each carries its caveat.
//
// # Method
//
// kg of an element = mass x its share in the product. The error of a mass is a
// linear form in independent errors (Term), so that applications which share a
// load, a scale or an analysis are covariant where they are summed; an
// interval is the estimate plus and minus 1.96 standard uncertainties, not
// below zero. Oxide factors are computed from the standard atomic weights of
// IUPAC (CIAAW, abridged to five figures or better, 2021; S by its
// conventional value 32.06).
//
// An element that the analysis leaves out is not known, which is not zero: its
// sum is then "at least" and can prove that a limit is passed, never that it
// is kept. The same holds for a product of which the book does not know
// whether it counts: it stands in the upper end of the interval and not in the
// lower one. A field of which the book does not know whether a rule applies is
// taken as one to which it does, and the verdict says so.
//
// A limit is kept up to and including its value, with 1e-9 of it for the
// rounding of unit factors: so no choice of units changes a verdict.
//
// # Invariants
//
// Pure: the same Input gives the same Result, whatever order its slices are
// in. Sums of a season are the sums of its applications; splitting a field or
// an application moves no kilogram. No NaN or infinity leaves the package.
//
// Units and times: kg, m2, kg/ha, percent by mass where a name says Pct;
// UTC instants, half-open periods; days, closed periods and seasons are those
// of Input.Location. An application belongs to the period its From lies in.
package nutrient
