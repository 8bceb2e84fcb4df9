package applied

import (
	"math"
	"slices"

	"hopperbook/reconcile/plane"
	"hopperbook/schemas/unit"
)

// The band around the set rate, and the share of it below which a cell counts as not hit
// (common practice, no source).
const (
	LowShare    = 0.8
	HighShare   = 1.2
	NotHitShare = 0.01
)

// Class is where a rate stands beside the set rate, from nothing to far too
// much.
type Class uint8

// The classes. Those from NotHit to Low are under the band, High and FarHigh over it.
const (
	NotHit  Class = iota // under NotHitShare of the set rate
	FarLow               // under 0.6
	Low                  // under LowShare
	BitLow               // under 0.9
	Right                // from 0.9 to 1.1
	BitHigh              // to HighShare
	High                 // to 1.4
	FarHigh              // over 1.4
	Classes              // how many there are
)

// From is the lower end of the class as a share of the set rate; 0 for NotHit.
func (c Class) From() float64 {
	return [...]float64{0, NotHitShare, 0.6, LowShare, 0.9, 1.1, HighShare, 1.4}[c]
}

// ClassOf is the class of a rate. It looks at the rate as a float32, which is what files and
// answers hold, so that a cell has one class everywhere.
func ClassOf(kgHa float32, setRateKgHa float64) Class {
	v := float64(kgHa)
	for c := NotHit; c < Right; c++ {
		if v < float64(float32((c+1).From()*setRateKgHa)) {
			return c
		}
	}
	for c := Right; c < FarHigh; c++ {
		if v <= float64(float32((c+1).From()*setRateKgHa)) {
			return c
		}
	}
	return FarHigh
}

// Figures are what a map comes to. Cells are those of the target, of which shares are too.
type Figures struct {
	AreaM2      float64
	MeanKgHa    float64
	CVPct       float64          // standard deviation of the cells / their mean; 0 where the mean is not above 0
	ClassShares [Classes]float64 // 0 without a set rate
}

// BelowShare is the share under the band, what was not hit included.
func (f Figures) BelowShare() float64 {
	return f.ClassShares[NotHit] + f.ClassShares[FarLow] + f.ClassShares[Low]
}

// AboveShare is the share over the band.
func (f Figures) AboveShare() float64 { return f.ClassShares[High] + f.ClassShares[FarHigh] }

// NotHitShare is the share that got next to nothing.
func (f Figures) NotHitShare() float64 { return f.ClassShares[NotHit] }

// Figures compares the target's cells with the set rate. A target without a
// cell has none of them. O(cells).
func (m Map) Figures(setRateKgHa float64) Figures {
	var f Figures
	n := 0.0
	for i, in := range m.Inside {
		if !in {
			continue
		}
		n++
		if setRateKgHa > 0 {
			f.ClassShares[ClassOf(float32(m.KgHa[i]), setRateKgHa)]++
		}
	}
	if n == 0 {
		return f
	}
	for c := range f.ClassShares {
		f.ClassShares[c] /= n
	}
	f.AreaM2 = n * m.CellM * m.CellM
	f.MeanKgHa = unit.NominalRate(m.InFieldKg, f.AreaM2)
	if f.MeanKgHa > 0 && n > 1 {
		f.CVPct = 100 * math.Sqrt(m.squares(f.MeanKgHa)/(n-1)) / f.MeanKgHa
	}
	return f
}

// squares sums the squared distances of the target's cells from the mean.
func (m Map) squares(meanKgHa float64) (sum float64) {
	for i, in := range m.Inside {
		if in {
			d := m.KgHa[i] - meanKgHa
			sum += d * d
		}
	}
	return sum
}

// inside marks the cells whose centre lies in the field, by the rule of
// plane.Polygon.Contains. O(cells + sides x rows they span).
func inside(field plane.Polygon, e extent) []bool {
	crossings := make([][]float64, e.rows) // of each row's middle line, in cells from the west
	field.EachEdge(func(a, b plane.Point) {
		low, high := min(a.YM, b.YM), max(a.YM, b.YM)
		first := max(0, int(math.Floor(low/e.cellM-0.5))-e.row0)
		last := min(e.rows-1, int(math.Floor(high/e.cellM-0.5))-e.row0+1)
		for row := first; row <= last; row++ {
			y := (float64(row+e.row0) + 0.5) * e.cellM
			if (a.YM <= y) != (b.YM <= y) {
				x := a.XM + (y-a.YM)/(b.YM-a.YM)*(b.XM-a.XM)
				crossings[row] = append(crossings[row], x/e.cellM-float64(e.col0))
			}
		}
	})
	out := make([]bool, e.cols*e.rows)
	for row, xs := range crossings {
		slices.Sort(xs)
		for k := 0; k+1 < len(xs); k += 2 {
			for col := max(0, int(math.Ceil(xs[k]-0.5))); col < e.cols && float64(col)+0.5 < xs[k+1]; col++ {
				out[row*e.cols+col] = true
			}
		}
	}
	return out
}
