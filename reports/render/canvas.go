package render

import (
	"fmt"
	"image"
	"image/color"
	"image/draw"
	"math"
	"strings"

	"golang.org/x/image/font"
	"golang.org/x/image/font/gofont/gobold"
	"golang.org/x/image/font/gofont/goregular"
	"golang.org/x/image/font/opentype"
	"golang.org/x/image/math/fixed"
	"golang.org/x/image/vector"
)

// canvasText is the height of words in pictures that stand alone, in pixels.
const canvasText = 16

// canvas is a picture under way, in pixels from the upper left corner.
type canvas struct {
	img                *image.RGBA
	title, plain, bold font.Face
}

// newCanvas has words of so many pixels, and titles in proportion.
func newCanvas(words float64) (*canvas, error) {
	c := &canvas{}
	for _, f := range []struct {
		face *font.Face
		ttf  []byte
		size float64
	}{{&c.title, gobold.TTF, words * 26 / 16}, {&c.plain, goregular.TTF, words}, {&c.bold, gobold.TTF, words}} {
		parsed, err := opentype.Parse(f.ttf)
		if err != nil {
			return nil, fmt.Errorf("read the font: %w", err)
		}
		if *f.face, err = opentype.NewFace(parsed, &opentype.FaceOptions{Size: f.size, DPI: 72, Hinting: font.HintingFull}); err != nil {
			return nil, fmt.Errorf("read the font: %w", err)
		}
	}
	return c, nil
}

// paper lays out an empty page.
func (c *canvas) paper(width, height int) {
	c.img = image.NewRGBA(image.Rect(0, 0, width, height))
	draw.Draw(c.img, c.img.Bounds(), image.White, image.Point{}, draw.Src)
}

func ink(v uint8) color.RGBA { return color.RGBA{v, v, v, 255} }

func (c *canvas) box(r image.Rectangle, fill color.Color) {
	draw.Draw(c.img, r, image.NewUniform(fill), image.Point{}, draw.Src)
}

func (c *canvas) frame(r image.Rectangle, line color.Color) {
	c.box(image.Rect(r.Min.X, r.Min.Y, r.Max.X, r.Min.Y+1), line)
	c.box(image.Rect(r.Min.X, r.Max.Y-1, r.Max.X, r.Max.Y), line)
	c.box(image.Rect(r.Min.X, r.Min.Y, r.Min.X+1, r.Max.Y), line)
	c.box(image.Rect(r.Max.X-1, r.Min.Y, r.Max.X, r.Max.Y), line)
}

func (c *canvas) text(face font.Face, x, y int, words string) {
	d := font.Drawer{Dst: c.img, Src: image.NewUniform(ink(20)), Face: face, Dot: fixed.P(x, y)}
	d.DrawString(words)
}

// textTo writes words that end at x.
func (c *canvas) textTo(face font.Face, x, y int, words string) {
	c.text(face, x-width(face, words), y, words)
}

func width(face font.Face, words string) int { return font.MeasureString(face, words).Ceil() }

// wrap breaks a text into lines no wider than room; a word wider than that stands alone.
func wrap(face font.Face, words string, room int) (lines []string) {
	line := ""
	for _, word := range strings.Fields(words) {
		longer := strings.TrimSpace(line + " " + word)
		if line != "" && width(face, longer) > room {
			lines = append(lines, line)
			longer = word
		}
		line = longer
	}
	return append(lines, line)
}

// shorten cuts words that are wider than room.
func shorten(face font.Face, words string, room int) string {
	if width(face, words) <= room {
		return words
	}
	letters := []rune(words)
	for len(letters) > 0 && width(face, string(letters)+"...") > room {
		letters = letters[:len(letters)-1]
	}
	return string(letters) + "..."
}

// fill paints closed outlines within an area, smooth at the edges. An outline the other way round
// within another is a hole.
func (c *canvas) fill(area image.Rectangle, paint image.Image, outlines ...[][2]float64) {
	area = area.Intersect(around(outlines))
	r := vector.NewRasterizer(area.Dx(), area.Dy())
	for _, o := range outlines {
		for i, p := range o {
			x, y := float32(p[0]-float64(area.Min.X)), float32(p[1]-float64(area.Min.Y))
			if i == 0 {
				r.MoveTo(x, y)
			} else {
				r.LineTo(x, y)
			}
		}
		r.ClosePath()
	}
	r.Draw(c.img, area, paint, area.Min)
}

// around is the box of pixels that outlines touch.
func around(outlines [][][2]float64) (box image.Rectangle) {
	for _, o := range outlines {
		for _, p := range o {
			x, y := int(math.Floor(p[0])), int(math.Floor(p[1]))
			box = box.Union(image.Rect(x, y, x+1, y+1))
		}
	}
	return box
}

// stroke is the outline of a line of the given thickness from a to b, a little longer
// at both ends so that lines join.
func stroke(a, b [2]float64, thick float64) [][2]float64 {
	dx, dy := b[0]-a[0], b[1]-a[1]
	d := math.Hypot(dx, dy)
	if d == 0 {
		return nil
	}
	ux, uy := dx/d*thick/2, dy/d*thick/2
	return [][2]float64{{a[0] - ux - uy, a[1] - uy + ux}, {b[0] + ux - uy, b[1] + uy + ux}, {b[0] + ux + uy, b[1] + uy - ux}, {a[0] - ux + uy, a[1] - uy - ux}}
}
