package render

import (
	"encoding/csv"
	"fmt"
	"io"
	"strings"
	"unicode"
	"unicode/utf8"

	"hopperbook/reports"
)

// Text draws a table for a terminal of any kind: caption, header, rows, notes.
func Text(w io.Writer, t reports.Table) error {
	widths := make([]int, len(t.Columns))
	header := make([]string, len(t.Columns))
	for i, c := range t.Columns {
		header[i] = c.Title
		widths[i] = utf8.RuneCountInString(c.Title)
		for _, row := range t.Rows {
			widths[i] = max(widths[i], utf8.RuneCountInString(row[i]))
		}
	}
	var b strings.Builder
	if t.Caption != "" {
		fmt.Fprintf(&b, "%s\n", t.Caption)
	}
	line := func(cells []string) {
		var l strings.Builder
		for i, cell := range cells {
			cell = printable(cell)
			pad := strings.Repeat(" ", widths[i]-utf8.RuneCountInString(cell))
			if t.Columns[i].Right {
				cell = pad + cell
			} else {
				cell += pad
			}
			l.WriteString(cell)
			l.WriteString("  ")
		}
		b.WriteString(strings.TrimRight(l.String(), " "))
		b.WriteByte('\n')
	}
	if len(t.Rows) > 0 {
		line(header)
	}
	for _, row := range t.Rows {
		line(row)
	}
	for _, note := range t.Notes {
		fmt.Fprintf(&b, "%s\n", note)
	}
	_, err := io.WriteString(w, b.String())
	return err
}

// printable keeps names from outside from moving the cursor or breaking a
// line; widths stay.
func printable(cell string) string {
	return strings.Map(func(r rune) rune {
		if unicode.IsControl(r) {
			return '\uFFFD'
		}
		return r
	}, cell)
}

// CSV writes a table as RFC 4180, column keys in the first row.
func CSV(w io.Writer, t reports.Table) error {
	out := csv.NewWriter(w)
	keys := make([]string, len(t.Columns))
	for i, c := range t.Columns {
		keys[i] = c.Key
	}
	rows := append([][]string{keys}, t.Rows...)
	for _, row := range rows {
		safe := make([]string, len(row))
		for i, cell := range row {
			switch {
			case cell == "-": // what people read as "none" is an empty cell
			case t.Columns[i].Right && isNumber(cell):
				safe[i] = cell
			default:
				safe[i] = notFormula(cell)
			}
		}
		if err := out.Write(safe); err != nil {
			return err
		}
	}
	out.Flush()
	return out.Error()
}

// isNumber reports whether a spreadsheet reads the cell as the number it is:
// digits with a point, and a sign.
func isNumber(cell string) bool {
	if cell != "" && (cell[0] == '+' || cell[0] == '-') {
		cell = cell[1:]
	}
	whole, frac, point := strings.Cut(cell, ".")
	return whole != "" && (!point || frac != "") && strings.Trim(whole+frac, "0123456789") == ""
}

// notFormula keeps a spreadsheet from running text that came from outside.
func notFormula(cell string) string {
	if cell != "" && strings.ContainsRune("=+-@\t\r", rune(cell[0])) {
		return "'" + cell
	}
	return cell
}
