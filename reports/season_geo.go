package reports

import (
	"strconv"
	"strings"

	"hopperbook/reconcile/nutrient"
	"hopperbook/schemas"
)

// SeasonLayers are the season on the map: applications with the columns of
// their table, and fields with the season's figures, kg/ha of the field. Both
// have the outline of the field; one without a boundary is on no map.
func SeasonLayers(a SeasonAnswer) []GeoLayer {
	return []GeoLayer{a.applicationLayer(), a.fieldLayer()}
}

func (a SeasonAnswer) boundaries() map[schemas.FieldID]schemas.Boundary {
	out := map[schemas.FieldID]schemas.Boundary{}
	for _, f := range a.Fields {
		if len(f.Boundary) > 0 {
			out[f.Field] = f.Boundary
		}
	}
	return out
}

func (a SeasonAnswer) applicationLayer() GeoLayer {
	t, at := seasonApplications(a), a.boundaries()
	l := GeoLayer{Name: "applications", Title: "What was spread, by field, day, product and machine; the outline is the field's"}
	for _, c := range t.Columns {
		kind := GeoText
		switch {
		case c.Key == "day":
			kind = GeoDate
		case c.Right:
			kind = GeoReal
		}
		l.Columns = append(l.Columns, GeoColumn{c.Key, kind})
	}
	for i, p := range a.Applications {
		if at[p.Field] == nil {
			continue
		}
		f := GeoFeature{ID: p.ID, Boundary: at[p.Field]}
		for j, cell := range t.Rows[i] {
			f.Values = append(f.Values, geoValue(cell, l.Columns[j].Type))
		}
		l.Features = append(l.Features, f)
	}
	return l
}

// geoValue is a table's cell; nil where it says nothing.
func geoValue(cell, kind string) any {
	if cell == "" || cell == "-" {
		return nil
	}
	if kind == GeoReal {
		v, err := strconv.ParseFloat(cell, 64)
		if err != nil {
			return nil
		}
		return v
	}
	return cell
}

func (a SeasonAnswer) fieldLayer() GeoLayer {
	l := GeoLayer{Name: "fields", Title: "What each field got in season " + a.Season.Name + ", kg/ha of the field", Columns: []GeoColumn{{"field", GeoText}, {"name", GeoText}, {"season", GeoText}, {"crop", GeoText},
		{"area_m2", GeoReal}, {"mass_kg", GeoReal}, {"applications", GeoInteger}}}
	for _, form := range shownForms {
		name := formKey(form)
		l.Columns = append(l.Columns, GeoColumn{name + "_kg", GeoReal}, GeoColumn{name + "_kg_ha", GeoReal}, GeoColumn{name + "_low_kg_ha", GeoReal}, GeoColumn{name + "_high_kg_ha", GeoReal}, GeoColumn{name + "_known", GeoBoolean})
	}
	for _, f := range a.Fields {
		for _, s := range a.Sums {
			if len(f.Boundary) == 0 || s.Scope != nutrient.ScopeField || s.Subject != string(f.Field) || s.Product != "" || s.Kind != "" {
				continue
			}
			values := []any{string(f.Field), f.Name, s.Season.Name, f.Crop, s.AreaM2, s.MassKg, len(s.Applications)}
			for _, form := range shownForms {
				n := s.of(form)
				values = append(values, n.Kg, n.KgHa, n.LowKgHa, n.HighKgHa, n.Known)
			}
			l.Features = append(l.Features, GeoFeature{s.ID, f.Boundary, values})
		}
	}
	return l
}

// formKey is a form in the name of a column.
func formKey(f nutrient.Form) string {
	if f == nutrient.LimeForm {
		return "lime_caco3"
	}
	return strings.ToLower(string(f))
}
