package cause

import (
	"cmp"
	"math"

	"hopperbook/schemas"
)

// Kind is a kind of cause.
type Kind string

// The kinds; the package comment says how each is told.
const (
	Speed   Kind = "ground_speed"     // flow falls with ground speed
	Batch   Kind = "batch"            // another batch: density
	Setting Kind = "setting"          // another setting: gate scale
	Trend   Kind = "trend"            // wear, build-up
	Level   Kind = "hopper_level"     // head, bridging
	Scale   Kind = "scale"            // the loader's scale, not the machine
	Width   Kind = "bout_width"       // bouts are not driven as wide as set
	Switch  Kind = "spreading_switch" // logged as spread what was not, or the other way round
	OneLoad Kind = "one_load"         // one load stands out: a lift not weighed
	Step    Kind = "step"             // a step that goes with none of these
)

// Kinds lists all kinds, in the order that equal ones are ranked in.
func Kinds() []Kind {
	return []Kind{Speed, Batch, Setting, Trend, Level, Scale, Width, Switch, OneLoad, Step}
}

// Verdict is what is likely to be behind one series.
type Verdict struct {
	Claimed  bool    // the evidence for some cause passes the test of its own
	LogBayes float64 // natural logarithm of the Bayes factor "some cause" against none
	Causes   []Cause // likeliest first; empty unless Claimed or called
}

// Cause is one likely cause. It is never a verdict: Check says how to find out.
type Cause struct {
	Kind   Kind
	Weight float64 // posterior probability among the causes tried, 0 to 1

	Load   int // first load it touches
	Refill schemas.RefillID
	Onset  bool // it begins within the series, not with its first load
	Before bool // it begins before Load: a longer series is not looked at whole

	// Size is the change of the flow ratio: of a step; from the slowest to the
	// fastest interval (Speed), from its beginning to the end of the series
	// (Trend), in the part of the hopper against the rest, or from full to empty
	// (Level), on average where the ground shows it (Width, Switch). Of Scale it is
	// the change of what the scale reads.
	Size      float64
	SizeSd    float64 // standard uncertainty
	Low, High float64 // 95 % interval of Size (normal), this being the cause

	Batch   BatchID
	Setting SettingID
	Scale   schemas.ScaleID
	Part    Part // of the hopper
	Alone   bool // a batch or setting: only its own loads, not those after it
	Others  int  // other series it explains as well (Scale, Batch)

	Seen  string // the evidence
	Check string // what to look at, with the caution it needs
}

const z95 = 1.959963984540054

// cause states a trial.
func (l *look) cause(t trial, weight float64) Cause {
	first := &l.s.Intervals[min(t.first, len(l.s.Intervals)-1)]
	c := Cause{Kind: t.kind, Weight: weight, Load: first.Load, Refill: first.Refill, Onset: t.first > 0, Before: t.first == 0 && (l.cut || t.before && t.kind == Scale && t.others > 0), Size: t.size, SizeSd: t.sizeSd,
		Batch: t.batch, Setting: t.setting, Scale: t.scale, Part: t.part, Alone: t.alone, Others: t.others}
	scale := 1.0
	switch t.kind {
	case Speed:
		low, high := l.speedRange(t.first)
		scale = (high - low) / meanOf(l.s)
	case Level:
		if t.part == Head {
			scale = -1 // per share of the hopper: from full to empty it goes down
		}
	case Width:
		x, _ := widths(l.s)
		scale = shown(x)
	case Switch:
		x, _ := switches(l.s)
		scale = shown(x)
	}
	c.Size, c.SizeSd = scale*t.size, math.Abs(scale)*t.sizeSd
	c.Low, c.High = c.Size-z95*c.SizeSd, c.Size+z95*c.SizeSd
	c.Seen, c.Check = l.seen(c, t), check(c)
	return c
}

// speedRange is the slowest and fastest mean speed [m/s] from interval first on.
func (l *look) speedRange(first int) (low, high float64) {
	for i := first; i < len(l.s.Intervals); i++ {
		if v, ok := speedOf(&l.s.Intervals[i]); ok {
			low, high = cmp.Or(min(low, v), v), max(high, v)
		}
	}
	return low, high
}

func meanOf(s *Series) float64 {
	_, mean, _, _ := filled(s, speedOf)
	return mean
}

// shown is the mean of what the ground shows where it shows anything.
func shown(x []float64) float64 {
	var sum, n float64
	for _, v := range x {
		if math.Abs(v) >= leastAreaShare {
			sum, n = sum+v, n+1
		}
	}
	return sum / max(n, 1)
}
