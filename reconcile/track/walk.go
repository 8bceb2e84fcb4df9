package track

import (
	"math"

	"hopperbook/reconcile/plane"
	"hopperbook/schemas"
)

// state is what a fix hands to the segment that begins with it.
type state struct {
	spreading, inferred bool
	widthM, rateKgHa    float64
	rateKnown           bool
}

// walk goes once over ordered fixes. anchor is the fix the segment under way
// begins with, now the state it has, last the latest fix taken.
type walk struct {
	opt      Options
	found    *findings
	fixes    []schemas.Fix
	segments []Segment

	anchor  int
	last    int
	dropped int
	now     state
	line    int
	lineM   float64
	stillS  float64 // spread for this long since the anchor, standing
}

func (w *walk) run() {
	for i := range w.fixes {
		switch {
		case i == 0:
			w.now = w.stateOf(0)
		case !w.step(i):
			w.dropped++
			continue
		}
		w.last = i
	}
	if len(w.fixes) > 0 {
		w.endLine()
	}
}

// step handles fix i, which has a fix before it; false: the fix is dropped.
func (w *walk) step(i int) bool {
	last, f := &w.fixes[w.last], &w.fixes[i]
	dt, moved := between(last, f)
	switch {
	case dt > w.opt.MaxGapS:
		w.found.addOne(Finding{Gap, last.UnixMilli, f.UnixMilli, 1, moved, 0})
		w.newLine(i)
		return true
	case w.jumps(dt, moved):
		if w.bridged(i) {
			w.found.addOne(Finding{Outlier, f.UnixMilli, f.UnixMilli, 1, moved, 0})
			return false
		}
		w.found.addOne(Finding{Jump, last.UnixMilli, f.UnixMilli, 1, moved / dt * 3.6, 0})
		w.newLine(i)
		return true
	}
	if w.anchor != w.last {
		_, moved = between(&w.fixes[w.anchor], f)
	}
	state := w.stateOf(i)
	if moved < w.nearM(f, state) {
		if w.now.spreading {
			w.stillS += dt
		}
		w.now = state
		return true
	}
	w.endStand(w.last)
	w.draw(i, moved)
	w.anchor, w.now = i, state
	return true
}

// nearM is the move below which a fix does not end the segment under way. Where the
// swath begins, ends or changes its width no more is given away than with the best fixes.
func (w *walk) nearM(f *schemas.Fix, s state) float64 {
	if f.Quality == schemas.QualityRTKFixed || s.spreading != w.now.spreading || s.widthM != w.now.widthM {
		return w.opt.MinMoveM
	}
	return w.opt.RoughMoveM
}

func between(a, b *schemas.Fix) (s, distanceM float64) {
	return seconds(a.UnixMilli, b.UnixMilli), plane.DistanceM(a.LatDeg, a.LonDeg, b.LatDeg, b.LonDeg)
}

func (w *walk) jumps(s, distanceM float64) bool {
	return distanceM-noiseM > w.opt.MaxSpeedKmh/3.6*s
}

// bridged reports whether fix i, to which the step from the last fix is a jump,
// stands alone: the step away from it is a jump too, and without it the track goes on.
func (w *walk) bridged(i int) bool {
	if i+1 == len(w.fixes) {
		return false
	}
	next := &w.fixes[i+1]
	if s, m := between(&w.fixes[w.last], next); s > w.opt.MaxGapS || w.jumps(s, m) {
		return false
	}
	return w.jumps(between(&w.fixes[i], next))
}

// newLine breaks the track before fix i.
func (w *walk) newLine(i int) {
	w.endLine()
	w.line++
	w.lineM = 0
	w.anchor, w.now = i, w.stateOf(i)
}

// endLine ends the track at the last fix, with what was driven since the anchor.
func (w *walk) endLine() {
	w.endStand(w.last)
	if _, moved := between(&w.fixes[w.anchor], &w.fixes[w.last]); moved >= w.opt.MinMoveM {
		w.draw(w.last, moved)
	}
}

func (w *walk) draw(i int, lengthM float64) {
	a, f := w.fixes[w.anchor], w.fixes[i]
	s := Segment{
		Line: w.line, FromMilli: a.UnixMilli, ToMilli: f.UnixMilli,
		FromLatDeg: a.LatDeg, FromLonDeg: a.LonDeg, ToLatDeg: f.LatDeg, ToLonDeg: f.LonDeg,
		StartM: w.lineM, LengthM: lengthM,
		BoutWidthM: w.now.widthM, SetRateKgHa: w.now.rateKgHa,
		Spreading: w.now.spreading, Inferred: w.now.inferred,
	}
	if s.Spreading && s.BoutWidthM == 0 {
		w.found.add(Finding{NoBoutWidth, s.FromMilli, s.ToMilli, 1, lengthM, 0}, len(w.segments), sum)
	}
	if s.Spreading && !w.now.rateKnown {
		w.found.add(Finding{NoSetRate, s.FromMilli, s.ToMilli, 1, lengthM, 0}, len(w.segments), sum)
	}
	w.segments = append(w.segments, s)
	w.lineM += lengthM
}

// endStand closes a stand that lasted until fix i.
func (w *walk) endStand(i int) {
	if w.stillS >= w.opt.StationaryS {
		w.found.addOne(Finding{Stationary, w.fixes[w.anchor].UnixMilli, w.fixes[i].UnixMilli, i - w.anchor + 1, w.stillS, 0})
	}
	w.stillS = 0
}

func (w *walk) stateOf(i int) state {
	f := w.fixes[i]
	s := state{spreading: f.Spreading == schemas.SpreadingOn, widthM: f.BoutWidthM, rateKgHa: f.SetRateKgHa}
	if f.Spreading == schemas.SpreadingUnknown {
		kmh := w.speedKmh(i)
		s.inferred = true
		s.spreading = kmh >= w.opt.InferFromKmh && kmh <= w.opt.InferToKmh
		w.found.add(Finding{SpreadingInferred, f.UnixMilli, f.UnixMilli, 1, 0, 0}, i, larger)
	}
	if !(s.widthM > 0) {
		s.widthM = w.opt.BoutWidthM
	}
	if !(s.widthM > 0 && s.widthM <= MaxBoutWidthM) {
		s.widthM = 0
	}
	s.rateKnown = s.rateKgHa >= 0 && !math.IsInf(s.rateKgHa, 0)
	if !s.rateKnown {
		s.rateKgHa, s.rateKnown = w.opt.SetRateKgHa, w.opt.SetRateKgHa > 0
	}
	if !s.rateKnown {
		s.rateKgHa = 0
	}
	return s
}

// speedKmh is the receiver's speed or, where it gave none, that of the step to the next fix.
func (w *walk) speedKmh(i int) float64 {
	f := w.fixes[i]
	if !math.IsNaN(f.SpeedKmh) || i+1 == len(w.fixes) {
		return f.SpeedKmh
	}
	g := w.fixes[i+1]
	return plane.DistanceM(f.LatDeg, f.LonDeg, g.LatDeg, g.LonDeg) / seconds(f.UnixMilli, g.UnixMilli) * 3.6
}
