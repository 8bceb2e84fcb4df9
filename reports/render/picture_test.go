package render

import (
	"bytes"
	"image"
	"image/color"
	"image/png"
	"testing"

	"hopperbook/reports"
)

// Pictures of one width, two of them alike, are written in one order: the same
// sheet is the same bytes.
func TestPicturesOfOneWidthAreOneFile(t *testing.T) {
	s := reports.Sheet{Title: "x", Appendix: &reports.Appendix{Title: "y"}}
	for i := range 8 {
		m := image.NewGray(image.Rect(0, 0, 20, 10))
		m.SetGray(3, 3, color.Gray{Y: uint8(20 * (i % 7))})
		var b bytes.Buffer
		if err := png.Encode(&b, m); err != nil {
			t.Fatal(err)
		}
		s.Appendix.Pictures = append(s.Appendix.Pictures, reports.Picture{PNG: b.Bytes(), Caption: "c"})
	}
	var first bytes.Buffer
	for i := range 20 {
		var b bytes.Buffer
		if err := SheetPDF(&b, s, A4); err != nil {
			t.Fatal(err)
		}
		if i == 0 {
			first = b
			if n := bytes.Count(b.Bytes(), []byte("/Width 20\n")); n != 8 {
				t.Errorf("%d pictures of 20 pixels, want 8", n)
			}
		} else if !bytes.Equal(first.Bytes(), b.Bytes()) {
			t.Fatalf("drawn to other bytes the time %d", i+1)
		}
	}
}
