package calibration

import (
	"fmt"
	"math"

	"hopperbook/schemas/fault"
)

// Kind names what a finding is about.
type Kind string

// The kinds of findings.
const (
	FewRepeats       Kind = "few_repeats"        // no standard error, or a very wide one
	RepeatsScatter   Kind = "repeats_scatter"    // repeats differ more than a steady flow lets them
	MeanDisagrees    Kind = "mean_disagrees"     // the stated mass is not the mean of its repeats
	DensityOdd       Kind = "density_odd"        // no bulk product weighs that
	DensityChanged   Kind = "density_changed"    // differs from the register or the last test by more than its uncertainty
	GateNotMonotone  Kind = "gate_not_monotone"  // a wider gate gave less
	OneOpening       Kind = "one_opening"        // a curve of one tested opening
	Extrapolated     Kind = "extrapolated"       // beyond the tested openings
	OutOfRange       Kind = "out_of_range"       // so far beyond that no gate is given
	WindUnknown      Kind = "wind_unknown"       // nobody wrote the wind down
	WindOverLimit    Kind = "wind_over_limit"    // the test is void
	TrayFilled       Kind = "tray_filled"        // a missing tray was taken as the mean of its neighbours
	ThrowBeyondTrays Kind = "throw_beyond_trays" // the outermost trays still caught product
	BoutBeyondTrays  Kind = "bout_beyond_trays"  // the bout width is more than the row of trays
	BoutTooWide      Kind = "bout_too_wide"      // at the set bout width the CV is over its limit
	NoBoutWidth      Kind = "no_bout_width"      // no bout width keeps the CV limit
	PassesLater      Kind = "passes_later"       // a wider bout width passes again after one that fails
	CatchDisagrees   Kind = "catch_disagrees"    // trays and catch test tell different rates
	OverlapUnsure    Kind = "overlap_unsure"     // too few trays to be sure of the verdict
	NotTested        Kind = "not_tested"         // a certificate without one of the tests
)

// Finding is something a person should know about a test.
type Finding struct {
	Kind Kind   `json:"kind"`
	Text string `json:"text"`
}

type findings []Finding

func (f *findings) add(kind Kind, format string, args ...any) {
	*f = append(*f, Finding{kind, fmt.Sprintf(format, args...)})
}

// list is never nil, so that JSON has [] and not null.
func (f findings) list() []Finding { return append([]Finding{}, f...) }

func inputError(op, hint, format string, args ...any) error {
	return fault.Newf(op, fault.Input, fmt.Sprintf(format, args...), hint)
}

func positive(v float64) bool    { return v > 0 && !math.IsInf(v, 0) }
func notNegative(v float64) bool { return v >= 0 && !math.IsInf(v, 0) }

// known is a value that JSON can hold, or nothing.
func known(v float64) *float64 {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return nil
	}
	return &v
}
