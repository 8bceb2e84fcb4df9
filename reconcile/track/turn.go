package track

import (
	"math"

	"hopperbook/reconcile/plane"
)

// turnBaseBouts is the base of a turn in bout widths: a place is judged by where
// the machine came from half a bout width before it and where it went half a bout width
// behind it. A turn on half the bout width bends by a radian over that, while
// independent position noise of 0.3 m bends a straight track of 12 m bouts by 0.12 radian (sd).
const turnBaseBouts = 0.5

// tightTurns finds where a machine spread on a radius below half the bout
// width: there the inner end of the bout goes backwards and that side gets more than the
// set rate, the outer one less. A place counts when the way driven there (half of
// both bases) is shorter than half the bout width times the change of direction: on a
// circle way / radius is that change. So a turn of less than a radian never counts.
// Where less than a base was spread before or after a place nothing is said, nor where
// spreading is a guess or the bout width is not known. O(n): the bases slide along.
func tightTurns(segments []Segment, found *findings) {
	for from := 0; from < len(segments); {
		to := from + 1
		for to < len(segments) && spreadOn(segments[to-1], segments[to]) {
			to++
		}
		if segments[from].Spreading && !segments[from].Inferred {
			turnsOf(segments[from:to], from, found)
		}
		from = to
	}
}

// spreadOn reports whether b goes on where a ended, in the same state.
func spreadOn(a, b Segment) bool {
	return a.Line == b.Line && a.Spreading == b.Spreading && a.Inferred == b.Inferred && a.BoutWidthM == b.BoutWidthM
}

// turnsOf looks at the corners of one unbroken stretch; first numbers its first segment.
func turnsOf(run []Segment, first int, found *findings) {
	baseM, halfM := turnBaseBouts*run[0].BoutWidthM, run[0].BoutWidthM/2
	if !(baseM > 0) {
		return
	}
	// Directions need no more of the ellipsoid than the cosine of the latitude.
	shrink := math.Cos(run[0].FromLatDeg * math.Pi / 180)
	end := run[len(run)-1].StartM + run[len(run)-1].LengthM
	back, ahead := 0, 0
	for i := 1; i < len(run); i++ {
		at := run[i].StartM
		for run[back+1].StartM <= at-baseM {
			back++
		}
		for ahead < len(run)-1 && run[ahead].StartM+run[ahead].LengthM < at+baseM {
			ahead++
		}
		if at-run[0].StartM < baseM || end-at < baseM {
			continue
		}
		a, b := run[back], run[ahead]
		inE, inN := way(a.FromLatDeg, a.FromLonDeg, run[i].FromLatDeg, run[i].FromLonDeg, shrink)
		outE, outN := way(run[i].FromLatDeg, run[i].FromLonDeg, b.ToLatDeg, b.ToLonDeg, shrink)
		cross, dot := inE*outN-inN*outE, inE*outE+inN*outN
		if math.Abs(cross) < 1.55*dot {
			continue // below a radian, as almost everywhere: tan(1) is 1.557
		}
		turn := math.Abs(math.Atan2(cross, dot))
		between := (b.StartM + b.LengthM - a.StartM) / 2
		if between < halfM*turn {
			driven := (run[i-1].LengthM + run[i].LengthM) / 2
			found.add(Finding{TightTurn, run[i-1].FromMilli, run[i].ToMilli, 1, driven, 0}, first+i, sum)
		}
	}
}

// way is from one position to another, in degrees of latitude east and north.
func way(lat1, lon1, lat2, lon2, shrink float64) (east, north float64) {
	return plane.WrapDeg(lon2-lon1) * shrink, lat2 - lat1
}
