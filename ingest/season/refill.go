package season

import (
	"fmt"
	"math"
	"time"

	"hopperbook/schemas"
)

const (
	levelMinKg   = 350.0 // a residual below this is run out, never read by eye: 3.5 sd above zero
	levelSpanKg  = 550.0
	levelSdMinKg = 60.0
	levelSdMaxKg = 100.0
	bucketKg     = 1750.0
)

// short says that a refill by level is due: little is left and more is needed.
// Too little left to read by eye is run to empty.
func (c *crew) short() bool {
	kg := c.hopper.kg
	return kg <= c.levelKg && kg > levelMinKg-40 && c.remainingKg() > kg
}

// remainingKg is what the operator thinks the day still takes: nominal.
func (c *crew) remainingKg() float64 {
	return c.needKg - c.work.swathM2*c.rateM2()
}

// refill fetches a load at the loader.
func (c *crew) refill() {
	c.stand(time.Duration(100+c.rng.IntN(60)) * time.Second)
	c.loaded++
	wetShare := c.applyFaults()
	p := c.product
	full := c.plan.loadKg(c.number, c.prod) * (1 + wetShare)
	target, last := full-c.hopper.kg, false
	if enough := c.remainingKg()*1.04 + 150 - c.hopper.kg; enough < target {
		target, last = max(enough, 400), true
	}
	id := schemas.LoadID(fmt.Sprintf("l-%d-%04d", c.number+1, c.loaded))
	load := LoadTruth{
		Load: id, Loader: loaderID(c.me.loader), Spreader: c.me.id, Refill: c.refillID(1), Product: p.id,
		Time: c.now.Add(-time.Duration(30+c.rng.IntN(30)) * time.Second).Truncate(time.Second), MassKg: target * (1 + 0.03*c.rng.NormFloat64()),
	}
	load.MassKg = min(load.MassKg, full*1.05-c.hopper.kg)
	c.truth.Loads = append(c.truth.Loads, load)
	c.noteRefill([]schemas.LoadID{id})
	c.hopper.kg += load.MassKg
	c.hopper.stuckKg = math.Abs(c.cfg.Noise.EmptySdKg * c.rng.NormFloat64())
	c.open.LoadedKg = load.MassKg
	c.levelKg = 0
	if c.rng.Float64() < 0.5 && !last {
		c.levelKg = levelMinKg + levelSpanKg*c.rng.Float64()
	}
	c.stand(time.Duration(30+c.rng.IntN(60)) * time.Second)
}

func (c *crew) refillID(ahead int) schemas.RefillID {
	return schemas.RefillID(fmt.Sprintf("r-%d-%04d", c.number+1, c.refills+ahead))
}

// noteRefill reads the residual, notes the event and ends the balance interval.
func (c *crew) noteRefill(loads []schemas.LoadID) {
	c.refills++
	e := schemas.HopperRefilled{Refill: c.refillID(0), Product: c.product.id, Loads: loads}
	c.readResidual(&e, len(loads) == 0)
	c.note(schemas.TypeHopperRefilled, e)
	if c.refills > 1 {
		c.endInterval(e.Refill)
	}
	c.open = IntervalTruth{
		Machine: c.me.id, Product: e.Product, From: e.Refill, Refill: c.refills, Load: c.loaded, Start: c.now,
		CatchTest: c.catch, FaultFactor: c.hopper.fault,
	}
}

func (c *crew) endInterval(to schemas.RefillID) {
	i := c.open
	i.To, i.End, i.ResidualKg = to, c.now, c.hopper.kg
	i.MassKg, i.NominalKg = c.hopper.spreadKg, c.hopper.nominalKg
	if i.NominalKg > 0 {
		i.Ratio = i.MassKg / i.NominalKg
	}
	c.hopper.spreadKg, c.hopper.nominalKg = 0, 0
	c.truth.Intervals = append(c.truth.Intervals, i)
}

// readResidual is what the operator sees in the hopper. A closing reading is
// never left out.
func (c *crew) readResidual(e *schemas.HopperRefilled, closing bool) {
	if c.hopper.empty() {
		kg, sd := 0.0, c.cfg.Noise.EmptySdKg
		e.ResidualKg, e.ResidualSdKg, e.ResidualMethod = &kg, &sd, schemas.ResidualEmpty
		return
	}
	if !closing && c.rng.Float64() < c.cfg.Noise.UnknownShare {
		e.ResidualMethod = schemas.ResidualUnknown
		return
	}
	sd := round(levelSdMinKg+(levelSdMaxKg-levelSdMinKg)*c.rng.Float64(), 1)
	kg := round(max(0, c.hopper.kg+sd*c.rng.NormFloat64()), 1)
	e.ResidualKg, e.ResidualSdKg, e.ResidualMethod = &kg, &sd, schemas.ResidualLevel
}

// close reads the residual at the end of a day.
func (c *crew) close() {
	c.now = c.now.Add(4 * time.Minute)
	c.noteRefill([]schemas.LoadID{})
}
