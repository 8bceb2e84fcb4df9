package render

import (
	"strings"

	"hopperbook/reports"
)

const (
	cellPad = 2.0 // mm beside a cell's text
	// narrowest is the least width of a column of words that gives way.
	narrowest = 22.0
)

// table keeps its heading, its columns' names and its first rows together;
// a table that goes on to another page repeats the names. One without columns
// is its heading and notes.
func (p *pdf) table(t reports.Table) {
	p.room(6.4 + 3*pdfRow)
	if t.Caption != "" {
		p.heading(t.Caption)
	}
	widths := p.columns(t)
	if len(widths) > 0 {
		p.rowOf(t, widths, titles(t), "B")
	}
	for i, row := range t.Rows {
		_, pageH := p.GetPageSize()
		if p.GetY()+p.high(widths, row) > pageH-pdfFoot {
			p.AddPage()
			p.rowOf(t, widths, titles(t), "B")
		}
		style := ""
		if t.Sum && i == len(t.Rows)-1 {
			style = "B"
		}
		p.rowOf(t, widths, row, style)
	}
	p.SetY(p.GetY() + 1)
	for _, note := range t.Notes {
		p.MultiCell(p.width, pdfLine, p.drawable(note), "", "L", false)
	}
	p.SetY(p.GetY() + 3)
}

func titles(t reports.Table) []string {
	out := make([]string, len(t.Columns))
	for i, c := range t.Columns {
		out[i] = c.Title
	}
	return out
}

// columns are as wide as their widest cell; what is left goes to all alike.
// What is missing is taken from the columns of words, the widest first, and only
// where these are at their narrowest from all in proportion.
func (p *pdf) columns(t reports.Table) []float64 {
	widths := make([]float64, len(t.Columns))
	total := 0.0
	for i, c := range t.Columns {
		p.SetFont(pdfFace, "B", pdfSize-0.5)
		widths[i] = p.GetStringWidth(p.drawable(c.Title))
		if !t.Sum {
			p.SetFont(pdfFace, "", pdfSize-0.5)
		}
		for _, row := range t.Rows {
			widths[i] = max(widths[i], p.GetStringWidth(p.drawable(row[i])))
		}
		widths[i] += 2*cellPad + 1
		total += widths[i]
	}
	for total > p.width {
		widest := -1
		for i, c := range t.Columns {
			if !c.Right && widths[i] > narrowest && (widest < 0 || widths[i] > widths[widest]) {
				widest = i
			}
		}
		if widest < 0 {
			break
		}
		cut := min(1, total-p.width, widths[widest]-narrowest)
		widths[widest] -= cut
		total -= cut
	}
	for i := range widths {
		if total <= p.width {
			widths[i] += (p.width - total) / float64(len(widths))
		} else {
			widths[i] *= p.width / total
		}
	}
	return widths
}

// rowOf draws cells, those that do not fit on as many lines as they need.
func (p *pdf) rowOf(t reports.Table, widths []float64, cells []string, style string) {
	p.SetFont(pdfFace, style, pdfSize-0.5)
	high := p.high(widths, cells)
	x, y := pdfMargin, p.GetY()
	for i, cell := range cells {
		align := "L"
		if t.Columns[i].Right {
			align = "R"
		}
		for n, line := range p.lines(cell, widths[i]-cellPad) {
			p.SetXY(x+cellPad/2, y+float64(n)*pdfLine)
			p.CellFormat(widths[i]-cellPad, pdfRow, line, "", 0, align, false, 0, "")
		}
		x += widths[i]
	}
	p.SetDrawColor(190, 190, 190)
	if style == "B" {
		p.SetDrawColor(0, 0, 0)
	}
	p.SetLineWidth(0.15)
	p.Line(pdfMargin, y+high, pdfMargin+p.width, y+high)
	p.SetXY(pdfMargin, y+high)
	p.SetDrawColor(0, 0, 0)
	p.SetFont(pdfFace, "", pdfSize)
}

func (p *pdf) high(widths []float64, cells []string) float64 {
	most := 1
	for i, cell := range cells {
		most = max(most, len(p.lines(cell, widths[i]-cellPad)))
	}
	return pdfRow + float64(most-1)*pdfLine
}

// space is where a line may be broken: not at a no-break space.
func space(r rune) bool { return r == ' ' || r == '\n' || r == '\t' }

// lines breaks a text at its spaces, and inside a word that is wider than the
// column: after a hyphen, else where it is full.
func (p *pdf) lines(text string, width float64) []string {
	var out []string
	line := ""
	for _, word := range strings.FieldsFunc(p.drawable(text), space) {
		if line != "" && p.GetStringWidth(line+" "+word) <= width {
			line += " " + word
			continue
		}
		if line != "" {
			out = append(out, line)
		}
		line = ""
		for _, letter := range word {
			if line != "" && p.GetStringWidth(line+string(letter)) > width {
				cut := strings.LastIndexByte(line, '-') + 1 // after a hyphen, if it has one
				if cut == 0 {
					cut = len(line)
				}
				out, line = append(out, line[:cut]), line[cut:]
			}
			line += string(letter)
		}
	}
	return append(out, line)
}
