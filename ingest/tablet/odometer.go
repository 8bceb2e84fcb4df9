package tablet

import (
	"time"

	"hopperbook/schemas"
)

// How fixes are joined, as the office does it (reconcile/track).
const (
	maxGapMs  = 5000
	maxMPerMs = 60 / 3.6 / 1000
	noiseM    = 1   // of two positions, allowed to a step
	fineMoveM = 0.3 // a smaller move is standing still
	moveM     = 2   // the same of a receiver that is no RTK fixed one
	clockSet  = 3600_000
)

// point is what the odometer needs of a fix.
type point struct {
	Milli    int64   `json:"ms"`
	LatDeg   float64 `json:"lat"`
	LonDeg   float64 `json:"lon"`
	RateKgHa float64 `json:"rate"`   // asked for; 0: not known
	BoutM    float64 `json:"bout_m"` // 0: not known
	On       bool    `json:"on"`
	Fine     bool    `json:"fine"`
}

func pointOf(f schemas.Fix, rateKgHa, boutM float64) point {
	p := point{Milli: f.UnixMilli, LatDeg: f.LatDeg, LonDeg: f.LonDeg, RateKgHa: f.SetRateKgHa, BoutM: f.BoutWidthM,
		On: f.Spreading == schemas.SpreadingOn, Fine: f.Quality == schemas.QualityRTKFixed}
	if p.RateKgHa != p.RateKgHa {
		p.RateKgHa = rateKgHa
	}
	if p.BoutM != p.BoutM {
		p.BoutM = boutM
	}
	return p
}

func (p *point) sameWork(q *point) bool {
	return p.On == q.On && p.RateKgHa == q.RateKgHa && p.BoutM == q.BoutM
}

// driven is what was spread between one refill and the next.
type driven struct {
	Event     schemas.EventID `json:"event"` // the refill; "": before the first
	From      time.Time       `json:"from"`
	SwathM2   float64         `json:"swath_m2"`
	NominalKg float64         `json:"nominal_kg"`
}

// odometer adds up swath area and nominal mass over fixes, refill by refill.
// A fix that is not later than the one before changes nothing; one an hour
// earlier means that the clock was set, and the count goes on from there.
type odometer struct {
	Began  bool     `json:"began"`
	Anchor point    `json:"anchor"` // where the step under way began
	Last   point    `json:"last"`
	By     []driven `json:"by"` // in order of time; the first is before any refill
}

func newOdometer() odometer { return odometer{By: []driven{{}}} }

func (o *odometer) clone() odometer {
	c := *o
	c.By = append([]driven(nil), o.By...)
	return c
}

// refilled begins a new count.
func (o *odometer) refilled(event schemas.EventID, at time.Time) {
	o.By = append(o.By, driven{Event: event, From: at})
}

func (o *odometer) add(p point) {
	if !o.Began || p.Milli < o.Last.Milli-clockSet {
		o.Began, o.Anchor, o.Last = true, p, p
		return
	}
	dt := p.Milli - o.Last.Milli
	if dt <= 0 {
		return
	}
	jumpM := distanceM(o.Last.LatDeg, o.Last.LonDeg, p.LatDeg, p.LonDeg)
	if dt > maxGapMs || jumpM > maxMPerMs*float64(dt)+noiseM {
		o.step(&o.Last)
		o.Anchor, o.Last = p, p
		return
	}
	movedM, least := distanceM(o.Anchor.LatDeg, o.Anchor.LonDeg, p.LatDeg, p.LonDeg), float64(moveM)
	if p.Fine || !p.sameWork(&o.Anchor) {
		least = fineMoveM
	}
	switch {
	case movedM >= least:
		o.step(&p)
		o.Anchor = p
	case !p.sameWork(&o.Anchor):
		o.Anchor.On, o.Anchor.RateKgHa, o.Anchor.BoutM, o.Anchor.Milli = p.On, p.RateKgHa, p.BoutM, p.Milli
	}
	o.Last = p
}

// step counts from the anchor to a point, with the anchor's state.
func (o *odometer) step(to *point) {
	a := &o.Anchor
	if !a.On {
		return
	}
	m2 := distanceM(a.LatDeg, a.LonDeg, to.LatDeg, to.LonDeg) * a.BoutM
	i := len(o.By) - 1
	for i > 0 && o.By[i].From.UnixMilli() > a.Milli {
		i--
	}
	o.By[i].SwathM2 += m2
	o.By[i].NominalKg += m2 * a.RateKgHa / 1e4
}
