package calibration

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/stat"
)

// Verdict is what an overlap test says.
type Verdict string

// The verdicts of an overlap test.
const (
	Even         Verdict = "even"
	BetweenLight Verdict = "between_light" // too little between the driving lines
	BetweenHeavy Verdict = "between_heavy" // too much between them
)

// DefaultOverlapTolerancePct is how far the mean between the lines may be from
// the mean on them (common practice, no source).
const DefaultOverlapTolerancePct = 15

// OverlapTest is trays on driving lines and trays half-way between them, of one
// size, after all passes that reach them.
type OverlapTest struct {
	AtLineG      []float64
	BetweenG     []float64
	TolerancePct float64 // 0: DefaultOverlapTolerancePct
}

// Overlap is the result of an overlap test.
type Overlap struct {
	AtLineG      float64   `json:"at_driving_line_g"` // mean
	BetweenG     float64   `json:"between_lines_g"`   // mean
	Ratio        float64   `json:"ratio"`             // between / at
	RatioSE      *float64  `json:"ratio_se,omitempty"`
	CVPct        float64   `json:"cv_pct"` // of all trays, sample divisor; 0 for equal ones
	TolerancePct float64   `json:"tolerance_pct"`
	Verdict      Verdict   `json:"verdict"`
	Text         string    `json:"text"` // the verdict in trade words
	Sure         bool      `json:"sure"` // the verdict holds over the whole 95 % interval of the ratio
	Findings     []Finding `json:"findings"`
}

// MeasureOverlap compares the trays between the driving lines with those on
// them. The standard error of the ratio is that of a ratio of two independent
// means, to first order, known with two trays or
// more of each; its 95 % interval uses Student's t with the smaller number of
// degrees of freedom (wide on purpose). Refused: no trays at one of the places,
// negative masses, nothing at all on the driving lines. O(n).
func MeasureOverlap(t OverlapTest) (Overlap, error) {
	const op = "overlap test"
	tolerance := t.TolerancePct
	if tolerance == 0 {
		tolerance = DefaultOverlapTolerancePct
	}
	if !(tolerance > 0 && tolerance < 100) {
		return Overlap{}, inputError(op, "give a tolerance between 0 and 100 %", "a tolerance of %v %%", t.TolerancePct)
	}
	for _, group := range []struct {
		words  string
		masses []float64
	}{{"on the driving lines", t.AtLineG}, {"between the driving lines", t.BetweenG}} {
		if len(group.masses) == 0 {
			return Overlap{}, inputError(op, "lay trays on the driving lines and between them", "no tray %s", group.words)
		}
		for i, m := range group.masses {
			if !notNegative(m) {
				return Overlap{}, inputError(op, "weigh the tray again", "tray %d %s: %v g", i+1, group.words, m)
			}
		}
	}
	at, between := newRepeats(t.AtLineG), newRepeats(t.BetweenG)
	if at.mean == 0 {
		return Overlap{}, inputError(op, "was the machine spreading?", "nothing in the trays on the driving lines")
	}
	o := Overlap{AtLineG: at.mean, BetweenG: between.mean, Ratio: between.mean / at.mean, TolerancePct: tolerance, Verdict: Even}
	mean, sd := stat.MeanStdDev(slices.Concat(t.AtLineG, t.BetweenG), nil)
	o.CVPct = 100 * sd / mean
	o.judge(at, between)
	return o, nil
}

func (o *Overlap) judge(at, between repeats) {
	off := o.Ratio - 1
	limit := o.TolerancePct / 100
	switch {
	case off < -limit:
		o.Verdict = BetweenLight
		o.Text = "too little between the driving lines: the bout width is wider than the pattern carries; narrow it or throw wider, and repeat"
	case off > limit:
		o.Verdict = BetweenHeavy
		o.Text = "too much between the driving lines: the passes overlap too far; widen the bout width or throw less wide, and repeat"
	default:
		o.Text = "even enough: the passes meet as they should at this bout width"
	}
	o.RatioSE = known(math.Hypot(between.se, o.Ratio*at.se) / at.mean)
	var f findings
	if o.RatioSE == nil {
		f.add(OverlapUnsure, "one tray at one of the places alone says nothing about chance: lay three or more at each")
	} else {
		u95 := studentT95(min(at.n, between.n)-1) * *o.RatioSE
		low, high := off-u95, off+u95
		o.Sure = (o.Verdict == BetweenLight && high < -limit) || (o.Verdict == BetweenHeavy && low > limit) || (o.Verdict == Even && low >= -limit && high <= limit)
		if !o.Sure {
			f.add(OverlapUnsure, "the ratio may be anywhere from %.2f to %.2f (95 %%), across the limit: lay more trays before you change anything", math.Max(0, 1+low), 1+high)
		}
	}
	o.Findings = f.list()
}
