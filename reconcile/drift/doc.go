// Package drift says whether a machine is still on its calibration.
//
// Owns: the two-sided CUSUM and its average run length, the design of its
// decision value, the verdict on a series of flow ratios (holding, watch,
// recalibrate), the change point and the size of the change.
//
// Does not own: flow ratios and their uncertainty (reconcile/balance), when a
// series starts anew (the caller resets it at a catch test, a change of
// setting or of product), causes and advice.
//
// # Model
//
// Ratio of load i = 1 + d_i + natural_i + e_i: natural_i is independent with
// the natural standard deviation, e_i is the measurement, correlated with its
// neighbours because they share a residual. The tridiagonal covariance is
// factored, and the CUSUM runs on the standardized one-step innovations:
// independent standard normals while d = 0, so the run length of the design
// holds. The reference value k is half of what a change by the practical
// tolerance adds to an innovation, within [0.25, 1.5]; the decision value h
// follows from the in-control average run length.
//
// Natural standard deviation: 1.5 % (common practice, no source), raised when
// the differences of neighbouring ratios contradict it. It is never lowered: below
// that little detection is gained and a few quiet loads would cause alarms. The
// raising makes the in-control run length about 5 % longer than the design.
//
// # Detection delay
//
//	measurement                            change  asymptotic  optimum  told its size  this test  / optimum  one load off
//	1.2 % a load                              3 %        4.91     4.36           4.92       5.20       1.19          13.9
//	1.2 % a load                              5 %        1.77     1.96           2.17       2.37       1.21           3.0
//	1.2 % a load                              8 %        0.69     1.09           1.14       1.20       1.10           1.1
//	2 % a load                                3 %        8.32     6.58           7.53       8.01       1.22          29.3
//	2 % a load                                5 %        3.00     2.96           3.30       3.59       1.21           6.5
//	2 % a load                                8 %        1.17     1.45           1.58       1.74       1.20           1.8
//	3 % a load                                3 %       14.98    10.35          12.03      12.72       1.23          60.0
//	3 % a load                                5 %        5.39     4.69           5.30       5.78       1.23          16.0
//	3 % a load                                8 %        2.11     2.25           2.49       2.77       1.23           3.8
//	1.2 % a load and a residual of 1.13 %     3 %        4.91     4.80           5.36       5.69       1.19          29.3
//	1.2 % a load and a residual of 1.13 %     5 %        1.77     2.40           2.62       2.90       1.21           6.5
//	1.2 % a load and a residual of 1.13 %     8 %        0.69     1.38           1.48       1.62       1.18           1.8
//
// # States
//
// watch: one side of the CUSUM is above h now. recalibrate: moreover at least
// three loads lie after the change point, their median is off by more than the
// tolerance, and the size is beyond the tolerance with one-sided 95 %
// confidence. The alarm already bounds how often chance speaks in time; the
// second test is about size alone, so that a real but harmless change stays
// watch. Three loads with their median, because one load booked wrongly (a
// lift not counted) looks like any size of drift for one load, and must not
// stop a machine. Recalibrate falls back to watch or holding when later loads
// say so; a series keeps no memory beyond its points.
//
// The change point is where a step from ratio 1 to 1 + d fits best (maximum
// likelihood, generalized least squares on the same covariance).
//
// Invariants: same input, same bytes; no NaN; Detect does not change its input.
//
// Units and times: ratios and sizes are shares of 1 (-0.12 is 12 % under the
// calibration); run lengths are loads; no clock.
package drift

//go:generate go test -run TestDelayTable -update .
