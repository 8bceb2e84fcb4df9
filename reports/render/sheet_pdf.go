package render

import (
	"bytes"
	"fmt"
	"image"
	"io"
	"strings"
	"unicode"

	"codeberg.org/go-pdf/fpdf"
	"github.com/go-fonts/dejavu/dejavusans"
	"github.com/go-fonts/dejavu/dejavusansbold"
	"golang.org/x/image/font/sfnt"

	"hopperbook/reconcile/applied"
	"hopperbook/reports"
	"hopperbook/schemas/fault"
)

// Paper is a size of page.
type Paper string

// The sizes; the zero value of Paper is A4.
const (
	A4     Paper = "a4"
	Letter Paper = "letter"
)

const (
	pdfMargin  = 16.0 // mm
	pdfFoot    = 18.0
	pdfLine    = 4.6 // of running text
	pdfRow     = 5.4 // of a table
	pdfFace    = "sans"
	pdfSize    = 9.0 // points
	pdfTitle   = 18.0
	pdfHeading = 10.5
	mmPerPoint = 25.4 / 72
)

// name is what the drawing library calls the paper.
func (p Paper) name() (string, error) {
	name, ok := map[Paper]string{"": "A4", A4: "A4", Letter: "Letter"}[p]
	if !ok {
		return "", fault.Newf("draw the document", fault.Usage, "there is no paper "+string(p), "choose a4 or letter")
	}
	return name, nil
}

// CheckPaper refuses a paper that is neither A4 nor letter.
func CheckPaper(p Paper) error {
	_, err := p.name()
	return err
}

// SheetPDF writes a document as PDF. The dates in the file are the
// sheet's, so that the same sheet gives the same bytes. Letters that the
// embedded font (DejaVu Sans: Latin, Greek, Cyrillic, Armenian, Georgian and
// more) does not have, and those of scripts written from right to left, are drawn
// as a box, and the page says that the HTML has them. Refused: a paper that is neither A4 nor letter.
func SheetPDF(w io.Writer, s reports.Sheet, paper Paper) error {
	size, err := paper.name()
	if err != nil {
		return err
	}
	p, err := newPDF(size, s)
	if err != nil {
		return err
	}
	p.head(s)
	p.parties(s.Parties)
	p.facts(s)
	p.charts(s.Charts)
	for _, t := range s.Tables {
		p.table(t)
	}
	if err := p.pictures(s.Pictures, min(3, len(s.Pictures)), p.listHigh(s.Remarks)+p.listHigh(s.Cautions)+1); err != nil {
		return err
	}
	p.list("Remarks", s.Remarks)
	p.list("Cautions", s.Cautions)
	p.signatures(s.Signatures)
	if err := p.appendix(s.Appendix); err != nil {
		return err
	}
	var out bytes.Buffer
	if err := p.Output(&out); err != nil {
		return fault.New("draw the document", fault.Internal, err, "")
	}
	_, err = w.Write(out.Bytes())
	return err
}

// pdf is a document with the page's habits.
type pdf struct {
	*fpdf.Fpdf
	width    float64 // between the margins
	font     *sfnt.Font
	buffer   sfnt.Buffer
	drawn    int // pictures so far
	swatches [applied.Classes + 1]*image.RGBA
	widths   map[int]bool // of pictures so far, in pixels
	lacking  bool         // a letter was drawn as a box
}

func newPDF(size string, s reports.Sheet) (*pdf, error) {
	font, err := sfnt.Parse(dejavusans.TTF)
	if err != nil {
		return nil, fault.New("read the font", fault.Internal, err, "")
	}
	f := fpdf.New("P", "mm", size, "")
	f.SetCatalogSort(true)
	f.SetCreationDate(s.Made.UTC())
	f.SetModificationDate(s.Made.UTC())
	f.SetProducer("hopperbook", true)
	f.SetTitle(s.Title+": "+s.Subject, true)
	if s.Mark != "" {
		f.SetKeywords(s.Mark, false) // plain, so that a file can be searched for it
	}
	f.SetMargins(pdfMargin, pdfMargin, pdfMargin)
	f.SetAutoPageBreak(true, pdfFoot)
	f.AddUTF8FontFromBytes(pdfFace, "", dejavusans.TTF)
	f.AddUTF8FontFromBytes(pdfFace, "B", dejavusansbold.TTF)
	pageW, _ := f.GetPageSize()
	p := &pdf{Fpdf: f, width: pageW - 2*pdfMargin, font: font}
	f.AliasNbPages("{n}")
	f.SetFooterFunc(func() { p.foot(s.Foot) })
	f.AddPage()
	f.SetFont(pdfFace, "", pdfSize)
	return p, nil
}

// drawable is text on one line, with boxes for letters that cannot be drawn.
func (p *pdf) drawable(text string) string {
	const box = '\u25A1'
	return strings.Map(func(r rune) rune {
		switch {
		case r < ' ' || r == 0x7F:
			return ' '
		case unicode.Is(unicode.Bidi_Control, r):
			return -1 // turns nothing here
		case toTheLeft(r):
			p.lacking = true
			return box
		}
		if i, err := p.font.GlyphIndex(&p.buffer, r); err != nil || i == 0 || r > 0xFFFF {
			p.lacking = true
			return box
		}
		return r
	}, text)
}

// toTheLeft are the letters and marks of scripts that are written from right to left. The font
// has some, but without shaping and in the wrong order they would be other words.
// Their digits run to the right like all digits.
func toTheLeft(r rune) bool {
	return (r >= 0x0590 && r <= 0x08FF || r >= 0xFB1D && r <= 0xFDFF || r >= 0xFE70 && r <= 0xFEFC) && !unicode.IsDigit(r)
}

func (p *pdf) foot(words string) {
	p.SetY(-pdfFoot + 4)
	p.SetFont(pdfFace, "", 7)
	p.SetTextColor(90, 90, 90)
	if p.lacking {
		words += " A box stands for a letter this form cannot draw; the HTML form has it."
	}
	y := p.GetY()
	p.MultiCell(p.width-20, 3.2, p.drawable(words), "", "L", false)
	p.SetXY(pdfMargin+p.width-20, y)
	p.CellFormat(20, 3.2, fmt.Sprintf("page %d of {n}", p.PageNo()), "", 0, "R", false, 0, "")
	p.SetTextColor(0, 0, 0)
	p.SetFont(pdfFace, "", pdfSize)
}

func (p *pdf) head(s reports.Sheet) {
	box := 0.0
	if s.Status != "" {
		p.SetFont(pdfFace, "B", pdfHeading)
		box = p.GetStringWidth(p.drawable(s.Status)) + 8
		p.SetLineWidth(0.5)
		p.Rect(pdfMargin+p.width-box, pdfMargin, box, 9, "D")
		p.SetXY(pdfMargin+p.width-box, pdfMargin)
		p.CellFormat(box, 9, p.drawable(s.Status), "", 0, "C", false, 0, "")
	}
	p.SetXY(pdfMargin, pdfMargin)
	p.SetFont(pdfFace, "B", pdfTitle)
	p.MultiCell(p.width-box-4, 9, p.drawable(s.Title), "", "L", false)
	p.SetFont(pdfFace, "", pdfHeading)
	p.MultiCell(p.width-box-4, 5.4, p.drawable(s.Subject), "", "L", false)
	p.SetLineWidth(0.4)
	p.Line(pdfMargin, p.GetY()+2, pdfMargin+p.width, p.GetY()+2)
	p.SetY(p.GetY() + 5)
	p.list(s.AgainstTitle, s.Against)
}

// parties stand side by side.
func (p *pdf) parties(blocks [][]string) {
	if len(blocks) == 0 {
		return
	}
	const gap = 6.0
	wide := (p.width - gap*float64(len(blocks)-1)) / float64(len(blocks))
	top, bottom := p.GetY(), p.GetY()
	for i, lines := range blocks {
		x := pdfMargin + float64(i)*(wide+gap)
		p.SetXY(x, top)
		for n, line := range lines {
			p.SetFont(pdfFace, map[bool]string{true: "B"}[n == 1], pdfSize)
			p.SetX(x)
			p.MultiCell(wide, pdfLine, p.drawable(line), "", "L", false)
		}
		bottom = max(bottom, p.GetY())
	}
	p.SetXY(pdfMargin, bottom+4)
}

func (p *pdf) facts(s reports.Sheet) {
	const label = 30.0
	for _, f := range s.Facts {
		p.SetFont(pdfFace, "", pdfSize)
		p.SetTextColor(80, 80, 80)
		p.CellFormat(label, pdfLine, p.drawable(f[0]), "", 0, "L", false, 0, "")
		p.SetTextColor(0, 0, 0)
		p.MultiCell(p.width-label, pdfLine, p.drawable(f[1]), "", "L", false)
	}
	p.SetY(p.GetY() + 3)
}

// room begins a new page where less than a height is left.
func (p *pdf) room(mm float64) {
	_, pageH := p.GetPageSize()
	if p.GetY()+mm > pageH-pdfFoot {
		p.AddPage()
	}
}

func (p *pdf) heading(text string) {
	p.SetFont(pdfFace, "B", pdfHeading)
	p.CellFormat(p.width, 6.4, p.drawable(text), "", 1, "L", false, 0, "")
	p.SetFont(pdfFace, "", pdfSize)
}

func (p *pdf) charts(charts []reports.Chart) {
	const high, gap = 62.0, 6.0
	if len(charts) == 0 {
		return
	}
	p.room(high + 4)
	wide := (p.width - gap) / 2
	y := p.GetY()
	for i, c := range charts {
		drawChart(pdfSheet{p}, c, pdfMargin+float64(i%2)*(wide+gap), y, wide, high)
	}
	p.SetXY(pdfMargin, y+high+4)
	p.SetFont(pdfFace, "", pdfSize)
}

// listHigh is the room a list takes.
func (p *pdf) listHigh(words []string) (mm float64) {
	for _, w := range words {
		mm += pdfLine * float64(len(p.SplitText(p.drawable(w), p.width-4)))
	}
	if mm > 0 {
		mm += 6.4 + 3
	}
	return mm
}

func (p *pdf) list(heading string, words []string) {
	if len(words) == 0 {
		return
	}
	p.room(6.4 + 2*pdfLine)
	p.heading(heading)
	for _, w := range words {
		p.CellFormat(4, pdfLine, "\u2013", "", 0, "L", false, 0, "")
		p.MultiCell(p.width-4, pdfLine, p.drawable(w), "", "L", false)
	}
	p.SetY(p.GetY() + 3)
}

func (p *pdf) signatures(names []string) {
	if len(names) == 0 {
		return
	}
	const gap = 10.0
	p.room(22)
	y := p.GetY() + 14
	wide := (p.width - gap*float64(len(names)-1)) / float64(len(names))
	for i, name := range names {
		x := pdfMargin + float64(i)*(wide+gap)
		p.SetLineWidth(0.25)
		p.Line(x, y, x+wide, y)
		p.SetXY(x, y+1)
		p.CellFormat(wide, pdfLine, name, "", 0, "L", false, 0, "")
	}
}

// pdfSheet draws charts.
type pdfSheet struct{ p *pdf }

func (s pdfSheet) line(x1, y1, x2, y2, width float64, grey int, dashed bool) {
	s.p.SetLineWidth(width)
	s.p.SetDrawColor(grey, grey, grey)
	if dashed {
		s.p.SetDashPattern([]float64{1.6, 1}, 0)
	}
	s.p.Line(x1, y1, x2, y2)
	s.p.SetDashPattern([]float64{}, 0)
	s.p.SetDrawColor(0, 0, 0)
}

func (s pdfSheet) box(x, y, w, h float64, grey int) {
	s.p.SetFillColor(grey, grey, grey)
	s.p.Rect(x, y, max(w, 0), max(h, 0), "F")
}

func (s pdfSheet) words(x, y float64, text string, at anchor) {
	s.p.SetFont(pdfFace, "", frameText/mmPerPoint)
	text = s.p.drawable(text)
	switch at {
	case aroundMiddle:
		x -= s.p.GetStringWidth(text) / 2
	case fromRight:
		x -= s.p.GetStringWidth(text)
	}
	s.p.Text(x, y, text)
}
