package reports

import (
	"fmt"

	"hopperbook/reconcile/nutrient"
)

type (
	// RulesAnswer is rule files, each with how many parts it has.
	RulesAnswer struct {
		Schema string    `json:"schema"` // "hopperbook.rules/1"
		Rules  []RuleRow `json:"rules"`
	}

	// RuleRow is one rule file.
	RuleRow struct {
		nutrient.RuleHead
		Limits  int `json:"limits"`
		Checks  int `json:"checks"`
		Records int `json:"records"`
	}
)

// NewRulesAnswer lists rule files.
func NewRulesAnswer(all []nutrient.Rules) RulesAnswer {
	a := RulesAnswer{Schema: SchemaRules, Rules: []RuleRow{}}
	for _, r := range all {
		a.Rules = append(a.Rules, RuleRow{r.RuleHead, len(r.Limits), len(r.ClosedPeriods) + len(r.Buffers) + len(r.Soils) + len(r.Rains) + len(r.Slopes), len(r.Records)})
	}
	return a
}

// RulesTable is the table of rule files; caveats and sources stand below.
func RulesTable(a RulesAnswer) Table {
	t := Table{Caption: "Rule files", Columns: []Column{{"rule", "Name", false}, {"law", "Law", false}, {"jurisdiction", "Where", false}, {"date_read", "Read on", false}, {"limits", "Limits", true}, {"checks", "Checks", true}, {"records", "Records", true}}}
	for _, r := range a.Rules {
		t.Rows = append(t.Rows, []string{r.ID, r.Law, r.Jurisdiction, r.DateRead, fmt.Sprint(r.Limits), fmt.Sprint(r.Checks), fmt.Sprint(r.Records)})
		t.Notes = append(t.Notes, r.ID+": "+r.Caveat)
		for _, s := range r.Sources {
			t.Notes = append(t.Notes, "  read at "+s)
		}
	}
	return t
}

// SeasonTerminal is a season's nutrients for a terminal, with what nobody may
// overlook.
func SeasonTerminal(a SeasonAnswer) Table {
	t := a.fieldPage("N", "P", "K", "S", "Ca", "Mg", nutrient.LimeForm)
	t.Caption = fmt.Sprintf("%s, %s: %s: %s", a.named(), a.when(), t.Caption, a.status())
	t.Notes = append(append(t.Notes, a.loud()...), caveats(a)...)
	t.Notes = append(t.Notes, seasonCautions[:]...)
	return t
}
