package reports

import (
	"fmt"
	"strings"

	"hopperbook/schemas"
)

type (
	// Manifest says what a folder of records holds and what it comes from.
	Manifest struct {
		Schema   string             `json:"schema"` // "hopperbook.manifest/1"
		Customer schemas.CustomerID `json:"customer"`
		Season   string             `json:"season"`
		From     string             `json:"from,omitempty"` // first local day; left out: a season
		To       string             `json:"to,omitempty"`   // local day after the last one
		Starts   string             `json:"starts,omitempty"`
		TimeZone string             `json:"time_zone"`
		Evidence Evidence           `json:"evidence"`
		NotKnown []string           `json:"not_known"`
		Files    []ManifestFile     `json:"files"`
	}

	// ManifestFile is one file.
	ManifestFile struct {
		Name   string `json:"name"`
		Bytes  int64  `json:"bytes"`
		SHA256 string `json:"sha256"`
	}

	// PackAnswer is a folder of records held against its manifest and the book.
	PackAnswer struct {
		Schema    string             `json:"schema"`
		Dir       string             `json:"dir"`
		Customer  schemas.CustomerID `json:"customer"`
		Season    string             `json:"season"`
		Files     int                `json:"files"`
		Whole     bool               `json:"whole"`     // every file is as it was written
		Unchanged bool               `json:"unchanged"` // the book's evidence is the same
		Changes   []string           `json:"changes"`
	}
)

// NotKnown is what the records cannot say, each once.
func (a SeasonAnswer) NotKnown() []string {
	out := []string{}
	for _, r := range a.unknownPage().Rows {
		out = append(out, fmt.Sprintf("%s (%s times): %s", r[0], r[1], r[2]))
	}
	return out
}

// VerifiedPack is the table of a folder of records.
func VerifiedPack(a PackAnswer) Table {
	t := Table{Caption: fmt.Sprintf("Records of %s, %s, in %s", a.Customer, a.Season, a.Dir), Columns: []Column{{"what", "What", false}, {"state", "State", false}},
		Rows: [][]string{{fmt.Sprintf("%d files", a.Files), map[bool]string{true: "as they were written", false: "CHANGED"}[a.Whole]}, {"evidence in the book", map[bool]string{true: "the same", false: "CHANGED"}[a.Unchanged]}}, Notes: a.Changes}
	return t
}

// WhyTable is where a figure comes from.
func WhyTable(a WhyAnswer) Table {
	t := Table{Caption: a.ID + ": " + a.Text, Columns: []Column{{"id", "ID", false}, {"type", "Type", false}, {"time", "Time", false}, {"value", "Value", true}, {"unit", "Unit", false}}}
	for _, p := range a.Parts {
		value := "-"
		if a.Unit != "" {
			value = number(p.Value, 3)
		}
		t.Rows = append(t.Rows, []string{p.ID, "application", "-", value, a.Unit})
	}
	for _, e := range a.Events {
		t.Rows = append(t.Rows, []string{string(e.ID), string(e.Type), clock(e.Time), "-", string(e.Source) + fmt.Sprintf("#%d", e.Sequence)})
	}
	if len(a.Parts) > 0 {
		t.Notes = []string{"hopperbook why " + strings.ReplaceAll(a.Parts[0].ID, " ", "-") + " ... names the events of the first."}
	}
	return t
}
