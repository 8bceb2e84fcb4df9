package render

import (
	"bufio"
	"image"
	"image/color"
	"image/png"
	"io"

	"github.com/boombuler/barcode"
	"github.com/boombuler/barcode/qr"

	"hopperbook/schemas/fault"
)

// quietModules is the empty border that a scanner needs (ISO/IEC 18004: 4).
const quietModules = 4

// qrGrid is a QR code of error correction M with its quiet zone; true is
// dark.
func qrGrid(text string) ([][]bool, error) {
	code, err := qr.Encode(text, qr.M, qr.Auto)
	if err != nil {
		return nil, fault.New("draw the QR code", fault.Input, err, "the text is too long for one")
	}
	return gridOf(code), nil
}

func gridOf(code barcode.Barcode) [][]bool {
	n := code.Bounds().Dx()
	grid := make([][]bool, n+2*quietModules)
	for y := range grid {
		grid[y] = make([]bool, n+2*quietModules)
	}
	for y := range n {
		for x := range n {
			r, _, _, _ := code.At(x, y).RGBA()
			grid[y+quietModules][x+quietModules] = r == 0
		}
	}
	return grid
}

// QRText draws text as a QR code of half blocks, two rows a line. The light
// modules are the filled ones, right on a dark terminal; colours makes it right
// on any that knows ANSI colours.
func QRText(w io.Writer, text string, colours bool) error {
	grid, err := qrGrid(text)
	if err != nil {
		return err
	}
	out := bufio.NewWriter(w)
	for y := 0; y < len(grid); y += 2 {
		if colours {
			out.WriteString("\x1b[97;40m")
		}
		for x := range grid[y] {
			upper, lower := !grid[y][x], y+1 >= len(grid) || !grid[y+1][x]
			switch {
			case upper && lower:
				out.WriteRune('█')
			case upper:
				out.WriteRune('▀')
			case lower:
				out.WriteRune('▄')
			default:
				out.WriteByte(' ')
			}
		}
		if colours {
			out.WriteString("\x1b[0m")
		}
		out.WriteByte('\n')
	}
	return fault.Wrap("print the QR code", out.Flush())
}

// modulePx is the side of a module in the picture.
const modulePx = 8

// QRPNG draws text as a QR code, black on white.
func QRPNG(w io.Writer, text string) error {
	grid, err := qrGrid(text)
	if err != nil {
		return err
	}
	side := len(grid) * modulePx
	picture := image.NewPaletted(image.Rect(0, 0, side, side), color.Palette{color.White, color.Black})
	for y := range side {
		for x := range side {
			if grid[y/modulePx][x/modulePx] {
				picture.SetColorIndex(x, y, 1)
			}
		}
	}
	return fault.Wrap("draw the QR code", png.Encode(w, picture))
}
