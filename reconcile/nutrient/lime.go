package nutrient

import (
	"fmt"
	"math"

	"hopperbook/schemas"
	"hopperbook/schemas/fault"
)

// sharesClosePct: the fractions of a sieve analysis sum to 100 within this.
const sharesClosePct = 1.0

// finenessAgrees: a fineness given beside fractions is the same within this.
const finenessAgrees = 0.01

// EffectiveLimePct is how much of 1 kg of lime as received counts, as percent
// of pure CaCO3: neutralising value x fineness (and x dry matter where the
// value is of the dry matter). With fractions it is the sum of
// share x factor x value, each with its own value where it was tested apart.
// Factors are data: laws differ. Not known without a neutralising value or
// without fineness; exactly 0 for a neutralising value of 0.
func EffectiveLimePct(a *schemas.Analysis) (pct float64, known bool, warnings []Warning) {
	warn := func(kind, format string, args ...any) (float64, bool, []Warning) {
		return 0, false, []Warning{{kind, fmt.Sprintf(format, args...)}}
	}
	asReceived := 1.0
	if a.Basis == schemas.BasisDry {
		if a.MoisturePct == nil {
			return 0, false, nil // ContentOf says so once for all figures
		}
		asReceived = 1 - *a.MoisturePct/100
	}
	switch {
	case a.NeutralisingValuePct != nil && *a.NeutralisingValuePct == 0:
		return 0, true, nil
	case len(a.Fractions) == 0:
		if a.NeutralisingValuePct == nil || a.Fineness == nil {
			return 0, false, nil
		}
		return *a.NeutralisingValuePct * *a.Fineness * asReceived, true, nil
	}
	var shares, fineness float64
	for _, f := range a.Fractions {
		nv := f.NeutralisingValuePct
		if nv == nil {
			nv = a.NeutralisingValuePct
		}
		if nv == nil {
			return 0, false, nil
		}
		shares += f.SharePct
		fineness += f.SharePct / 100 * f.Factor
		pct += f.SharePct / 100 * f.Factor * *nv
	}
	switch {
	case math.Abs(shares-100) > sharesClosePct:
		return warn(SharesDoNotClose, "the fractions of the sieve analysis sum to %.1f %%, not 100: effective lime is not known", shares)
	case a.Fineness != nil && math.Abs(*a.Fineness-fineness) > finenessAgrees:
		return warn(FormsDisagree, "fineness %.3f and that of the fractions, %.3f, do not agree: effective lime is not known", *a.Fineness, fineness)
	}
	return pct * asReceived, true, nil
}

// CostPerEffectiveTonne compares limes: what a tonne of effective lime costs
// where a tonne as received costs so much on the ground and so many percent of
// it count. In the currency of the cost; a comparison, never a bill.
// fault.Input: numbers that are no cost or no percentage above zero.
func CostPerEffectiveTonne(costPerTonne, effectivePct float64) (float64, error) {
	if !(costPerTonne >= 0) || math.IsInf(costPerTonne, 0) || !(effectivePct > 0) || math.IsInf(effectivePct, 0) {
		return 0, fault.Newf("compare limes", fault.Input, "the cost must not be negative and the effective percentage must be above zero", "effective lime needs a neutralising value and a fineness")
	}
	return costPerTonne * 100 / effectivePct, nil
}
