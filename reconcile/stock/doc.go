// Package stock says whether what was docketed, loaded, spread and surveyed
// agree within their uncertainties, and what is likeliest wrong where not.
//
// Owns: weighted least-squares reconciliation of measured flows under linear
// balances (Reconcile), its global and measurement tests, serial elimination
// of gross errors; the network of stockpiles, loads and machines (Run), and
// what its gross errors mean in the trade.
//
// Does not own: the balance of a machine (reconcile/balance), whether a
// machine drifts and since when (reconcile/drift), reading events.
//
// # Method
//
// Measurements y with covariance S, balances A x = 0, imbalances r = A y of
// covariance V = A S A'. Reconciled x = y - S A' V+ r, covariance
// S - S A' V+ A S; the global test is r' V+ r, chi-square with rank V degrees
// of freedom. Flows not measured are projected out of the balances first. A
// gross error is a direction f in the flows, a single flow or several moved
// together (all that went over one scale); its test is |f'A'V+ r| over its
// standard deviation, the most powerful one against that error (Tamhane 1982),
// which for independent measurements is the adjustment over its standard
// deviation. The largest is held against Sidak's critical value for the number
// of different tests; beyond it the error is taken out (as unknown) and all is
// tested again (serial elimination: VDI 2048 Part 1; Narasimhan and Jordache,
// Data Reconciliation and Gross Error Detection, 2000). Errors that no test
// tells apart, or hardly (3.84 of chi-square), are rivals: docket numbers and
// usual masses choose among them, and all of them are told.
//
// # What is redundant
//
// A stockpile between two surveys: opening + docketed - loaded = closing. Four
// independent measurements, one redundancy. With one survey or none nothing is
// checked; the stock is then an estimate.
//
// A machine: loaded = spread + change of the residual. The balance of the
// machine works spread out of the loads, so that equation holds by definition
// and checks nothing. What the loader's scale has no part in is nominal mass:
// set rate x bout width x distance, as far as a catch test stands behind the
// setting. So each machine, product and calibration adds one redundancy where
// there was a catch test, with an uncertainty wide enough for every machine
// within its tolerance (5 % / 1.96), and none otherwise. The flow ratio that
// drift estimates is no measurement here: it comes from the loads. Nor is the
// nominal mass of an interval that no residual closes: its residual was
// estimated from it.
//
// So a stockpile alone tells that something is wrong, and how much. A docket
// missing, either survey wrong and (without catch tests) loads lost look the
// same there. A scale that is off shows in all its stockpiles and machines at
// once, a machine off its calibration in its own equation only.
//
// Errors: a weighing its own; all loads over one scale a bias (0.5 %, as in
// balance), all dockets of one supplier that of its weighbridge (0.1 %).
// Neighbouring runs of a machine share a residual reading; that covariance is
// left out, since its 15 to 100 kg are small beside the runs' tonnes.
//
// # Invariants
//
// Same input in any order, same bytes. No NaN leaves the package. Reconciled
// masses of a stockpile close to the gram. Where nothing is wrong, any suspect
// at all is named with chance Level (5 %) at most. Degenerate input is a
// finding, never a failure; only what is no number or a negative mass fails.
//
// Units and times: kg (Reconcile: any unit that all flows share); shares of 1,
// percent where a name says so; UTC instants; a period is half open from one
// survey to the next; intervals are 95 %: 1.96 standard uncertainties.
package stock
