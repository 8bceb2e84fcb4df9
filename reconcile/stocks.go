package reconcile

import (
	"math"

	"hopperbook/reconcile/balance"
	"hopperbook/reconcile/stock"
	"hopperbook/schemas"
)

// stocks reconciles the stockpiles; nil where no docket and no survey is in
// the book, because loads alone say nothing of a stockpile.
func stocks(in Input, reg *registers, told []*machine) (*stock.Result, error) {
	if len(in.Dockets) == 0 && len(in.Surveys) == 0 {
		return nil, nil
	}
	out := stock.Input{Choices: stock.Choices{}}
	if t := in.Policy.ToleranceShare; t > 0 {
		out.Choices.CalibratedShare = t / z95
	}
	for _, s := range in.Surveys {
		out.Surveys = append(out.Surveys, stock.Survey{Stockpile: s.Data.Stockpile, Product: s.Data.Product, Time: s.Time, MassKg: s.Data.MassKg, SdKg: s.Data.SdKg})
	}
	for _, d := range in.Dockets {
		out.Dockets = append(out.Dockets, docket(d))
	}
	went := map[schemas.LoadID]int{}
	for _, m := range told {
		for _, r := range m.runs() {
			for _, id := range r.loads {
				if _, twice := went[id]; !twice {
					went[id] = len(out.Spreads)
				}
			}
			out.Spreads = append(out.Spreads, r.Spread)
		}
	}
	for _, id := range sortedKeys(reg.loads) {
		l := stockLoad(reg.loads[id])
		if spread, ok := went[id]; ok {
			l.Spread = spread
		}
		out.Loads = append(out.Loads, l)
	}
	res, err := stock.Run(out)
	return &res, err
}

// z95 makes a two-sided 95 % interval of a standard uncertainty (normal).
const z95 = 1.959963984540054

func docket(d At[schemas.DocketReceived]) stock.Docket {
	out := stock.Docket{ID: d.Data.Docket, Stockpile: d.Data.Stockpile, Product: d.Data.Product, Supplier: d.Data.Supplier, Time: d.Time,
		NetKg: d.Data.NetKg, SdUnstatedKg: balance.DefaultLoadSdKg(schemas.MethodWeighbridge, d.Data.NetKg)}
	out.SdKg = stated(d.Data.SdKg, out.SdUnstatedKg)
	return out
}

func stockLoad(l At[schemas.LoadWeighed]) stock.Load {
	out := stock.Load{ID: l.Data.Load, Stockpile: l.Data.Stockpile, Product: l.Data.Product, Scale: l.Data.Scale, Time: l.Time,
		NetKg: l.Data.NetKg, SdUnstatedKg: balance.DefaultLoadSdKg(l.Data.Method, l.Data.NetKg), Spread: -1}
	out.SdKg = stated(l.Data.SdKg, out.SdUnstatedKg)
	if out.Scale == "" {
		out.Scale = schemas.ScaleID("(" + l.Data.Method + ")") // as in balance: loads of one method share a bias
	}
	return out
}

func stated(sd *float64, otherwise float64) float64 {
	if sd != nil {
		return *sd
	}
	return otherwise
}

// spreadRun is what a machine spread of one product under one calibration.
type spreadRun struct {
	stock.Spread
	loads        []schemas.LoadID
	startSd, end float64 // standard uncertainty of the residual at its start, at its end
}

// runs joins neighbouring intervals of one product and calibration. An open
// interval is a run of its own: its residual is an estimate from the nominal
// mass, so that mass must not be used a second time.
func (m *machine) runs() []spreadRun {
	var out []spreadRun
	for i, iv := range m.balance.Intervals {
		catch, _ := m.calibration(iv)
		since := catch.Time
		n := len(out)
		if n == 0 || iv.Open || m.balance.Intervals[i-1].Open || out[n-1].Product != iv.Product || !out[n-1].Since.Equal(since) {
			out = append(out, spreadRun{startSd: m.residualSd(iv.From),
				Spread: stock.Spread{Machine: m.id, Product: iv.Product, Since: since, Calibrated: !since.IsZero() && !iv.Open}})
			n++
		}
		r := &out[n-1]
		r.loads = append(r.loads, m.loadsOf(iv)...)
		r.NominalKg += iv.NominalKg
		r.ResidualChangeKg += iv.LoadedKg - iv.MassKg
		r.end = m.residualSd(iv.To)
		if iv.Open {
			r.end = m.balance.FinalSdKg
		}
	}
	for i := range out {
		r := &out[i]
		r.ResidualSdKg = math.Hypot(r.startSd, r.end)
		r.NaturalKg = naturalSdShare * math.Sqrt(naturalLoadKg*r.NominalKg)
	}
	return out
}

// The flow ratio differs by this share from one load of 5 t to the next, as in
// balance and drift; common practice, no source.
const (
	naturalSdShare = 0.015
	naturalLoadKg  = 5000.0
)

// loadsOf lists the loads that entered the hopper in an interval.
func (m *machine) loadsOf(iv balance.Interval) (ids []schemas.LoadID) {
	for _, r := range m.refills {
		if !r.Time.Before(iv.Start) && (iv.End.IsZero() || r.Time.Before(iv.End)) {
			ids = append(ids, r.Data.Loads...)
		}
	}
	return ids
}

// residualSd is the standard uncertainty of the residual at a refill; 0 for
// none, which is before the first one or after the last.
func (m *machine) residualSd(id schemas.RefillID) float64 {
	for _, r := range m.refills {
		if r.Data.Refill != id {
			continue
		}
		res := residual(r.Data)
		if res.SdKg == 0 {
			res.SdKg = balance.DefaultResidualSdKg(res.Method, res.Kg)
		}
		return res.SdKg
	}
	return 0
}
