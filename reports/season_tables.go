package reports

import (
	"fmt"
	"slices"
	"strings"

	"hopperbook/reconcile/nutrient"
	"hopperbook/schemas"
	"hopperbook/schemas/unit"
)

// SeasonTable is a table with the name of its file and sheet.
type SeasonTable struct {
	Name string
	Table
}

// SeasonTables are a season's records for authorities: a file or sheet each,
// every figure with its ID.
func SeasonTables(a SeasonAnswer) []SeasonTable {
	return []SeasonTable{{"applications", seasonApplications(a)}, {"analyses", seasonAnalyses(a)}, {"nutrients", seasonNutrients(a)}, {"verdicts", seasonVerdicts(a)}, {"checks", seasonChecks(a)},
		{"missing", seasonMissing(a)}, {"planned", seasonPlanned(a)}, {"balance", seasonBalance(a)}, {"rules", seasonRules(a)}, {"not_known", seasonNotKnown(a)}}
}

func hectares4(m2 float64) string {
	if m2 <= 0 {
		return "-"
	}
	return number(m2/unit.M2PerHa, 4)
}

func perHaCell(v, m2 float64) string {
	if m2 <= 0 {
		return "-"
	}
	return number(v, 2)
}

func knownWords(known bool) string {
	if known {
		return "yes"
	}
	return "at least"
}

// shownForms are the forms that tables show; the JSON has all.
var shownForms = [...]nutrient.Form{"N", "P", "P2O5", "K", "K2O", "S", "Ca", "Mg", nutrient.LimeForm}

func seasonApplications(a SeasonAnswer) Table {
	t := Table{Caption: "Applications", Columns: []Column{{"id", "ID", false}, {"field", "Field", false}, {"crop", "Crop", false}, {"soil", "Soil", false}, {"day", "Day", false}, {"from_local", "From, local time", false}, {"to_local", "To, local time", false},
		{"product", "Product", false}, {"kind", "Kind of product", false}, {"batch", "Docket", false}, {"machine", "Machine", false}, {"operator", "Operator", false}, {"certificate_holder", "Certificate holder", false}, {"method", "Method", false},
		{"job", "Job", false}, {"area_ha", "Area covered, ha", true}, {"mass_kg", "Product, kg", true}, {"mass_low_kg", "Product, kg: 95 % from", true}, {"mass_high_kg", "Product, kg: 95 % to", true}, {"rate_kg_ha", "Rate on the area covered, kg/ha", true},
		{"catch_test", "Catch test", false}, {"tested_on", "Tested on, local day", false}, {"calibration_valid", "Calibration valid", false}, {"calibration_reasons", "Why the calibration does not hold", false},
		{"wind_m_s", "Wind, m/s", true}, {"rain_mm", "Rain, mm", true}, {"temperature_c", "Temperature, °C", true}, {"soil_condition", "Soil condition", false}, {"forecast", "Forecast", false}, {"buffers", "Buffers noted by the crew", false}, {"exclusion_m", "Nearest exclusion area, m", true}, {"receiver_m", "Receiver error, m", true}, {"exclusions", "Exclusion areas, measured from passes", false}, {"mass_open", "Mass may still change", false}}}
	for _, f := range shownForms {
		t.Columns = append(t.Columns, Column{strings.ToLower(string(f)) + "_kg", formWords(f) + ", kg", true}, Column{strings.ToLower(string(f)) + "_known", formWords(f) + " known", false})
	}
	for _, p := range a.Applications {
		c := p.Calibration
		row := []string{p.ID, string(p.Field), p.Crop, p.Soil, p.Day, p.FromLocal, p.ToLocal, string(p.Product), p.Kind, string(p.Batch), string(p.Machine), string(p.Operator), p.CertificateHolder, p.Method, string(p.Job),
			hectares4(p.AreaM2), number(p.MassKg, 1), number(p.MassLowKg, 1), number(p.MassHighKg, 1), perHaCell(p.RateKgHa, p.AreaM2), string(c.CatchTest), tested(c), yesNo(c.Valid), strings.Join(c.Reasons, "; ")}
		row = slices.Concat(row, weatherCells(p.Weather), []string{bufferWords(p.Buffers)}, exclusionCells(p.Exclusions), []string{yesNo(p.Open)})
		for _, f := range shownForms {
			n := amountOf(p.Amounts, f)
			row = append(row, number(n.Kg, 3), knownWords(n.Known))
		}
		t.Rows = append(t.Rows, row)
	}
	return t
}

func tested(c SeasonCalibration) string {
	if c.TestedAt.IsZero() {
		return "none"
	}
	return c.TestedOn
}

func yesNo(v bool) string {
	if v {
		return "yes"
	}
	return "no"
}

func weatherCells(w *schemas.WeatherNoted) []string {
	if w == nil {
		return []string{"-", "-", "-", "-", "-"}
	}
	temperature := "-"
	if w.TemperatureC != nil {
		temperature = number(*w.TemperatureC, 1)
	}
	return []string{number(w.WindMS, 1), number(w.RainMm, 1), temperature, w.Soil, forecastWords(w)}
}

func bufferWords(all []schemas.BufferKept) string {
	var words []string
	for _, b := range all {
		words = append(words, fmt.Sprintf("%s %s m", strings.ReplaceAll(b.To, "_", " "), number(b.DistanceM, 1)))
	}
	return strings.Join(words, ", ")
}

// exclusionCells are the nearest exclusion area, the receiver's error, and all in words.
func exclusionCells(all []nutrient.Measured) []string {
	if len(all) == 0 {
		return []string{"-", "-", ""}
	}
	nearest := all[0]
	for _, m := range all {
		if m.DistanceM < nearest.DistanceM {
			nearest = m
		}
	}
	return []string{number(nearest.DistanceM, 2), number(nearest.ReceiverM, 2), exclusionWords(all)}
}

func exclusionWords(all []nutrient.Measured) string {
	var words []string
	for _, m := range all {
		to := strings.ReplaceAll(m.To, "_", " ")
		if to == "" {
			to = "not said what"
		}
		words = append(words, to+" "+number(m.DistanceM, 1)+" m")
	}
	return strings.Join(words, ", ")
}

func sumColumns() []Column {
	return []Column{{"id", "ID", false}, {"scope", "Of", false}, {"subject", "Name", false}, {"season", "Season", false}, {"product", "Product", false}, {"kind", "Kind of product", false}, {"form", "Nutrient", false},
		{"area_ha", "Area, ha", true}, {"kg", "Amount, kg", true}, {"low_kg", "Amount, kg: 95 % from", true}, {"high_kg", "Amount, kg: 95 % to", true}, {"kg_ha", "Amount, kg/ha", true}, {"low_kg_ha", "Amount, kg/ha: 95 % from", true}, {"high_kg_ha", "Amount, kg/ha: 95 % to", true}, {"known", "Known", false}, {"unknown_kg", "Product of which it is not known, kg", true}}
}

// sumRows are a sum's rows: the product itself first.
func sumRows(s SeasonSum) [][]string {
	head := []string{s.Scope, s.Subject, s.Season.Name, string(s.Product), s.Kind}
	perM2 := func(kg float64) string { return perHaCell(kg/s.AreaM2*unit.M2PerHa, s.AreaM2) }
	rows := [][]string{slices.Concat([]string{s.ID}, head, []string{"product", hectares4(s.AreaM2), number(s.MassKg, 1), number(s.MassLowKg, 1), number(s.MassHighKg, 1), perM2(s.MassKg), perM2(s.MassLowKg), perM2(s.MassHighKg), "yes", number(0, 1)})}
	for _, f := range shownForms {
		for _, n := range s.Amounts {
			if n.Form == f {
				rows = append(rows, slices.Concat([]string{n.ID}, head, []string{formWords(f), hectares4(s.AreaM2), number(n.Kg, 3), number(n.LowKg, 3), number(n.HighKg, 3),
					perHaCell(n.KgHa, s.AreaM2), perHaCell(n.LowKgHa, s.AreaM2), perHaCell(n.HighKgHa, s.AreaM2), knownWords(n.Known), number(n.UnknownKg, 1)}))
			}
		}
	}
	return rows
}

func formWords(f nutrient.Form) string {
	if f == nutrient.LimeForm {
		return "effective lime (as CaCO3)"
	}
	return string(f)
}

func seasonNutrients(a SeasonAnswer) Table {
	t := Table{Caption: "Nutrients by field, holding and zone", Columns: sumColumns(), Notes: []string{"\"At least\": the analysis of some product does not say; what is not known is not zero."}}
	for _, s := range a.Sums {
		t.Rows = append(t.Rows, sumRows(s)...)
	}
	return t
}

func seasonBalance(a SeasonAnswer) Table {
	t := Table{Caption: "Every season in the book, by field", Columns: sumColumns()}
	for _, s := range a.Balance {
		t.Rows = append(t.Rows, sumRows(s)...)
	}
	return t
}

func seasonVerdicts(a SeasonAnswer) Table {
	t := Table{Caption: "Limits", Columns: []Column{{"id", "ID", false}, {"rule", "Rule", false}, {"section", "Section", false}, {"scope", "Of", false}, {"subject", "Name", false}, {"period", "Period", false}, {"state", "Verdict", false},
		{"nutrient", "Nutrient", false}, {"value", "Value", true}, {"low", "95 % from", true}, {"high", "95 % to", true}, {"high_known", "Upper end known", false}, {"limit_value", "Limit", true}, {"unit", "Unit of value and limit", false}, {"text", "Why", false}, {"notes", "Taken as given", false}, {"caveat", "Caveat", false}}}
	for _, v := range a.Verdicts {
		digits := v.Decimals()
		value, low, high := number(v.Value, digits), number(v.Low, digits), number(v.High, digits)
		if v.State == nutrient.NotJudged || v.State == nutrient.NotApplicable {
			value, low, high = "-", "-", "-"
		}
		t.Rows = append(t.Rows, []string{v.ID, v.Rule, v.Section, v.Scope, v.Subject, v.Period.Name, VerdictWords(v.State), string(v.Nutrient), value, low, high, yesNo(v.HighKnown),
			unit.Whole(v.LimitValue), v.Unit, v.Text, strings.Join(v.Notes, "; "), caveatOf(a, v.Rule)})
	}
	t.Notes = caveats(a)
	return t
}

func caveatOf(a SeasonAnswer, rule string) string {
	i := slices.IndexFunc(a.Rules, func(r nutrient.RuleHead) bool { return r.ID == rule })
	if i < 0 {
		return ""
	}
	return a.Rules[i].Caveat
}

func caveats(a SeasonAnswer) (out []string) {
	for _, r := range a.Rules {
		out = append(out, r.ID+": "+r.Caveat)
	}
	return out
}

func seasonChecks(a SeasonAnswer) Table {
	t := Table{Caption: "Checks", Columns: []Column{{"id", "ID", false}, {"rule", "Rule", false}, {"section", "Section", false}, {"kind", "Check", false}, {"field", "Field", false}, {"application", "Application", false}, {"state", "State", false}, {"text", "Why", false}, {"asks", "What the rule asks", false}}, Notes: caveats(a)}
	for _, c := range a.Checks {
		t.Rows = append(t.Rows, []string{c.ID, c.Rule, c.Section, strings.ReplaceAll(c.Kind, "_", " "), string(c.Field), c.Application, checkWords(c.State), c.Text, c.Asks})
	}
	return t
}

func seasonMissing(a SeasonAnswer) Table {
	t := Table{Caption: "Records that a rule wants and the book does not have", Columns: []Column{{"id", "ID", false}, {"rule", "Rule", false}, {"section", "Section", false}, {"field", "Field", false}, {"text", "Record", false}, {"applications", "Of applications", true}, {"how", "How to supply it", false}}}
	for _, m := range a.Missing {
		t.Rows = append(t.Rows, []string{m.ID, m.Rule, m.Section, string(m.Field), m.Text, fmt.Sprint(len(m.Applications)), m.How})
	}
	return t
}

func seasonPlanned(a SeasonAnswer) Table {
	t := Table{Caption: "Planned and given", Columns: []Column{{"id", "ID", false}, {"field", "Field", false}, {"job", "Job", false}, {"product", "Product", false}, {"set_rate_kg_ha", "Planned kg/ha", true}, {"given_kg_ha", "Given kg/ha", true}, {"planned_kg", "Planned kg", true}, {"given_kg", "Given kg", true}}}
	for _, p := range a.Planned {
		given, planned := number(p.GivenKgHa, 1), number(p.PlannedKg, 0)
		if p.PlannedKg == 0 {
			given, planned = "-", "-"
		}
		t.Rows = append(t.Rows, []string{p.ID, string(p.Field), string(p.Job), string(p.Product), number(p.SetRateKgHa, 1), given, planned, number(p.GivenKg, 0)})
	}
	t.Notes = []string{"Given is over the whole field that may be spread, over all days of the job."}
	for _, p := range a.Planned {
		if p.OthersKg > 0 {
			t.Notes = append(t.Notes, fmt.Sprintf("%s, job %s: of it %s kg while the field was another customer's; their records show them.", p.Field, p.Job, number(p.OthersKg, 0)))
		}
	}
	return t
}

func seasonRules(a SeasonAnswer) Table {
	t := Table{Caption: "Rule files used", Columns: []Column{{"rule", "Rule", false}, {"title", "Title", false}, {"law", "Law", false}, {"jurisdiction", "Where", false}, {"date_read", "Read on", false}, {"caveat", "Caveat", false}, {"sources", "Sources", false}}}
	for _, r := range a.Rules {
		t.Rows = append(t.Rows, []string{r.ID, r.Title, r.Law, r.Jurisdiction, r.DateRead, r.Caveat, strings.Join(r.Sources, " ")})
	}
	return t
}

// seasonNotKnown lists plainly what the records cannot say.
func seasonNotKnown(a SeasonAnswer) Table {
	t := Table{Caption: "What is not known", Columns: []Column{{"what", "What", false}, {"of", "Of", false}, {"text", "Text", false}}}
	add := func(what, of, text string) { t.Rows = append(t.Rows, []string{what, of, text}) }
	for _, f := range a.Findings {
		add(strings.ReplaceAll(f.Kind, "_", " "), string(f.Product)+string(f.Field), f.Text)
	}
	for _, g := range a.Gaps {
		add("events missing", string(g.Source), fmt.Sprintf("%d to %d have not arrived: what is in them is not in these records", g.From, g.To))
	}
	for _, p := range a.Applications {
		if p.Open {
			add("mass may change", p.ID, "its hopper is not closed by a reading yet")
		}
		if p.Weather == nil {
			add("weather", p.ID, "no weather was noted within 12 hours: weather.noted")
		}
		if p.Operator == "" {
			add("operator", p.ID, "nobody is named: job.started or job.finished with operator")
		}
		if len(p.Exclusions) == 0 {
			add("distance to exclusion areas", p.ID, "none is registered within 1 km: register.field with exclusion and exclusion_to")
		}
		if !p.Calibration.Valid {
			add("calibration", p.ID, "it does not hold: "+strings.Join(p.Calibration.Reasons, "; "))
		}
	}
	return t
}
