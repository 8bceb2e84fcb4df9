package applied

import (
	"encoding/binary"
	"math"
	"testing"

	"hopperbook/reconcile/plane"
	"hopperbook/schemas/fault"
)

// numbers reads what the fuzzer made up: small ones mostly, any float at times.
func numbers(data []byte) (out []float64) {
	for len(data) >= 3 {
		if data[0] == 255 && len(data) >= 9 {
			out = append(out, math.Float64frombits(binary.LittleEndian.Uint64(data[1:])))
			data = data[9:]
			continue
		}
		out = append(out, float64(int16(binary.LittleEndian.Uint16(data[1:])))/float64(32+data[0]))
		data = data[3:]
	}
	return out
}

// Any pieces on any boundary: refused by name, or a map without NaN that conserves mass.
func FuzzLay(f *testing.F) {
	small := func(v ...int16) (out []byte) {
		for _, n := range v {
			out = append(out, 0, byte(n), byte(n>>8))
		}
		return out
	}
	f.Add(small(0, 0, 50, 0, 50, 50, 0, 50), small(10, 0, 10, 50, 3, 10, 50, 40, 50, 2), 4.0, 1.0)
	f.Add(small(0, 0, 50, 50, 50, 0, 0, 50), small(0, 0, 0, 0, 5, 0, 0, 0, 1, 5, 0, 1, 0, 0, 5), 0.3, 0.1)
	f.Add(small(1, 1), small(7, 7, 7, 7, 7), 80.0, 100.0)
	f.Fuzz(func(t *testing.T, ring, drive []byte, widthM, cellM float64) {

		in := Input{Field: plane.Polygon{Parts: []plane.Part{{}}}, CellM: cellM}
		for v := numbers(ring); len(v) >= 2 && len(in.Field.Parts[0].Outer) < 100; v = v[2:] {
			in.Field.Parts[0].Outer = append(in.Field.Parts[0].Outer, plane.Point{XM: v[0], YM: v[1]})
		}
		if outer := in.Field.Parts[0].Outer; len(drive)%2 == 1 { // every other corner again, as exclusion area
			in.Exclusion.Parts = []plane.Part{{}}
			for i := 0; i < len(outer); i += 2 {
				in.Exclusion.Parts[0].Outer = append(in.Exclusion.Parts[0].Outer, outer[i])
			}
		}
		p, err := Even(widthM)
		if err != nil {
			return
		}
		in.Patterns = []Pattern{p}
		for v := numbers(drive); len(v) >= 5 && len(in.Pieces) < 20; v = v[5:] {
			in.Pieces = append(in.Pieces, Piece{FromXM: v[0], FromYM: v[1], ToXM: v[2], ToYM: v[3], MassKg: v[4]})
		}
		if in.CellM > 0 && in.CellM < 2 && len(ring)+len(drive) > 0 { // keep single runs quick
			in.CellM = max(in.CellM, 1)
		}
		m, err := Lay(in)
		if err != nil {
			if fault.CodeOf(err) == fault.Internal {
				t.Fatal(err)
			}
			return
		}
		figures := m.Figures(100)
		for _, v := range []float64{m.InFieldKg, m.ExcludedKg, m.ExcludedM2, m.OutsideKg, figures.CVPct, figures.MeanKgHa, figures.BelowShare()} {
			if math.IsNaN(v) || math.IsInf(v, 0) {
				t.Fatalf("%+v", figures)
			}
		}
		for _, v := range m.KgHa {
			if math.IsNaN(v) || math.IsInf(v, 0) {
				t.Fatal("a cell is no number")
			}
		}
	})
}
