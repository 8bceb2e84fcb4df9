package reconcile

import (
	"time"

	"hopperbook/reconcile/balance"
	"hopperbook/schemas"
)

// Hopper is what a machine holds and how it flows, as the last events say.
type Hopper struct {
	Machine         schemas.MachineID `json:"machine"`
	Product         schemas.ProductID `json:"product"`
	Since           time.Time         `json:"since,omitzero"` // last refill or reading
	HopperKg        float64           `json:"hopper_kg"`
	HopperLowKg     float64           `json:"hopper_low_kg"`     // 95 %
	HopperHighKg    float64           `json:"hopper_high_kg"`    // 95 %
	FlowRatio       float64           `json:"flow_ratio"`        // now, filtered over all readings so far
	FlowRatioLow    float64           `json:"flow_ratio_low"`    // 95 %
	FlowRatioHigh   float64           `json:"flow_ratio_high"`   // 95 %
	SetRateKgHa     float64           `json:"set_rate_kg_ha"`    // 0: not known
	LeftHa          float64           `json:"left_ha,omitempty"` // hectares the hopper still does at the set rate and this flow ratio; left out where the set rate is not known
	NaturalSdShare  float64           `json:"natural_sd_share"`  // of the flow ratio from one load of 5 t to the next
	WalkSdShare     float64           `json:"walk_sd_share"`     // of its random walk over the first tonne
	LoadedKg        float64           `json:"loaded_kg"`         // in the season
	SpreadKg        float64           `json:"spread_kg"`         // in the season
	ResidualStartKg float64           `json:"residual_start_kg"` // in the hopper when the season began: loaded + this = spread + hopper
}

const m2PerHa = 10_000

func (m *machine) hopper() Hopper {
	b := m.balance
	h := Hopper{Machine: m.id, HopperKg: rounded(b.FinalKg, 3), FlowRatio: rounded(b.Ratio, 6), NaturalSdShare: rounded(b.NaturalSdShare, 6), WalkSdShare: rounded(b.WalkSdShare, 6),
		LoadedKg: rounded(b.LoadedKg, 3), SpreadKg: rounded(b.InitialKg+b.LoadedKg-b.FinalKg, 3), ResidualStartKg: rounded(b.InitialKg, 3)}
	h.HopperLowKg, h.HopperHighKg = interval(max(0, b.FinalKg), b.FinalSdKg, 3)
	h.FlowRatioLow, h.FlowRatioHigh = interval(b.Ratio, b.RatioSd, 6)
	h.HopperLowKg, h.FlowRatioLow = max(0, h.HopperLowKg), max(0, h.FlowRatioLow)
	if n := len(m.refills); n > 0 {
		h.Product, h.Since = m.productAfter(n-1), m.refills[n-1].Time
	}
	h.SetRateKgHa = rounded(m.setRate(), 4)
	if perHa := h.SetRateKgHa * b.Ratio; perHa > 0 {
		h.LeftHa = rounded(max(0, b.FinalKg)/perHa, 3)
	}
	return h
}

// interval is v +- 1.96 standard uncertainties.
func interval(v, sd float64, decimals int) (low, high float64) {
	return rounded(v-z95*sd, decimals), rounded(v+z95*sd, decimals)
}

// setRate is what the machine is set to: the last setting's rate, or what the
// last pass was driven with; 0 where neither says.
func (m *machine) setRate() float64 {
	if n := len(m.settings); n > 0 && m.settings[n-1].Data.SetRateKgHa >= leastRateKgHa {
		return m.settings[n-1].Data.SetRateKgHa
	}
	for i := len(m.periods) - 1; i >= 0; i-- {
		if s := m.periods[i].segments; len(s) > 0 {
			last := s[len(s)-1]
			if area := last.SwathM2(); area > 0 {
				return last.NominalKg() / area * m2PerHa
			}
			return 0
		}
	}
	return 0
}

// heapShare is how much more than level full a hopper can hold; common
// practice, no source.
const heapShare = 0.2

// hopperKg is the most the hopper can hold: its registered volume of the
// densest product put into it, heaped; 0 where that is not registered.
func (m *machine) hopperKg(reg *registers) float64 {
	var most float64
	for _, r := range m.refills {
		if d := reg.products[r.Data.Product].Data.BulkDensityKgM3; d != nil {
			most = max(most, *d)
		}
	}
	return (1 + heapShare) * most * reg.machines[m.id].Data.HopperM3
}

// released reports whether, since the refill before refill i, what the flow
// depends on was changed or its product was calibrated: what the flow ratio was
// says nothing then. A change of the set rate or the bout width alone moves no gate.
func (m *machine) released(i int) bool {
	if i == 0 {
		return false
	}
	from, to := m.refills[i-1].Time, m.refills[i].Time
	within := func(t time.Time) bool { return t.After(from) && !t.After(to) }
	for _, c := range m.catches {
		if c.Data.Product == m.productAfter(i) && within(c.Time) {
			return true
		}
	}
	for k := 1; k < len(m.settings); k++ {
		if within(m.settings[k].Time) && otherFlow(m.settings[k-1].Data, m.settings[k].Data) {
			return true
		}
	}
	return false
}

func otherFlow(a, b schemas.SettingChanged) bool {
	same := func(x, y *float64) bool { return x == y || x != nil && y != nil && *x == *y }
	return a.Product != b.Product || !same(a.GateMm, b.GateMm) || !same(a.PTORpm, b.PTORpm) || a.BeltGear != b.BeltGear || a.DiscSet != b.DiscSet
}

// shownParts are the refills of a merged interval.
func shownParts(m *machine, iv balance.Interval) (out []Part) {
	for _, p := range iv.Parts {
		part := Part{Load: m.loadNumber(p.Refill), Refill: p.Refill, From: p.Start, LoadedKg: rounded(p.LoadedKg, 3), LeftKg: rounded(p.LeftKg, 3), LeftSdKg: rounded(p.LeftSdKg, 3),
			LeftUnread: p.LeftUnread, NominalKg: rounded(p.NominalKg, 3), MassKg: rounded(p.MassKg, 3)}
		part.MassLowKg, part.MassHighKg = interval(p.MassKg, p.SdKg, 3)
		out = append(out, part)
	}
	return out
}
