package season

import (
	"math"
	"math/rand/v2"
	"slices"
	"sync"
	"testing"
	"time"

	"hopperbook/schemas"
)

// fixAt is one fix of a pass log as a reader of the events sees it.
type fixAt struct {
	at        time.Time
	lat, lon  float64
	on        bool
	field     schemas.FieldID
	nominalM2 float64 // set rate x bout width, kg per m
}

func fixesOf(t *testing.T, d *Device) (out []fixAt) {
	t.Helper()
	passes, _ := data[schemas.PassLogged](t, d, schemas.TypePassLogged)
	for _, p := range passes {
		start, err := time.Parse(time.RFC3339Nano, p.Start)
		if err != nil {
			t.Fatal(err)
		}
		for i := range p.DtMs {
			out = append(out, fixAt{start.Add(time.Duration(p.DtMs[i]) * time.Millisecond), p.Lat[i], p.Lon[i], p.Spreading[i] == 1,
				p.Field, *p.SetRateKgHa.One * *p.BoutWidthM / 1e4})
		}
	}
	return out
}

// precise is a short season seen by an RTK receiver, so that what the events
// say can stand beside the truth.
func precise(t *testing.T) *Season {
	t.Helper()
	s, err := preciseSeason()
	if err != nil {
		t.Fatal(err)
	}
	return s
}

var preciseSeason = sync.OnceValues(func() (*Season, error) {
	cfg := Config{Seed: 5, Days: 1, DayHours: 0.5, Noise: Noise{GNSSSdM: 0.02}}.NoFaults()
	return Play(cfg)
})

// The nominal mass of an interval, worked out from the pass logs by plain
// chords on the ellipsoid, is the truth's within what on and off between two
// fixes leaves open.
func TestNominalFromEvents(t *testing.T) {
	t.Parallel()
	s := precise(t)
	var total, want float64
	for _, id := range []schemas.DeviceID{"spreader-1", "spreader-2", "spreader-3"} {
		fixes := fixesOf(t, s.device(t, id))
		for _, iv := range s.Truth.Intervals {
			if string(iv.Machine) != string(id) {
				continue
			}
			got := 0.0
			for i := 1; i < len(fixes); i++ {
				a, b := fixes[i-1], fixes[i]
				if a.on && !a.at.Before(iv.Start) && a.at.Before(iv.End) && b.at.Sub(a.at) < 3*time.Second {
					got += a.nominalM2 * chordM(a.lat, a.lon, b.lat, b.lon)
				}
			}
			if math.Abs(got-iv.NominalKg) > 0.02*iv.NominalKg+40 {
				t.Errorf("%s %s: nominal %.0f kg from events, truth %.0f", id, iv.From, got, iv.NominalKg)
			}
			total, want = total+got, want+iv.NominalKg
		}
	}
	if math.Abs(total/want-1) > 0.002 {
		t.Errorf("all: nominal %.0f kg from events, truth %.0f", total, want)
	}
}

// Covered area against random points: is a point within half a bout of a
// stretch logged as spreading?
func TestCoveredFromEvents(t *testing.T) {
	t.Parallel()
	s := precise(t)
	p, err := newPlan(s.Config)
	if err != nil {
		t.Fatal(err)
	}
	e := earthAt(originLatDeg, originLonDeg)
	rng := rand.New(rand.NewPCG(1, 9))
	for _, f := range s.Truth.Fields {
		i := slices.IndexFunc(p.fields, func(x *field) bool { return x.id == f.Field })
		shape := p.fields[i].shape
		// The points go to the earth, and both to a plane through the field.
		lat0, lon0 := e.position(shape.outer[0])
		local := func(lat, lon float64) pt { return pt{(lon - lon0) * 77183.7, (lat - lat0) * 111155.2} }
		var lines [][2]pt
		fixes := fixesOf(t, s.device(t, schemas.DeviceID(f.Machine)))
		for k := 1; k < len(fixes); k++ {
			if a, b := fixes[k-1], fixes[k]; a.on && a.field == f.Field {
				lines = append(lines, [2]pt{local(a.lat, a.lon), local(b.lat, b.lon)})
			}
		}
		low, high := shape.bounds(0)
		hit, n := 0, 0
		for n < 1500 {
			q := pt{low.x + rng.Float64()*(high.x-low.x), low.y + rng.Float64()*(high.y-low.y)}
			if !shape.contains(q) {
				continue
			}
			n++
			q = local(e.position(q))
			if slices.ContainsFunc(lines, func(l [2]pt) bool { return within(l, q, f.BoutWidthM/2) }) {
				hit++
			}
		}
		got, want := float64(hit)/1500, f.CoveredM2/f.BoundaryM2
		if math.Abs(got-want) > 4*math.Sqrt(want*(1-want)/1500)+0.003 {
			t.Errorf("%s %s: %.4f covered by random points, truth %.4f", f.Field, f.Product, got, want)
		}
	}
}

// within is true beside a stretch, not beyond its ends.
func within(l [2]pt, q pt, half float64) bool {
	v := l[1].minus(l[0])
	along := q.minus(l[0]).dot(v) / v.dot(v)
	return along >= 0 && along <= 1 && math.Abs(q.minus(l[0]).cross(v))/v.length() <= half
}

// Fixes come at their rate, none twice, and none after the event that holds it.
func TestFixTimes(t *testing.T) {
	t.Parallel()
	s := precise(t)
	passes, at := data[schemas.PassLogged](t, s.device(t, "spreader-2"), schemas.TypePassLogged)
	var last time.Time
	steps := 0
	for i, p := range passes {
		start, err := time.Parse(time.RFC3339Nano, p.Start)
		if err != nil {
			t.Fatal(err)
		}
		if p.DtMs[0] != 0 || len(p.DtMs) > passFixes {
			t.Fatalf("%d fixes, the first after %d ms", len(p.DtMs), p.DtMs[0])
		}
		for _, dt := range p.DtMs {
			now := start.Add(time.Duration(dt) * time.Millisecond)
			if !now.After(last) || now.After(at[i]) || now.Before(at[i].Add(-2*time.Minute)) {
				t.Fatalf("fix at %s after one at %s, in an event of %s", now, last, at[i])
			}
			if now.Sub(last) == time.Second {
				steps++
			}
			last = now
		}
	}
	if share := float64(steps) / float64(s.fixesBy(t, "spreader-2")); share < 0.99 {
		t.Errorf("%.3f of the fixes come a second after the last", share)
	}
}

func (s *Season) fixesBy(t *testing.T, id schemas.DeviceID) int {
	t.Helper()
	return len(fixesOf(t, s.device(t, id)))
}

// Driving right across a field with its hole spreads inside only.
func TestSpreadsInsideOnly(t *testing.T) {
	t.Parallel()
	cfg := Config{Spreaders: 1, Days: 1, DayHours: 0.1}.withDefaults()
	p, err := newPlan(cfg)
	if err != nil {
		t.Fatal(err)
	}
	c := newCrew(p, 0, nil)
	shape := area{square(400), ring{{150, 150}, {250, 150}, {250, 250}, {150, 250}}}
	c.now, c.product = cfg.Start, p.products[lime]
	c.hopper = hopper{kg: 5000, catch: 1, walk: 1, fault: 1}
	c.pos, c.pathPos, c.heading = pt{-100, 200}, pt{-100, 200}, pt{1, 0}
	c.work = work{task: &task{field: &field{shape: shape}}, raster: newRaster(shape, 20)}
	c.follow([]pt{{-100, 200}, {500, 200}}, 12, c.spreadHere)
	c.spread(false)
	// Four edges, each missed by less than a tick's way.
	if spread := c.work.swathM2 / c.boutM; math.Abs(spread-300) > 4 {
		t.Errorf("%v m spread of 300 inside", spread)
	}
}

// Half the bout width is twice the way for the same mass.
func TestBoutWidthLaw(t *testing.T) {
	t.Parallel()
	play := func(boutM float64) (massKg, swathM float64) {
		cfg := Config{Seed: 2, Days: 1, Spreaders: 1, DayHours: 0.1, BoutWidthM: boutM}.NoFaults()
		f := mustPlay(t, cfg).Truth.Fields[0]
		return f.MassKg / f.CoveredM2, f.SwathM2 / f.BoutWidthM
	}
	narrowKg, narrowM := play(12)
	wideKg, wideM := play(24)
	if math.Abs(wideKg/narrowKg-1) > 0.05 || math.Abs(narrowM/wideM-2) > 0.12 {
		t.Errorf("12 m: %v kg/m2 over %v m; 24 m: %v kg/m2 over %v m", narrowKg, narrowM, wideKg, wideM)
	}
}

// Fixes five times as often are five times as many over the same work.
func TestFixRate(t *testing.T) {
	t.Parallel()
	cfg := Config{Seed: 2, Days: 1, Spreaders: 1, DayHours: 0.1}.NoFaults()
	slow := mustPlay(t, cfg)
	cfg.FixHz = 5
	fast := mustPlay(t, cfg)
	if r := float64(fast.Truth.Fixes) / float64(slow.Truth.Fixes); math.Abs(r-5) > 0.25 {
		t.Errorf("%d fixes at 1 Hz, %d at 5 Hz", slow.Truth.Fixes, fast.Truth.Fixes)
	}
	if a, b := slow.Truth.Fields[0], fast.Truth.Fields[0]; math.Abs(a.SwathM2/b.SwathM2-1) > 0.02 || a.BoundaryM2 != b.BoundaryM2 {
		t.Errorf("1 Hz %+v, 5 Hz %+v", a, b)
	}
}

// What a balance of the events would find of the flow ratio differs from the
// truth by the stated errors: the load's, the scale's and both residuals'.
func TestObservedRatio(t *testing.T) {
	t.Parallel()
	seasons, err := clean()
	if err != nil {
		t.Fatal(err)
	}
	var z spread
	for _, s := range seasons {
		stated := refillsOf(t, s)
		for _, iv := range s.Truth.Intervals {
			a, b := stated[iv.From], stated[iv.To]
			if a.ResidualKg == nil || b.ResidualKg == nil || iv.LoadedKg == 0 || len(a.Loads) == 0 {
				continue
			}
			l := s.Truth.Loads[slices.IndexFunc(s.Truth.Loads, func(l LoadTruth) bool { return l.Refill == iv.From })]
			observed := *a.ResidualKg + l.StatedKg - *b.ResidualKg
			variance := l.StatedSd*l.StatedSd + *a.ResidualSdKg**a.ResidualSdKg + *b.ResidualSdKg**b.ResidualSdKg
			z.add((observed - iv.MassKg - l.MassKg*s.Truth.Scales[0].Bias) / math.Sqrt(variance))
		}
	}
	if z.n < 25 {
		t.Fatalf("only %d intervals", z.n)
	}
	z.check(t, "observed mass", true) // what sticks in an empty hopper has a mean
}
