package render

import (
	"bytes"
	"image/png"
	"strings"
	"testing"
)

const qrLine = "HB1/192.168.7.20:4222/TUSSOCK/SPREADER-3/60RK-4CSM-6MV3-EE1S/GVFT-85PT-DS3C-0J2J-CAP5-0WAX-5QRJ-JJEZ/YVBA"

// The picture and the text show the same modules, with the border and the
// three finder patterns that ISO/IEC 18004 asks for; 108 characters of the
// alphanumeric mode fit version 5 (37 modules) at error correction M.
func TestQRPictureAndText(t *testing.T) {
	var text, picture bytes.Buffer
	if err := QRText(&text, qrLine, false); err != nil {
		t.Fatal(err)
	}
	if err := QRPNG(&picture, qrLine); err != nil {
		t.Fatal(err)
	}
	drawn, err := png.Decode(&picture)
	if err != nil {
		t.Fatal(err)
	}
	const side = 37 + 2*quietModules
	if drawn.Bounds().Dx() != side*modulePx || drawn.Bounds().Dy() != side*modulePx {
		t.Fatalf("the picture is %v", drawn.Bounds())
	}
	dark := func(x, y int) bool {
		r, _, _, _ := drawn.At(x*modulePx+modulePx/2, y*modulePx+modulePx/2).RGBA()
		return r == 0
	}
	lines := strings.Split(strings.TrimSuffix(text.String(), "\n"), "\n")
	for y := range side {
		for x := range side {
			r := []rune(lines[y/2])[x]
			lit := r == '█' || y%2 == 0 && r == '▀' || y%2 == 1 && r == '▄'
			if lit == dark(x, y) {
				t.Fatalf("module %d, %d: the text and the picture differ", x, y)
			}
			if (x < quietModules || y < quietModules || x >= side-quietModules || y >= side-quietModules) && dark(x, y) {
				t.Fatalf("module %d, %d of the border is dark", x, y)
			}
		}
	}
	finder := []string{"1111111", "1000001", "1011101", "1011101", "1011101", "1000001", "1111111"}
	for _, at := range [][2]int{{quietModules, quietModules}, {side - quietModules - 7, quietModules}, {quietModules, side - quietModules - 7}} {
		for y, row := range finder {
			for x, want := range row {
				if dark(at[0]+x, at[1]+y) != (want == '1') {
					t.Fatalf("no finder pattern at %v", at)
				}
			}
		}
	}
	var coloured bytes.Buffer
	if err := QRText(&coloured, qrLine, true); err != nil || !strings.Contains(coloured.String(), "\x1b[97;40m"+lines[0]+"\x1b[0m\n") {
		t.Errorf("colours: %v", err)
	}
	if err := QRPNG(&picture, strings.Repeat("x", 5000)); err == nil {
		t.Error("5000 characters fit no QR code")
	}
}
