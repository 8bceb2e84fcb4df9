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

// Figures are what a map comes to. Shares are of the field's cells.
type Figures struct {
	AreaM2      float64 // of the field's cells
	MeanKgHa    float64
	CVPct       float64 // standard deviation of the cells / their mean; 0 where the mean is
	BelowShare  float64 // under LowShare of the set rate, what was not hit included
	AboveShare  float64 // over HighShare of the set rate
	NotHitShare float64 // under NotHitShare of the set rate
}

// Figures compares the field's cells with the set rate. Without a set rate the shares are 0; a
// field without a cell has none of them. O(cells).
func (m Map) Figures(setRateKgHa float64) Figures {
	var f Figures
	n, below, above, notHit := 0.0, 0.0, 0.0, 0.0
	for i, in := range m.Inside {
		if !in {
			continue
		}
		n++
		switch v := m.KgHa[i]; {
		case v < NotHitShare*setRateKgHa:
			notHit++
			below++
		case v < LowShare*setRateKgHa:
			below++
		case v > HighShare*setRateKgHa:
			above++
		}
	}
	if n == 0 {
		return f
	}
	f.AreaM2 = n * m.CellM * m.CellM
	f.MeanKgHa = unit.NominalRate(m.InFieldKg, f.AreaM2)
	if setRateKgHa > 0 {
		f.BelowShare, f.AboveShare, f.NotHitShare = below/n, above/n, notHit/n
	}
	if f.MeanKgHa > 0 && n > 1 {
		f.CVPct = 100 * math.Sqrt(m.squares(f.MeanKgHa)/(n-1)) / f.MeanKgHa
	}
	return f
}

// squares sums the squared distances of the field's cells from the mean.
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
