package unit

import (
	"math"

	"hopperbook/schemas/fault"
)

// Exact factors: how many of the second unit is one of the first.
const (
	KgPerTonne      = 1000.0
	M2PerHa         = 10000.0
	KgPerLb         = 0.45359237
	MPerFt          = 0.3048
	MPerMile        = 1609.344
	M2PerAcre       = 4046.8564224
	KgPerShortTon   = 2000 * KgPerLb
	KgPerLongTon    = 2240 * KgPerLb
	KgM3PerLbFt3    = KgPerLb / (MPerFt * MPerFt * MPerFt)
	KgHaPerLbAc     = KgPerLb / M2PerAcre * M2PerHa
	MPerNauticMile  = 1852.0
	KmhPerKnot      = MPerNauticMile / 1000
	KmhPerMS        = 3.6
	kgMinToKgHa     = 600.0 // 10 000 m2/ha over 1000/60 m/min per km/h
	lbMinToLbAc     = 495.0 // 43 560 ft2/ac x 60 min/h / 5280 ft/mi
	acreHourDivisor = 8.25  // 43 560 ft2/ac / 5280 ft/mi
)

// RateFromFlow is the application rate [kg/ha] of a flow [kg/min] at a speed
// [km/h] over a bout width [m]: 600 q / (v w). Speed and width must be above
// zero, the flow not below zero.
func RateFromFlow(flowKgMin, speedKmh, boutWidthM float64) (kgHa float64, err error) {
	if err := checkRate(flowKgMin, speedKmh, boutWidthM, "speed", "bout width"); err != nil {
		return 0, err
	}
	return kgMinToKgHa * flowKgMin / (speedKmh * boutWidthM), nil
}

// FlowForRate is the flow [kg/min] that gives a rate [kg/ha] at a speed
// [km/h] over a bout width [m]; all three must be finite and not below zero.
func FlowForRate(rateKgHa, speedKmh, boutWidthM float64) (kgMin float64, err error) {
	for _, v := range []float64{rateKgHa, speedKmh, boutWidthM} {
		if !(v >= 0) || math.IsInf(v, 0) {
			return 0, fault.Newf("flow for rate", fault.Input, "rate, speed and bout width must be finite and not negative", "check the three numbers")
		}
	}
	return rateKgHa * speedKmh * boutWidthM / kgMinToKgHa, nil
}

// RateFromDistance is the rate [kg/ha] of a mass [kg] spread over a distance
// [m] and a bout width [m]: 10 000 m / (d w).
func RateFromDistance(massKg, distanceM, boutWidthM float64) (kgHa float64, err error) {
	if err := checkRate(massKg, distanceM, boutWidthM, "distance", "bout width"); err != nil {
		return 0, err
	}
	return NominalRate(massKg, distanceM*boutWidthM), nil
}

// NominalRate is mass [kg] over area [m2] in kg/ha; NaN for an area of zero.
func NominalRate(massKg, areaM2 float64) (kgHa float64) {
	if areaM2 == 0 {
		return math.NaN()
	}
	return massKg / areaM2 * M2PerHa
}

// RateLbAc is the customary form: lb/ac of a flow [lb/min], speed [mph] and
// width [ft]: 495 q / (v w).
func RateLbAc(flowLbMin, speedMph, widthFt float64) (lbAc float64, err error) {
	if err := checkRate(flowLbMin, speedMph, widthFt, "speed", "width"); err != nil {
		return 0, err
	}
	return lbMinToLbAc * flowLbMin / (speedMph * widthFt), nil
}

// FieldCapacityHaH is the effective field capacity [ha/h] at a speed [km/h],
// a width [m] and a field efficiency (0..1).
func FieldCapacityHaH(speedKmh, widthM, efficiency float64) float64 {
	return speedKmh * widthM / 10 * efficiency
}

// FieldCapacityAcH is the customary form [ac/h] from mph, ft and 0..1.
func FieldCapacityAcH(speedMph, widthFt, efficiency float64) float64 {
	return speedMph * widthFt * efficiency / acreHourDivisor
}

func checkRate(amount, a, b float64, nameA, nameB string) error {
	switch {
	case !(amount >= 0) || math.IsInf(amount, 0):
		return fault.Newf("rate", fault.Input, "the amount must be finite and not negative", "weigh again")
	case !(a > 0) || math.IsInf(a, 0):
		return fault.Newf("rate", fault.Input, "the "+nameA+" must be above zero", "enter the "+nameA)
	case !(b > 0) || math.IsInf(b, 0):
		return fault.Newf("rate", fault.Input, "the "+nameB+" must be above zero", "enter the "+nameB)
	}
	return nil
}
