package applied

import (
	"fmt"
	"math"

	"hopperbook/reconcile/track"
	"hopperbook/schemas"
	"hopperbook/schemas/fault"
)

// MaxReachM is how far to one side a pattern may reach.
const MaxReachM = track.MaxBoutWidthM

// Pattern is how the mass is shared across the drive: a density [1/m] that is
// straight between knots, 0 outside them, with integral 1. Right of the driving line is above 0.
// The zero Pattern shares nothing; make one with Even or FromTrays.
type Pattern struct {
	atM     []float64 // rising
	density []float64
	even    bool // the same density everywhere
}

// Even is the pattern of a machine without a tray test: the same everywhere
// across the bout width.
func Even(boutWidthM float64) (Pattern, error) {
	if !(boutWidthM > 0 && boutWidthM <= track.MaxBoutWidthM) {
		return Pattern{}, fault.Newf("make a pattern", fault.Input, fmt.Sprintf("a bout width of %v m", boutWidthM),
			fmt.Sprintf("A bout width lies above 0 and at most at %d m.", track.MaxBoutWidthM))
	}
	return Pattern{atM: []float64{-boutWidthM / 2, boutWidthM / 2}, density: []float64{1 / boutWidthM, 1 / boutWidthM}, even: true}, nil
}

// FromTrays is the pattern of a tray test. The trays stand side by side,
// tray_spacing_m from middle to middle, the row's middle on the driving line or
// where positions_m has it; their width and length change every mass alike and so nothing. O(n).
func FromTrays(t schemas.TestTray) (Pattern, error) {
	const op = "make a pattern of tray test "
	n := len(t.MassesG)
	middle := 0.0
	if len(t.PositionsM) == n && n > 0 {
		middle = (t.PositionsM[0] + t.PositionsM[n-1]) / 2
	}
	reach := float64(n+1)/2*t.TraySpacingM + math.Abs(middle)
	if n == 0 || !(t.TraySpacingM > 0 && reach <= MaxReachM) {
		return Pattern{}, fault.Newf(op+string(t.TrayTest), fault.Input, fmt.Sprintf("%d trays every %v m", n, t.TraySpacingM),
			fmt.Sprintf("A pattern has trays and reaches at most %d m to each side.", MaxReachM))
	}
	sum := 0.0
	for i, g := range t.MassesG {
		if !(g >= 0 && g <= math.MaxFloat64) {
			return Pattern{}, fault.Newf(op+string(t.TrayTest), fault.Input, fmt.Sprintf("tray %d holds %v g", i+1, g), "Amend the tray test.")
		}
		sum += g
	}
	if !(sum > 0 && sum <= math.MaxFloat64) {
		return Pattern{}, fault.Newf(op+string(t.TrayTest), fault.Input, "no tray caught anything", "Amend the tray test.")
	}
	p := Pattern{atM: make([]float64, n+2), density: make([]float64, n+2)}
	for i := range p.atM {
		p.atM[i] = middle + (float64(i)-float64(n+1)/2)*t.TraySpacingM
		if i > 0 && i <= n {
			p.density[i] = t.MassesG[i-1] / sum / t.TraySpacingM
		}
	}
	return p, nil
}

// ReachM is the larger of the distances to its two ends.
func (p Pattern) ReachM() float64 {
	if len(p.atM) == 0 {
		return 0
	}
	return max(-p.atM[0], p.atM[len(p.atM)-1])
}

// lane is a part of the pattern and its share of the mass.
type lane struct{ leftM, rightM, share float64 }

// lanes cuts the pattern into lanes of at most widthM; an even pattern stays
// whole when whole says so. Lanes do not cross knots; those without mass are left out.
func (p Pattern) lanes(widthM float64, whole bool) []lane {
	var out []lane
	for k := 0; k+1 < len(p.atM); k++ {
		from, to := p.atM[k], p.atM[k+1]
		n := int(math.Ceil((to - from) / widthM))
		if whole && p.even {
			n = 1
		}
		for i := range n {
			a, b := float64(i)/float64(n), float64(i+1)/float64(n)
			mid := p.density[k] + (a+b)/2*(p.density[k+1]-p.density[k])
			if mid > 0 {
				out = append(out, lane{from + a*(to-from), from + b*(to-from), mid * (b - a) * (to - from)})
			}
		}
	}
	return out
}
