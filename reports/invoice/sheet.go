package invoice

import (
	"fmt"
	"strings"
	"time"

	"hopperbook/reconcile"
	"hopperbook/reconcile/rating"
	"hopperbook/reports"
	"hopperbook/schemas"
	"hopperbook/schemas/unit"
)

// Sheet is the document ready to be drawn, with what its quantities come from
// as an appendix. unchanged: the proof is that of the day of issue; else the
// sheet says that the evidence in the book is another one now. pictures are
// maps for the appendix, lacking what could not be drawn and why.
func (d *Document) Sheet(proof reports.Proof, unchanged bool, pictures []reports.Picture, lacking []string) reports.Sheet {
	made, _ := time.Parse(time.DateOnly, d.IssuedOn) // checked before it was issued
	s := reports.Sheet{
		Title: "Invoice " + string(d.Number), Subject: "for " + d.Buyer.Name, Made: made, Mark: reports.Mark(d.Number, d.DocumentDigest),
		Parties: [][]string{partyLines("From", d.Seller), partyLines("To", d.Buyer)}, Facts: d.facts(),
		Foot: "Weights that are paid by need a scale that is certified for trade. This document bears the digest of the events it comes from; hopperbook verify " + string(d.Number) + " holds it against the book.",
	}
	if d.Credit {
		s.Title, s.Subject = "Credit note "+string(d.Number), "takes back invoice "+string(d.Credits)+" for "+d.Buyer.Name
	}
	if !unchanged {
		s.AgainstTitle, s.Against = "The evidence has changed", []string{"Since this was issued the events in the book have changed; what the appendix shows is as the book is now."}
		if d.Credit {
			s.Against = []string{"Since the invoice was issued the events in the book have changed; the appendix shows them as they were when it was taken back."}
		}
	}
	lines, totals := d.LineTable(), d.TotalTable()
	lines.Caption = "What it is for"
	s.Tables = []reports.Table{shorten(lines), totals}
	s.Status = fmt.Sprintf("%s %s %s", d.due(), d.Bill.Currency.Text(d.Bill.Totals.Gross), d.Bill.Currency)
	s.Appendix = &reports.Appendix{Title: "Appendix to " + strings.ToLower(s.Title[:1]) + s.Title[1:] + ": what it rests on", Tables: d.appendix(proof), Pictures: pictures, Notes: lacking}
	s.Cautions = d.cautions()
	for _, n := range d.Notes() {
		if !strings.HasPrefix(n, "Caution: ") && !strings.HasPrefix(n, "Reason: ") && n != d.PaymentNote {
			s.Remarks = append(s.Remarks, n)
		}
	}
	return s
}

// mostRates are how many rates that are off stand on the first page; the appendix has those of every field.
const mostRates = 3

// cautions are what was unsure when it was issued.
func (d *Document) cautions() (out []string) {
	var rates []string
	for _, u := range d.Bill.Unsure {
		if u.Kind == rating.UnsureRate {
			rates = append(rates, u.Text)
		} else {
			out = append(out, u.Text)
		}
	}
	if more := len(rates) - mostRates; more > 0 {
		rates = append(rates[:mostRates], fmt.Sprintf("%d more fields have a rate that is off: the appendix has the rate of every field", more))
	}
	return append(out, rates...)
}

// shorten leaves out what stands in the appendix or is empty throughout.
func shorten(t reports.Table) reports.Table {
	keep := func(i int) bool {
		for _, row := range t.Rows {
			if row[i] != "-" {
				return true
			}
		}
		return false
	}
	out := reports.Table{Caption: t.Caption, Rows: make([][]string, len(t.Rows)), Notes: t.Notes}
	for i, c := range t.Columns {
		if !keep(i) {
			continue
		}
		out.Columns = append(out.Columns, c)
		for n, row := range t.Rows {
			out.Rows[n] = append(out.Rows[n], row[i])
		}
	}
	return out
}

func partyLines(role string, p schemas.BillParty) []string {
	lines := []string{role, p.Name}
	for line := range strings.SplitSeq(p.Address, "\n") {
		lines = append(lines, line)
	}
	for _, x := range [][2]string{{"", p.Country}, {"Tax number ", p.TaxID}, {"Register ", p.LegalID}, {"", p.Email}, {"", p.Phone}} {
		if x[1] != "" {
			lines = append(lines, x[0]+x[1])
		}
	}
	return lines
}

func (d *Document) facts() [][2]string {
	var facts [][2]string
	add := func(name, value string) {
		if value != "" {
			facts = append(facts, [2]string{name, value})
		}
	}
	add("Date", d.IssuedOn)
	add("Due", d.DueOn)
	names := make([]string, len(d.Jobs))
	for i, j := range d.Jobs {
		names[i] = string(j)
	}
	add("Jobs", strings.Join(names, ", "))
	if d.From != "" {
		add("Work", day(d.From)+" to "+lastDay(d.To))
	}
	add("Agreement", string(d.Bill.Agreement))
	add("Customer", string(d.Customer))
	add("Reason", d.Reason)
	add("Payment", d.PaymentNote)
	return facts
}

// appendix is what was spread where, from which loads, by which calibration,
// and what was corrected.
func (d *Document) appendix(p reports.Proof) []reports.Table {
	var tables []reports.Table
	if t := d.SourceTable(); len(t.Rows) > 0 {
		tables = append(tables, t)
	}
	if len(p.Fields) > 0 {
		tables = append(tables, fieldTable(p.Fields))
	}
	if len(p.Calibrations) > 0 {
		tables = append(tables, reports.Calibrations(p.Calibrations))
	}
	if len(p.Loads) > 0 {
		tables = append(tables, loadTable(p.Loads))
	}
	if len(p.Amendments) > 0 {
		t := reports.Table{Caption: "Corrections among the evidence", Columns: []reports.Column{
			{Key: "at", Title: "When (UTC)"}, {Key: "type", Title: "Event"}, {Key: "action", Title: "Action"}, {Key: "reason", Title: "Reason"}}}
		for _, a := range p.Amendments {
			t.Rows = append(t.Rows, []string{minute(a.At), string(a.Type) + " " + string(a.Amends), a.Action, a.Reason})
		}
		tables = append(tables, t)
	}
	return tables
}

func fieldTable(fields []reconcile.Application) reports.Table {
	t := reports.Table{Caption: "Fields", Columns: []reports.Column{
		{Key: "field", Title: "Field"}, {Key: "product", Title: "Product"}, {Key: "job", Title: "Job"}, {Key: "day", Title: "Day"}, {Key: "covered_ha", Title: "Covered ha", Right: true},
		{Key: "spread_t", Title: "Spread t", Right: true}, {Key: "asked_kg_ha", Title: "Asked", Right: true}, {Key: "given_kg_ha", Title: "Given", Right: true}, {Key: "interval", Title: "95 %", Right: true}}}
	for _, f := range fields {
		t.Rows = append(t.Rows, []string{nameOr(f.Name, string(f.Field.Field)), string(f.Product), string(f.Job), f.From.UTC().Format(time.DateOnly), fmt.Sprintf("%.3f", f.CoveredM2/1e4),
			fmt.Sprintf("%.3f", f.MassKg/1e3), unit.Plain(f.AskedKgHa, 4), unit.Plain(f.FieldRateKgHa, 4), unit.Plain(f.FieldRateLow, 4) + " to " + unit.Plain(f.FieldRateHigh, 4)})
	}
	t.Notes = []string{"Asked, given and its 95 % interval (which holds the truth in 95 of 100 cases) in kg/ha. Given is what landed inside the boundary over the ground that was covered once. Days are UTC."}
	return t
}

func loadTable(loads []reconcile.WorkLoad) reports.Table {
	t := reports.Table{Caption: "Loads", Columns: []reports.Column{
		{Key: "at", Title: "Weighed (UTC)"}, {Key: "load", Title: "Load"}, {Key: "product", Title: "Product"}, {Key: "net_kg", Title: "Net kg", Right: true}, {Key: "for_kg", Title: "For the job kg", Right: true},
		{Key: "method", Title: "Weighed by"}, {Key: "scale", Title: "Scale"}, {Key: "docket", Title: "Docket"}, {Key: "machine", Title: "Into"}, {Key: "job", Title: "Job"}}}
	var sum float64
	distinct := map[schemas.LoadID]bool{}
	for _, l := range loads {
		sum += l.ForKg
		distinct[l.Load] = true
		t.Rows = append(t.Rows, []string{minute(l.At), string(l.Load), string(l.Product), fmt.Sprintf("%.0f", l.NetKg), fmt.Sprintf("%.0f", l.ForKg), l.Method, orNone(string(l.Scale)), orNone(string(l.Docket)), string(l.Machine), string(l.Job)})
	}
	of := "1 load"
	if n := len(distinct); n != 1 {
		of = fmt.Sprintf("%d loads", n)
	}
	t.Notes = []string{fmt.Sprintf("Together %.0f kg of %s. Where several jobs took of what was filled in at once, each counts what it was given of it.", sum, of)}
	return shorten(t)
}

func minute(t time.Time) string { return t.UTC().Format("2006-01-02 15:04") }

func nameOr(name, id string) string {
	if name == "" {
		return id
	}
	return name
}
