package cause

import (
	"math"

	"hopperbook/schemas"
)

// trial is one way a kind of cause can have been at work.
type trial struct {
	kind    Kind
	prior   float64 // share of its kind's prior: a kind's trials sum to 1 at most
	logBF   float64 // logarithm of the Bayes factor against no cause
	first   int     // index of the first interval touched
	size    float64 // see Cause.Size
	sizeSd  float64
	batch   BatchID
	setting SettingID
	scale   schemas.ScaleID
	before  bool // it began before the first interval
	part    Part
	alone   bool // a batch or setting touches its own intervals, not those after it
	others  int  // other series it explains as well
}

// Priors of effects, as shares of the flow. Common practice, no source: what
// crews find is mostly 3 to 20 %.
const (
	stepSd     = 0.10 // a batch, a setting, a scale, a plain step; a trend by the end of the series
	oneLoadSd  = 0.20
	speedMean  = -0.5 // -1: the flow takes no notice of speed; -0.3: a slipping belt
	speedSd    = 0.3
	speedLevel = 0.06 // the speed at which the flow is right is not known
	hopperLvl  = 0.03 // nor is the content at which it is
	widthSd    = 0.2  // about 1: what the ground shows is what is off
	widthLevel = 0.02 // bouts are not driven exactly
	switchMean = 1.25 // the ground shows a part of what is off
	switchSd   = 0.35
	switchLvl  = 0.03 // some overlap is usual

	leastAfter = 4 // intervals a change of slope needs behind it
)

// look is one series under one model.
type look struct {
	s      *Series
	m      *model
	cut    bool    // the series is longer than what is looked at
	null   float64 // log density without a cause
	trials []trial
}

// try works a trial out; its last term is the effect.
func (l *look) try(t trial, levelSd float64, terms ...term) {
	f := l.m.likelihood(levelSd, terms...)
	t.logBF, t.size, t.sizeSd = f.log-l.null, f.mean, f.sd
	l.trials = append(l.trials, t)
}

// newLook tries all that needs no other series.
func newLook(s *Series, natural float64) (*look, error) {
	m, err := newModel(s, natural)
	if err != nil {
		return nil, err
	}
	l := &look{s: s, m: m}
	l.null = m.likelihood(m.levelSd).log
	l.steps()
	l.slopes()
	if x, ok := widths(s); ok {
		l.try(trial{kind: Width, prior: 1}, math.Hypot(m.levelSd, widthLevel), term{x, 1, widthSd})
	}
	if x, ok := switches(s); ok {
		l.try(trial{kind: Switch, prior: 1}, math.Hypot(m.levelSd, switchLvl), term{x, switchMean, switchSd})
	}
	for _, g := range groups(s, func(iv *Interval) SettingID { return iv.Setting }) {
		l.try(trial{kind: Setting, prior: g.prior, first: g.first, setting: g.key, alone: g.alone}, m.levelSd, term{g.x, 0, stepSd})
	}
	for _, g := range groups(s, func(iv *Interval) BatchID { return iv.Batch }) {
		l.try(trial{kind: Batch, prior: g.prior / 2, first: g.first, batch: g.key, alone: g.alone}, m.levelSd, term{g.x, 0, stepSd})
	}
	return l, nil
}

// steps tries a plain step at every interval, and every interval alone.
func (l *look) steps() {
	n := len(l.s.Intervals)
	prior := 1 / float64(n)
	for k := range n {
		l.try(trial{kind: Step, prior: prior, first: k}, l.m.levelSd, term{from(ones(n), k), 0, stepSd})
		l.try(trial{kind: OneLoad, prior: prior, first: k}, l.m.levelSd, term{alone(n, k), 0, oneLoadSd})
	}
}

// slopes tries what follows mass spread, speed or content, from the start of
// the series (half of the prior) or from a later interval on.
func (l *look) slopes() {
	n := len(l.s.Intervals)
	speed, ok := speeds(l.s)
	contents := contents(l.s)
	starts := n - leastAfter
	for k := range max(0, starts) {
		prior := 0.5
		if k > 0 {
			prior = 0.5 / float64(max(1, starts-1))
		}
		l.try(trial{kind: Trend, prior: prior, first: k}, l.m.levelSd, term{ramp(l.s, k), 0, stepSd})
		if ok && span(speed[k:]) >= leastSpeedRange {
			terms, levelSd := []term{{from(ones(n), k), 0, speedLevel}, {from(speed, k), speedMean, speedSd}}, l.m.levelSd
			if k == 0 { // the level is the constant's
				terms, levelSd = terms[1:], math.Hypot(levelSd, speedLevel)
			}
			l.try(trial{kind: Speed, prior: prior, first: k}, levelSd, terms...)
		}
		for _, c := range contents {
			if span(c.x[k:]) < leastContentRange {
				continue
			}
			l.try(trial{kind: Level, prior: prior / float64(len(contents)), first: k, part: c.part}, math.Hypot(l.m.levelSd, hopperLvl), term{from(c.x, k), c.mean, c.sd})
		}
	}
}
