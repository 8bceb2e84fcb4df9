package reports

import (
	"fmt"
	"regexp"
	"strings"

	"hopperbook/schemas"
)

// Documents is the table of issued documents.
func Documents(a DocumentsAnswer) Table {
	t := Table{Caption: "Issued documents", Columns: []Column{{"number", "Number", false}, {"kind", "Kind", false}, {"issued_on", "Issued on", false},
		{"customer", "Customer", false}, {"jobs", "Jobs", false}, {"currency", "Currency", false}, {"gross", "With tax", true}, {"state", "State", false}, {"refers_to", "Refers to", false}}}
	changed, altered := 0, 0
	for _, d := range a.Documents {
		jobs := make([]string, len(d.Jobs))
		for i, j := range d.Jobs {
			jobs[i] = string(j)
		}
		refers := string(d.Credits)
		if d.CreditedBy != "" {
			refers = string(d.CreditedBy)
		}
		if d.State == "changed" {
			changed++
		}
		if d.State == "altered" {
			altered++
		}
		t.Rows = append(t.Rows, []string{string(d.Number), strings.ReplaceAll(d.Kind, "_", " "), d.IssuedOn, string(d.Customer), strings.Join(jobs, " "), d.Currency, d.Gross,
			strings.ReplaceAll(d.State, "_", " "), refers})
	}
	if len(a.Documents) == 0 {
		t.Notes = append(t.Notes, "Nothing has been issued yet: hopperbook bill JOB")
	}
	if altered > 0 {
		t.Notes = append(t.Notes, fmt.Sprintf("%d are not what was issued: their own digest differs; ask where the events came from that were published here", altered))
	}
	if changed > 0 {
		t.Notes = append(t.Notes, fmt.Sprintf("%d rest on events that are not the same any more: hopperbook verify NUMBER says which; if the amounts differ, hopperbook credit NUMBER and bill again", changed))
	}
	return t
}

// Verified is the table of a document held against the book.
func Verified(a DocumentAnswer) Table {
	t := Table{Columns: []Column{{"check", "Check", false}, {"result", "Result", false}}}
	yes := func(ok bool) string {
		if ok {
			return "yes"
		}
		return "NO"
	}
	number, gross, digest := schemas.InvoiceNo(""), "", ""
	switch {
	case a.Invoice != nil:
		number, gross, digest = a.Invoice.Number, a.Invoice.Totals.Gross+" "+a.Invoice.Currency, a.Invoice.Digest
	case a.Credit != nil:
		number, gross, digest = a.Credit.Number, a.Credit.Totals.Gross+" "+a.Credit.Currency, a.Credit.Digest
	}
	t.Caption = fmt.Sprintf("%s %s", strings.ReplaceAll(a.Kind, "_", " "), number)
	t.Rows = [][]string{}
	if a.File != "" {
		t.Rows = append(t.Rows, []string{"the file is what is drawn of it", map[string]string{FileSame: yes(true), FileDiffers: yes(false), FileUnknown: "not known"}[a.File]})
	}
	t.Rows = append(t.Rows, [][]string{{"the document is whole", yes(a.Whole)}, {"its evidence is the same in the book", yes(a.Unchanged)}, {"with tax", gross}}...)
	if !a.Unchanged && a.GrossNow != "" {
		t.Rows = append(t.Rows, []string{"the same jobs now", a.GrossNow})
	}
	if a.CreditedBy != "" {
		t.Rows = append(t.Rows, []string{"taken back by", string(a.CreditedBy)})
	}
	t.Rows = append(t.Rows, []string{"digest of the evidence, on the document", digest}, []string{"digest of the evidence, in the book", a.Now})
	t.Notes = a.Changes
	return t
}

// How a file compares with what is drawn of its document.
const (
	FileSame    = "same"
	FileDiffers = "differs"
	FileUnknown = "unknown" // what the book held when it was issued is not known
)

// Mark is what a drawn document bears so that a file can be verified.
func Mark(number schemas.InvoiceNo, digest string) string {
	return fmt.Sprintf("hopperbook document %s sha256 %s", number, digest)
}

// FindMark finds the mark in a file's bytes.
func FindMark(raw []byte) (number schemas.InvoiceNo, digest string, ok bool) {
	m := regexp.MustCompile(`hopperbook document ([A-Za-z0-9][A-Za-z0-9._-]{0,63}) sha256 ([0-9a-f]{64})`).FindSubmatch(raw)
	if m == nil {
		return "", "", false
	}
	return schemas.InvoiceNo(m[1]), string(m[2]), true
}
