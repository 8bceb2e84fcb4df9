package coverage

import (
	"encoding/binary"
	"math"
	"testing"

	"hopperbook/reconcile/plane"
)

// reading takes numbers out of fuzzed bytes: mostly small ones on a grid of half a metre, so that
// points and sides meet, some of them any float.
type reading []byte

func (r *reading) byte() (b byte) {
	if len(*r) > 0 {
		b = (*r)[0]
		*r = (*r)[1:]
	}
	return b
}

func (r *reading) number() float64 {
	switch b := r.byte(); {
	case b < 250 || len(*r) < 8:
		return float64(int8(b)) / 2
	case b < 254:
		return float64(int8(r.byte())) * 50
	default:
		v := math.Float64frombits(binary.LittleEndian.Uint64(*r))
		*r = (*r)[8:]
		return v
	}
}

func (r *reading) ring() (out plane.Ring) {
	for range r.byte() % 9 {
		out = append(out, plane.Point{XM: r.number(), YM: r.number()})
	}
	return out
}

// FuzzMeasure: whatever is driven and whatever the ground, areas are numbers that keep
// their bounds, and batches give what all at once gives.
func FuzzMeasure(f *testing.F) {
	f.Add([]byte{4, 0, 0, 20, 20, 0, 20, 40, 0, 3, 5, 5, 5, 9, 9, 9, 20, 40, 80, 81, 1, 80, 160, 80, 33, 12})
	f.Add([]byte{8, 1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 12, 13, 14, 15, 16, 0, 251, 100, 251, 156, 40, 0, 0, 0, 0, 200, 90, 4})
	f.Fuzz(func(t *testing.T, data []byte) {
		if len(data) > 400 {
			return
		}
		r := reading(data)
		field := &plane.Polygon{Parts: []plane.Part{{Outer: r.ring(), Holes: []plane.Ring{r.ring()}}}}
		exclusion := &plane.Polygon{Parts: []plane.Part{{Outer: r.ring()}}}
		width := math.Abs(r.number())
		var segments []Segment
		last, driven := xy{r.number(), r.number()}, 0.0
		for line := 0; len(r) > 0; {
			to := xy{r.number(), r.number()}
			if b := r.byte(); b < 30 {
				line, driven, width = line+1, 0, math.Abs(r.number())
			} else if b > 40 {
				s := Segment{Line: line, StartM: driven, FromXM: last[0], FromYM: last[1], ToXM: to[0], ToYM: to[1], WidthM: width}
				driven += s.lengthM()
				segments = append(segments, s)
			}
			last = to
		}
		got, err := Measure(segments, field, exclusion)
		if err != nil {
			return
		}
		slack := 2*got.ErrorM2 + 1e-6*(1+got.SwathM2+got.BoundaryM2)
		for _, v := range []float64{got.SwathM2, got.CoveredM2, got.Overlap2M2, got.Overlap3M2, got.MissedM2, got.OutsideM2, got.ExcludedM2, got.BoundaryM2, got.ExclusionM2, got.ErrorM2} {
			if !(v >= -1e-6 && v < math.Inf(1)) {
				t.Fatalf("%+v", got)
			}
		}
		if got.CoveredM2 > got.BoundaryM2-got.ExclusionM2+slack || got.Overlap2M2+got.Overlap3M2 > got.CoveredM2+slack || got.ExclusionM2 > got.BoundaryM2+1e-6*(1+got.BoundaryM2) {
			t.Errorf("%+v", got)
		}
		half := len(segments) / 2
		c, err := New(field, exclusion, Options{})
		if err != nil {
			t.Fatal(err)
		}
		for _, part := range [][]Segment{segments[half:], segments[:half]} {
			if err := c.Add(part); err != nil {
				t.Fatal(err)
			}
		}
		if grown := c.Result(); !(math.Abs(grown.CoveredM2-got.CoveredM2) <= slack+2*grown.ErrorM2+0.002*got.SwathM2) {
			t.Errorf("in batches %+v, at once %+v", grown, got)
		}
	})
}
