package cause

import (
	"fmt"
	"math"
	"math/rand/v2"
	"reflect"
	"slices"
	"testing"
	"time"

	"hopperbook/schemas"
	"hopperbook/schemas/fault"
)

// TestLaws: what must not matter does not matter.
func TestLaws(t *testing.T) {
	t.Parallel()
	rng := rand.New(rand.NewPCG(41, 42))
	for _, kind := range Kinds() {
		all := inject(rng, kind, 0.1)
		want := rank(t, all)

		reversed := slices.Clone(all)
		slices.Reverse(reversed)
		got := rank(t, reversed)
		slices.Reverse(got)
		closeTo(t, string(kind)+", machines in another order", got, want)

		closeTo(t, string(kind)+", a year later", rank(t, changed(all, func(iv *Interval) { iv.Start = iv.Start.Add(365 * 24 * time.Hour) })), want)
		closeTo(t, string(kind)+", under other names", rank(t, changed(all, func(iv *Interval) {
			iv.Batch, iv.Setting, iv.Scales = "x"+iv.Batch, "y"+iv.Setting, []ScaleShare{{"z" + iv.Scales[0].Scale, 1}}
		})), want)
		closeTo(t, string(kind)+", in other units of mass and speed", rank(t, changed(all, func(iv *Interval) { iv.MassKg, iv.SpeedMS = 2*iv.MassKg, 2*iv.SpeedMS })), want)

		stranger := changed(measure(rng, scene(rng), noFault)[:1], func(iv *Interval) {
			iv.Batch, iv.Scales = "another/"+iv.Batch, []ScaleShare{{"another", 1}}
		})
		stranger[0].Machine, stranger[0].Product = "stranger", "another"
		closeTo(t, string(kind)+", beside a machine with which nothing is shared", rank(t, append(slices.Clone(all), stranger...))[:3], want)
	}
}

func changed(all []Series, change func(*Interval)) []Series {
	out := slices.Clone(all)
	for i := range out {
		out[i].Intervals = slices.Clone(out[i].Intervals)
		for k := range out[i].Intervals {
			change(&out[i].Intervals[k])
		}
	}
	return out
}

// closeTo compares kinds, weights and sizes.
func closeTo(t *testing.T, what string, got, want []Verdict) {
	t.Helper()
	for i := range want {
		if got[i].Claimed != want[i].Claimed || len(got[i].Causes) != len(want[i].Causes) || !(math.Abs(got[i].LogBayes-want[i].LogBayes) < 1e-6) {
			t.Fatalf("%s: series %d: %+v, want %+v", what, i, got[i], want[i])
		}
		for k, w := range want[i].Causes {
			if g := got[i].Causes[k]; g.Kind != w.Kind || g.Load != w.Load || !(math.Abs(g.Weight-w.Weight) < 1e-6) || !(math.Abs(g.Size-w.Size) < 1e-6) {
				t.Errorf("%s: series %d: %+v, want %+v", what, i, g, w)
			}
		}
	}
}

// TestAMirroredFaultIsAsLikely: a step up is as likely as the same step down.
func TestAMirroredFaultIsAsLikely(t *testing.T) {
	t.Parallel()
	rng := rand.New(rand.NewPCG(43, 44))
	for range 20 {
		all := inject(rng, Step, 0.1)[:1]
		mirrored := changed(all, func(iv *Interval) { iv.Ratio = 2 - iv.Ratio })
		a, b := looked(t, &all[0]), looked(t, &mirrored[0])
		for k, tr := range a.trials {
			if tr.kind == Step || tr.kind == Batch || tr.kind == Setting || tr.kind == OneLoad || tr.kind == Trend {
				near(t, string(tr.kind), b.trials[k].logBF, tr.logBF, 1e-8)
				near(t, string(tr.kind)+" size", b.trials[k].size, -tr.size, 1e-8)
			}
		}
	}
}

func looked(t *testing.T, s *Series) *look {
	t.Helper()
	s.LevelSd = DefaultLevelSd
	l, err := newLook(s, simNaturalSd)
	if err != nil {
		t.Fatal(err)
	}
	return l
}

// TestPriorsSumToOne: a kind with more trials has no more prior; with more it
// would be claimed without evidence.
func TestPriorsSumToOne(t *testing.T) {
	t.Parallel()
	rng := rand.New(rand.NewPCG(45, 46))
	for range 20 {
		all := measure(rng, scene(rng), noFault)
		f := fleet{weighed: map[onScale][]share{}}
		for k := range all {
			f.looks, f.mix = append(f.looks, looked(t, &all[k])), append(f.mix, 0)
		}
		for i := range f.looks {
			sums := map[Kind]float64{}
			for _, tr := range slices.Concat(f.looks[i].trials, f.scales(i), f.batches(i)) {
				sums[tr.kind] += tr.prior
			}
			for kind, sum := range sums {
				if sum > 1+1e-9 || sum < 0.4 {
					t.Errorf("the priors of %s sum to %v", kind, sum)
				}
			}
		}
	}
}

// TestOddNumbers: what cannot be a measurement is refused, little is no cause.
func TestOddNumbers(t *testing.T) {
	t.Parallel()
	for name, change := range map[string]func(*Series){
		"ratio not a number": func(s *Series) { s.Intervals[3].Ratio = math.NaN() },
		"no uncertainty":     func(s *Series) { s.Intervals[3].Sd = 0 },
		"infinite level":     func(s *Series) { s.Intervals[3].EndLevel = math.Inf(1) },
		"covariance":         func(s *Series) { s.Intervals[3].CovNext = 1 },
		"negative speed":     func(s *Series) { s.Intervals[3].SpeedMS = -1 },
		"share of a load":    func(s *Series) { s.Intervals[3].Scales = []ScaleShare{{"s", 2}} },
		"order":              func(s *Series) { s.Intervals[3].Start = time.Time{} },
		"calibration":        func(s *Series) { s.LevelSd = -1 },
	} {
		s := hand()
		change(&s)
		if _, err := Rank([]Series{s}, Options{}); fault.CodeOf(err) != fault.Input {
			t.Errorf("%s: error %v", name, err)
		}
	}
	for _, o := range []Options{{FalseClaimShare: 2}, {NaturalSd: math.NaN()}} {
		if _, err := Rank([]Series{hand()}, o); fault.CodeOf(err) != fault.Input {
			t.Errorf("%+v: error %v", o, err)
		}
	}
	for n := range leastIntervals {
		s := hand()
		s.Called, s.Intervals = true, s.Intervals[:n]
		if v := rank(t, []Series{s}); len(v) != 1 || v[0].Causes == nil || len(v[0].Causes) > 0 {
			t.Errorf("%d intervals: %+v", n, v)
		}
	}
	if v := rank(t, nil); len(v) != 0 {
		t.Errorf("of nothing: %+v", v)
	}
}

// TestALongSeriesIsLookedAtFromItsEnd, and says so.
func TestALongSeriesIsLookedAtFromItsEnd(t *testing.T) {
	t.Parallel()
	var s Series
	for i := range mostIntervals + 50 {
		s.Intervals = append(s.Intervals, Interval{Load: i + 1, Start: simStart.Add(timeOf(i) * hour), Ratio: 0.9, Sd: 0.02, MassKg: 5000})
	}
	v := rank(t, []Series{s})[0]
	if c := v.Causes[0]; c.Kind != Step || !c.Before || c.Onset || c.Load != 51 {
		t.Errorf("%+v", c)
	}
}

func FuzzRank(f *testing.F) {
	f.Add([]byte("a few loads of two machines, whatever these bytes make of them"), 0.015)
	f.Add([]byte{0, 255, 3, 7, 1, 1, 1, 1, 200, 9, 9, 9, 0, 0, 0, 0, 0, 0, 0, 255, 255, 255, 255}, 1.0)
	f.Fuzz(func(t *testing.T, raw []byte, naturalSd float64) {
		next := func() float64 {
			if len(raw) == 0 {
				return 0
			}
			b := raw[0]
			raw = raw[1:]
			return float64(int(b)-100) / 50
		}
		all := make([]Series, 2)
		for m := range all {
			all[m].Machine, all[m].Called = schemas.MachineID(fmt.Sprint("m", m)), true
			at := simStart
			for i := 0; i < 12 && len(raw) > 0; i++ {
				at = at.Add(time.Duration((next() + 2) * float64(time.Hour)))
				iv := Interval{Load: i, Start: at, Ratio: next() * math.Pow(10, 3*next()), Sd: math.Abs(next()) + 1e-9, CovNext: -next() * 1e-3, MassKg: 1e4 * math.Abs(next()), SpeedMS: math.Abs(next()),
					LevelKnown: next() > 0, StartLevel: next(), EndLevel: next(), WidthKnown: next() > 0, WidthShare: next(), SwitchShare: next(),
					Batch: BatchID(fmt.Sprint(int(3 * next()))), Setting: SettingID(fmt.Sprint(int(next())))}
				if share := math.Abs(next()) / 3.2; share > 0.1 {
					iv.Scales = []ScaleShare{{"s", share}, {"t", 1 - share}}
				}
				all[m].Intervals = append(all[m].Intervals, iv)
			}
		}
		got, err := Rank(all, Options{NaturalSd: naturalSd})
		if err != nil {
			if fault.CodeOf(err) != fault.Input {
				t.Fatal(err)
			}
			return
		}
		for _, v := range got {
			sum, last := 0.0, math.Inf(1)
			for _, c := range v.Causes {
				sum += c.Weight
				if math.IsNaN(c.Weight+c.Size+c.SizeSd+c.Low+c.High) || c.Weight > last || c.Seen == "" || c.Check == "" {
					t.Errorf("%+v", c)
				}
				last = c.Weight
			}
			if sum > 1+1e-6 || math.IsNaN(v.LogBayes) {
				t.Errorf("weights sum to %v, log Bayes factor %v", sum, v.LogBayes)
			}
		}
		if again, err := Rank(all, Options{NaturalSd: naturalSd}); err != nil || !reflect.DeepEqual(again, got) {
			t.Errorf("again: %+v, %v", again, err)
		}
	})
}
