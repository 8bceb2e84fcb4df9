package render

import (
	"embed"
	"encoding/base64"
	"fmt"
	"html/template"
	"image"
	"io"
	"strings"

	"hopperbook/reports"
)

//go:embed sheet.html
var sheetPage embed.FS

// svgWide and svgHigh are a chart's size in mm.
const svgWide, svgHigh = 86.0, 62.0

// SheetHTML writes a document as one page that needs nothing else:
// styles and charts stand inside. The same sheet gives the same bytes.
func SheetHTML(w io.Writer, s reports.Sheet) error {
	page, err := template.New("sheet.html").Funcs(template.FuncMap{"short": short, "svg": svg, "png": inline, "mapPNG": mapOnPage, "legend": reports.Legend, "swatches": swatches, "last": func(i int, rows [][]string) bool { return i == len(rows)-1 }}).ParseFS(sheetPage, "sheet.html")
	if err != nil {
		return err
	}
	return page.Execute(w, s)
}

// short is a day, an identifier or a number that a browser must not break at
// its hyphens.
func short(cell string) bool { return len(cell) <= 20 && !strings.Contains(cell, " ") }

// inline is a picture that stands in the page itself.
func inline(img image.Image) (template.URL, error) {
	raw, err := pngOf(img)
	return template.URL("data:image/png;base64," + base64.StdEncoding.EncodeToString(raw)), err
}

// mapOnPage is a map of the size it has beside so many others.
func mapOnPage(p reports.Picture, many int) (image.Image, error) {
	if many == 1 {
		return paperMap(p.Map, 178, 110)
	}
	return paperMap(p.Map, 86, 110)
}

// svg is a chart as an inline image with a description.
func svg(c reports.Chart) template.HTML {
	var s svgSheet
	fmt.Fprintf(&s.b, `<svg role="img" aria-label="%s" viewBox="0 0 %g %g" xmlns="http://www.w3.org/2000/svg">`, template.HTMLEscapeString(c.Words), svgWide, svgHigh)
	drawChart(&s, c, 0, 0, svgWide, svgHigh)
	s.b.WriteString("</svg>")
	return template.HTML(s.b.String()) // every text in it was escaped
}

type svgSheet struct{ b strings.Builder }

func (s *svgSheet) line(x1, y1, x2, y2, width float64, grey int, dashed bool) {
	dash := ""
	if dashed {
		dash = ` stroke-dasharray="1.6 1"`
	}
	fmt.Fprintf(&s.b, `<line x1="%.2f" y1="%.2f" x2="%.2f" y2="%.2f" stroke="rgb(%d,%d,%d)" stroke-width="%g"%s/>`, x1, y1, x2, y2, grey, grey, grey, width, dash)
}

func (s *svgSheet) box(x, y, w, h float64, grey int) {
	fmt.Fprintf(&s.b, `<rect x="%.2f" y="%.2f" width="%.2f" height="%.2f" fill="rgb(%d,%d,%d)"/>`, x, y, max(w, 0), max(h, 0), grey, grey, grey)
}

func (s *svgSheet) words(x, y float64, text string, at anchor) {
	fmt.Fprintf(&s.b, `<text x="%.2f" y="%.2f" font-size="%g" text-anchor="%s">%s</text>`, x, y, frameText, [...]string{"start", "middle", "end"}[at], template.HTMLEscapeString(text))
}
