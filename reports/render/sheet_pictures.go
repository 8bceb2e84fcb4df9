package render

import (
	"bytes"
	"fmt"
	"image"
	"image/draw"
	"strings"

	"codeberg.org/go-pdf/fpdf"

	"hopperbook/reconcile/applied"
	"hopperbook/reports"
	"hopperbook/schemas/fault"
)

const (
	pictureText  = 6.7 // points, of a legend and of figures under a map
	pictureLine  = 3.3
	pictureGap   = 6.0
	pictureLeast = 20.0 // mm high; where there is less room they go to another page
	legendAcross = 4    // classes in a row of a legend
	legendRow    = 4.2
	legendHigh   = 3*legendRow + 1
)

// pictures stand so many side by side, under one legend that each of their
// pages has. keep is room that is left on the first page for what follows; 0: none needs be.
func (p *pdf) pictures(all []reports.Picture, abreast int, keep float64) error {
	if len(all) == 0 {
		return nil
	}
	for _, picture := range all {
		if _, err := picture.Map.Rates(); err != nil {
			return fault.Wrap("draw "+picture.Words, err)
		}
	}
	if p.widths == nil {
		p.swatches, p.widths = swatches(), map[int]bool{}
	}
	legend := reports.Legend(all)
	_, pageH := p.GetPageSize()
	wide, most := (p.width-pictureGap*float64(abreast-1))/float64(abreast), 0.4*pageH
	if abreast == 1 {
		most = 0.6 * pageH
	}
	notes := 0.0
	for _, n := range legend.Notes {
		notes += pictureLine * float64(len(p.small(n, p.width)))
	}
	for first := 0; first < len(all); first += abreast {
		row := all[first:min(first+abreast, len(all))]
		captions, figures, high := 1, 1, 0.0
		for _, picture := range row {
			_, size := paperView(picture.Map, wide, most)
			high = max(high, float64(size.Y)/paperPxPerMM)
			captions, figures = max(captions, len(p.caption(picture.Caption, wide))), max(figures, len(p.figures(picture, legend, wide)))
		}
		beside := pdfLine*float64(captions) + pictureLine*float64(figures) + 4
		if first+abreast >= len(all) {
			beside += notes
		}
		begun := first > 0
		if !begun {
			beside += legendHigh
		}
		left := pageH - pdfFoot - p.GetY() - beside
		if room := left - keep; keep > 0 && room >= pictureLeast {
			high = min(high, room)
		}
		if high > left {
			p.AddPage()
			begun = false
		}
		if !begun {
			p.legend(legend)
		}
		if err := p.pictureRow(row, legend, wide, high, captions, figures); err != nil {
			return err
		}
	}
	for _, n := range legend.Notes {
		p.smallWords(pdfMargin, p.small(n, p.width))
	}
	p.SetXY(pdfMargin, p.GetY()+3)
	p.SetFont(pdfFace, "", pdfSize)
	return nil
}

// pictureRow draws maps side by side, each at most so many mm wide and high.
func (p *pdf) pictureRow(row []reports.Picture, legend reports.MapLegend, wide, high float64, captions, figures int) error {
	y := p.GetY()
	for i, picture := range row {
		x := pdfMargin + float64(i)*(wide+pictureGap)
		for n, line := range p.caption(picture.Caption, wide) {
			p.SetXY(x, y+pdfLine*float64(n))
			p.CellFormat(wide, pdfLine, line, "", 0, "L", false, 0, "")
		}
		drawn, err := paperMap(picture.Map, wide, high)
		if err != nil {
			return fault.Wrap("draw "+picture.Words, err)
		}
		p.drawn++
		if err := p.image(fmt.Sprintf("picture-%d", p.drawn), drawn, x, y+pdfLine*float64(captions)); err != nil {
			return err
		}
		p.SetY(y + pdfLine*float64(captions) + high + 0.8)
		p.smallWords(x, p.figures(picture, legend, wide))
	}
	p.SetXY(pdfMargin, y+pdfLine*float64(captions)+high+pictureLine*float64(figures)+4)
	return nil
}

// image draws a picture that has a name in the file, 8 pixels a mm. The library writes pictures in the
// order of their widths, those of one width in any order: so that the same document is the same bytes,
// no two are of one width, by white at the right side.
func (p *pdf) image(name string, img *image.RGBA, x, y float64) error {
	kind := fpdf.ImageOptions{ImageType: "PNG"}
	info := p.GetImageInfo(name)
	if info == nil {
		size := img.Bounds().Size()
		for p.widths[size.X] {
			size.X++
		}
		p.widths[size.X] = true
		c := canvas{}
		c.paper(size.X, size.Y)
		draw.Draw(c.img, img.Bounds(), img, image.Point{}, draw.Src)
		raw, err := pngOf(c.img)
		if err != nil {
			return fault.New("draw a picture", fault.Internal, err, "")
		}
		info = p.RegisterImageOptionsReader(name, kind, bytes.NewReader(raw))
	}
	if err := p.Error(); err != nil {
		return fault.New("draw a picture", fault.Internal, err, "")
	}
	// an image's own size is in points of one pixel
	p.ImageOptions(name, x, y, info.Width()/mmPerPoint/paperPxPerMM, info.Height()/mmPerPoint/paperPxPerMM, false, kind, 0, "")
	return nil
}

// legend is what the classes are, in rows from too little to too much, under what they are shares of.
func (p *pdf) legend(l reports.MapLegend) {
	y := p.GetY()
	p.SetFont(pdfFace, "B", pictureText)
	p.SetXY(pdfMargin, y)
	p.CellFormat(p.GetStringWidth(l.Scale)+3, legendRow, p.drawable(l.Scale), "", 0, "L", false, 0, "")
	p.SetFont(pdfFace, "", pictureText)
	p.CellFormat(0, legendRow, p.drawable(l.Band), "", 0, "L", false, 0, "")
	entry := func(x, y float64, sample int, text string) {
		_ = p.image(fmt.Sprintf("sample-%d", sample), p.swatches[sample], x, y+(legendRow-swatchHigh)/2) // the file keeps its error
		p.SetXY(x+swatchWide, y)
		p.CellFormat(0, legendRow, p.drawable(text), "", 0, "L", false, 0, "")
	}
	for c, line := range l.Lines {
		entry(pdfMargin+float64(c%legendAcross)*p.width/legendAcross, y+legendRow*float64(1+c/legendAcross), c, line.Words())
	}
	if l.Exclusion != "" {
		entry(pdfMargin+p.width-swatchWide-p.GetStringWidth(l.Exclusion)-2*p.GetCellMargin(), y, int(applied.Classes), l.Exclusion)
	}
	p.SetXY(pdfMargin, y+legendHigh)
	p.SetFont(pdfFace, "", pdfSize)
}

// figures are those under a map; the narrow ones have room for the most important.
func (p *pdf) figures(picture reports.Picture, l reports.MapLegend, wide float64) []string {
	return p.small(picture.Map.Short(l, wide > p.width/3), wide)
}

// small is a text in lines of small letters.
func (p *pdf) small(text string, wide float64) []string {
	p.SetFont(pdfFace, "", pictureText)
	defer p.SetFont(pdfFace, "", pdfSize)
	return p.lines(text, wide-2*p.GetCellMargin())
}

func (p *pdf) smallWords(x float64, lines []string) {
	p.SetFont(pdfFace, "", pictureText)
	for _, line := range lines {
		p.SetX(x)
		p.CellFormat(p.width, pictureLine, line, "", 2, "L", false, 0, "")
	}
}

// caption is as much of a caption as two lines hold; it leaves its font set.
func (p *pdf) caption(text string, wide float64) []string {
	p.SetFont(pdfFace, "B", pdfSize-0.5)
	lines := p.lines(text, wide-2*p.GetCellMargin())
	if len(lines) > 2 {
		letters := []rune(lines[1])
		lines = []string{lines[0], strings.TrimRight(string(letters[:max(0, len(letters)-2)]), " ") + "…"}
	}
	return lines
}
