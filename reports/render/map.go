package render

import (
	"image"
	"image/color"
	"image/draw"
	"image/png"
	"io"
	"math"
	"slices"

	"hopperbook/reconcile/applied"
	"hopperbook/reports"
	"hopperbook/schemas/unit"
)

// The page, in pixels.
const (
	mapMaxWidth  = 1100
	mapMaxHeight = 1000
	mapMinHeight = 720
	mapMinWidth  = 480
	mapPad       = 16 // between the frame and the cells
	pageMargin   = 32
	pageTop      = 76 // title
	legendWidth  = 460
	lineHeight   = 24
)

// colours go from orange (too little) over white to blue (too much), which
// people with any common colour blindness tell apart; lightness falls to both sides. Hatching,
// which survives a black and white print, marks what is outside the band.
func colourOf(c applied.Class) color.RGBA {
	return [applied.Classes]color.RGBA{
		{255, 255, 255, 255}, {190, 92, 6, 255}, {240, 160, 66, 255}, {252, 217, 168, 255}, {250, 250, 250, 255},
		{198, 219, 239, 255}, {107, 163, 214, 255}, {16, 78, 150, 255},
	}[c]
}

// hatched gives the colour of a pixel of a class: crossed lines where nothing
// landed, rising lines where too little did, falling ones where too much did.
func hatched(c applied.Class, x, y int) color.RGBA {
	const every = 7
	rising, falling := (x+y)%every == 0, (x-y+every<<16)%every == 0
	switch {
	case c == applied.NotHit && (rising || falling):
		return ink(90)
	case c == applied.FarLow && rising, c == applied.FarHigh && falling:
		return ink(245)
	case c == applied.Low && rising, c == applied.High && falling:
		return ink(60)
	}
	return colourOf(c)
}

// view is where the map's metres stand on the page.
type view struct {
	frame    image.Rectangle
	left     float64 // pixel of the grid's west side
	bottom   float64 // pixel of its south side
	pxPerM   float64
	pxAMCell float64
}

func newView(a reports.MapAnswer) view {
	return viewWithin(a, image.Pt(pageMargin, pageTop), image.Pt(mapMinWidth, mapMinHeight), image.Pt(mapMaxWidth, mapMaxHeight))
}

// viewWithin is the largest view whose frame, from a corner on, is neither smaller nor larger than that.
func viewWithin(a reports.MapAnswer, corner, least, most image.Point) view {
	wide, high := float64(a.Grid.Cols)*a.CellM, float64(a.Grid.Rows)*a.CellM
	v := view{pxPerM: min(float64(most.X-2*mapPad)/wide, float64(most.Y-2*mapPad)/high)}
	w, h := max(least.X, int(math.Ceil(wide*v.pxPerM-1e-6))+2*mapPad), max(least.Y, int(math.Ceil(high*v.pxPerM-1e-6))+2*mapPad)
	v.frame = image.Rectangle{corner, corner.Add(image.Pt(w, h))}
	v.left = float64(v.frame.Min.X) + (float64(w)-wide*v.pxPerM)/2
	v.bottom = float64(v.frame.Max.Y) - (float64(h)-high*v.pxPerM)/2
	v.pxAMCell = v.pxPerM * a.CellM
	return v
}

// PNG draws a map: cells in classes around the set rate, boundary, exclusion areas, legend with
// the area of each class, scale bar, north arrow, figures, and the words of caution.
func PNG(w io.Writer, a reports.MapAnswer) error {
	rates, err := a.Rates()
	if err != nil {
		return err
	}
	c, err := newCanvas(canvasText)
	if err != nil {
		return err
	}
	sheet, v := a.Sheet(), newView(a)
	pageWidth := v.frame.Max.X + pageMargin + legendWidth + pageMargin
	var caution []string
	for _, words := range sheet.Caution {
		caution = append(caution, wrap(c.plain, words, pageWidth-2*pageMargin)...)
	}
	c.paper(pageWidth, v.frame.Max.Y+20+lineHeight*len(caution)+16)
	c.text(c.title, pageMargin, 50, shorten(c.title, sheet.Title, pageWidth-2*pageMargin))
	c.box(v.frame, ink(228))
	c.cells(a, rates, v)
	c.exclusion(a, v)
	c.outline(a, v, a.Grid.Boundary, 2.4)
	c.frame(v.frame, ink(120))
	c.legend(sheet, v)
	for i, words := range caution {
		c.text(c.plain, pageMargin, v.frame.Max.Y+20+lineHeight*i+16, words)
	}
	return (&png.Encoder{CompressionLevel: png.BestSpeed}).Encode(w, c.img)
}

// cells paints every pixel with the cell below its middle, or, where cells are
// smaller than pixels, with the mean of those it covers.
func (c *canvas) cells(a reports.MapAnswer, rates []float32, v view) {
	g := a.Grid
	span := max(1, int(math.Round(1/v.pxAMCell)))
	for y := v.frame.Min.Y; y < v.frame.Max.Y; y++ {
		row := int(math.Floor((v.bottom - float64(y) - 0.5) / v.pxAMCell))
		for x := v.frame.Min.X; x < v.frame.Max.X; x++ {
			col := int(math.Floor((float64(x) + 0.5 - v.left) / v.pxAMCell))
			if col < 0 || row < 0 || col >= g.Cols || row >= g.Rows {
				continue
			}
			if rate := blockMean(rates, g, col-span/2, row-span/2, span); rate == rate {
				c.img.SetRGBA(x, y, hatched(applied.ClassOf(rate, a.ReferenceKgHa()), x, y))
			}
		}
	}
}

// blockMean is the mean of the field's cells in a square of them; NaN when most
// lie outside the field.
func blockMean(rates []float32, g *reports.MapGrid, col, row, span int) float32 {
	if span == 1 {
		return rates[row*g.Cols+col]
	}
	sum, n := 0.0, 0
	for r := max(0, row); r < min(g.Rows, row+span); r++ {
		for _, v := range rates[r*g.Cols+max(0, col) : r*g.Cols+min(g.Cols, col+span)] {
			if v == v {
				sum += float64(v)
				n++
			}
		}
	}
	if 2*n < span*span {
		return float32(math.NaN())
	}
	return float32(sum / float64(n))
}

// at is where a point of the grid's plane stands on the page.
func (v view) at(a reports.MapAnswer, p [2]float64) [2]float64 {
	return [2]float64{v.left + (p[0]-a.Grid.XM)*v.pxPerM, v.bottom - (p[1]-a.Grid.YM)*v.pxPerM}
}

func (c *canvas) outline(a reports.MapAnswer, v view, parts [][][][2]float64, thick float64) {
	var lines [][][2]float64
	for _, part := range parts {
		for _, ring := range part {
			for i, p := range ring {
				lines = append(lines, stroke(v.at(a, p), v.at(a, ring[(i+1)%len(ring)]), thick))
			}
		}
	}
	c.fill(v.frame, image.NewUniform(ink(30)), lines...)
}

// exclusion hatches the exclusion areas with level lines, which no class has, and draws
// their outlines thinner than the boundary's. Each part is painted by itself, so that parts
// may lie over each other.
func (c *canvas) exclusion(a reports.MapAnswer, v view) {
	for _, part := range a.Grid.Exclusion {
		var rings [][][2]float64
		for i, ring := range part {
			page := make([][2]float64, len(ring))
			for k, p := range ring {
				page[k] = v.at(a, p)
			}
			if (signedArea(page) < 0) != (i > 0) { // holes the other way round
				slices.Reverse(page)
			}
			rings = append(rings, page)
		}
		c.fill(v.frame, barred{}, rings...)
	}
	c.outline(a, v, a.Grid.Exclusion, 1.4)
}

// signedArea is that of a closed outline on the page.
func signedArea(outline [][2]float64) (sum float64) {
	for i, a := range outline {
		b := outline[(i+1)%len(outline)]
		sum += (a[0]*b[1] - b[0]*a[1]) / 2
	}
	return sum
}

// barred is the paint of exclusion areas: level lines on grey.
type barred struct{}

func (barred) ColorModel() color.Model { return color.RGBAModel }
func (barred) Bounds() image.Rectangle { return image.Rect(-1e9, -1e9, 1e9, 1e9) }
func (barred) At(_, y int) color.Color {
	if y%6 < 2 {
		return ink(110)
	}
	return ink(228)
}

func (c *canvas) legend(s reports.MapSheet, v view) {
	left, y := v.frame.Max.X+pageMargin, v.frame.Min.Y+16
	right := left + legendWidth
	c.text(c.bold, left, y, s.Scale)
	c.textTo(c.bold, right-90, y, "kg/ha")
	c.textTo(c.bold, right, y, "area")
	for class := applied.Classes; class > 0; class-- {
		line := s.Legend[class-1]
		y += lineHeight + 4
		swatch := image.Rect(left, y-18, left+44, y+4)
		for py := swatch.Min.Y; py < swatch.Max.Y; py++ {
			for px := swatch.Min.X; px < swatch.Max.X; px++ {
				c.img.SetRGBA(px, py, hatched(class-1, px, py))
			}
		}
		c.frame(swatch, ink(120))
		c.text(c.plain, left+58, y, line.Share)
		c.textTo(c.plain, right-90, y, line.Rate)
		c.textTo(c.plain, right, y, line.Area)
	}
	if s.Exclusion != "" {
		y += lineHeight + 4
		swatch := image.Rect(left, y-18, left+44, y+4)
		draw.Draw(c.img, swatch, barred{}, swatch.Min, draw.Src)
		c.frame(swatch, ink(30))
		c.text(c.plain, left+58, y, s.Exclusion)
	}
	y += lineHeight + 4
	c.text(c.plain, left, y, s.Band)
	y += 20
	for _, f := range s.Figures {
		y += lineHeight
		c.text(c.plain, left, y, f[0])
		c.textTo(c.bold, right, y, f[1])
	}
	c.scaleBar(left, v.frame.Max.Y-30, 220, v)
	c.northArrow(right-24, v.frame.Max.Y-84)
}

// scaleBar draws a bar of a round length of at most so many pixels.
func (c *canvas) scaleBar(x, y int, most float64, v view) {
	lengthM := roundLengthM(most / v.pxPerM)
	const parts = 4
	part := lengthM / parts * v.pxPerM
	for i := range parts {
		r := image.Rect(x+int(math.Round(float64(i)*part)), y, x+int(math.Round(float64(i+1)*part)), y+10)
		fill := ink(20)
		if i%2 == 1 {
			fill = ink(255)
		}
		c.box(r, fill)
		c.frame(r, ink(20))
	}
	c.text(c.plain, x, y-8, "0")
	end := unit.Plain(lengthM, 1) + " m"
	c.text(c.plain, x+int(lengthM*v.pxPerM)-width(c.plain, end)/2, y-8, end)
}

// roundLengthM is 1, 2 or 5 times a power of ten, at most mostM.
func roundLengthM(mostM float64) float64 {
	p := math.Pow10(int(math.Floor(math.Log10(mostM))))
	switch {
	case mostM >= 5*p:
		return 5 * p
	case mostM >= 2*p:
		return 2 * p
	}
	return p
}

// northArrow points up: north of the field's plane is up the page.
func (c *canvas) northArrow(x, y int) {
	fx, fy := float64(x), float64(y)
	area := image.Rect(x-20, y, x+20, y+70)
	c.fill(area, image.NewUniform(ink(20)), [][2]float64{{fx, fy}, {fx + 14, fy + 44}, {fx, fy + 34}, {fx - 14, fy + 44}})
	c.text(c.bold, x-width(c.bold, "N")/2, y+64, "N")
}
