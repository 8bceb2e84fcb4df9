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

// series is one machine's flow ratios of one product since one calibration.
type series struct {
	machine schemas.MachineID
	product schemas.ProductID
	since   time.Time
	points  []drift.Point
}

// driftsOf judges every series of a machine. A series ends at a catch test
// and at a change of product; a change of gate or gear alone does not end it,
// because the flow ratio is relative to the calibrated flow of whatever is set.
func (m *machine) driftsOf(p Policy) ([]Drift, error) {
	var out []Drift
	for _, s := range m.series() {
		v, err := drift.Detect(s.points, drift.Options{Tolerance: p.ToleranceShare, ARL0: p.ARLLoads})
		if err != nil {
			return nil, err
		}
		out = append(out, s.drift(v))
	}
	return out, nil
}

func (m *machine) series() []series {
	var out []series
	for _, iv := range m.balance.Intervals {
		// More left than was loaded says something about the readings, which is
		// a finding, and nothing about the flow. What its neighbours share with
		// it is then no covariance between them.
		if !iv.RatioKnown || iv.FlowRatio <= 0 {
			if n := len(out); n > 0 {
				points := out[n-1].points
				points[len(points)-1].CovNext = 0
			}
			continue
		}
		since := m.calibrated(iv.Product, iv.Start)
		if n := len(out); n == 0 || out[n-1].product != iv.Product || !out[n-1].since.Equal(since) {
			out = append(out, series{machine: m.id, product: iv.Product, since: since})
		}
		s := &out[len(out)-1]
		s.points = append(s.points, m.point(iv))
	}
	return out
}

func (m *machine) point(iv balance.Interval) drift.Point {
	return drift.Point{Refill: iv.From, Load: m.loadNumber(iv.From), Ratio: iv.FlowRatio, Sd: max(iv.NoiseSd, leastSd), CovNext: iv.NoiseCovNext}
}

func (s series) drift(v drift.Verdict) Drift {
	d := Drift{Machine: s.machine, Product: s.product, Since: s.since, Loads: len(s.points), State: string(v.State),
		FlowRatio: rounded(v.Mean, 6), SmoothedRatio: rounded(v.SmoothedRatio[len(v.SmoothedRatio)-1], 6), Causes: []Cause{}}
	if v.FirstAlarm >= 0 {
		d.AlarmLoad = s.points[v.FirstAlarm].Load
	}
	if c := v.Change; c != nil {
		d.ChangeLoad, d.ChangeRefill = c.Load, c.Refill
		d.SizePct, d.SizeLowPct, d.SizeHighPct = rounded(100*c.Size, 4), rounded(100*c.Low, 4), rounded(100*c.High, 4)
		d.FlowFactor = rounded(1/(1+c.Size), 4)
	}
	return d
}
