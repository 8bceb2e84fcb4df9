package render

import (
	"bytes"
	"encoding/xml"
	"fmt"
	"image"
	"image/color"
	"image/png"
	"io"

	"golang.org/x/image/font"
)

// pen draws on a page in pixels from its upper left corner, on paper or as a
// vector picture.
type pen interface {
	polygon(paint color.RGBA, corners ...[2]float64)
	words(face font.Face, x, y float64, text string)
}

// paper is the pen of a PNG.
type paper struct{ *canvas }

func (p paper) polygon(paint color.RGBA, corners ...[2]float64) {
	p.fill(p.img.Bounds(), image.NewUniform(paint), corners)
}

func (p paper) words(face font.Face, x, y float64, text string) {
	p.text(face, int(x), int(y), text)
}

func (p paper) finish(w io.Writer) error {
	return (&png.Encoder{CompressionLevel: png.BestSpeed}).Encode(w, p.img)
}

// vectors is the pen of an SVG. Its words are as long as the fonts of the PNG
// make them, whatever font the reader has.
type vectors struct {
	*canvas // for its fonts
	page    image.Rectangle
	body    bytes.Buffer
}

func (v *vectors) polygon(paint color.RGBA, corners ...[2]float64) {
	v.body.WriteString(`<path fill="` + hex(paint) + `" d="`)
	for i, c := range corners {
		command := byte('L')
		if i == 0 {
			command = 'M'
		}
		fmt.Fprintf(&v.body, "%c%.2f %.2f", command, c[0], c[1])
	}
	v.body.WriteString("Z\"/>\n")
}

func (v *vectors) words(face font.Face, x, y float64, text string) {
	size, weight := 16, "normal"
	switch face {
	case v.title:
		size, weight = 26, "bold"
	case v.bold:
		weight = "bold"
	}
	fmt.Fprintf(&v.body, `<text x="%.0f" y="%.0f" font-size="%d" font-weight="%s" textLength="%d" lengthAdjust="spacingAndGlyphs">`, x, y, size, weight, width(face, text))
	_ = xml.EscapeText(&v.body, []byte(text)) // a buffer takes everything
	v.body.WriteString("</text>\n")
}

func (v *vectors) finish(w io.Writer) error {
	_, err := fmt.Fprintf(w, "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 %[1]d %[2]d\" width=\"%[1]d\" height=\"%[2]d\" font-family=\"Go, Verdana, 'DejaVu Sans', sans-serif\" fill=\"%[3]s\">\n%[4]s</svg>\n",
		v.page.Dx(), v.page.Dy(), hex(ink(20)), v.body.Bytes())
	return err
}

func hex(c color.RGBA) string { return fmt.Sprintf("#%02x%02x%02x", c.R, c.G, c.B) }

// The shapes that charts are made of.

func bar(p pen, paint color.RGBA, left, top, right, bottom float64) {
	p.polygon(paint, [2]float64{left, top}, [2]float64{right, top}, [2]float64{right, bottom}, [2]float64{left, bottom})
}

func level(p pen, paint color.RGBA, left, right, y, thick float64) {
	bar(p, paint, left, y-thick/2, right, y+thick/2)
}

func upright(p pen, paint color.RGBA, x, top, bottom, thick float64) {
	bar(p, paint, x-thick/2, top, x+thick/2, bottom)
}

// dashes is a level line in pieces of on pixels with gaps of off.
func dashes(p pen, paint color.RGBA, left, right, y, thick, on, off float64) {
	for x := left; x < right; x += on + off {
		level(p, paint, x, min(x+on, right), y, thick)
	}
}

func diamond(p pen, paint color.RGBA, x, y, r float64) {
	p.polygon(paint, [2]float64{x, y - r}, [2]float64{x + r, y}, [2]float64{x, y + r}, [2]float64{x - r, y})
}

// dot is a disc of 16 corners.
func dot(p pen, paint color.RGBA, x, y, r float64) {
	unit := [...][2]float64{{1, 0}, {0.924, 0.383}, {0.707, 0.707}, {0.383, 0.924}, {0, 1}, {-0.383, 0.924}, {-0.707, 0.707}, {-0.924, 0.383},
		{-1, 0}, {-0.924, -0.383}, {-0.707, -0.707}, {-0.383, -0.924}, {0, -1}, {0.383, -0.924}, {0.707, -0.707}, {0.924, -0.383}}
	corners := unit[:]
	round := make([][2]float64, len(corners))
	for i, c := range corners {
		round[i] = [2]float64{x + r*c[0], y + r*c[1]}
	}
	p.polygon(paint, round...)
}
