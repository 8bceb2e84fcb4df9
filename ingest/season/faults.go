package season

import (
	"math/rand/v2"
	"slices"

	"hopperbook/schemas"
)

// applyFaults sets what the faults make of the flow from this load on, and
// tells by which share the product is heavier.
func (c *crew) applyFaults() (wetShare float64) {
	h := &c.hopper
	h.fault, h.speedSlope, h.lowChange = 1, 0, 0
	for i, f := range c.faults {
		mine := f.Machine == c.me.id || f.Kind == WetBatch && f.Machine == ""
		if !mine || c.loaded < f.From {
			continue
		}
		switch {
		case f.Kind == Slip || f.Kind == GateOff:
			h.fault *= 1 + f.Size
		case f.Kind == SpeedSlip:
			h.speedSlope += f.Size
		case f.Kind == Bridging:
			h.lowChange += f.Size
		case f.Kind == Wear || f.Kind == WidthOff || f.Kind == SwitchStuck: // see begin
		case f.Kind == WetBatch && (f.Product == "" || f.Product == c.product.id):
			wetShare += f.Size
			h.fault *= 1 + f.Size
		default:
			continue
		}
		if c.loaded == f.From {
			c.begin(f)
		}
		c.mark(i, FaultTruth{Fault: f, At: c.now, Load: c.loaded, Refill: c.refillID(1)})
	}
	return wetShare
}

// begin does what a fault does once.
func (c *crew) begin(f Fault) {
	c.flushLog() // what was logged before is as it was
	switch f.Kind {
	case Wear:
		c.hopper.wear, c.hopper.wornFromKg = f.Size/100_000, c.hopper.totalKg
	case GateOff:
		c.gateMm = round(c.gateMm*1.15, 10)
		c.noteSetting()
	case WidthOff:
		c.notedBoutM = round(c.boutM*(1+f.Size), 100)
		c.noteSetting()
	case SwitchStuck:
		c.stuck = true
	}
}

// mark keeps the first time a fault touches this crew.
func (c *crew) mark(i int, t FaultTruth) {
	if _, ok := c.began[i]; !ok {
		c.began[i] = t
	}
}

// forgets tells whether the operator does not change to the job with index n;
// -1 when he does.
func (c *crew) forgets(n int) (fault int) {
	return slices.IndexFunc(c.faults, func(f Fault) bool {
		return f.Kind == ForgetJobChange && f.Machine == c.me.id && f.From == n+1
	})
}

// checkFaults looks at what can be known before playing.
func (p *plan) checkFaults(faults []Fault) error {
	spreaders, loaders := map[schemas.MachineID]int{}, map[schemas.MachineID]bool{}
	for i, s := range p.spreaders {
		spreaders[s.id] = i
	}
	for i := range p.cfg.Loaders {
		loaders[loaderID(i)] = true
	}
	for _, f := range faults {
		s, isSpreader := spreaders[f.Machine]
		ok := f.From >= 1 && f.Size > -1 && f.Size < 10
		switch f.Kind {
		case Slip, SpeedSlip, Wear, Bridging, GateOff, WidthOff, SwitchStuck:
			ok = ok && isSpreader
		case WetBatch:
			ok = ok && (isSpreader || f.Machine == "")
		case ScaleOff:
			ok = ok && loaders[f.Machine]
		case LateTablet:
			ok = ok && (isSpreader || loaders[f.Machine]) && f.From <= p.cfg.Days
		case ForgetJobChange:
			ok = ok && isSpreader && p.forgettable(s, f.From-1)
		case MissingDocket:
		default:
			ok = false
		}
		if !ok {
			return usage("fault %+v can't be: no such machine, or its From or Size is out of range", f)
		}
	}
	return nil
}

// forgettable jobs follow one of the same day and product.
func (p *plan) forgettable(s, n int) bool {
	jobs := p.jobs[s]
	return n >= 1 && n < len(jobs) && jobs[n].day == jobs[n-1].day && jobs[n].product == jobs[n-1].product
}

func (p *plan) firstForgettable(s int) int {
	for n := range p.jobs[s] {
		if p.forgettable(s, n) {
			return n
		}
	}
	return 0
}

// demoFaults are the faults of a Config that names none: a slip in the middle
// of the longest run of one product of some spreader, a missing docket, a
// forgotten job change and a late tablet. What the season is too small for is
// left out.
func (p *plan) demoFaults() []Fault {
	rng := rand.New(rand.NewPCG(p.cfg.Seed, 0xfa017))
	var out []Fault
	first := rng.IntN(len(p.spreaders))
	for k := range p.spreaders {
		s := (first + k) % len(p.spreaders)
		if before, loads := p.longestRun(s); loads >= 12 {
			from := before + int(loads*(0.4+0.15*rng.Float64()))
			out = append(out, Fault{Kind: Slip, Machine: p.spreaders[s].id, From: from, Size: round(-0.10-0.04*rng.Float64(), 1000)})
			break
		}
	}
	out = append(out, Fault{Kind: MissingDocket, From: 2 + rng.IntN(3)})
	first = rng.IntN(len(p.spreaders))
	for k := range p.spreaders {
		s := (first + k) % len(p.spreaders)
		if n := p.firstForgettable(s); n > 0 {
			out = append(out, Fault{Kind: ForgetJobChange, Machine: p.spreaders[s].id, From: n + 1})
			break
		}
	}
	return append(out, Fault{Kind: LateTablet, Machine: p.spreaders[rng.IntN(len(p.spreaders))].id, From: 1 + rng.IntN(p.cfg.Days)})
}

// longestRun is about how many loads the longest stretch of one product has,
// and how many come before it.
func (p *plan) longestRun(s int) (before int, loads float64) {
	var sum, run, runBefore float64
	jobs := p.jobs[s]
	for n, j := range jobs {
		if n == 0 || jobs[n-1].product != j.product {
			run, runBefore = 0, sum
		}
		l := p.nominalKg(s, j) / (p.loadKg(s, j.product) * 0.93)
		run, sum = run+l, sum+l
		if run > loads {
			before, loads = int(runBefore), run
		}
	}
	return before, loads
}
