package render

import (
	"bytes"
	"image"
	"image/draw"
	"image/png"
	"math"

	"hopperbook/reconcile/applied"
	"hopperbook/reports"
)

// Maps in documents are drawn for the size they are printed in, without a
// legend: that is text of the document, once for all maps.
const (
	paperPxPerMM = 8.0
	paperText    = 20 // pixels: 7.1 points in print
	paperLeastMM = 34.0
	paperStrip   = 44 // pixels under the frame, for scale and north
)

// paperView is where a map stands in a picture of at most so many mm, whose size it gives.
func paperView(a reports.MapAnswer, wideMM, highMM float64) (v view, size image.Point) {
	px := func(mm float64) int { return int(math.Floor(mm * paperPxPerMM)) }
	most := image.Pt(px(wideMM), px(highMM)-paperStrip)
	v = viewWithin(a, image.Point{}, image.Pt(min(px(paperLeastMM), most.X), min(px(paperLeastMM)/2, most.Y)), most)
	return v, v.frame.Max.Add(image.Pt(0, paperStrip))
}

// paperMap draws a map for a place of so many mm on paper: cells, outlines, scale bar and north.
func paperMap(a reports.MapAnswer, wideMM, highMM float64) (*image.RGBA, error) {
	rates, err := a.Rates()
	if err != nil {
		return nil, err
	}
	c, err := newCanvas(paperText)
	if err != nil {
		return nil, err
	}
	v, size := paperView(a, wideMM, highMM)
	c.paper(size.X, size.Y)
	c.box(v.frame, ink(228))
	c.cells(a, rates, v)
	c.exclusion(a, v)
	c.outline(a, v, a.Grid.Boundary, 2.4)
	c.frame(v.frame, ink(120))
	c.scaleBar(0, size.Y-11, min(220, float64(size.X)/2), v)
	x, y := float64(size.X-12), float64(size.Y-36)
	c.fill(c.img.Bounds(), image.NewUniform(ink(20)), [][2]float64{{x, y}, {x + 11, y + 35}, {x, y + 27}, {x - 11, y + 35}})
	c.textTo(c.bold, size.X-28, size.Y-8, "N")
	return c.img, nil
}

func pngOf(img image.Image) ([]byte, error) {
	var out bytes.Buffer
	err := (&png.Encoder{CompressionLevel: png.BestSpeed}).Encode(&out, img)
	return out.Bytes(), err
}

// The size of a legend's sample, in mm.
const swatchWide, swatchHigh = 4.5, 3.0

// swatches are samples of each class and, behind them, of exclusion areas, drawn as in maps.
func swatches() (all [applied.Classes + 1]*image.RGBA) {
	for i := range all {
		c := canvas{}
		c.paper(swatchWide*paperPxPerMM, swatchHigh*paperPxPerMM)
		area := c.img.Bounds()
		if i == int(applied.Classes) {
			draw.Draw(c.img, area, barred{}, image.Point{}, draw.Src)
		} else {
			for y := range area.Max.Y {
				for x := range area.Max.X {
					c.img.SetRGBA(x, y, hatched(applied.Class(i), x, y))
				}
			}
		}
		c.frame(area, ink(120))
		all[i] = c.img
	}
	return all
}
