package page

import (
	"strconv"

	"hopperbook/schemas/unit"
)

// shown is a unit to show a quantity in and how many of the inside unit one of
// it is, as decimal digits: the page multiplies what was typed by them exactly.
type shown struct {
	Unit   string `json:"unit"`
	Factor string `json:"factor"`
}

// units are the two display choices by name, each quantity in its unit.
func units() map[string]map[string]shown {
	digits := func(f float64) string { return strconv.FormatFloat(f, 'f', -1, 64) }
	return map[string]map[string]shown{
		"kg": {
			"mass": {"kg", "1"}, "rate": {"kg/ha", "1"}, "area": {"ha", "1"},
			"length": {"m", "1"}, "speed": {"km/h", "1"}, "density": {"kg/m³", "1"},
		},
		"lb": {
			"mass":    {"lb", digits(unit.KgPerLb)},
			"rate":    {"lb/ac", digits(unit.KgHaPerLbAc)},
			"area":    {"ac", digits(unit.M2PerAcre / unit.M2PerHa)},
			"length":  {"ft", digits(unit.MPerFt)},
			"speed":   {"mph", digits(unit.MPerMile / 1000)},
			"density": {"lb/ft³", digits(unit.KgM3PerLbFt3)},
		},
	}
}
