package cause

import (
	"fmt"
	"math"
)

const (
	kmhPerMS    = 3.6
	kgPerTonne  = 1000
	standStill  = "Stop the engine, take the key and wait until the discs stand still before you look"
	beltTension = "a sag of over 50 mm calls for tension"
)

// percent is a share in words: "8.3 %".
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
	if c.Onset {
		return fmt.Sprintf("since load %d", c.Load)
	}
	if c.Before {
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
		return fmt.Sprintf("%s %s flows than was calibrated %s", c.loads("batch "+string(c.Batch)), less(c.Size), c.interval()) + c.alike(" that had it too")
	case Setting:
		return fmt.Sprintf("%s %s flows than was calibrated %s", c.loads("setting "+string(c.Setting)), less(c.Size), c.interval())
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
		return fmt.Sprintf("driving lines lie %s apart than the bout width that is set; that makes the flow look %s %s", wider(c.Size), less(c.Size), c.interval())
	case Switch:
		return switchSeen(c)
	case OneLoad:
		return fmt.Sprintf("load %d alone stands out: %s %s", c.Load, less(c.Size), c.interval())
	}
	return fmt.Sprintf("a step %s: %s %s; it goes with no batch, setting, speed or scale that the book knows", c.since(), less(c.Size), c.interval())
}

// loads says which loads a batch or setting touches.
func (c Cause) loads(what string) string {
	if c.Alone {
		return "with " + what
	}
	return fmt.Sprintf("from load %d on, the first with %s,", c.Load, what)
}

func (c Cause) alike(whose string) string {
	switch c.Others {
	case 0:
		return ""
	case 1:
		return "; so in 1 series" + whose
	}
	return fmt.Sprintf("; so in %d series%s", c.Others, whose)
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

func wider(share float64) string {
	if share < 0 {
		return percent(share) + " less"
	}
	return percent(share) + " further"
}

func switchSeen(c Cause) string {
	if c.Size < 0 {
		return fmt.Sprintf("spreading is logged where it cannot have been (outside fields, on ground already spread); that makes the flow look %s %s", less(c.Size), c.interval())
	}
	return fmt.Sprintf("spreading is not logged on ground that was driven and that nothing else covers; that makes the flow look %s %s", less(c.Size), c.interval())
}

// check is what to look at. Facts of the trade in it are common practice, no source.
func check(c Cause) string {
	switch c.Kind {
	case Speed:
		return "Look whether the machine follows ground speed: drive a measured way at two speeds and compare what the belt or gate did. " +
			standStill + " at the belt: " + beltTension + "."
	case Batch:
		return "Weigh the density of this batch again (hopperbook calibrate density) and set the machine for it."
	case Setting:
		return "Do a catch test at this setting: the scale of the gate may be off there."
	case Trend:
		return standStill + " at vanes, belt and gate for wear and build-up: " + beltTension + "."
	case Level:
		return "Watch from a safe place how the product slides as the hopper empties. " + standStill + " for bridging, and at the agitator; never reach or climb into a hopper that can run."
	case Scale:
		return fmt.Sprintf("Check-weigh %s with a known weight: it may be the scale, not the machines. Weighing for trade needs a certified scale.", c.Scale)
	case Width:
		return "Compare the bout width that is set with the distance of the driving lines: the area may be off, not the mass."
	case Switch:
		return "Compare the spreading switch with what the log says of it: the area may be off, not the mass."
	case OneLoad:
		return fmt.Sprintf("Look at the lifts of load %d: one may be missing or counted twice.", c.Load)
	}
	if !c.Onset {
		return "Repeat the catch test: the machine has been off since the last one. Check-weigh the loader's scale with a known weight."
	}
	return "Look whether a lift was not weighed or a reading of the residual is wrong. " + standStill + " at the belt, the gate and the drive: " + beltTension + "."
}
