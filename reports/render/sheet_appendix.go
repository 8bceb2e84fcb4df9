package render

import (
	"strings"

	"codeberg.org/go-pdf/fpdf"

	"hopperbook/reports"
)

// appendix begins on a page of its own, so that what is sent and paid by stands
// apart from what it rests on.
func (p *pdf) appendix(a *reports.Appendix) error {
	if a == nil {
		return nil
	}
	p.AddPage()
	p.SetFont(pdfFace, "B", pdfTitle-4)
	p.MultiCell(p.width, 8, p.drawable(a.Title), "", "L", false)
	p.SetY(p.GetY() + 2)
	for _, t := range a.Tables {
		p.table(t)
	}
	if err := p.pictures(a.Pictures, 2); err != nil {
		return err
	}
	p.list("Notes", a.Notes)
	return nil
}

// pictures stand so many side by side, each at most half a page high.
func (p *pdf) pictures(all []reports.Picture, abreast int) error {
	const gap, caption = 6.0, 2 * pdfLine
	_, pageH := p.GetPageSize()
	wide := (p.width - gap*float64(abreast-1)) / float64(abreast)
	for first := 0; first < len(all); first += abreast {
		row := all[first:min(first+abreast, len(all))]
		sizes, names, highest := make([][2]float64, len(row)), make([]string, len(row)), 0.0
		for i, picture := range row {
			name, info, err := p.register(p.drawn+first+i, picture.PNG)
			if err != nil {
				return err
			}
			names[i] = name
			scale := min(wide/info.Width(), pageH/2/info.Height())
			sizes[i] = [2]float64{scale * info.Width(), scale * info.Height()}
			highest = max(highest, sizes[i][1])
		}
		p.room(caption + highest + 4)
		y := p.GetY()
		for i, picture := range row {
			x := pdfMargin + float64(i)*(wide+gap)
			p.SetXY(x, y)
			p.SetFont(pdfFace, "B", pdfSize-0.5)
			p.MultiCell(wide, pdfLine, p.clipped(picture.Caption, wide), "", "L", false)
			p.ImageOptions(names[i], x, y+caption, sizes[i][0], sizes[i][1], false, fpdf.ImageOptions{ImageType: "PNG"}, 0, "")
		}
		p.SetXY(pdfMargin, y+caption+highest+4)
		p.SetFont(pdfFace, "", pdfSize)
	}
	p.drawn += len(all)
	return nil
}

// clipped is as much of a caption as two lines hold.
func (p *pdf) clipped(text string, wide float64) string {
	text = p.drawable(text)
	lines := p.SplitText(text, wide-1)
	if len(lines) <= 2 {
		return text
	}
	letters := []rune(strings.TrimSpace(lines[0]) + " " + strings.TrimSpace(lines[1]))
	return string(letters[:len(letters)-1]) + "…"
}
