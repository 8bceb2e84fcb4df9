package cause

import (
	"fmt"
	"math"
)

const (
	kmhPerMS   = 3.6
	kgPerTonne = 1000

	// Facts of the trade in the checks are common practice, no source.
	standStill = "Stop the engine, take the key and wait until the discs stand still"
	belt       = "the belt (a sag of over 50 mm calls for tension)"
)

// percent is the size of a share in words: "8.3 %".
func percent(share float64) string { return fmt.Sprintf("%.1f %%", 100*math.Abs(share)) }

// less is a change of flow in words: "8.3 % less".
func less(share float64) string {
	if share < 0 {
		return percent(share) + " less"
	}
	return percent(share) + " more"
}

func (c Cause) interval() string {
	return fmt.Sprintf("(95 %%: %+.1f to %+.1f %%)", 100*c.Low, 100*c.High)
}

// since says where a cause begins.
func (c Cause) since() string {
	switch {
	case c.Onset:
		return fmt.Sprintf("since load %d", c.Load)
	case c.Before:
		return fmt.Sprintf("since before load %d", c.Load)
	}
	return "since the calibration"
}

// seen is the evidence in words.
func (l *look) seen(c Cause, t trial) string {
	switch c.Kind {
	case Speed:
		low, high := l.speedRange(t.first)
		verb := "falls"
		if c.Size > 0 {
			verb = "rises"
		}
		return fmt.Sprintf("%s the flow %s with ground speed: %s at %.1f than at %.1f km/h %s", c.since(), verb, less(c.Size), high*kmhPerMS, low*kmhPerMS, c.interval())
	case Batch:
		return c.marked("batch "+string(c.Batch)) + c.alike(" that had it too")
	case Setting:
		return c.marked("setting " + string(c.Setting))
	case Trend:
		var kg float64
		for _, iv := range l.s.Intervals[t.first:] {
			kg += iv.MassKg
		}
		return fmt.Sprintf("%s the flow changes slowly: %s after %.0f t %s", c.since(), less(c.Size), kg/kgPerTonne, c.interval())
	case Level:
		return fmt.Sprintf("%s the flow follows what is in the hopper: %s %s %s", c.since(), less(c.Size), partWords(c.Part), c.interval())
	case Scale:
		return fmt.Sprintf("all that %s weighed moves together %s: %s %s", c.Scale, c.since(), less(c.Size), c.interval()) + c.alike(" of other machines")
	case Width:
		return fmt.Sprintf("driving lines lie %s than the bout width that is set; that makes the flow look %s %s", apart(c.Size), less(c.Size), c.interval())
	case Switch:
		return switchSeen(c)
	case OneLoad:
		return fmt.Sprintf("load %d alone stands out: %s %s", c.Load, less(c.Size), c.interval())
	}
	beside := "before"
	if !c.Onset {
		beside = "was calibrated"
	}
	return fmt.Sprintf("a step %s: %s than %s %s; no batch, setting, speed, content or scale in the book goes with it", c.since(), less(c.Size), beside, c.interval())
}

// marked is what a batch or setting does.
func (c Cause) marked(with string) string {
	if c.Alone {
		return fmt.Sprintf("with %s %s flows than with the others %s", with, less(c.Size), c.interval())
	}
	return fmt.Sprintf("since load %d, the first with %s, %s flows than before %s", c.Load, with, less(c.Size), c.interval())
}

func (c Cause) alike(whose string) string {
	if c.Others == 0 {
		return ""
	}
	return fmt.Sprintf("; %d series%s go with it", c.Others, whose)
}

func partWords(p Part) string {
	switch p {
	case Bottom:
		return "in the last quarter of a hopper than before"
	case Top:
		return "in the first quarter of a hopper than after"
	}
	return "by the end of a full hopper than at its start"
}

func apart(share float64) string {
	if share < 0 {
		return percent(share) + " closer"
	}
	return percent(share) + " further apart"
}

func switchSeen(c Cause) string {
	where := "spreading is logged where it cannot have been (outside fields, on ground already spread)"
	if c.Size > 0 {
		where = "spreading is not logged on ground that was driven and that no swath covers"
	}
	return fmt.Sprintf("%s; that makes the flow look %s %s", where, less(c.Size), c.interval())
}

// check is what to look at, with the caution it needs.
func check(c Cause) string {
	switch c.Kind {
	case Speed:
		return "Does the machine follow ground speed? Drive a measured way at two speeds and compare what is left in the hopper. " + standStill + ", then look at " + belt + " and the speed sensor."
	case Batch:
		return "Weigh the density of this batch again (hopperbook calibrate density) and set the machine for it."
	case Setting:
		return "Do a catch test at this setting: the scale of the gate may be off there."
	case Trend:
		return standStill + ", then look at vanes, gate and " + belt + " for wear and build-up."
	case Level:
		return "Does product bridge, or does the head change the flow? " + standStill + ", then look at the agitator and at what hangs in the hopper; never climb into it or reach into it while anything can turn."
	case Scale:
		return fmt.Sprintf("Check-weigh %s with a known weight before anything is changed on a machine: it may be the scale. Weighing for trade needs a certified scale.", c.Scale)
	case Width:
		return "Compare the bout width that is set with the distance of the driving lines before the flow is changed: it may be the area that is off, not the mass."
	case Switch:
		return "Compare the spreading switch with what is logged of it before the flow is changed: it may be the area that is off, not the mass."
	case OneLoad:
		return fmt.Sprintf("Look at the lifts of load %d before anything is changed: one may be missing or counted twice.", c.Load)
	}
	if !c.Onset {
		return "Repeat the catch test: the machine has been off since the last one, or the loader's scale is (check-weigh it with a known weight)."
	}
	return fmt.Sprintf("Look at the lifts and residuals from load %d on: are all of them booked? ", c.Load) + standStill + ", then look at " + belt + ", the gate and the drive: a belt can begin to slip all at once."
}
