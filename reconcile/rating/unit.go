package rating

import "hopperbook/schemas"

// Codes of UN/ECE Recommendation 20 on documents. A hectare is H18 (square
// hectometre): HAR is in none of the lists that EN 16931 takes.
const (
	CodeTonne   = "TNE"
	CodeHectare = "H18"
	CodeKm      = "KMT"
	CodeHour    = "HUR"
	CodeEach    = "C62"
)

// lineUnit is what a kind of line counts in.
type lineUnit struct {
	code     string
	name     string // to people
	measured string // the unit of what comes in
	shift    int32  // from measured to the line's unit: so many powers of ten less
}

func unitOf(kind string) lineUnit {
	switch kind {
	case schemas.LinePerTonne, schemas.LineProduct:
		return lineUnit{CodeTonne, "t", "kg", 3}
	case schemas.LinePerHectare:
		return lineUnit{CodeHectare, "ha", "m2", 4}
	case schemas.LinePerKm:
		return lineUnit{CodeKm, "km", "km", 0}
	case schemas.LinePerHour:
		return lineUnit{CodeHour, "h", "h", 0}
	}
	return lineUnit{CodeEach, "each", "", 0}
}

// defaultText names a line whose agreement does not.
func defaultText(line *schemas.AgreementLine) string {
	text := map[string]string{
		schemas.LinePerTonne: "Spreading per tonne", schemas.LinePerHectare: "Spreading per hectare", schemas.LinePerKm: "Travel",
		schemas.LinePerHour: "Hours", schemas.LineFixed: "Fixed charge", schemas.LineMinimum: "Minimum charge", schemas.LineProduct: "Product",
	}[line.Kind]
	if line.Product != "" {
		text += " " + string(line.Product)
	}
	if line.Basis != "" && unitOf(line.Kind).code != CodeEach {
		text += " (" + basisText(line.Basis) + ")"
	}
	return text
}

func basisText(basis string) string {
	switch basis {
	case schemas.BasisDocket:
		return "as docketed"
	case schemas.BasisBoundary:
		return "area inside the boundary"
	case schemas.BasisCovered:
		return "area covered"
	}
	return "as " + basis
}
