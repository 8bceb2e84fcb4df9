package calibration

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/stat"
)

// Driving says how neighbouring bouts are driven.
type Driving string

// The two ways of driving.
const (
	ToAndFro      Driving = "to_and_fro"      // left meets left, right meets right
	RoundAndRound Driving = "round_and_round" // left meets right
)

// Divisor says what the squared deviations are divided by.
type Divisor string

// The divisors; the zero value of Divisor means Sample.
const (
	Sample     Divisor = "sample"     // n - 1
	Population Divisor = "population" // n
)

// Pattern is a row of tray masses across the driving line: tray j has its
// centre FirstM + j SpacingM metres to the right of the driving line and stands
// for a strip of one spacing.
type Pattern struct {
	MassesG  []float64
	FirstM   float64 // centre of the leftmost tray
	SpacingM float64
}

// Centred is the pattern of a row laid symmetrically about the driving line:
// an odd number of trays has one on the line, an even number none.
func Centred(massesG []float64, spacingM float64) Pattern {
	return Pattern{massesG, -spacingM * float64(len(massesG)-1) / 2, spacingM}
}

// WidthM is how wide the row is, strips of the outermost trays included.
func (p Pattern) WidthM() float64 { return float64(len(p.MassesG)) * p.SpacingM }

func (p Pattern) centreM(j int) float64 { return p.FirstM + float64(j)*p.SpacingM }

func (p Pattern) totalG() float64 {
	sum := 0.0
	for _, m := range p.MassesG {
		sum += m
	}
	return sum
}

// leftG is the mass left of the driving line; a strip on the line is shared.
func (p Pattern) leftG() float64 {
	left := 0.0
	for j, m := range p.MassesG {
		left += m * math.Min(1, math.Max(0, 0.5-p.centreM(j)/p.SpacingM))
	}
	return left
}

// MeanG is the mean tray mass [g] on the ground at a bout width [m]: the
// total x spacing / bout width, the same in both modes.
func (p Pattern) MeanG(boutWidthM float64) float64 { return p.totalG() * p.SpacingM / boutWidthM }

// CV is the coefficient of variation [%] of the overlapped passes at a bout
// width [m] (see the package's text). Refused: a bout width narrower than one
// spacing, one at which a period holds one tray and the divisor is Sample, one
// wider than the row (what lands between is not known), a pattern without
// mass. O(n); rounding stays under 1e-10 of the CV, or of 1 % where the CV is
// smaller.
func (p Pattern) CV(boutWidthM float64, driving Driving, divisor Divisor) (cvPct float64, err error) {
	if err := p.checkWidth(boutWidthM); err != nil {
		return 0, err
	}
	y := p.overlapped(boutWidthM, driving)
	if divisor != Population && len(y) == 1 {
		return 0, inputError("overlap", "take a wider bout width", "at a bout width of %v m there is one tray between the driving lines: no sample standard deviation", boutWidthM)
	}
	sd := stat.PopStdDev(y, nil)
	if divisor != Population {
		sd = stat.StdDev(y, nil)
	}
	return 100 * sd / stat.Mean(y, nil), nil
}

func (p Pattern) checkWidth(boutWidthM float64) error {
	const op = "overlap"
	const slack = 1e-9 // of a spacing: 12 x 0.1 m is 1.2000000000000002 m
	switch {
	case !positive(p.SpacingM) || len(p.MassesG) == 0 || !positive(p.totalG()):
		return inputError(op, "weigh the trays again", "the pattern has no mass or no spacing")
	case !(boutWidthM >= p.SpacingM*(1-slack)):
		return inputError(op, "take a wider bout width", "a bout width of %v m is under the tray spacing of %v m", boutWidthM, p.SpacingM)
	case boutWidthM > p.WidthM()+slack*p.SpacingM:
		return inputError(op, "lay trays as far as the product is thrown", "a bout width of %v m is beyond the row of trays, %s m wide", boutWidthM, metres(p.WidthM()))
	}
	return nil
}

// overlapped is what the trays of one period hold after all passes that reach
// them.
func (p Pattern) overlapped(boutWidthM float64, driving Driving) []float64 {
	trays := max(1, int(math.Round(boutWidthM/p.SpacingM)))
	spacing := boutWidthM / float64(trays)
	if driving == ToAndFro {
		trays *= 2
	}
	phase := p.FirstM/p.SpacingM - math.Floor(p.FirstM/p.SpacingM)
	y := make([]float64, trays)
	for i := range y {
		y[i] = p.allPasses((float64(i)+phase)*spacing, boutWidthM, driving)
	}
	return y
}

// allPasses is what a tray at x holds after all passes that reach it.
func (p Pattern) allPasses(x, boutWidthM float64, driving Driving) (massG float64) {
	reach := math.Max(math.Abs(p.centreM(-1)), math.Abs(p.centreM(len(p.MassesG))))
	for pass := math.Ceil((x - reach) / boutWidthM); pass*boutWidthM <= x+reach; pass++ {
		d := x - pass*boutWidthM
		if driving == ToAndFro && math.Mod(pass, 2) != 0 {
			d = -d
		}
		massG += p.between(d)
	}
	return massG
}

// between is the catch [g] of a tray at x: straight between the centres of
// neighbouring trays, and to nothing one spacing outside the row.
func (p Pattern) between(x float64) float64 {
	u := (x - p.FirstM) / p.SpacingM
	j := math.Floor(u)
	return (1-(u-j))*p.mass(int(j)) + (u-j)*p.mass(int(j)+1)
}

func (p Pattern) mass(j int) float64 {
	if j < 0 || j >= len(p.MassesG) {
		return 0
	}
	return p.MassesG[j]
}

// metres writes a length without the rounding of binary fractions.
func metres(m float64) string { return fmt.Sprintf("%g", roundedM(m)) }

func roundedM(m float64) float64 { return math.Round(m*1e6) / 1e6 }

// HalfRateM is the effective swath [m] by the half-rate rule: twice the
// distance from the centre to where the catch is half the centre's average
// (Ohio State University Extension, B-817), mean of both sides, straight
// between tray centres; the centre is the trays within one spacing of the
// driving line. ok is false where a side never falls to half, or the centre is
// empty.
func (p Pattern) HalfRateM() (swathM float64, ok bool) {
	sum, n := 0.0, 0
	for j, m := range p.MassesG {
		if math.Abs(p.centreM(j)) <= p.SpacingM*(1+1e-9) {
			sum, n = sum+m, n+1
		}
	}
	if n == 0 || sum == 0 {
		return 0, false
	}
	half := sum / float64(n) / 2
	for _, side := range []int{-1, 1} {
		x, found := p.fallsTo(half, side)
		if !found {
			return 0, false
		}
		swathM += math.Abs(x)
	}
	return swathM, true
}

// fallsTo walks from the row's end inwards to where the catch first reaches
// what is asked for.
func (p Pattern) fallsTo(mass float64, side int) (x float64, found bool) {
	last := len(p.MassesG) - 1
	j := 0
	if side > 0 {
		j = last
	}
	if p.MassesG[j] >= mass {
		return 0, false
	}
	for ; j-side >= 0 && j-side <= last; j -= side {
		outer, inner := p.MassesG[j], p.MassesG[j-side]
		if inner >= mass {
			return p.centreM(j) - float64(side)*p.SpacingM*(mass-outer)/(inner-outer), true
		}
	}
	return 0, false
}
