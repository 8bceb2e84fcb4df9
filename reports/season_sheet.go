package reports

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"hopperbook/reconcile/nutrient"
	"hopperbook/schemas/unit"
)

// seasonCautions stand on the first page, whatever the rules.
var seasonCautions = [...]string{
	"These records are no legal advice and no permit: the local authority and a licensed adviser decide what applies, and local codes go before anything here.",
	"A limit that is kept here is kept by what is in this book. What was spread by others, or not recorded, is not in it.",
}

// Sheet is the records for reading: what stands against them first.
func (a SeasonAnswer) Sheet() Sheet {
	s := Sheet{Title: "Season records", Subject: a.named() + ", " + a.when(), Made: a.AsOf, AgainstTitle: "Read this first", Facts: a.facts(), Mark: a.Mark(),
		Foot: "Days are of " + a.TimeZone + ". Intervals hold 95 of 100 times. Evidence: " + fmt.Sprint(a.Evidence.Events) + " events, SHA-256 " + a.Evidence.Digest + ". hopperbook why ID leads from a figure to its events; the IDs stand in the CSV, XLSX and JSON."}
	s.Status = a.status()
	s.Against = append(s.Against, a.loud()...)
	s.Against = append(s.Against, seasonCautions[:]...)
	if len(a.Rules) > 0 {
		s.Against = append(s.Against, "Each rule has a caveat: they stand under Limits and hold for the checks and missing records too.")
	}
	s.Tables = []Table{a.verdictPage(), a.fieldPage("N", "P", "K", "S"), a.fieldPage("Ca", "Mg", nutrient.LimeForm), a.applicationPage(), a.analysisPage(), a.crewPage(), dropID(seasonPlanned(a)), a.checkPage(), a.missingPage(), a.balancePage(), a.unknownPage()}
	s.Tables = slices.DeleteFunc(s.Tables, func(t Table) bool { return len(t.Rows) == 0 && len(t.Notes) == 0 })
	for _, r := range a.Rules {
		s.Remarks = append(s.Remarks, r.ID+": "+r.Law+", read on "+r.DateRead+": "+strings.Join(r.Sources, " "))
	}
	s.Signatures = []string{"For the contractor (name, date)", "For the farm (name, date)"}
	return s
}

// Mark is what names these records in a file.
func (a SeasonAnswer) Mark() string {
	return "hopperbook-season " + string(a.Customer) + " " + strings.ReplaceAll(a.Season.Name, " ", "-") + " sha256:" + a.Evidence.Digest
}

func (a SeasonAnswer) named() string {
	if a.CustomerName == "" {
		return string(a.Customer)
	}
	return a.CustomerName
}

// dated reports whether dates were asked for instead of a season: they are its name.
func (a SeasonAnswer) dated() bool { return a.Season.Name == a.FirstDay+" to "+a.LastDay }

func (a SeasonAnswer) when() string {
	if a.dated() {
		return a.Season.Name
	}
	return "season " + a.Season.Name
}

func (a SeasonAnswer) days() [2]string {
	if a.dated() {
		return [2]string{"Dates", a.Season.Name}
	}
	return [2]string{"Season", a.Season.Name + ": " + a.FirstDay + " to " + a.LastDay}
}

func (a SeasonAnswer) count(state string) (n int) {
	for _, v := range a.Verdicts {
		if v.State == state {
			n++
		}
	}
	return n
}

func (a SeasonAnswer) status() string {
	switch {
	case len(a.Rules) == 0:
		return "NOT HELD AGAINST ANY LIMIT"
	case a.count(nutrient.Over) > 0:
		return "LIMIT EXCEEDED"
	case a.count(nutrient.NotShown) > 0:
		return "CANNOT BE SHOWN TO BE UNDER"
	case slices.ContainsFunc(a.Checks, func(c SeasonCheck) bool { return c.State == nutrient.Broken }):
		return "A RULE WAS BROKEN"
	case a.count(nutrient.NotJudged) > 0 && a.count(nutrient.Under) > 0:
		return "LIMITS KEPT, SOME NOT JUDGED"
	case a.count(nutrient.NotJudged) > 0:
		return "LIMITS NOT JUDGED"
	case a.count(nutrient.Under) > 0:
		return "LIMITS KEPT"
	}
	return "NO LIMIT APPLIES"
}

func (a SeasonAnswer) facts() [][2]string {
	area, mass, fields := 0.0, 0.0, map[string]bool{}
	for _, f := range a.Fields {
		area += f.AreaM2
	}
	for _, p := range a.Applications {
		mass += p.MassKg
		fields[string(p.Field)] = true
	}
	out := [][2]string{{"Farm", a.named()}, a.days(),
		{"Fields", fmt.Sprintf("%d registered, %s ha; %d spread", len(a.Fields), hectares4(area), len(fields))}, {"Applications", fmt.Sprintf("%d, %s t of product", len(a.Applications), tonnes(mass))}}
	if a.Contractor != "" {
		out = slices.Insert(out, 1, [2]string{"Contractor", a.Contractor})
	}
	var rules []string
	for _, r := range a.Rules {
		rules = append(rules, r.Title)
	}
	if len(rules) == 0 {
		rules = []string{"none: add --rules"}
	}
	return append(out, [2]string{"Held against", strings.Join(rules, "; ")})
}

func dropID(t Table) Table {
	t.Columns = t.Columns[1:]
	for i, r := range t.Rows {
		t.Rows[i] = r[1:]
	}
	return t
}

func (a SeasonAnswer) verdictPage() Table {
	t := Table{Caption: "Limits", Columns: []Column{{"verdict", "Verdict", false}, {"of", "Of", false}, {"rule", "Rule", false}, {"period", "Period", false}, {"value", "Value", true}, {"interval", "95 %", true}, {"limit", "Limit", true}, {"unit", "Unit", false}}}
	idle := 0
	var notes []string // each once
	mark := func(v nutrient.Verdict) string {
		words := VerdictWords(v.State)
		for _, n := range v.Notes {
			if !slices.Contains(notes, n) {
				notes = append(notes, n)
			}
			words += fmt.Sprintf(" (%d)", slices.Index(notes, n)+1)
		}
		return words
	}
	for _, v := range a.Verdicts {
		if v.State == nutrient.NotApplicable {
			idle++
			continue
		}
		if v.State == nutrient.NotJudged {
			t.Rows = append(t.Rows, []string{mark(v.Verdict), v.Scope + " " + v.Subject, v.Rule + ", " + v.Section, v.Period.Name, "-", "-", unit.Whole(v.LimitValue), v.Unit})
			continue
		}
		digits := v.Decimals()
		high := number(v.High, digits)
		if !v.HighKnown {
			high = "not known"
		}
		t.Rows = append(t.Rows, []string{mark(v.Verdict), v.Scope + " " + v.Subject, v.Rule + ", " + v.Section, v.Period.Name, number(v.Value, digits) + " " + string(v.Nutrient), number(v.Low, digits) + " to " + high, unit.Whole(v.LimitValue), v.Unit})
	}
	if idle > 0 {
		t.Notes = append(t.Notes, fmt.Sprintf("%d more limits do not apply: they stand in the CSV with why.", idle))
	}
	if len(t.Rows) == 0 {
		t.Columns = nil // no heads over nothing
		t.Notes = append([]string{"No limit was held against these fields: " + map[bool]string{true: "no rules were named.", false: "none in the rules named applies."}[len(a.Rules) == 0]}, t.Notes...)
	}
	for i, n := range notes {
		t.Notes = append(t.Notes, fmt.Sprintf("(%d) %s", i+1, n))
	}
	t.Notes = append(t.Notes, caveats(a)...)
	return t
}

// fieldPage shows some nutrients of each field: all in one table are too many
// for a page.
func (a SeasonAnswer) fieldPage(forms ...nutrient.Form) Table {
	t := Table{Caption: "Nutrients by field, kg/ha of the field, \u00b1 95 %", Columns: []Column{{"field", "Field", false}, {"crop", "Crop", false}, {"area_ha", "ha", true}}}
	lacking := false
	for _, f := range forms {
		title := string(f)
		if f == nutrient.LimeForm {
			title = "Lime, as CaCO3"
		}
		t.Columns = append(t.Columns, Column{string(f), title, true})
	}
	crop := map[string]SeasonField{}
	for _, f := range a.Fields {
		crop[string(f.Field)] = f
	}
	for _, s := range a.Sums {
		if s.Scope != nutrient.ScopeField || s.Product != "" || s.Kind != "" {
			continue
		}
		row := []string{s.Subject + " " + crop[s.Subject].Name, crop[s.Subject].Crop, hectares4(s.AreaM2)}
		for _, f := range forms {
			n := s.of(f)
			cell := perHaCell(n.KgHa, s.AreaM2)
			if s.AreaM2 > 0 {
				cell = number(n.KgHa, 1)
			}
			if half := n.HighKgHa - n.KgHa; half > 0 {
				cell += " \u00b1" + number(half, 1)
			}
			if !n.Known {
				cell, lacking = "\u2265 "+cell, true
			}
			row = append(row, cell)
		}
		t.Rows = append(t.Rows, row)
	}
	if lacking {
		t.Notes = []string{"\u2265: at least; the analysis of some product does not say."}
	}
	return t
}

func (a SeasonAnswer) applicationPage() Table {
	t := Table{Caption: "Applications", Columns: []Column{{"day", "Day", false}, {"field", "Field", false}, {"product", "Product", false}, {"area_ha", "ha", true}, {"kg", "kg", true}, {"interval", "95 %", true}, {"kg_ha", "kg/ha", true}, {"n", "N kg", true}, {"p", "P kg", true}, {"k", "K kg", true}}}
	clock := a.localClock()
	for _, p := range a.Applications {
		row := []string{clock(p.FromLocal), string(p.Field), string(p.Product), hectares4(p.AreaM2), number(p.MassKg, 0), number(p.MassLowKg, 0) + " to " + number(p.MassHighKg, 0), perHaCell(p.RateKgHa, p.AreaM2)}
		for _, f := range []nutrient.Form{"N", "P", "K"} {
			n := amountOf(p.Amounts, f)
			cell := number(n.Kg, 1)
			if !n.Known {
				cell = "not known"
			}
			row = append(row, cell)
		}
		t.Rows = append(t.Rows, row)
	}
	return t
}

func (a SeasonAnswer) crewPage() Table {
	t := Table{Caption: "Who, with what, in what weather", Columns: []Column{{"day", "Day", false}, {"field", "Field", false}, {"machine", "Machine, operator, method", false}, {"calibration", "Calibration", false}, {"weather", "Weather", false}, {"buffers", "Distances kept", false}}}
	var why []string // calibrations do not hold, each once
	for _, p := range a.Applications {
		calibration := "NONE"
		if c := p.Calibration; !c.TestedAt.IsZero() {
			calibration = "tested " + tested(c)
			if !c.Valid {
				reasons := strings.Join(c.Reasons, "; ")
				if !slices.Contains(why, reasons) {
					why = append(why, reasons)
				}
				calibration += fmt.Sprintf(", NOT VALID (%d)", slices.Index(why, reasons)+1)
			}
		}
		weather := "not noted"
		if w := p.Weather; w != nil {
			weather = weatherWords(w)
			if n := len(p.MoreWeather); n > 0 {
				weather += fmt.Sprintf(", the worst of %d notes", n+1)
			}
		}
		t.Rows = append(t.Rows, []string{p.Day, string(p.Field), whoWords(p), calibration, weather, distanceWords(p)})
	}
	for i, reasons := range why {
		t.Notes = append(t.Notes, fmt.Sprintf("(%d) %s", i+1, reasons))
	}
	if slices.ContainsFunc(a.Applications, func(p SeasonApplication) bool { return len(p.Exclusions) > 0 }) {
		t.Notes = append(t.Notes, "Crew: as they noted it. Passes: measured from the edge of the swaths, one bout width wide, to the nearest exclusion area registered. What is thrown beyond the bout width, and how well areas were drawn, is not in it.")
	}
	return t
}

// distanceWords is what the crew noted beside what the passes say.
func distanceWords(p SeasonApplication) string {
	noted := "crew: " + bufferWords(p.Buffers)
	if len(p.Buffers) == 0 {
		noted = "crew: not noted"
	}
	if len(p.Exclusions) == 0 {
		return noted + "; passes: no exclusion area registered"
	}
	return noted + "; passes: " + strings.ReplaceAll(exclusionWords(p.Exclusions)+", receiver error "+plain(p.Exclusions[0].ReceiverM)+" m", " m", "\u00a0m")
}

// checkPage shows what is not kept; the CSV has all.
func (a SeasonAnswer) checkPage() Table {
	t := Table{Caption: "Checks", Columns: []Column{{"state", "State", false}, {"rule", "Rule", false}, {"check", "Check", false}, {"fields", "Fields", false}, {"text", "Why", false}}}
	kept := 0
	type key struct{ state, rule, kind, text string }
	seen := map[key]int{}
	for _, c := range a.Checks {
		if c.State == nutrient.Kept || c.State == nutrient.NotApplicable {
			kept++
			continue
		}
		k := key{c.State, c.Rule, c.Kind, c.Text}
		if i, again := seen[k]; again {
			if !slices.Contains(strings.Split(t.Rows[i][3], ", "), string(c.Field)) {
				t.Rows[i][3] += ", " + string(c.Field)
			}
			continue
		}
		seen[k] = len(t.Rows)
		t.Rows = append(t.Rows, []string{checkWords(c.State), c.Rule + ", " + c.Section, strings.ReplaceAll(c.Kind, "_", " "), string(c.Field), c.Text})
	}
	if len(a.Checks) > 0 {
		t.Notes = []string{fmt.Sprintf("%d more are kept or do not apply: they stand in the CSV. The rules' caveats stand under Limits.", kept)}
	}
	return t
}

func (a SeasonAnswer) missingPage() Table {
	t := Table{Caption: "Records that a rule wants and the book does not have", Columns: []Column{{"rule", "Rule", false}, {"record", "Record", false}, {"fields", "Fields", false}, {"how", "How to supply it", false}}}
	at := map[string]int{}
	for _, m := range a.Missing {
		of := string(m.Field)
		if i, again := at[m.Rule+m.Record]; again {
			t.Rows[i][2] += ", " + of
			continue
		}
		at[m.Rule+m.Record] = len(t.Rows)
		t.Rows = append(t.Rows, []string{m.Rule + ", " + m.Section, m.Text, of, m.How})
	}
	return t
}

func (a SeasonAnswer) balancePage() Table {
	t := Table{Caption: "Every season in the book, kg/ha of the field", Columns: []Column{{"field", "Field", false}, {"season", "Season", false}, {"n", "N", true}, {"p", "P", true}, {"k", "K", true}, {"s", "S", true}, {"lime", "Lime", true}}}
	for _, s := range a.Balance {
		row := []string{s.Subject, s.Season.Name}
		for _, f := range []nutrient.Form{"N", "P", "K", "S", nutrient.LimeForm} {
			n := s.of(f)
			cell := perHaCell(n.KgHa, s.AreaM2)
			if !n.Known {
				cell = "\u2265 " + cell
			}
			row = append(row, cell)
		}
		t.Rows = append(t.Rows, row)
	}
	return t
}

// unknownPage joins what is not known of many fields and applications for the same
// reason, and names the first of them.
func (a SeasonAnswer) unknownPage() Table {
	const named = 3
	all := seasonNotKnown(a)
	t := Table{Caption: all.Caption, Columns: []Column{{"what", "What", false}, {"of", "Of", false}, {"text", "Text", false}}}
	of := map[string][]string{}
	for _, r := range all.Rows {
		if key, name := r[0]+r[2], shortOf(r[1]); !slices.Contains(of[key], name) {
			of[key] = append(of[key], name)
		}
	}
	for _, r := range all.Rows {
		key := r[0] + r[2]
		names := of[key]
		if names == nil {
			continue
		}
		words := strings.Join(names[:min(len(names), named)], ", ")
		if more := len(names) - named; more > 0 {
			words += fmt.Sprintf(" and %d more", more)
		}
		t.Rows = append(t.Rows, []string{r[0], cmp.Or(words, "-"), r[2]})
		delete(of, key)
	}
	return t
}

// shortOf is an application's field and day; another name as it is.
func shortOf(id string) string {
	if parts := strings.Split(id, "/"); len(parts) > 2 && parts[0] == "application" {
		return parts[1] + " " + parts[2]
	}
	return id
}
