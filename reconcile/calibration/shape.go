package calibration

import (
	"math"
	"slices"
)

// ShapeKind names what is the matter with a pattern.
type ShapeKind string

// The shapes.
const (
	SkewedLeft  ShapeKind = "skewed_left"
	SkewedRight ShapeKind = "skewed_right"
	WShape      ShapeKind = "w"
	MShape      ShapeKind = "m"
	CentreHeavy ShapeKind = "centre_heavy"
	Regular     ShapeKind = "regular"
)

// Shape is a shape and what it asks for, in trade words.
type Shape struct {
	Kind ShapeKind `json:"shape"`
	Text string    `json:"text"`
}

// The limits between the shapes (common practice, no source). A triangle is
// half as wide at half its height as at its foot.
const (
	skewPct      = 10 // |left - right| of left + right
	dipShare     = 0.9
	heavyShare   = 0.4  // width at half height / width of the throw
	footShare    = 0.05 // of the highest: where the throw ends
	firstMeasure = "; change one thing at a time and repeat the test"
)

// Shapes says what the pattern looks like: skewed to one side or not, and
// besides, judged on the mean of both sides, W, M or centre heavy; regular
// where nothing is the matter. O(n).
func (p Pattern) Shapes() []Shape {
	var out []Shape
	const skewedText = " of the driving line: first see that the machine stands level, product lies in the middle of the belt, both discs turn alike and carry the same, " +
		"equally worn vanes, and no wind blows; then move the drop point or the vanes so that more goes to the "
	switch skew := 100 * (2*p.leftG()/p.totalG() - 1); {
	case skew > skewPct:
		out = append(out, Shape{SkewedLeft, "skewed: too much lands left" + skewedText + "right" + firstMeasure})
	case skew < -skewPct:
		out = append(out, Shape{SkewedRight, "skewed: too much lands right" + skewedText + "left" + firstMeasure})
	}
	switch h := p.folded(); {
	case wShaped(h):
		out = append(out, Shape{WShape, "W: heavy behind the machine and far out, light in between: bring the landing point of the outer heap inwards and take from the middle, by drop point or vanes; look for build-up on vanes and discs" + firstMeasure})
	case h[0] < dipShare*slices.Max(h):
		out = append(out, Shape{MShape, "M: light behind the machine, heavy on both sides: move the drop point or the vanes so that more lands in the middle, on both sides alike" + firstMeasure})
	case halfShare(h) < heavyShare:
		out = append(out, Shape{CentreHeavy, "centre heavy: too much lands behind the machine: see that the discs reach their speed and the vanes are clean and unworn, then move drop point or vanes outwards, on both sides alike; fine or light product does not fly far, so narrow the bout width" + firstMeasure})
	}
	if len(out) == 0 {
		out = append(out, Shape{Regular, "regular: the shape asks for no change"})
	}
	return out
}

// folded is the mean of left and right over the distance from the driving
// line, one entry a spacing, smoothed by (1 2 1)/4 so that one odd tray makes no
// shape.
func (p Pattern) folded() []float64 {
	nearest := math.Inf(1)
	for j := range p.MassesG {
		nearest = math.Min(nearest, math.Abs(p.centreM(j)))
	}
	reach := math.Max(math.Abs(p.FirstM), math.Abs(p.centreM(len(p.MassesG)-1)))
	at := func(k int) float64 {
		x := math.Abs(nearest + float64(k)*p.SpacingM) // mirrored at the line: the tray before the first is its own mirror
		return (p.between(x) + p.between(-x)) / 2
	}
	out := []float64{}
	for k := 0; nearest+float64(k)*p.SpacingM <= reach+1e-9; k++ {
		out = append(out, (at(k-1)+2*at(k)+at(k+1))/4)
	}
	return out
}

// wShaped: between the driving line and some place further out lies a dip
// under both.
func wShaped(h []float64) bool {
	dip := math.Inf(1)
	for _, v := range h[1:] {
		if dip < dipShare*math.Min(h[0], v) {
			return true
		}
		dip = math.Min(dip, v)
	}
	return false
}

// halfShare is the share of the throw that has half the highest rate or more.
func halfShare(h []float64) float64 {
	highest := slices.Max(h)
	half, foot := 0, 0
	for _, v := range h {
		if v >= highest/2 {
			half++
		}
		if v >= footShare*highest {
			foot++
		}
	}
	return float64(half) / float64(foot)
}
