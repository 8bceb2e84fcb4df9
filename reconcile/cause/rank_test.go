package cause

import (
	"flag"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
)

// table prints what doc.go says of the ranks: go test ./reconcile/cause -run
// FaultsAreRanked -table -v
var table = flag.Bool("table", false, "rank simulated faults of 5 % as well and print the table")

// few is n without the race detector, which makes a pure computation ten times
// slower and finds nothing in it; ./test runs the whole of it.
func few(n int) int {
	if raceEnabled {
		return n / 20
	}
	return n
}

func rank(t *testing.T, all []Series) []Verdict {
	t.Helper()
	out, err := Rank(all, Options{})
	if err != nil {
		t.Fatal(err)
	}
	return out
}

// placeOf a kind among the causes, from 1; 0: not among them.
func placeOf(v Verdict, k Kind) int {
	return 1 + slices.IndexFunc(v.Causes, func(c Cause) bool { return c.Kind == k })
}

type tally struct {
	kind                         Kind
	runs, claimed, first, second int
	covered                      int // the interval of the size holds the truth
	instead                      map[Kind]int
	sized                        bool
}

// faults ranks simulated faults of one kind.
func faults(t *testing.T, kind Kind, runs int, low, high float64) tally {
	rng := rand.New(rand.NewPCG(21, uint64(slices.Index(Kinds(), kind))))
	out := tally{kind: kind, runs: runs, instead: map[Kind]int{}}
	for range runs {
		size := low + (high-low)*rng.Float64()
		all := inject(rng, kind, size)
		all[0].Called = true
		v := rank(t, all)[0]
		out.claimed += count(v.Claimed)
		p := placeOf(v, kind)
		out.first += count(p == 1)
		out.second += count(p == 1 || p == 2)
		if p != 1 {
			out.instead[v.Causes[0].Kind]++
			continue
		}
		if c := v.Causes[0]; kind == Batch || kind == Setting || kind == Step || kind == Scale {
			out.sized = true
			out.covered += count(c.Low <= size && size <= c.High || c.Low <= -size && -size <= c.High)
		}
	}
	return out
}

func count(ok bool) int {
	if ok {
		return 1
	}
	return 0
}

// TestFaultsAreRanked: 200 simulated faults of each kind, of 8 to 15 %.
func TestFaultsAreRanked(t *testing.T) {
	for _, kind := range Kinds() {
		t.Run(string(kind), func(t *testing.T) {
			t.Parallel()
			runs := few(200)
			got := faults(t, kind, runs, 0.08, 0.15)
			t.Logf("%s: claimed %d, first %d, in the first two %d of %d; instead %v", kind, got.claimed, got.first, got.second, runs, got.instead)
			if *table {
				small := faults(t, kind, runs, 0.05, 0.05)
				t.Logf("table: //\t%-18s %4d %4d %4d   %4d %4d %4d", kind, got.claimed, got.first, got.second, small.claimed, small.first, small.second)
			}
			if got.first*100 < runs*80 || got.second*100 < runs*95 {
				t.Errorf("first %d, in the first two %d of %d: at least 80 %% and 95 %% are wanted", got.first, got.second, runs)
			}
			if got.sized && got.covered*100 < got.first*85 {
				t.Errorf("the 95 %% interval of the size holds the truth in %d of %d", got.covered, got.first)
			}
		})
	}
}

// TestQuietMachinesHaveNoCause: without a fault a cause is claimed for at most
// 1 % of series; also where the flow is more restless than stated.
func TestQuietMachinesHaveNoCause(t *testing.T) {
	for _, c := range []struct {
		what    string
		natural float64
	}{{"as stated", 0.015}, {"restless", 0.025}, {"very restless", 0.04}} {
		t.Run(c.what, func(t *testing.T) {
			t.Parallel()
			rng := rand.New(rand.NewPCG(5, uint64(1000*c.natural)))
			series, claimed := 0, map[Kind]int{}
			sum := 0
			for range few(600) {
				for _, v := range rank(t, measureWith(rng, scene(rng), noFault, c.natural)) {
					series++
					if v.Claimed != (len(v.Causes) > 0) {
						t.Fatalf("claimed %t with causes %+v", v.Claimed, v.Causes)
					}
					if v.Claimed {
						sum++
						claimed[v.Causes[0].Kind]++
					}
				}
			}
			t.Logf("natural sd %.1f %%: a cause is claimed for %d of %d series: %v", 100*c.natural, sum, series, claimed)
			// Two standard errors above the stated rate.
			if rate := 0.01*float64(series) + 2*math.Sqrt(0.01*float64(series)); float64(sum) > rate {
				t.Errorf("%d of %d series: the stated rate is 1 %%", sum, series)
			}
		})
	}
}

// TestAFaultIsNotItsNeighbours: beside a machine with a fault of its own no
// cause, least of all the scale they share, is claimed for the others.
func TestAFaultIsNotItsNeighbours(t *testing.T) {
	t.Parallel()
	rng := rand.New(rand.NewPCG(9, 9))
	series, claimed := 0, map[Kind]int{}
	sum := 0
	for _, kind := range []Kind{Speed, Setting, Trend, Level, Width, OneLoad, Step} {
		for range few(60) {
			for _, v := range rank(t, inject(rng, kind, 0.12))[1:] {
				series++
				if v.Claimed {
					sum++
					claimed[v.Causes[0].Kind]++
				}
			}
		}
	}
	t.Logf("a cause is claimed for %d of %d neighbours: %v", sum, series, claimed)
	if rate := 0.01*float64(series) + 2*math.Sqrt(0.01*float64(series)); float64(sum) > rate {
		t.Errorf("%d of %d neighbours: the stated rate is 1 %%", sum, series)
	}
}

// TestWhatCannotBeToldApartIsBothNamed: a new batch and a new setting in the
// same load explain a step equally well; both stand in the first two.
func TestWhatCannotBeToldApartIsBothNamed(t *testing.T) {
	t.Parallel()
	rng := rand.New(rand.NewPCG(7, 7))
	runs, both := few(100), 0
	for done := 0; done < runs; {
		crews := scene(rng)
		loads := crews[0].loads
		k, ok := place(rng, 5, len(loads)-5, func(i int) bool { return loads[i].newBatch && !loads[i].newSet })
		if !ok || crews[1].product == crews[0].product { // another machine with the batch would tell
			continue
		}
		for i := k; i < len(loads); i++ {
			loads[i].setting += 100
		}
		done++
		all := measure(rng, crews, func(m, i int) wrong {
			w := noFault(m, i)
			if m == 0 && i >= k {
				w.flow = func(float64) float64 { return 0.9 }
			}
			return w
		})
		v := rank(t, all)[0]
		a, b := placeOf(v, Batch), placeOf(v, Setting)
		both += count(v.Claimed && a > 0 && b > 0 && a+b == 3)
	}
	if runs-both > max(1, runs/20) {
		t.Errorf("both are in the first two in %d of %d", both, runs)
	}
}

// TestOneMachineAloneSaysNothingOfItsScale: without another machine on the scale
// a step is a step.
func TestOneMachineAloneSaysNothingOfItsScale(t *testing.T) {
	t.Parallel()
	rng := rand.New(rand.NewPCG(8, 8))
	for range few(40) {
		v := rank(t, inject(rng, Scale, 0.12)[:1])[0]
		if placeOf(v, Scale) != 0 {
			t.Fatalf("causes %+v", v.Causes)
		}
	}
}

// hand is a quiet series by hand: 20 loads, every number the same but the
// little noise that a standard uncertainty asks for.
func hand() Series {
	s := Series{Machine: "m", Product: "p"}
	for i := range 20 {
		s.Intervals = append(s.Intervals, Interval{Load: 101 + i, Refill: "r", Start: simStart.Add(hour * timeOf(i)), Ratio: 1 + 0.004*float64(i%3-1), Sd: 0.01, MassKg: 5000})
	}
	return s
}

// saying is a series by hand and what must be said of it.
type saying struct {
	name string
	make func(*Series)
	want []string // nothing: no cause
}

func (c saying) check(t *testing.T) {
	t.Helper()
	s := hand()
	c.make(&s)
	v := rank(t, []Series{s})[0]
	if len(v.Causes) == 0 || len(c.want) == 0 {
		if len(v.Causes) != len(c.want) {
			t.Errorf("%s: causes %+v", c.name, v.Causes)
		}
		return
	}
	text := v.Causes[0].Seen + ". " + v.Causes[0].Check
	for _, w := range c.want {
		if !strings.Contains(text, w) {
			t.Errorf("%s: %q is not in %q", c.name, w, text)
		}
	}
}

func step(s *Series, from int, by float64) {
	for i := from; i < len(s.Intervals); i++ {
		s.Intervals[i].Ratio += by
	}
}

// TestWordsOfSteps: what is said of series by hand, word by word.
func TestWordsOfSteps(t *testing.T) {
	t.Parallel()
	for _, c := range []saying{
		{"quiet", func(*Series) {}, nil},
		{"step", func(s *Series) { step(s, 10, -0.1) }, []string{"a step since load 111: 9.9 % less than before", "Stop the engine", "lifts and residuals from load 111"}},
		{"off from the start", func(s *Series) { step(s, 0, -0.1) }, []string{"a step since the calibration", "Repeat the catch test"}},
		{"batch", func(s *Series) {
			step(s, 10, 0.1)
			for i := range s.Intervals {
				s.Intervals[i].Batch = BatchID(fmt.Sprint("d", i/5))
			}
		}, []string{"since load 111, the first with batch d2, 10.0 % more flows than before", "Weigh the density"}},
		{"batch alone", func(s *Series) {
			for i := range s.Intervals {
				s.Intervals[i].Batch = BatchID(fmt.Sprint("d", i/5))
				if i/5 == 1 {
					s.Intervals[i].Ratio -= 0.12
				}
			}
		}, []string{"with batch d1 11.9 % less flows than with the others"}},
	} {
		c.check(t)
	}
}

// TestWordsOfSlopes: the same of what follows tonnes, speed, content and ground.
func TestWordsOfSlopes(t *testing.T) {
	t.Parallel()
	for _, c := range []saying{
		{"trend", func(s *Series) {
			for i := range s.Intervals {
				s.Intervals[i].Ratio -= 0.01 * float64(i)
			}
		}, []string{"since the calibration the flow changes slowly", "less after 100 t", "vanes"}},
		{"speed", func(s *Series) {
			for i := range s.Intervals {
				s.Intervals[i].SpeedMS = 3 + float64(i%4)*0.25
				s.Intervals[i].Ratio -= 0.05 * float64(i%4)
			}
		}, []string{"the flow falls with ground speed", "at 13.5 than at 10.8 km/h", "a sag of over 50 mm calls for tension"}},
		{"one load", func(s *Series) { s.Intervals[6].Ratio -= 0.25 }, []string{"load 107 alone stands out", "lifts of load 107"}},
		{"width", func(s *Series) {
			step(s, 10, -0.1)
			for i := range s.Intervals {
				s.Intervals[i].WidthKnown = true
				s.Intervals[i].WidthShare = -0.1 * float64(i/10)
			}
		}, []string{"driving lines lie 10.0 % closer than the bout width that is set", "the area that is off, not the mass"}},
		{"switch left off", func(s *Series) {
			for _, i := range []int{4, 9, 12, 17} {
				s.Intervals[i].Ratio += 0.15
				s.Intervals[i].SwitchShare = 0.12
			}
		}, []string{"spreading is not logged on ground that was driven", "the area that is off, not the mass"}},
		{"bridging", func(s *Series) {
			for i := range s.Intervals {
				s.Intervals[i].LevelKnown, s.Intervals[i].StartLevel, s.Intervals[i].EndLevel = true, 1, 0.4*float64(i%2)
				s.Intervals[i].Ratio -= 0.1 * float64(1-i%2)
			}
		}, []string{"in the last quarter of a hopper than before", "never climb into it"}},
	} {
		c.check(t)
	}
}
