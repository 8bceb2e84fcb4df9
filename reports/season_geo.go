package reports

import (
	"encoding/json"

	"hopperbook/reconcile/nutrient"
	"hopperbook/schemas/fault"
)

// SeasonGeoJSON is the fields with the season's figures, a FeatureCollection
// (RFC 7946) with a feature a field that was spread; kg/ha are of the field.
func SeasonGeoJSON(a SeasonAnswer) ([]byte, error) {
	type feature struct {
		Type       string         `json:"type"`
		ID         string         `json:"id"`
		Geometry   any            `json:"geometry"`
		Properties map[string]any `json:"properties"`
	}
	out := struct {
		Type     string    `json:"type"`
		Features []feature `json:"features"`
	}{"FeatureCollection", []feature{}}
	for _, row := range SeasonFeatures(a) {
		out.Features = append(out.Features, feature{"Feature", row.Sum.ID, row.Field.Boundary, row.properties()})
	}
	raw, err := json.MarshalIndent(out, "", " ")
	if err != nil {
		return nil, fault.New("write the fields", fault.Internal, err, "")
	}
	return append(raw, '\n'), nil
}

// SeasonFeature is a field with what it got.
type SeasonFeature struct {
	Field SeasonField
	Sum   SeasonSum
}

// SeasonFeatures are the fields that have a boundary and were spread.
func SeasonFeatures(a SeasonAnswer) (out []SeasonFeature) {
	for _, f := range a.Fields {
		for _, s := range a.Sums {
			if len(f.Boundary) > 0 && s.Scope == nutrient.ScopeField && s.Subject == string(f.Field) && s.Product == "" && s.Kind == "" {
				out = append(out, SeasonFeature{f, s})
			}
		}
	}
	return out
}

func (f SeasonFeature) properties() map[string]any {
	p := map[string]any{"field": f.Field.Field, "name": f.Field.Name, "season": f.Sum.Season.Name, "area_m2": f.Sum.AreaM2, "mass_kg": f.Sum.MassKg, "applications": len(f.Sum.Applications), "crop": f.Field.Crop}
	for _, form := range shownForms {
		n := f.Sum.of(form)
		name := string(form)
		if form == nutrient.LimeForm {
			name = "lime_caco3"
		}
		p[name+"_kg"], p[name+"_kg_ha"], p[name+"_low_kg_ha"], p[name+"_high_kg_ha"], p[name+"_known"] = n.Kg, n.KgHa, n.LowKgHa, n.HighKgHa, n.Known
	}
	return p
}
