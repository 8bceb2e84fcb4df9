package balance

import (
	"math"
	"slices"
)

// follow runs the flow ratio's filter and smoother over the season and writes
// into the intervals what they say of the flow.
func (c *chain) follow() {
	if len(c.refills) == 0 {
		c.o = c.o.learn(nil, 0)
		c.live = filter(nil, nil, start(0, c.o.ScaleBiasShare), c.o.noise())
		return
	}
	ops, errors, scales := c.ops()
	c.o = c.o.learn(ops, scales)
	c.live = filter(ops, errors, start(scales, c.o.ScaleBiasShare), c.o.noise())
	states := append(c.live.smoothed(), c.live.final)
	reads := c.readings()
	for i := range c.intervals {
		iv := &c.intervals[i]
		if iv.From == "" {
			iv.Level, iv.LevelSd = states[0].x[atFirst], states[0].sd(atFirst)
			continue
		}
		iv.Level, iv.LevelSd = states[iv.end].x[atRatio], states[iv.end].sd(atRatio)
		if at := reads[iv.end]; !iv.Open && c.live.variances[at] > 0 {
			iv.Innovation = c.live.innovations[at] / math.Sqrt(c.live.variances[at])
		}
		if iv.Merged > 0 {
			iv.Parts = c.parts(*iv, states)
		}
	}
}

// ops is the season as the state space sees it: at each refill a reading, if
// one closes the interval before, a mark, the loads, and what was spread after.
// A reading that cannot be of the flow (see tells) sets the hopper and says
// nothing of the flow.
func (c *chain) ops() (all []op, errors []Form, scales int) {
	add := func(o op, of Form) { all, errors = append(all, o), append(errors, of) }
	places := c.biases()
	for k, iv := range c.intervals {
		if iv.From == "" {
			continue
		}
		for i := iv.first; i < iv.end; i++ {
			if i == iv.first {
				kind := opReset
				if i > 0 && c.intervals[k-1].tells() {
					kind = opRead
				}
				left := c.residual(i)
				add(op{kind: kind, kg: left.kg, variance: left.form.Var()}, left.form)
				add(op{kind: opFresh}, nil)
			}
			add(op{kind: opMark}, nil)
			if i > 0 && (c.refills[i].Released || c.changed(i)) {
				add(op{kind: opRelease}, nil)
			}
			for _, l := range c.refills[i].Loads {
				load := c.load(l)
				o := op{kind: opLoad, kg: load.kg, variance: load.form.Var(), scale: places[l.scale()]}
				if o.scale > 0 {
					o.variance = load.form.withoutScales().Var()
				}
				add(o, load.form)
			}
			add(op{kind: opSpread, kg: nominal(c.refills[i].Spread)}, nil)
		}
	}
	return all, errors, len(places)
}

// tells reports whether the interval's mass says something of the flow: not
// where nothing was driven, and not where next to nothing came out of a machine
// that drove for a mass well beyond chance: a load is missing or a reading
// wrong, which is said elsewhere.
func (iv Interval) tells() bool {
	return iv.RatioKnown && !(iv.MassKg < 3*iv.SdKg && iv.NominalKg > 6*iv.SdKg)
}

// biases gives every scale that weighed more than one load a place in the
// state; the bias of a single load is an error like its others.
func (c *chain) biases() map[string]int {
	loads := map[string]int{}
	for _, r := range c.refills {
		for _, l := range r.Loads {
			loads[l.scale()]++
		}
	}
	var names []string
	for name, n := range loads {
		if n > 1 {
			names = append(names, name)
		}
	}
	slices.Sort(names)
	places := map[string]int{}
	for i, name := range names {
		places[name] = atScales + i
	}
	return places
}

// readings gives, for each refill, the op before its mark's opFresh: its
// reading, where it has one.
func (c *chain) readings() []int {
	at := make([]int, 0, len(c.refills)+1)
	last := 0
	for i, o := range c.live.ops {
		switch o.kind {
		case opReset, opRead:
			last = i
		case opMark:
			at = append(at, last)
		}
	}
	return append(at, last)
}

// parts shares a merged interval's mass over the refills in it. Its own mass
// is filled in when an open interval has one.
func (c *chain) parts(iv Interval, states []state) []Part {
	out := make([]Part, 0, iv.end-iv.first)
	for i := iv.first; i < iv.end; i++ {
		r := c.refills[i]
		p := Part{Refill: r.ID, Start: r.Time, Loads: len(r.Loads), NominalKg: nominal(r.Spread), LeftUnread: !r.Residual.known()}
		for _, l := range r.Loads {
			p.LoadedKg += l.NetKg
		}
		if i == iv.first {
			left := c.residual(i)
			p.LeftKg, p.LeftSdKg = left.kg, left.form.Sd()
		} else {
			p.LeftKg, p.LeftSdKg = between(states[i].x[atHopper], states[i].sd(atHopper), c.hopperKg)
		}
		out = append(out, p)
	}
	return out
}

// between is a normal cut off at an empty and at a full hopper.
func between(kg, sd, mostKg float64) (float64, float64) {
	if !(sd > 0) {
		return min(max(kg, 0), mostKg), 0
	}
	cut, share := truncated(kg, sd, 0, mostKg)
	return cut, sd * math.Sqrt(share)
}
