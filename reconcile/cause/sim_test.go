package cause

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"time"

	"hopperbook/schemas"
)

// The simulator of these tests. It shares no code with the package: it pours
// masses through hoppers in thin slices and reads scales and levels.
//
// Three machines work side by side for 25 to 40 loads each; the first one has
// the fault. Fields take 2 to 5 loads and are driven 10 to 20 % faster or
// slower than each other, loads 4 % (sd). A batch is a truck of 24 to 30 t, a setting
// changes up to three times. Hoppers are filled to 75 to 100 % and refilled
// empty (every other time) or at 5 to 50 %. Flow wanders 1.5 % from load to load,
// a load is weighed to 0.8 %, a residual read to 0.3 % (empty) or 1 % of a
// hopper; a catch test is off by 1 %, a scale by 0.5 %.

var simStart = time.Date(2026, 3, 2, 8, 0, 0, 0, time.UTC)

// crew is one simulated machine and what its loads truly were.
type crew struct {
	series  Series
	hopper  float64 // kg
	product int
	loads   []simLoad
}

type simLoad struct {
	start            time.Time
	startKg, endKg   float64
	speed            float64
	batch, setting   int
	newBatch, newSet bool
	scale            string
	tonnesBefore     float64
}

// wrong is what a fault makes of a load: the flow at a level of the hopper,
// what the scale reads, and what area is logged for the true one.
type wrong struct {
	flow  func(level float64) float64
	scale float64
	area  float64
	width float64 // lines / bout width - 1
	onOff float64 // truly spread / logged - 1
}

type faultFunc func(machine, load int) wrong

func noFault(int, int) wrong {
	return wrong{flow: func(float64) float64 { return 1 }, scale: 1, area: 1}
}

// scene draws the work of three machines, without anything measured.
func scene(rng *rand.Rand) []*crew {
	var out []*crew
	shared := rng.IntN(2) == 0 // the first two machines spread the same product
	for m := range 3 {
		c := &crew{hopper: []float64{5000, 7000, 9000}[rng.IntN(3)], product: m}
		if shared && m == 1 {
			c.product = 0
		}
		c.series = Series{Machine: schemas.MachineID(fmt.Sprintf("m%d", m)), Product: schemas.ProductID(fmt.Sprintf("p%d", c.product))}
		c.draw(rng, 25+rng.IntN(16))
		out = append(out, c)
	}
	if shared {
		deliver(rng, out[0], out[1])
	} else {
		deliver(rng, out[0])
		deliver(rng, out[1])
	}
	deliver(rng, out[2])
	return out
}

func (c *crew) draw(rng *rand.Rand, n int) {
	now := simStart.Add(time.Duration(rng.IntN(1800)) * time.Second)
	left, tonnes := 0.0, 0.0
	setting, pace, untilField := 0, 1.0, 0
	changes := map[int]bool{}
	for range rng.IntN(4) {
		changes[3+rng.IntN(n-6)] = true
	}
	for i := range n {
		if untilField == 0 {
			untilField = 2 + rng.IntN(4)
			pace = 1 + 0.2*(rng.Float64()-0.5)*2
		}
		untilField--
		if changes[i] {
			setting++
		}
		l := simLoad{start: now, speed: 3.4 * pace * (1 + 0.04*rng.NormFloat64()), setting: setting, newSet: changes[i], scale: "s", tonnesBefore: tonnes}
		l.startKg = max(left+0.2*c.hopper, (0.75+0.25*rng.Float64())*c.hopper)
		if rng.IntN(2) == 0 {
			l.endKg = (0.05 + 0.45*rng.Float64()) * c.hopper
		}
		left = l.endKg
		tonnes += (l.startKg - l.endKg) / 1000
		now = now.Add(time.Duration(1500+rng.IntN(1500)) * time.Second)
		c.loads = append(c.loads, l)
	}
}

// deliver hands out trucks in the order of time to all who take from one pile.
func deliver(rng *rand.Rand, crews ...*crew) {
	type take struct {
		l  *simLoad
		kg float64
	}
	var all []take
	for _, c := range crews {
		for i := range c.loads {
			kg := c.loads[i].startKg
			if i > 0 {
				kg -= c.loads[i-1].endKg
			}
			all = append(all, take{&c.loads[i], kg})
		}
	}
	slices.SortFunc(all, func(a, b take) int { return a.l.start.Compare(b.l.start) })
	batch, left := 0, 27000.0
	for _, t := range all {
		if left < t.kg/2 {
			batch++
			left = 24000 + 6000*rng.Float64()
		}
		left -= t.kg
		t.l.batch = batch
	}
	for _, c := range crews {
		for i := 1; i < len(c.loads); i++ {
			c.loads[i].newBatch = c.loads[i].batch != c.loads[i-1].batch
		}
	}
}

const (
	hour         = time.Hour
	simNaturalSd = 0.015
)

func timeOf(i int) time.Duration { return time.Duration(i) }

// measure makes the series of all machines.
func measure(rng *rand.Rand, crews []*crew, f faultFunc) []Series {
	return measureWith(rng, crews, f, simNaturalSd)
}

func measureWith(rng *rand.Rand, crews []*crew, f faultFunc, naturalSd float64) []Series {
	var out []Series
	bias := map[string]float64{"s": 0.005 * rng.NormFloat64(), "t": 0.005 * rng.NormFloat64()}
	for m, c := range crews {
		s := c.series
		catch := 1 + 0.01*rng.NormFloat64()
		var before, beforeSd float64 // error of the residual it starts with
		for i, l := range c.loads {
			w := f(m, i)
			mass := l.startKg - l.endKg
			natural := 1 + naturalSd*rng.NormFloat64()
			var nominal float64
			const slices = 400
			for k := range slices {
				level := (l.endKg + (float64(k)+0.5)/slices*mass) / c.hopper
				nominal += mass / slices / (catch * natural * w.flow(level))
			}
			nominal *= w.area
			sd := 0.003 * c.hopper
			if l.endKg > 0 {
				sd = 0.01 * c.hopper
			}
			residual := sd * rng.NormFloat64()
			loaded := l.startKg
			if i > 0 {
				loaded -= c.loads[i-1].endKg
			}
			loadSd := 0.008 * loaded
			net := loaded*(1+bias[l.scale])*w.scale + loadSd*rng.NormFloat64()
			read := net + (l.startKg - loaded) + before - l.endKg - residual
			iv := Interval{Load: i + 1, Refill: schemas.RefillID(fmt.Sprintf("r%d-%d", m, i)), Start: l.start, Ratio: read / nominal,
				Sd: math.Sqrt(loadSd*loadSd+sd*sd+beforeSd*beforeSd) / nominal, MassKg: read, SpeedMS: l.speed * (1 + 0.01*rng.NormFloat64()),
				Batch: BatchID(fmt.Sprintf("b%d-%d", c.product, l.batch)), Setting: SettingID(fmt.Sprintf("g%d", l.setting)),
				Scales: []ScaleShare{{schemas.ScaleID(l.scale), 1}}, LevelKnown: true, StartLevel: (l.startKg + before) / c.hopper, EndLevel: (l.endKg + residual) / c.hopper,
				WidthKnown: true, WidthShare: w.width + 0.01*rng.NormFloat64(), SwitchShare: w.onOff - 0.02 - 0.01*math.Abs(rng.NormFloat64())}
			if i > 0 {
				// The covariance of the two ratios is that of the residual between them.
				p := &s.Intervals[i-1]
				p.CovNext = -beforeSd * beforeSd / (p.MassKg / p.Ratio) / nominal
			}
			before, beforeSd = residual, sd
			s.Intervals = append(s.Intervals, iv)
		}
		out = append(out, s)
	}
	return out
}

// inject draws a fault of a kind into the first machine and gives the series;
// size is the effect as a share. It draws scenes until one has a place where
// that cause can be told from the others at all.
func inject(rng *rand.Rand, kind Kind, size float64) []Series {
	for {
		crews := scene(rng)
		if f, ok := faultIn(rng, crews, kind, size); ok {
			return measure(rng, crews, f)
		}
	}
}

// place draws an index in [lo, hi) for which ok holds.
func place(rng *rand.Rand, lo, hi int, ok func(i int) bool) (int, bool) {
	var all []int
	for i := lo; i < hi; i++ {
		if ok(i) {
			all = append(all, i)
		}
	}
	if len(all) == 0 {
		return 0, false
	}
	return all[rng.IntN(len(all))], true
}

func faultIn(rng *rand.Rand, crews []*crew, kind Kind, size float64) (faultFunc, bool) {
	loads := crews[0].loads
	n := len(loads)
	onset := 0 // half of the slow faults begin with the series
	if rng.IntN(2) == 0 {
		onset = 3 + rng.IntN(n/2-3)
	}
	sign := -1.0 // most faults take flow away
	if rng.IntN(4) == 0 {
		sign = 1
	}
	flow := func(from int, of func(i int, level float64) float64) faultFunc {
		return func(m, i int) wrong {
			w := noFault(m, i)
			if m == 0 && i >= from {
				w.flow = func(level float64) float64 { return 1 + of(i, level) }
			}
			return w
		}
	}
	step := func(int, float64) float64 { return sign * size }
	unmarked := func(i int) bool { return !loads[i].newBatch && !loads[i].newSet }
	switch kind {
	case Speed:
		return speedFault(rng, loads, onset, size, flow)
	case Trend:
		end := loads[n-1].tonnesBefore - loads[onset].tonnesBefore
		return flow(onset, func(i int, _ float64) float64 {
			return sign * size * (loads[i].tonnesBefore - loads[onset].tonnesBefore) / end
		}), true
	case Level:
		part, bottom := 0.2+0.1*rng.Float64(), rng.IntN(3) > 0
		return flow(onset, func(_ int, level float64) float64 {
			if bottom && level < part || !bottom && level > 1-part {
				return -size / part
			}
			return 0
		}), true
	case Batch:
		return batchFault(rng, crews, sign*size)
	case Setting:
		k, ok := place(rng, 3, n-4, func(i int) bool { return loads[i].newSet && !loads[i].newBatch })
		f := flow(k, step)
		if ok && rng.IntN(2) == 0 {
			f = flow(k, func(i int, _ float64) float64 { return sign * size * b2f(loads[i].setting == loads[k].setting) })
		}
		return f, ok
	case Step:
		k, ok := place(rng, 3, n-4, unmarked)
		return flow(k, step), ok
	case OneLoad:
		k, ok := place(rng, 1, n-1, func(i int) bool { return true })
		return func(m, i int) wrong { // one lift of four or five is not weighed
			w := noFault(m, i)
			if m == 0 && i == k {
				w.scale = 1 - (0.2 + 0.05*rng.Float64())
			}
			return w
		}, ok
	}
	return areaOrScale(rng, crews, kind, sign*size)
}

func b2f(b bool) float64 {
	if b {
		return 1
	}
	return 0
}

// speedFault: size is the change of flow between the tenths of the loads driven
// slowest and fastest; at the speed of some load the flow is right.
func speedFault(rng *rand.Rand, loads []simLoad, onset int, size float64, flow func(int, func(int, float64) float64) faultFunc) (faultFunc, bool) {
	var speeds []float64
	for _, l := range loads[onset:] {
		speeds = append(speeds, l.speed)
	}
	slices.Sort(speeds)
	low, high := speeds[len(speeds)/10], speeds[len(speeds)-1-len(speeds)/10]
	right := speeds[rng.IntN(len(speeds)/2)]
	return flow(onset, func(i int, _ float64) float64 { return -size * (loads[i].speed - right) / (high - low) }), high/low > 1.1
}

// batchFault: a batch (half of the time all after it as well) is of another
// density, for every machine that has it.
func batchFault(rng *rand.Rand, crews []*crew, size float64) (faultFunc, bool) {
	loads := crews[0].loads
	k, ok := place(rng, 3, len(loads)-4, func(i int) bool { return loads[i].newBatch && !loads[i].newSet })
	if !ok {
		return nil, false
	}
	b, stays := loads[k].batch, rng.IntN(2) == 0
	return func(m, i int) wrong {
		w := noFault(m, i)
		if l := crews[m].loads[i]; crews[m].product == crews[0].product && (l.batch == b || stays && l.batch > b) {
			w.flow = func(float64) float64 { return 1 + size }
		}
		return w
	}, true
}

func areaOrScale(rng *rand.Rand, crews []*crew, kind Kind, size float64) (faultFunc, bool) {
	loads := crews[0].loads
	from := loads[len(loads)/4+rng.IntN(len(loads)/3)].start
	if rng.IntN(4) == 0 {
		from = simStart // since ever
	}
	return func(m, i int) wrong {
		w := noFault(m, i)
		l := crews[m].loads[i]
		if l.start.Before(from) {
			return w
		}
		switch {
		case kind == Scale && l.scale == "s":
			w.scale = 1 + size
		case kind == Width && m == 0: // set wider than driven: more area is logged
			w.area, w.width = 1/(1+size), size
		case kind == Switch && m == 0:
			w.area, w.onOff = 1/(1+size), size
		}
		return w
	}, true
}
