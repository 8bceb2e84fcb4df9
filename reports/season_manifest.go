package reports

import (
	"fmt"
	"maps"
	"slices"
	"strings"

	"hopperbook/schemas"
)

type (
	// Manifest says what a folder of records holds and what it is drawn from.
	Manifest struct {
		Schema   string             `json:"schema"`  // "hopperbook.manifest/1"
		Program  string             `json:"program"` // the version that drew it
		Customer schemas.CustomerID `json:"customer"`
		Season   string             `json:"season"`
		From     string             `json:"from,omitempty"` // first local day; left out: a season
		To       string             `json:"to,omitempty"`   // local day after the last one
		Starts   string             `json:"starts,omitempty"`
		TimeZone string             `json:"time_zone"`
		Paper    string             `json:"paper"` // of the PDF
		Rules    []ManifestRule     `json:"rules"`
		Marks    []string           `json:"marks,omitempty"` // what the book held
		Evidence Evidence           `json:"evidence"`
		NotKnown []string           `json:"not_known"`
		Files    []ManifestFile     `json:"files"`
	}

	// ManifestRule is a rule file that the records were held against; its copy is
	// one of the files.
	ManifestRule struct {
		ID      string `json:"id"`
		File    string `json:"file"`
		Shipped bool   `json:"shipped"` // it came with the program
	}

	// ManifestFile is one file.
	ManifestFile struct {
		Name   string `json:"name"`
		Bytes  int64  `json:"bytes"`
		SHA256 string `json:"sha256"`
	}

	// PackAnswer is a folder of records held against the book.
	PackAnswer struct {
		Schema    string             `json:"schema"`
		Dir       string             `json:"dir"`
		Customer  schemas.CustomerID `json:"customer"`
		Season    string             `json:"season"`
		Files     int                `json:"files"`
		Rules     []ManifestRule     `json:"rules"`
		Drawn     bool               `json:"drawn"`     // it was drawn again from the book; false: held against the manifest alone
		Whole     bool               `json:"whole"`     // every file is as drawn, none is missing or too many
		Unchanged bool               `json:"unchanged"` // the book's evidence is the same
		Changes   []string           `json:"changes"`
	}
)

// Lists reports whether the manifest has a file of this name, size and digest.
func (m *Manifest) Lists(f ManifestFile) bool { return slices.Contains(m.Files, f) }

// Names reports whether the manifest has a file of this name.
func (m *Manifest) Names(name string) bool {
	return slices.ContainsFunc(m.Files, func(f ManifestFile) bool { return f.Name == name })
}

// NewPackAnswer is a folder of which nothing is said yet.
func NewPackAnswer(dir string, m Manifest) PackAnswer {
	return PackAnswer{Schema: SchemaManifest, Dir: dir, Customer: m.Customer, Season: m.Season, Files: len(m.Files), Rules: append([]ManifestRule{}, m.Rules...), Whole: true, Changes: []string{}}
}

// Alter adds what makes files others than they were.
func (a *PackAnswer) Alter(changes []string) {
	a.Whole = a.Whole && len(changes) == 0
	a.Changes = append(a.Changes, changes...)
}

// Note adds what makes no file another.
func (a *PackAnswer) Note(text string) { a.Changes = append(a.Changes, text) }

// HoldEvidence says how the evidence differs from what it was.
func (a *PackAnswer) HoldEvidence(was, is Evidence) {
	if a.Unchanged = was.Digest == is.Digest; a.Unchanged {
		return
	}
	a.Note(fmt.Sprintf("evidence: %d events then, %d now, SHA-256 %s then, %s now", was.Events, is.Events, was.Digest, is.Digest))
	kinds := maps.Clone(is.Kinds)
	for kind := range was.Kinds {
		kinds[kind] += 0
	}
	said := len(a.Changes)
	for _, kind := range slices.Sorted(maps.Keys(kinds)) {
		if was.Kinds[kind] != is.Kinds[kind] {
			a.Note(fmt.Sprintf("%s: %d then, %d now", kind, was.Kinds[kind], is.Kinds[kind]))
		}
	}
	if len(a.Changes) == said {
		a.Note("as many events of each kind as then, but not the same ones")
	}
}

// NotKnown is what the records cannot say, each once.
func (a SeasonAnswer) NotKnown() []string {
	out := []string{}
	for _, r := range a.unknownPage().Rows {
		out = append(out, fmt.Sprintf("%s (%s): %s", r[0], r[1], r[2]))
	}
	return out
}

// VerifiedPack is the table of a folder of records.
func VerifiedPack(a PackAnswer) Table {
	files := "CHANGED"
	switch {
	case a.Whole && a.Drawn:
		files = "as drawn from the book"
	case a.Whole:
		files = "as the manifest beside them says; NOT drawn again from the book"
	}
	t := Table{Caption: fmt.Sprintf("Records of %s, %s, in %s", a.Customer, a.Season, a.Dir), Columns: []Column{{"what", "What", false}, {"state", "State", false}},
		Rows: [][]string{{fmt.Sprintf("%d files", a.Files), files}, {"evidence in the book", map[bool]string{true: "the same", false: "CHANGED"}[a.Unchanged]}}, Notes: a.Changes}
	for _, r := range a.Rules {
		t.Rows = append(t.Rows, []string{"held against " + r.ID, map[bool]string{true: "a rule file of this program", false: "a rule file of the user's own: read " + r.File}[r.Shipped]})
	}
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
