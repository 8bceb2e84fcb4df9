package reconcile

import (
	"slices"

	"hopperbook/reconcile/coverage"
	"hopperbook/reconcile/plane"
	"hopperbook/reconcile/track"
	"hopperbook/schemas"
	"hopperbook/schemas/fault"
)

// Drive is what one log of fixes comes to, whatever field it lies in.
type Drive struct {
	UsedFixes  int       `json:"used_fixes"` // of those given, after cleaning
	DistanceM  float64   `json:"distance_m"`
	SpreadM    float64   `json:"spread_m"` // of it while spreading
	SwathM2    float64   `json:"swath_m2"`
	CoveredM2  float64   `json:"covered_m2"`
	Overlap2M2 float64   `json:"overlap2_m2"`
	Overlap3M2 float64   `json:"overlap3_m2"`
	ErrorM2    float64   `json:"error_m2"` // estimate of the largest error of the areas but swath_m2
	Findings   []Finding `json:"findings"`
}

// Measure gives distance and areas of a log of one machine. boutWidthM holds
// for fixes that name none. Where the log does not say whether product was
// leaving, the whole drive counts, or with infer what was driven at a
// spreading speed. Areas are measured on a plane at the first usable fix and
// refused for a log that reaches further than plane.ReachM from it.
func Measure(fixes []schemas.Fix, boutWidthM float64, infer bool) (Drive, error) {
	if !infer {
		fixes = allSpreading(fixes)
	}
	cleaned := track.Clean(fixes, track.Options{BoutWidthM: boutWidthM})
	found := &findings{list: []Finding{}}
	// A bare log has no set rate, and no mass is asked for here.
	found.addTrack("", slices.DeleteFunc(cleaned.Findings, func(f track.Finding) bool { return f.Kind == track.NoSetRate }))
	d := Drive{UsedFixes: cleaned.Used, Findings: found.sorted()}
	if len(cleaned.Segments) == 0 {
		return d, nil
	}
	total := track.Total(cleaned.Segments)
	first := cleaned.Segments[0]
	area, err := coverage.Measure(coverage.FromTrack(nil, plane.At(first.FromLatDeg, first.FromLonDeg), cleaned.Segments), nil)
	if err != nil {
		return d, fault.Wrap("measure the drive", err)
	}
	d.DistanceM, d.SpreadM, d.SwathM2 = rounded(total.LengthM, 3), rounded(total.SpreadM, 3), rounded(total.SwathM2, 2)
	d.CoveredM2, d.Overlap2M2, d.Overlap3M2, d.ErrorM2 = rounded(area.CoveredM2, 2), rounded(area.Overlap2M2, 2), rounded(area.Overlap3M2, 2), rounded(area.ErrorM2, 4)
	return d, nil
}

func allSpreading(fixes []schemas.Fix) []schemas.Fix {
	out := slices.Clone(fixes)
	for i := range out {
		if out[i].Spreading == schemas.SpreadingUnknown {
			out[i].Spreading = schemas.SpreadingOn
		}
	}
	return out
}
