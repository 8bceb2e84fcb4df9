package season

import (
	"math"
	"math/rand/v2"
	"time"

	"hopperbook/schemas"
)

// Speeds [km/h] and the acceleration [m/s2] of a loaded spreader.
const (
	turnKmh   = 8.0
	travelKmh = 24.0
	accelMS2  = 0.8
)

// wander is a correlated error with a standing sd that is smooth enough to
// drive: an Ornstein-Uhlenbeck process behind a first-order lag. With steps
// well below the lag its sd is right within a percent or two.
type wander struct{ pull, now float64 }

func (w *wander) step(rng *rand.Rand, sd, step, correlation, lag float64) float64 {
	keep := math.Exp(-step / correlation)
	// The lag takes correlation/(correlation+lag) of the variance.
	sd *= math.Sqrt((correlation + lag) / correlation)
	w.pull = keep*w.pull + sd*math.Sqrt(1-keep*keep)*rng.NormFloat64()
	w.now += (w.pull - w.now) * step / (lag + step)
	return w.now
}

// driver moves one machine, lets product flow and logs what its receiver sees.
type driver struct {
	cfg   Config
	earth earth
	rng   *rand.Rand
	rec   *recorder
	log   passLog
	step  time.Duration // one tick
	tick  int64

	now      time.Time
	pos      pt // true
	heading  pt
	speedMS  float64
	pathPos  pt // on the driving line, without steering error
	steer    wander
	hurry    wander // of the working speed, a share
	gnssE    wander
	gnssN    wander
	logging  bool
	on       bool // product leaves, from pos onwards
	moving   pt   // unit vector of the last step, steering included
	swathTo  pt   // the swath not yet booked runs from here to pos
	swathDir pt   // moving, there

	hopper     hopper
	work       work
	product    product
	gateMm     float64
	boutM      float64
	notedBoutM float64 // in settings and logs
	pace       float64 // of the field, a share of the product's working speed
	stuck      bool    // spreading is logged whatever the machine does
	job        schemas.JobID
	field      schemas.FieldID
	fixes      int
}

// work is the field under way.
type work struct {
	*task
	raster    *raster
	massKg    float64
	outsideKg float64
	swathM2   float64
}

func (d *driver) rateM2() float64 { return d.product.rateKgHa / 1e4 }

// goTo drives with spreading off to a point and arrives with a heading.
func (d *driver) goTo(to, heading pt, kmh float64) {
	d.follow(curve(d.pathPos, d.heading, to, heading), kmh, nil)
}

// travelTo drives there in the straight way.
func (d *driver) travelTo(to pt) {
	if gap := to.minus(d.pathPos); gap.length() > 1 {
		d.goTo(to, gap.unit(), travelKmh)
	}
}

// follow drives along a path. before runs at every tick with the place on the
// path; nil: spreading is off.
func (d *driver) follow(path []pt, kmh float64, before func()) {
	along := 0.0
	for i := 1; i < len(path); {
		d.pathPos, d.heading = path[i-1].plus(path[i].minus(path[i-1]).unit(), along), path[i].minus(path[i-1]).unit()
		if before == nil {
			d.spread(false)
		} else {
			before()
		}
		d.logTick()
		ds := d.speed(kmh) * d.step.Seconds()
		along += ds
		for length := 0.0; i < len(path); i++ {
			if length = path[i].minus(path[i-1]).length(); along < length {
				break
			}
			along -= length
		}
		if i == len(path) {
			end := path[i-1].minus(path[i-2]).unit()
			d.move(path[i-1], end, max(0, ds-along))
			return
		}
		dir := path[i].minus(path[i-1]).unit()
		d.move(path[i-1].plus(dir, along), dir, ds)
	}
}

// speed takes one step towards the wanted speed.
func (d *driver) speed(kmh float64) float64 {
	dt := d.step.Seconds()
	want := kmh / 3.6 * (1 + d.hurry.step(d.rng, 0.05, dt, 20, 3))
	d.speedMS += max(-accelMS2*dt, min(accelMS2*dt, want-d.speedMS))
	d.speedMS = max(d.speedMS, 0.5)
	return d.speedMS
}

// move ends a tick at a place of the path. The last step of a path is short
// and still takes a whole tick.
func (d *driver) move(to, dir pt, ds float64) {
	off := d.steer.step(d.rng, d.cfg.Noise.SteerSdM, ds, 40, 15)
	d.pathPos, d.heading = to, dir
	at := to.plus(dir.left(), off)
	if step := at.minus(d.pos); step.length() > 0.05 {
		d.moving = step.unit()
	}
	d.pos = at
	d.now = d.now.Add(d.step)
	d.tick++
	if !d.on {
		return
	}
	run := d.pos.minus(d.swathTo)
	bent := math.Abs(d.swathDir.cross(d.moving)) > 0.05
	if l := run.length(); l > 3.5 || bent && l > 0.5 {
		d.bookSwath()
	}
	if d.hopper.deliverableKg() <= d.pendingKg() {
		d.spread(false)
	}
}

// pendingKg is what the swath not yet booked takes.
func (d *driver) pendingKg() float64 {
	return d.pos.minus(d.swathTo).length() * d.boutM * d.rateM2() * d.hopper.ratio()
}

// spread opens or shuts the machine where it is now.
func (d *driver) spread(on bool) {
	if on == d.on {
		return
	}
	if d.on {
		d.bookSwath()
	}
	d.on, d.swathTo, d.swathDir = on, d.pos, d.moving
}

// bookSwath takes the mass of the swath since the last booking out of the
// hopper and puts it on the ground. Neighbouring swaths share their end, so
// that a bend neither leaves a gap nor counts twice.
func (d *driver) bookSwath() {
	run := d.pos.minus(d.swathTo)
	if run.length() == 0 {
		return
	}
	areaM2 := run.length() * d.boutM
	d.hopper.faster = d.speedMS*3.6/d.product.speedKmh - 1
	kg := d.hopper.deliver(d.rng, areaM2*d.rateM2(), d.cfg.Noise.WalkSdShare)
	half, from, to := d.boutM/2, d.swathDir.left(), d.moving.left()
	quad := ring{d.swathTo.plus(from, -half), d.pos.plus(to, -half), d.pos.plus(to, half), d.swathTo.plus(from, half)}
	inside, all := d.work.raster.cover(quad)
	landed := kg
	if all > 0 {
		landed = kg * float64(inside) / float64(all)
	}
	d.work.massKg += landed
	d.work.outsideKg += kg - landed
	d.work.swathM2 += areaM2
	d.swathTo, d.swathDir = d.pos, d.moving
}

// stand waits with the machine shut.
func (d *driver) stand(wait time.Duration) {
	d.spread(false)
	d.speedMS = 0
	for end := d.now.Add(wait); d.now.Before(end); {
		d.logTick()
		d.now = d.now.Add(d.step)
		d.tick++
	}
}

// logTick logs a fix when one is due.
func (d *driver) logTick() {
	if !d.logging || d.tick%int64(d.cfg.ticks()) != 0 {
		return
	}
	const correlationS, lagS, white = 120, 10, 0.03
	sd, dt := d.cfg.Noise.GNSSSdM, 1/float64(d.cfg.FixHz)
	seen := d.pos.plus(pt{
		d.gnssE.step(d.rng, sd, dt, correlationS, lagS) + white*sd*d.rng.NormFloat64(),
		d.gnssN.step(d.rng, sd, dt, correlationS, lagS) + white*sd*d.rng.NormFloat64(),
	}, 1)
	lat, lon := d.earth.position(seen)
	kmh := max(0, d.speedMS*3.6+0.05*d.rng.NormFloat64())
	course := math.Mod(math.Atan2(d.heading.x, d.heading.y)/rad+0.5*d.rng.NormFloat64()+720, 360)
	d.log.add(d.now, lat, lon, round(kmh, 100), round(course, 10), d.on || d.stuck, d.quality())
	d.fixes++
	if d.log.full() {
		d.flushLog()
	}
}

// quality is the GGA code of a receiver of that accuracy.
func (d *driver) quality() int64 {
	switch sd := d.cfg.Noise.GNSSSdM; {
	case sd <= 0.05:
		return int64(schemas.QualityRTKFixed)
	case sd <= 0.6:
		return int64(schemas.QualityDGNSS)
	}
	return int64(schemas.QualityGNSS)
}

func (d *driver) flushLog() {
	d.log.flush(d.rec, d.now, d.product.rateKgHa, d.notedBoutM, d.job, d.field)
}
