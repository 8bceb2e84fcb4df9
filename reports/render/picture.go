package render

import (
	"bytes"
	"encoding/gob"
	"fmt"

	"codeberg.org/go-pdf/fpdf"

	"hopperbook/schemas/fault"
)

// register takes the n-th picture of the document, a PNG, under a name of its own.
// The library writes pictures sorted by their width in pixels, and those of one
// width in any order, another each time: n is added to the width as a fraction
// of a pixel that is drawn nowhere, so that no two are alike.
func (p *pdf) register(n int, png []byte) (name string, info *fpdf.ImageInfoType, err error) {
	const op = "draw a picture"
	name = fmt.Sprintf("picture-%d", n)
	info = p.RegisterImageOptionsReader(name, fpdf.ImageOptions{ImageType: "PNG"}, bytes.NewReader(png))
	if err := p.Error(); err != nil {
		return name, nil, fault.New(op, fault.Internal, err, "")
	}
	raw, err := info.GobEncode()
	if err == nil {
		raw, err = widened(raw, float64(n%(1<<20))/(1<<21))
	}
	if err == nil {
		err = info.GobDecode(raw)
	}
	if err != nil {
		return name, nil, fault.New(op, fault.Internal, err, "")
	}
	return name, info, nil
}

// widened adds to the width of a picture as the library writes it down: data, mask,
// number, width, and more that stays.
func widened(raw []byte, by float64) ([]byte, error) {
	var v struct {
		data, mask  []byte
		number      int
		w, h        float64
		space       string
		palette     []byte
		bits        int
		filter, how string
		transparent []int
		scale, dpi  float64
	}
	in := gob.NewDecoder(bytes.NewReader(raw))
	var b bytes.Buffer
	out := gob.NewEncoder(&b)
	for _, field := range []any{&v.data, &v.mask, &v.number, &v.w, &v.h, &v.space, &v.palette, &v.bits, &v.filter, &v.how, &v.transparent, &v.scale, &v.dpi} {
		if err := in.Decode(field); err != nil {
			return nil, err
		}
		if field == any(&v.w) {
			v.w += by
		}
		if err := out.Encode(field); err != nil {
			return nil, err
		}
	}
	return b.Bytes(), nil
}
