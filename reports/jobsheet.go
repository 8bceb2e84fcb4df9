package reports

import (
	"cmp"
	"fmt"
	"math"
	"strings"
	"time"

	"hopperbook/reconcile"
	"hopperbook/schemas"
)

// SchemaJobSheet names the shape of JobSheetAnswer's JSON.
const SchemaJobSheet = "hopperbook.jobsheet/1"

type (
	// JobSheetAnswer is what was done for a job, for the farmer.
	JobSheetAnswer struct {
		Schema     string                  `json:"schema"`
		Job        schemas.RegisterJob     `json:"job"`
		Customer   schemas.BillParty       `json:"customer"`
		Contractor *schemas.BillParty      `json:"contractor"` // null: not registered
		Product    schemas.RegisterProduct `json:"product"`
		Done       []reconcile.Application `json:"done"`
		From       time.Time               `json:"from"`
		To         time.Time               `json:"to"`
		Machines   []schemas.MachineID     `json:"machines"`
		Operators  []schemas.Operator      `json:"operators"`
		Weather    []NotedWeather          `json:"weather"` // within an hour of the work
		TimeZone   string                  `json:"time_zone,omitempty"`
	}

	// NotedWeather is weather with when it was noted.
	NotedWeather struct {
		At time.Time `json:"at"`
		schemas.WeatherNoted
	}
)

const (
	sheetFields = 8 // that one page holds
	sheetMaps   = 3
	sheetName   = 28  // letters of a name that stand on one line there
	sheetNote   = 160 // letters of a note
)

// jobCautions are of general agreement in the trade; what is asked for by law
// differs from place to place and goes first.
var jobCautions = [...]string{
	"Stock: keep animals off until rain or dew has washed the product from the leaves, and for as long as its label and local codes say.",
	"Water: watch drains and watercourses beside the field after the next rain; do not let the product reach them.",
	"Dust: of lime above all, harms eyes, lungs and moist skin. Do not go onto a field while it hangs in the air.",
	"Spilt product at the loading place draws animals: cover it or take it up.",
	"Local codes, the product's label and your adviser go before anything here.",
}

// Sheet is the job in words, one page for up to eight fields and three maps; those beyond follow on pages of their
// own. maps are one a field, lacking those that could not be drawn.
func (a JobSheetAnswer) Sheet(maps []Picture, lacking []string) Sheet {
	product := cmp.Or(a.Product.Name, string(a.Job.Product))
	s := Sheet{Title: "Job sheet " + string(a.Job.Job), Subject: product + " for " + a.Customer.Name, Made: a.To, Facts: a.facts(product), Cautions: jobCautions[:],
		Foot: "Given: what landed inside the boundary over the ground covered once. 95 %: the interval that holds the truth in 95 of 100 cases. Times are " + a.zone().String() + "."}
	if c := a.Contractor; c != nil {
		s.Parties = [][]string{contact("Questions? Ask", *c), contact("For", a.Customer)}
	}
	table := a.table(a.Done[:min(len(a.Done), sheetFields)])
	for _, row := range table.Rows {
		row[0] = cut(row[0], sheetName)
	}
	if more := a.Done[len(table.Rows):]; len(more) > 0 {
		table.Notes = append(table.Notes, fmt.Sprintf("And %d more fields on the next page.", len(more)))
		s.Appendix = &Appendix{Title: "More fields of job " + string(a.Job.Job), Tables: []Table{a.table(more)}}
	}
	s.Tables = []Table{table}
	s.Pictures = maps[:min(len(maps), sheetMaps)]
	s.Remarks = lacking
	if rest := maps[len(s.Pictures):]; len(rest) > 0 {
		if s.Appendix == nil {
			s.Appendix = &Appendix{Title: "More maps of job " + string(a.Job.Job)}
		}
		s.Appendix.Pictures = rest
	}
	return s
}

// cut shortens a text to so many letters.
func cut(text string, most int) string {
	if letters := []rune(text); len(letters) > most {
		return strings.TrimRight(string(letters[:most-1]), " ") + "…"
	}
	return text
}

func contact(role string, p schemas.BillParty) []string {
	lines := []string{role, p.Name}
	for _, x := range []string{p.Phone, p.Email} {
		if x != "" {
			lines = append(lines, x)
		}
	}
	return lines
}

// zone is the contractor's; UTC where there is none that is known.
func (a JobSheetAnswer) zone() *time.Location {
	if zone, err := time.LoadLocation(cmp.Or(a.TimeZone, "UTC")); err == nil {
		return zone
	}
	return time.UTC
}

func (a JobSheetAnswer) facts(product string) [][2]string {
	var areaM2, massKg float64
	for _, d := range a.Done {
		areaM2, massKg = areaM2+d.CoveredM2, massKg+d.MassKg
	}
	const form = "2006-01-02 15:04"
	facts := [][2]string{
		{"What", fmt.Sprintf("%s: %s t on %s ha", product, tonnes(massKg), ha(areaM2))},
		{"When", a.From.In(a.zone()).Format(form) + " to " + a.To.In(a.zone()).Format(form)},
		{"Asked for", number(a.Job.SetRateKgHa, rateDecimals(a.Job.SetRateKgHa)) + " kg/ha"},
	}
	who := make([]string, 0, len(a.Machines)+len(a.Operators))
	for _, o := range a.Operators {
		who = append(who, string(o))
	}
	for _, m := range a.Machines {
		who = append(who, string(m))
	}
	facts = append(facts, [2]string{"Who", strings.Join(who, ", ")})
	if n := len(a.Weather); n > 0 {
		w := a.Weather[0]
		text := fmt.Sprintf("wind %s m/s, rain %s mm, soil %s", number(w.WindMS, 1), number(w.RainMm, 1), strings.ReplaceAll(w.Soil, "_", " "))
		if n > 1 {
			text += fmt.Sprintf(" at %s (noted %d times)", w.At.In(a.zone()).Format("15:04"), n)
		}
		facts = append(facts, [2]string{"Weather", text})
	} else {
		facts = append(facts, [2]string{"Weather", "none was noted"})
	}
	if a.Job.Note != "" {
		facts = append(facts, [2]string{"Note", cut(a.Job.Note, sheetNote)})
	}
	return facts
}

func (a JobSheetAnswer) table(done []reconcile.Application) Table {
	t := Table{Caption: "What each field got", Columns: []Column{{"field", "Field", false}, {"covered_ha", "ha", true}, {"mass_t", "t", true},
		{"given_kg_ha", "Given kg/ha", true}, {"interval_kg_ha", "95 %", true}, {"words", "In words", false}}}
	for _, d := range done {
		n := rateDecimals(d.AskedKgHa)
		t.Rows = append(t.Rows, []string{cmp.Or(d.Name, string(d.Field.Field)), ha(d.CoveredM2), tonnes(d.MassKg), number(d.FieldRateKgHa, n),
			number(d.FieldRateLow, n) + " to " + number(d.FieldRateHigh, n), againstAsked(d)})
	}
	return t
}

// againstAsked says how far the rate is from what was asked for, and whether
// that is more than its uncertainty.
func againstAsked(d reconcile.Application) string {
	if d.AskedKgHa <= 0 {
		return "no rate was asked for"
	}
	if d.FieldRateLow <= d.AskedKgHa && d.AskedKgHa <= d.FieldRateHigh {
		return "as asked for, as far as can be told"
	}
	off := 100 * (d.FieldRateKgHa/d.AskedKgHa - 1)
	if off < 0 {
		return number(math.Abs(off), 1) + " % less than asked for"
	}
	return number(off, 1) + " % more than asked for"
}

// JobSheet is the table of a job's fields, with what stands over it as notes.
func JobSheet(a JobSheetAnswer) Table {
	t := a.table(a.Done)
	t.Caption = fmt.Sprintf("Job %s for %s", a.Job.Job, a.Customer.Name)
	for _, f := range a.facts(cmp.Or(a.Product.Name, string(a.Job.Product))) {
		t.Notes = append(t.Notes, f[0]+": "+f[1])
	}
	return t
}
