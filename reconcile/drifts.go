package reconcile

import (
	"time"

	"hopperbook/reconcile/balance"
	"hopperbook/reconcile/drift"
	"hopperbook/schemas"
)

// leastSd keeps a series usable when a book states weights without any
// uncertainty: nothing is weighed better than this share.
const leastSd = 0.001

// series is one machine's flow ratios of one product under one calibration.
type series struct {
	machine schemas.MachineID
	product schemas.ProductID
	catch   At[schemas.TestCatch] // zero: none
	points  []drift.Point
	starts  []time.Time // of the points' intervals
}

// driftsOf judges every series of a machine. A series ends where another
// product is spread and where another catch test comes into force: a new one,
// or one that a setting names; each has an error of its own, so ratios under two
// of them are not about one level. A change of gate, gear or rate under the
// same catch test does not end it: whether the flow follows the setting is what
// the ratio shows.
func (m *machine) driftsOf(p Policy) ([]Drift, error) {
	var out []Drift
	list := m.series()
	for _, s := range list {
		o := drift.Options{Tolerance: p.ToleranceShare, ARL0: p.ARLLoads}.WithDefaults()
		v, err := drift.Detect(s.points, o)
		if err != nil {
			return nil, err
		}
		d := s.drift(v)
		d.TolerancePct = rounded(100*o.Tolerance, 4)
		if v.State == drift.Recalibrate {
			d.GateTry = m.gateTry(s, v.Change.Size)
		}
		out = append(out, d)
	}
	for i := range out {
		now, ok := m.inForce(out[i].Product, time.UnixMilli(1<<53))
		out[i].Superseded = ok && now.Identity != list[i].catch.Identity
	}
	return out, nil
}

func (m *machine) series() []series {
	var out []series
	for _, iv := range m.balance.Intervals {
		// More left than was loaded says something about the readings, which is
		// a finding, and nothing about the flow; so does a hopper of two products. What its
		// neighbours share with it is then no covariance between them.
		if !iv.RatioKnown || iv.FlowRatio <= 0 || iv.Mixed {
			if n := len(out); n > 0 {
				points := out[n-1].points
				points[len(points)-1].CovNext = 0
			}
			continue
		}
		catch, _ := m.calibration(iv)
		if n := len(out); n == 0 || out[n-1].product != iv.Product || out[n-1].catch.Identity != catch.Identity {
			out = append(out, series{machine: m.id, product: iv.Product, catch: catch})
		}
		s := &out[len(out)-1]
		s.points = append(s.points, m.point(iv))
		s.starts = append(s.starts, iv.Start)
	}
	return out
}

func (m *machine) point(iv balance.Interval) drift.Point {
	return drift.Point{Refill: iv.From, Load: m.loadNumber(iv.From), Ratio: iv.FlowRatio, Sd: max(iv.NoiseSd, leastSd), CovNext: iv.NoiseCovNext}
}

func (s series) drift(v drift.Verdict) Drift {
	d := Drift{Machine: s.machine, Product: s.product, CatchTest: s.catch.Data.CatchTest, Since: s.catch.Time, Loads: len(s.points), State: string(v.State),
		FlowRatio: rounded(v.Mean, 6), SmoothedRatio: rounded(v.SmoothedRatio[len(v.SmoothedRatio)-1], 6), Causes: []Cause{}}
	if v.FirstAlarm >= 0 {
		d.AlarmLoad = s.points[v.FirstAlarm].Load
	}
	if c := v.Change; c != nil {
		d.AlarmLoad = s.points[c.Alarm].Load
		d.ChangeLoad, d.ChangeLoadLow, d.ChangeLoadHigh, d.ChangeRefill = c.Load, c.LoadLow, c.LoadHigh, c.Refill
		d.SizePct, d.SizeLowPct, d.SizeHighPct = rounded(100*c.Size, 4), rounded(100*c.Low, 4), rounded(100*c.High, 4)
		d.FlowFactor = rounded(1/(1+c.Size), 4)
	}
	for i, p := range s.points {
		d.Points = append(d.Points, DriftPoint{Load: p.Load, Refill: p.Refill, At: s.starts[i], Ratio: rounded(p.Ratio, 6),
			RatioLow: rounded(p.Ratio-z95*p.Sd, 6), RatioHigh: rounded(p.Ratio+z95*p.Sd, 6), EvidenceHigh: rounded(v.Evidence[i].High, 4),
			EvidenceLow: rounded(v.Evidence[i].Low, 4)})
	}
	return d
}
