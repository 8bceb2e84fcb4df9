package season

import (
	"fmt"
	"math"
	"math/rand/v2"
	"time"

	"hopperbook/schemas"
)

// crew is one spreader with its operator over the whole season.
type crew struct {
	driver
	plan    *plan
	number  int // of the spreader, from 0
	me      spreader
	faults  []Fault
	truth   *Truth
	began   map[int]FaultTruth // by index in faults
	prod    int                // product in the hopper; -1 before the first
	catch   schemas.TestID
	catches int
	refills int
	loaded  int     // refills that brought a load
	needKg  float64 // nominal, for the rest of the day
	levelKg float64 // refill at this residual; 0: run to empty
	open    IntervalTruth
	tester  tester
}

func newCrew(p *plan, number int, faults []Fault) *crew {
	cfg, me := p.cfg, p.spreaders[number]
	rng := rand.New(rand.NewPCG(cfg.Seed, 0xc4e3<<32|uint64(number)))
	c := &crew{plan: p, number: number, me: me, faults: faults, truth: &Truth{}, began: map[int]FaultTruth{}, prod: -1, tester: newTester(cfg.Seed, number)}
	c.driver = driver{
		cfg: cfg, rng: rng, earth: earthAt(originLatDeg, originLonDeg),
		rec:   newRecorder(cfg.Seed, schemas.DeviceSource(schemas.DeviceID(me.id), "tablet")),
		step:  time.Second / time.Duration(cfg.FixHz*cfg.ticks()),
		boutM: me.boutM, notedBoutM: me.boutM, heading: pt{0, 1},
	}
	c.hopper = hopper{catch: 1, walk: 1, fault: 1}
	return c
}

// note makes an event of the tablet, after what was driven before it.
func (c *crew) note(t schemas.EventType, data any) {
	c.flushLog()
	c.rec.add(t, c.now, data)
}

// play works through all days.
func (c *crew) play() {
	jobs := c.plan.jobs[c.number]
	for i := 0; i < len(jobs); {
		end := i
		for end < len(jobs) && jobs[end].day == jobs[i].day {
			end++
		}
		last := end == len(jobs) || jobs[end].product != jobs[i].product
		c.day(jobs[i:end], i, last)
		i = end
	}
}

// day works jobs; first is the number of jobs before them. At the last day of
// a product the hopper is run out.
func (c *crew) day(jobs []*job, first int, last bool) {
	start := c.cfg.Start.Add(time.Duration(jobs[0].day)*24*time.Hour + 7*time.Hour)
	if start.Before(c.now) {
		start = c.now.Add(time.Hour)
	}
	c.now = start.Add(time.Duration(c.rng.IntN(1200)) * time.Second)
	c.weather()
	c.needKg = 0
	for _, j := range jobs {
		c.needKg += c.plan.nominalKg(c.number, j)
	}
	c.pos = jobs[0].fields[0].gate
	c.pathPos, c.swathTo = c.pos, c.pos
	for i, j := range jobs {
		c.jobWork(j, first+i, i+1 == len(jobs), last)
	}
	c.close()
}

func (c *crew) weather() {
	soil := [...]string{"dry", "moist", "moist", "wet"}[c.rng.IntN(4)]
	c.note(schemas.TypeWeatherNoted, schemas.WeatherNoted{
		WindMS: round(math.Abs(c.rng.NormFloat64())*3, 10), WindFromDeg: float64(c.rng.IntN(36) * 10),
		RainMm: round(max(0, c.rng.NormFloat64()), 10), Soil: soil,
	})
}

// jobWork does one job: n-th of the season, from 0.
func (c *crew) jobWork(j *job, n int, lastOfDay, lastOfProduct bool) {
	fault := c.forgets(n)
	forgot := fault >= 0
	if !forgot {
		c.noteStart(j)
	}
	if c.prod != j.product {
		c.changeProduct(j.product)
	}
	if forgot {
		c.mark(fault, FaultTruth{Fault: c.faults[fault], At: c.now, Job: j.id})
	} else {
		c.noteSetting()
	}
	c.logging = true
	for i, t := range j.fields {
		if !forgot {
			c.flushLog()
			c.field = t.id
		}
		c.fieldWork(t, lastOfDay && i+1 == len(j.fields), lastOfProduct)
	}
	c.stand(20 * time.Second)
	c.logging = false
	if jobs := c.plan.jobs[c.number]; n+1 == len(jobs) || c.forgets(n+1) < 0 {
		c.note(schemas.TypeJobFinished, schemas.JobFinished{Job: c.job, Operator: c.me.operator})
	}
}

func (c *crew) noteStart(j *job) {
	c.flushLog()
	c.job, c.field = j.id, j.fields[0].id
	c.note(schemas.TypeJobStarted, schemas.JobStarted{Job: j.id, Field: c.field, Operator: c.me.operator})
}

// changeProduct calibrates for a product: catch tests are made standing, with
// the gate moved until the mean of the repeats is the set rate.
func (c *crew) changeProduct(prod int) {
	c.prod, c.product = prod, c.plan.products[prod]
	p := c.product
	c.catches++
	c.catch = schemas.TestID(fmt.Sprintf("c-%d-%02d", c.number+1, c.catches))
	distanceM := max(10, math.Round(40/(c.rateM2()*c.boutM)/5)*5)
	const repeats = 3
	var seen [repeats]float64
	var mean float64
	for i := range seen {
		seen[i] = 1 + c.cfg.Noise.CatchSdShare*math.Sqrt(repeats)*c.rng.NormFloat64()
		mean += seen[i] / repeats
	}
	wantKg := distanceM * c.boutM * c.rateM2()
	test := schemas.TestCatch{
		CatchTest: c.catch, Product: p.id, GateMm: round(p.gateMm/mean, 10), CollectedKg: round(wantKg, 100),
		BoutWidthM: c.boutM, DistanceM: &distanceM, BeltGear: p.gear, DiscSet: p.form, CaughtAt: schemas.CaughtAtBelt,
	}
	for _, s := range seen {
		test.Repeats = append(test.Repeats, round(wantKg*s/mean, 100))
	}
	c.hopper.catch, c.hopper.walk, c.hopper.wornFromKg = 1/mean, 1, c.hopper.totalKg
	c.hopper.lowKg = c.plan.loadKg(c.number, prod) / fullShare / 4
	c.now = c.now.Add(15 * time.Minute)
	c.setUp()
	c.note(schemas.TypeTestCatch, test)
	c.truth.Catches = append(c.truth.Catches, CatchTruth{c.catch, c.me.id, p.id, c.hopper.catch})
	c.gateMm = test.GateMm
}

func (c *crew) noteSetting() {
	p, gate, pto := c.product, c.gateMm, 540.0
	c.note(schemas.TypeSettingChanged, schemas.SettingChanged{
		Product: p.id, BoutWidthM: c.notedBoutM, SetRateKgHa: p.rateKgHa, GateMm: &gate, BeltGear: p.gear, PTORpm: &pto,
		DiscSet: p.form, RateMode: "ground_speed", CatchTest: c.catch,
	})
}

// fieldWork spreads one field.
func (c *crew) fieldWork(t *task, lastOfDay, lastOfProduct bool) {
	c.travelTo(t.gate)
	c.pace = c.plan.pace(t)
	c.work = work{task: t, raster: newRaster(t.shape, c.boutM+4)}
	if c.hopper.empty() || c.short() {
		c.refill()
	}
	for _, l := range t.lines {
		c.goTo(l[0], l[1].minus(l[0]).unit(), turnKmh)
		c.follow(l, c.pace*c.product.speedKmh, c.spreadHere)
		c.spread(false)
	}
	if lastOfDay && (lastOfProduct || c.hopper.deliverableKg() < levelMinKg) {
		c.runOut()
	}
	c.bookField()
	c.needKg -= t.workM() * c.boutM * c.rateM2()
}

// spreadHere opens or shuts the machine at this place of a driving line, and
// fetches a load when one is due.
func (c *crew) spreadHere() {
	if c.hopper.empty() || c.short() {
		back, heading := c.pathPos, c.heading
		c.goTo(c.work.gate, c.work.gate.minus(c.pathPos).unit(), turnKmh)
		c.refill()
		c.goTo(back, heading, turnKmh)
	}
	c.spread(c.work.shape.contains(c.pos))
}

// runOut empties the hopper on a lap already spread.
func (c *crew) runOut() {
	r, ok := c.work.shape.outer.inset(c.boutM * 1.2)
	if !ok {
		r = c.work.shape.outer
	}
	path := lap(r)
	for !c.hopper.empty() {
		c.goTo(path[0], path[1].minus(path[0]).unit(), turnKmh)
		c.follow(path, c.pace*c.product.speedKmh, func() {
			c.spread(!c.hopper.empty() && c.work.shape.contains(c.pos))
		})
		c.spread(false)
	}
}

// bookField writes down what became of the field.
func (c *crew) bookField() {
	c.overlapTest()
	w := c.work
	covered, sd := w.raster.coveredM2()
	c.truth.Fields = append(c.truth.Fields, FieldTruth{
		Field: w.id, Product: c.product.id, Machine: c.me.id, SetRateKgHa: c.product.rateKgHa, BoutWidthM: c.boutM,
		MassKg: w.massKg, OutsideKg: w.outsideKg, BoundaryM2: w.shape.sizeM2(),
		CoveredM2: covered, CoveredSdM2: sd, SwathM2: w.swathM2, RateKgHa: w.massKg / covered * 1e4,
	})
	c.work.raster = nil
}
