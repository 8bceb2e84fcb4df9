package track

import (
	"encoding/binary"
	"math"
	"slices"
	"testing"

	"hopperbook/reconcile/plane"
	"hopperbook/schemas"
)

// madeUp reads fixes from bytes: steps of time and place of every size, among them
// floats that are none, and any state.
func madeUp(data []byte) (fixes []schemas.Fix) {
	now := schemas.Fix{LatDeg: -46, LonDeg: 179.9995, Quality: 1, BoutWidthM: 24, SetRateKgHa: 200}
	for len(data) >= 6 && len(fixes) < 400 {
		kind, dt, x, y, state, how := data[0], data[1], int8(data[2]), int8(data[3]), data[4], data[5]
		data = data[6:]
		now.UnixMilli += int64(dt) * 100
		now.LatDeg, now.LonDeg = now.LatDeg+float64(y)*1e-6, plane.WrapDeg(now.LonDeg+float64(x)*1e-6)
		now.Spreading, now.Quality = schemas.Spreading(state%4), schemas.Quality(how%8)
		f := now
		if kind > 200 && len(data) >= 8 { // one value replaced by any float
			bits := binary.LittleEndian.Uint64(data)
			v := math.Float64frombits(bits)
			data = data[8:]
			switch kind % 8 {
			case 0:
				f.LatDeg = v
			case 1:
				f.LonDeg = v
			case 2:
				f.SpeedKmh = v
			case 3:
				f.SetRateKgHa = v
			case 4:
				f.BoutWidthM = v
			case 5:
				f.UnixMilli = int64(bits)
			case 6:
				now.LatDeg, now.LonDeg = 80*math.Sin(v), 180*math.Cos(v)
			case 7:
				now.UnixMilli -= int64(dt) * 1000
			}
		}
		fixes = append(fixes, f)
	}
	return fixes
}

// Any fixes over any boundary: no panic, no NaN, no more segments than fixes and no more pieces
// than segments and crossings; every metre is in exactly one piece.
func FuzzDrive(f *testing.F) {
	step := func(n int, b ...byte) (out []byte) {
		for range n {
			out = append(out, b...)
		}
		return out
	}
	f.Add(step(20, 0, 2, 50, 10, 2, 4), []byte{0, 0, 100, 0, 100, 100, 0, 100})
	f.Add(step(20, 0, 0, 1, 0xff, 2, 1), []byte{0, 0, 100, 100, 100, 0, 0, 100, 50, 50, 50, 50})
	f.Add(step(9, 206, 9, 7, 7, 2, 4, 1, 2, 3, 4, 5, 6, 7, 64), []byte{1, 2, 3})
	f.Add(step(9, 201, 9, 7, 7, 2, 4, 0, 0, 0, 0, 0, 0, 0xf8, 0x7f), []byte{1, 2, 1, 2, 1, 2, 9, 9})
	f.Fuzz(func(t *testing.T, drive, corners []byte) {
		var ring [][2]float64
		for ; len(corners) >= 2 && len(ring) < 300; corners = corners[2:] {
			ring = append(ring, [2]float64{plane.WrapDeg(179.999 + float64(corners[0])*1e-5), -46 + float64(int8(corners[1]))*1e-5})
		}
		var fields []Field
		if b, err := plane.NewBoundary([][][][2]float64{{ring}}); err == nil {
			fields = []Field{{ID: "F", Boundary: b}}
		}
		fixes := madeUp(drive)
		before := slices.Clone(fixes)
		cleaned := Clean(fixes, Options{})
		if len(before) > 0 && slices.CompareFunc(before, fixes, compareFixes) != 0 {
			t.Fatal("the input was changed")
		}
		pieces := NewGround(fields).Split(cleaned.Segments)
		if len(cleaned.Segments) > len(fixes) || cleaned.Used > len(fixes) || len(pieces) > len(cleaned.Segments)*(1+len(ring)) {
			t.Fatalf("%d fixes gave %d segments and %d pieces", len(fixes), len(cleaned.Segments), len(pieces))
		}
		for _, x := range append(cleaned.Findings, OutsideFields(pieces)...) {
			if math.IsNaN(x.Detail) || x.Detail < 0 || math.IsInf(x.Detail, 0) || x.Count < 1 || x.ToMilli < x.FromMilli {
				t.Fatalf("%+v", x)
			}
		}
		for i, s := range cleaned.Segments {
			if !(s.LengthM > 0 && s.LengthM < 1e5) || !(s.SwathM2() >= 0 && s.NominalKg() >= 0) || s.ToMilli <= s.FromMilli {
				t.Fatalf("segment %d: %+v", i, s)
			}
			if i > 0 && s.FromMilli < cleaned.Segments[i-1].ToMilli {
				t.Fatalf("segment %d begins before the one before it ends", i)
			}
		}
		whole, cut := Total(cleaned.Segments), Total(pieces)
		if math.Abs(whole.LengthM-cut.LengthM) > 1e-9*whole.LengthM || math.Abs(whole.SwathM2-cut.SwathM2) > 1e-9*whole.SwathM2 {
			t.Fatalf("%+v became %+v", whole, cut)
		}
	})
}
