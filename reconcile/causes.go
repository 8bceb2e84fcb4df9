package reconcile

import (
	"cmp"
	"fmt"
	"slices"
	"sort"
	"strings"
	"time"

	"hopperbook/reconcile/balance"
	"hopperbook/reconcile/cause"
	"hopperbook/reconcile/drift"
	"hopperbook/reconcile/track"
	"hopperbook/schemas"
)

// Cause is one likely cause of a drift; never a verdict.
type Cause struct {
	Kind        string          `json:"kind"`
	Weight      float64         `json:"weight"`       // probability among the causes that were tried, 0 to 1
	Load        int             `json:"load"`         // first load it touches
	SizePct     float64         `json:"size_pct"`     // change of flow it makes, percent; see reconcile/cause
	SizeLowPct  float64         `json:"size_low_pct"` // 95 %
	SizeHighPct float64         `json:"size_high_pct"`
	Batch       cause.BatchID   `json:"batch,omitempty"`
	Setting     cause.SettingID `json:"setting,omitempty"`
	Scale       schemas.ScaleID `json:"scale,omitempty"`
	Seen        string          `json:"seen"`  // the evidence
	Check       string          `json:"check"` // what to look at
}

// uncalibratedSd is the standard uncertainty of a flow that no catch test
// backs. Common practice, no source.
const uncalibratedSd = 0.05

// causes fills in the likely causes of every drift. drifts are those of the
// machines' series, in their order.
func causes(in Input, reg *registers, told []*machine, drifts []Drift) error {
	var all []cause.Series
	deliveries := deliveriesOf(in.Dockets)
	for _, m := range told {
		list := m.series()
		mine := drifts[len(all) : len(all)+len(list)]
		called := slices.ContainsFunc(mine, func(d Drift) bool { return d.State != string(drift.Holding) })
		facts := m.facts(reg, deliveries, called)
		for i, s := range list {
			all = append(all, s.causeSeries(facts, mine[i].State == string(drift.Recalibrate)))
		}
	}
	verdicts, err := cause.Rank(all, cause.Options{})
	if err != nil {
		return err
	}
	for i, v := range verdicts {
		for _, c := range v.Causes {
			drifts[i].Causes = append(drifts[i].Causes, Cause{Kind: string(c.Kind), Weight: rounded(c.Weight, 3), Load: c.Load,
				SizePct: rounded(100*c.Size, 4), SizeLowPct: rounded(100*c.Low, 4), SizeHighPct: rounded(100*c.High, 4),
				Batch: c.Batch, Setting: c.Setting, Scale: c.Scale, Seen: c.Seen, Check: c.Check})
		}
	}
	return nil
}

// mostSd is the largest standard uncertainty of a flow ratio that is looked at for causes.
const mostSd = 1

func (s series) causeSeries(facts map[schemas.RefillID]cause.Interval, called bool) cause.Series {
	out := cause.Series{Machine: s.machine, Product: s.product, Called: called}
	if s.catch.Time.IsZero() {
		out.LevelSd = uncalibratedSd
	}
	for _, p := range s.points {
		// Kilograms weighed on a scale for tonnes say nothing, and would drown what others say.
		if p.Sd > mostSd {
			if n := len(out.Intervals); n > 0 {
				out.Intervals[n-1].CovNext = 0
			}
			continue
		}
		iv := facts[p.Refill]
		iv.Load, iv.Refill, iv.Ratio, iv.Sd, iv.CovNext = p.Load, p.Refill, p.Ratio, p.Sd, p.CovNext
		out.Intervals = append(out.Intervals, iv)
	}
	return out
}

// facts gathers what went with each balance interval, by the refill it starts
// with. The ground is read only where it is asked for: it costs the most.
func (m *machine) facts(reg *registers, d deliveries, ground bool) map[schemas.RefillID]cause.Interval {
	out := map[schemas.RefillID]cause.Interval{}
	var seen []groundSeen
	if ground {
		seen = m.readGround(reg)
	}
	residuals := map[schemas.RefillID]balance.Residual{}
	for _, r := range m.refills {
		residuals[r.Data.Refill] = residual(r.Data)
	}
	full := map[schemas.ProductID]float64{} // the most that was in the hopper
	for _, iv := range m.balance.Intervals {
		if iv.Merged == 0 {
			full[iv.Product] = max(full[iv.Product], iv.MassKg+residuals[iv.To].Kg)
		}
	}
	var last cause.Interval
	for i, periods := range m.intervalPeriods() {
		iv := m.balance.Intervals[i]
		c := cause.Interval{Start: iv.Start, MassKg: max(0, iv.MassKg)}
		var all []track.Segment
		for _, p := range periods {
			all = append(all, m.periods[p].segments...)
		}
		if t := track.Total(all); t.SpreadS > 0 {
			c.SpeedMS = t.SpreadM / t.SpreadS
		}
		c.Setting = m.settingID(all)
		c.Batch, c.Scales = m.weighedIn(reg, d, periods)
		if len(c.Scales) == 0 { // nothing was loaded: it is what was in the hopper before
			c.Batch, c.Scales = last.Batch, last.Scales
		}
		if r := residuals[iv.To]; r.Method != "" && r.Method != schemas.ResidualUnknown && iv.Merged == 0 && full[iv.Product] > 0 {
			c.LevelKnown, c.StartLevel, c.EndLevel = true, (iv.MassKg+r.Kg)/full[iv.Product], r.Kg/full[iv.Product]
		}
		if ground {
			c.WidthShare, c.WidthKnown, c.SwitchShare = sumGround(seen, periods)
		}
		last = c
		out[iv.From] = c
	}
	return out
}

// settingID tells what the machine was set to when half of the nominal mass was
// spread, in words; "" where no setting was noted.
func (m *machine) settingID(segments []track.Segment) cause.SettingID {
	half := track.Total(segments).NominalKg / 2
	for _, s := range segments {
		if half -= s.NominalKg(); half > 0 {
			continue
		}
		set, ok := m.settingAt(s.FromMilli)
		if !ok {
			return ""
		}
		words := []string{fmt.Sprintf("%g kg/ha", set.SetRateKgHa), fmt.Sprintf("bout %g m", set.BoutWidthM)}
		if set.GateMm != nil {
			words = append([]string{fmt.Sprintf("gate %g mm", *set.GateMm)}, words...)
		}
		if set.BeltGear != "" {
			words = append(words, "gear "+set.BeltGear)
		}
		if set.PTORpm != nil {
			words = append(words, fmt.Sprintf("PTO %g rpm", *set.PTORpm))
		}
		return cause.SettingID(strings.Join(words, ", "))
	}
	return ""
}

// deliveries are the dockets of each stockpile by time.
type deliveries map[schemas.StockpileID][]At[schemas.DocketReceived]

func deliveriesOf(dockets []At[schemas.DocketReceived]) deliveries {
	out := deliveries{}
	for _, d := range sorted(dockets) {
		out[d.Data.Stockpile] = append(out[d.Data.Stockpile], d)
	}
	return out
}

// batch names what a load is of: its docket, or the last one tipped on its
// stockpile before, or the stockpile.
func (d deliveries) batch(l At[schemas.LoadWeighed]) cause.BatchID {
	if l.Data.Docket != "" {
		return cause.BatchID(l.Data.Docket)
	}
	pile := d[l.Data.Stockpile]
	n := sort.Search(len(pile), func(i int) bool { return pile[i].Time.After(l.Time) })
	for i := n - 1; i >= 0; i-- {
		if pile[i].Data.Product == l.Data.Product {
			return cause.BatchID(pile[i].Data.Docket)
		}
	}
	return cause.BatchID(l.Data.Stockpile)
}

// weighedIn gives the batch most of the periods' product came from, and the
// scales that weighed it.
func (m *machine) weighedIn(reg *registers, d deliveries, periods []int) (batch cause.BatchID, scales []cause.ScaleShare) {
	batches, weighed := map[cause.BatchID]float64{}, map[schemas.ScaleID]float64{}
	var sum float64
	for _, p := range periods {
		if p == 0 {
			continue // before the first refill
		}
		for _, id := range m.refills[p-1].Data.Loads {
			l, ok := reg.loads[id]
			if !ok || l.Data.NetKg <= 0 {
				continue
			}
			sum += l.Data.NetKg
			batches[d.batch(l)] += l.Data.NetKg
			weighed[scaleOf(l)] += l.Data.NetKg
		}
	}
	most := 0.0
	for _, b := range sortedKeys(batches) {
		if batches[b] > most {
			batch, most = b, batches[b]
		}
	}
	for _, s := range sortedKeys(weighed) {
		scales = append(scales, cause.ScaleShare{Scale: s, Share: min(1, weighed[s]/sum)})
	}
	return batch, scales
}

// scaleOf is the scale of a load, or the machine that weighed it.
func scaleOf(l At[schemas.LoadWeighed]) schemas.ScaleID {
	return cmp.Or(l.Data.Scale, schemas.ScaleID("the scale of "+name(l.Machine)))
}

// intervalPeriods lists the periods of every balance interval.
func (m *machine) intervalPeriods() [][]int {
	order := make([]int, len(m.refills)) // of the balance: by time, then name
	for i := range order {
		order[i] = i
	}
	slices.SortFunc(order, func(a, b int) int {
		return cmp.Or(m.refills[a].Time.Compare(m.refills[b].Time), cmp.Compare(m.refills[a].Data.Refill, m.refills[b].Data.Refill))
	})
	out := make([][]int, len(m.balance.Intervals))
	for i, iv := range m.balance.Intervals {
		if iv.From == "" {
			out[i] = []int{0}
			continue
		}
		for _, r := range order[:iv.Merged+1] {
			out[i] = append(out[i], r+1)
		}
		order = order[iv.Merged+1:]
	}
	return out
}

// periodAt is the number of the period that holds a moment.
func (m *machine) periodAt(milli int64) int {
	return sort.Search(len(m.refills), func(i int) bool { return m.refills[i].Time.After(time.UnixMilli(milli)) })
}
