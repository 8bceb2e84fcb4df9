package cause

import (
	"math"
	"slices"
	"time"

	"hopperbook/schemas"
)

// scales tries every scale that weighed for series i: a step, from a load of
// any machine on, of everything weighed on it. Where it is not told from a step
// of this machine alone it is not tried: no other machine has loads of it, and
// this one has none of another.
func (f *fleet) scales(i int) []trial {
	var out []trial
	s := f.looks[i].s
	ids := scalesOf(s)
	for _, id := range ids {
		group := f.sharing(i, id)
		x, begin := weighed(s, id), f.beginnings(i, group)
		for _, t := range begin {
			if tr, ok := f.scaleFrom(i, id, x, group, t); ok {
				tr.prior = 1 / float64(len(begin)*len(ids))
				out = append(out, tr)
			}
		}
	}
	return out
}

// scalesOf lists the scales of a series, sorted.
func scalesOf(s *Series) []schemas.ScaleID {
	var out []schemas.ScaleID
	for k := range s.Intervals {
		for _, sh := range s.Intervals[k].Scales {
			if at, found := slices.BinarySearch(out, sh.Scale); !found && sh.Scale != "" && sh.Share > 0 {
				out = slices.Insert(out, at, sh.Scale)
			}
		}
	}
	return out
}

// weighed gives the share of each interval's load that a scale weighed.
func weighed(s *Series, id schemas.ScaleID) []float64 {
	x := make([]float64, len(s.Intervals))
	for k := range x {
		for _, sh := range s.Intervals[k].Scales {
			if sh.Scale == id {
				x[k] += sh.Share
			}
		}
	}
	return x
}

// sharing lists the series of other machines that overlap series i in time and
// have loads of the scale.
func (f *fleet) sharing(i int, id schemas.ScaleID) []int {
	s := f.looks[i].s
	var out []int
	for j, l := range f.looks {
		if l.s.Machine == s.Machine || !overlap(s, l.s) || !slices.Contains(scalesOf(l.s), id) {
			continue
		}
		out = append(out, j)
	}
	return out
}

func overlap(a, b *Series) bool {
	if len(a.Intervals) == 0 || len(b.Intervals) == 0 {
		return false
	}
	return !a.Intervals[0].Start.After(b.Intervals[len(b.Intervals)-1].Start) && !b.Intervals[0].Start.After(a.Intervals[len(a.Intervals)-1].Start)
}

// beginnings are the moments from which a scale may be off: the start of every
// interval of the group up to the end of series i, and since ever.
func (f *fleet) beginnings(i int, group []int) []time.Time {
	s := f.looks[i].s
	out := []time.Time{{}}
	last := s.Intervals[len(s.Intervals)-1].Start
	for _, j := range append([]int{i}, group...) {
		for k := range f.looks[j].s.Intervals {
			if t := f.looks[j].s.Intervals[k].Start; !t.After(last) {
				out = append(out, t)
			}
		}
	}
	slices.SortFunc(out, time.Time.Compare)
	return slices.CompactFunc(out, time.Time.Equal)
}

// leastWitnesses is how many loads of other machines must speak.
const leastWitnesses = 2

// scaleFrom tries one scale from one moment on; x is what it weighed for series
// i. ok is false where nothing tells it from a step of this machine.
func (f *fleet) scaleFrom(i int, id schemas.ScaleID, x []float64, group []int, t time.Time) (tr trial, ok bool) {
	first := begins(f.looks[i].s, t)
	tr = trial{kind: Scale, scale: id, first: first, before: first == 0 && !t.IsZero()}
	sum := f.shares(onScale{i, id})[first]
	contrast := slices.Min(x[first:]) < 0.5 && slices.Max(x[first:]) > 0.5
	witnesses, explained := 0, 0.0
	for _, j := range group {
		other := f.looks[j].s
		k := begins(other, t)
		if k == len(other.Intervals) {
			continue
		}
		own := f.shares(onScale{j, id})[k]
		sum.score, sum.information = sum.score+own.score, sum.information+own.information
		explained += f.mix[j]
		witnesses += len(other.Intervals) - k
		tr.others++
	}
	if !contrast && witnesses < leastWitnesses {
		return trial{}, false
	}
	tr.logBF, tr.size, tr.sizeSd = logBayes(sum.score, sum.information, stepSd)
	tr.logBF -= explained
	return tr, !math.IsNaN(tr.logBF)
}

// batches tries every batch that machines share, as a change of all of them:
// the series of the same product that have it too, if any. Half of a batch's
// prior is for that, half for a change of this machine alone (newLook).
func (f *fleet) batches(i int) []trial {
	s := f.looks[i].s
	var out []trial
	for _, g := range groups(s, func(iv *Interval) BatchID { return iv.Batch }) {
		sum := share{}
		sum.score, sum.information = f.looks[i].m.share(g.x)
		tr := trial{kind: Batch, batch: g.key, first: g.first, alone: g.alone, prior: g.prior / 2}
		explained := 0.0
		for j, l := range f.looks {
			if j == i || l.s.Product != s.Product {
				continue
			}
			x := batchOf(l.s, g.key, g.alone)
			if x == nil {
				continue
			}
			score, information := l.m.share(x)
			sum.score, sum.information = sum.score+score, sum.information+information
			explained += f.mix[j]
			tr.others++
		}
		tr.logBF, tr.size, tr.sizeSd = logBayes(sum.score, sum.information, stepSd)
		tr.logBF -= explained
		if !math.IsNaN(tr.logBF) {
			out = append(out, tr)
		}
	}
	return out
}

// batchOf marks a batch's intervals in another series, or all from its first
// on; nil where it has none of it.
func batchOf(s *Series, b BatchID, alone bool) []float64 {
	first := slices.IndexFunc(s.Intervals, func(iv Interval) bool { return iv.Batch == b })
	if first < 0 {
		return nil
	}
	x := from(ones(len(s.Intervals)), first)
	for k := first; alone && k < len(x); k++ {
		if s.Intervals[k].Batch != b {
			x[k] = 0
		}
	}
	return x
}
