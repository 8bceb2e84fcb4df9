package cause

import (
	"cmp"
	"math"
	"slices"
	"time"

	"hopperbook/schemas"
)

const (
	mostIntervals  = 200 // of a series: the last ones are looked at
	leastIntervals = 5
	quiet          = 0.9 // prior of no fault at all; common practice, no source
	leastWeight    = 0.01
)

// naturals are the natural standard deviations tried, as multiples of the
// stated one, with their prior.
var naturals = [...]struct{ times, prior float64 }{{1, 0.7}, {1.6, 0.15}, {2.5, 0.1}, {4, 0.05}}

// Rank looks for the likely causes of every series, in the order given; all
// series of a contractor belong together, because a scale is common to several
// machines. It fails (fault.Input) on numbers that are not finite, standard
// uncertainties not above zero, and covariances that no measurement has.
//
// Cost: O(n2) for the n intervals of a series, at most 200 of them, and
// O(n N) for the N intervals of the series that share its scale.
func Rank(all []Series, o Options) ([]Verdict, error) {
	o = o.withDefaults()
	if err := o.check(); err != nil {
		return nil, err
	}
	f := fleet{looks: make([]*look, len(all)), mix: make([]float64, len(all)), weighed: map[onScale][]share{}}
	for i, s := range all {
		if err := s.check(); err != nil {
			return nil, err
		}
		if s.LevelSd == 0 {
			s.LevelSd = DefaultLevelSd
		}
		cut := max(0, len(s.Intervals)-mostIntervals)
		s.Intervals = s.Intervals[cut:]
		if err := f.look(i, &s, o); err != nil {
			return nil, err
		}
		f.looks[i].cut = cut > 0
	}
	out := make([]Verdict, len(all))
	for i := range all {
		out[i] = f.verdict(i, o)
	}
	return out, nil
}

// fleet is all series of a contractor.
type fleet struct {
	looks   []*look
	mix     []float64 // log evidence of each series against no fault, whatever its own fault may be
	weighed map[onScale][]share
}

// look takes the natural standard deviation under which the series is
// likeliest, whether it has a fault or not: a restless machine must not look
// like one with a cause. The smaller one of equals.
func (f *fleet) look(i int, s *Series, o Options) error {
	best := math.Inf(-1)
	for _, natural := range naturals {
		l, err := newLook(s, natural.times*o.NaturalSd)
		if err != nil {
			return err
		}
		mix := math.Log(quiet + (1-quiet)*math.Exp(min(700, logMix(l.trials))))
		if p := math.Log(natural.prior) + l.null + mix; p > best || f.looks[i] == nil {
			best, f.looks[i], f.mix[i] = p, l, mix
		}
	}
	return nil
}

// kindEvidence is what speaks for a kind.
type kindEvidence struct {
	log  float64 // log Bayes factor of the kind: its trials, weighed by their prior
	best trial
}

// byKind sums up the trials of each kind, in the order of the kinds' first trial.
func byKind(trials []trial) map[Kind]kindEvidence {
	out := map[Kind]kindEvidence{}
	for _, t := range trials {
		log := t.logBF + math.Log(t.prior)
		e, ok := out[t.kind]
		switch {
		case !ok:
			e = kindEvidence{log, t}
		case log > e.best.logBF+math.Log(e.best.prior):
			e.best = t
			fallthrough
		default:
			e.log = logAdd(e.log, log)
		}
		out[t.kind] = e
	}
	return out
}

func logAdd(a, b float64) float64 {
	if b > a {
		a, b = b, a
	}
	if math.IsInf(a, -1) {
		return a
	}
	return a + math.Log1p(math.Exp(b-a))
}

// logMix is the log Bayes factor of "any cause" against none, every kind of
// which there is a trial being as likely as the others. Its expectation without
// a fault is 1.
func logMix(trials []trial) float64 {
	kinds := byKind(trials)
	sum := math.Inf(-1)
	for _, k := range Kinds() {
		if e, ok := kinds[k]; ok {
			sum = logAdd(sum, e.log)
		}
	}
	return sum - math.Log(float64(max(1, len(kinds))))
}

// verdict ranks the causes of series i.
func (f *fleet) verdict(i int, o Options) Verdict {
	l := f.looks[i]
	v := Verdict{Causes: []Cause{}}
	if len(l.s.Intervals) < leastIntervals {
		return v
	}
	trials := append(slices.Clone(l.trials), f.scales(i)...)
	trials = append(trials, f.batches(i)...)
	v.LogBayes = logMix(trials)
	if v.Claimed = v.LogBayes >= -math.Log(o.FalseClaimShare); !v.Claimed && !l.s.Called {
		return v
	}
	kinds := byKind(trials)
	total := v.LogBayes + math.Log(float64(len(kinds)))
	for _, k := range Kinds() {
		if e, ok := kinds[k]; ok {
			if w := math.Exp(e.log - total); w >= leastWeight {
				v.Causes = append(v.Causes, l.cause(e.best, w))
			}
		}
	}
	slices.SortStableFunc(v.Causes, func(a, b Cause) int { return cmp.Compare(b.Weight, a.Weight) })
	return v
}

// share is what a series says of an effect it has in common with others.
type share struct{ score, information float64 }

// onScale is what one scale weighed for one series.
type onScale struct {
	series int
	scale  schemas.ScaleID
}

// shares gives what a series says of its scale being off from its k-th
// interval on, for every k.
func (f *fleet) shares(of onScale) []share {
	if s, ok := f.weighed[of]; ok {
		return s
	}
	l := f.looks[of.series]
	x := weighed(l.s, of.scale)
	out := make([]share, len(x))
	for k := range x {
		out[k].score, out[k].information = l.m.share(from(x, k))
	}
	f.weighed[of] = out
	return out
}

// begins is the index of the first interval that starts at or after t.
func begins(s *Series, t time.Time) int {
	k, _ := slices.BinarySearchFunc(s.Intervals, t, func(iv Interval, t time.Time) int { return iv.Start.Compare(t) })
	return k
}
