package render

import "hopperbook/reports"

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
	if err := p.pictures(a.Pictures, min(2, len(a.Pictures)), 0); err != nil {
		return err
	}
	p.list("Notes", a.Notes)
	return nil
}
