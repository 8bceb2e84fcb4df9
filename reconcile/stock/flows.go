package stock

import (
	"math"
	"slices"

	"hopperbook/schemas"
)

// stocks makes a flow of each survey, one where two periods meet, and an
// unmeasured one of each end that was not surveyed.
func (b *builder) stocks() {
	end := func(i int, s *Survey) int {
		if s == nil {
			return b.flow(Flow{Name: "stock of " + string(b.periods[i].pile.stockpile), Unmeasured: true}, origin{})
		}
		return b.flow(Flow{Name: "survey of " + string(s.Stockpile), Value: s.MassKg, Sd: s.SdKg}, origin{kind: SurveyOff, period: i, survey: s})
	}
	for i := range b.periods {
		p := &b.periods[i]
		if i > 0 && p.from != nil && b.periods[i-1].to == p.from {
			p.opening = b.periods[i-1].close
		} else {
			p.opening = end(i, p.from)
		}
		p.close = end(i, p.to)
	}
}

// docketedFlows makes one flow a period; dockets of one supplier share the
// bias of its weighbridge.
func (b *builder) docketedFlows() {
	bias := b.choices.BridgeBiasShare
	bySupplier := make([]map[string]float64, len(b.periods))
	for i := range b.periods {
		kg, variance := 0.0, 0.0
		bySupplier[i] = map[string]float64{}
		for _, d := range b.periods[i].dockets {
			kg += d.NetKg
			variance += d.SdKg * d.SdKg
			bySupplier[i][d.Supplier] += d.NetKg
		}
		variance += bias * bias * shared(bySupplier[i], bySupplier[i])
		b.periods[i].docketed = b.flow(Flow{Name: "dockets of " + string(b.periods[i].pile.stockpile), Value: kg, Sd: math.Sqrt(variance)}, origin{kind: MissingDocket, period: i})
		for k := range i {
			if v := bias * bias * shared(bySupplier[i], bySupplier[k]); v > 0 {
				b.p.Covariances = append(b.p.Covariances, Covariance{b.periods[k].docketed, b.periods[i].docketed, v})
			}
		}
	}
}

// shared is the sum of the products of what both hold, in a fixed order.
func shared(a, b map[string]float64) (sum float64) {
	keys := make([]string, 0, len(a))
	for k := range a {
		keys = append(keys, k)
	}
	slices.Sort(keys)
	for _, k := range keys {
		sum += a[k] * b[k]
	}
	return sum
}

// cellFlows makes one flow a cell; cells of one scale share its bias.
func (b *builder) cellFlows() {
	bias := b.choices.ScaleBiasShare
	for i := range b.cells {
		c := &b.cells[i]
		c.flow = b.flow(Flow{Name: "loads over " + string(c.scale), Value: c.kg, Sd: math.Hypot(math.Sqrt(c.variance), bias*c.kg)}, origin{kind: LostLoad, period: c.period, cell: i})
		if !slices.Contains(b.scales, c.scale) {
			b.scales = append(b.scales, c.scale)
		}
		for k := range i {
			if v := bias * bias * c.kg * b.cells[k].kg; v > 0 && b.cells[k].scale == c.scale {
				b.p.Covariances = append(b.p.Covariances, Covariance{b.cells[k].flow, c.flow, v})
			}
		}
	}
	slices.Sort(b.scales)
}

// runFlows makes two flows a run of a machine: the change of its residual,
// and the mass it spread, measured where a catch test stands behind it.
func (b *builder) runFlows() {
	for i, s := range b.in.Spreads {
		name := string(s.Machine) + " " + string(s.Product)
		b.residual = append(b.residual, b.flow(Flow{Name: "residual of " + name, Value: s.ResidualChangeKg, Sd: s.ResidualSdKg, Trusted: true}, origin{}))
		b.runs = append(b.runs, b.flow(Flow{Name: "spread by " + name, Value: s.NominalKg, Sd: b.spreadSd(i),
			Unmeasured: !b.measuredRun(i)}, origin{kind: CalibrationOff, spread: i}))
	}
}

func (b *builder) measuredRun(i int) bool {
	return b.in.Spreads[i].Calibrated && b.in.Spreads[i].NominalKg > 0
}

func (b *builder) spreadSd(i int) float64 {
	return math.Hypot(b.in.Spreads[i].NaturalKg, b.choices.CalibratedShare*b.in.Spreads[i].NominalKg)
}

// balances writes the constraints. The totals of a period are flows not
// measured as such, each closed by the constraint that defines it.
func (b *builder) balances() {
	for i := range b.periods {
		p := &b.periods[i]
		name := string(p.pile.stockpile)
		p.loaded = b.flow(Flow{Name: "loaded from " + name, Unmeasured: true}, origin{})
		p.spread = b.flow(Flow{Name: "spread from " + name, Unmeasured: true}, origin{})
		stock := []Term{{p.opening, 1}, {p.docketed, 1}, {p.close, -1}}
		loaded, spread := []Term{{p.loaded, 1}}, []Term{{p.spread, 1}}
		for _, k := range p.cells {
			c := b.cells[k]
			stock = append(stock, Term{c.flow, -1})
			loaded = append(loaded, Term{c.flow, -1})
			if c.spread >= 0 {
				spread = append(spread, Term{c.flow, -1})
			}
		}
		for run, share := range b.shares(*p) {
			if share > 0 {
				spread = append(spread, Term{b.residual[run], share})
			}
		}
		p.balance = b.constrain(name, stock)
		b.constrain("loaded from "+name, loaded)
		b.constrain("spread from "+name, spread)
	}
	for i := range b.in.Spreads {
		terms := []Term{{b.residual[i], -1}, {b.runs[i], -1}}
		for _, c := range b.cells {
			if c.spread == i {
				terms = append(terms, Term{c.flow, 1})
			}
		}
		b.constrain(b.p.Flows[b.runs[i]].Name, terms)
	}
}

// shares is which part of each run's loads came from a period.
func (b *builder) shares(p period) []float64 {
	out := make([]float64, len(b.in.Spreads))
	for _, k := range p.cells {
		if c := b.cells[k]; c.spread >= 0 {
			if all := b.runKg(c.spread); all > 0 {
				out[c.spread] += c.kg / all
			}
		}
	}
	return out
}

// scaleDirections adds, for each scale, all that was weighed over it.
func (b *builder) scaleDirections() {
	for _, scale := range b.scales {
		d := Direction{Name: "scale " + string(scale)}
		for _, c := range b.cells {
			if c.scale == scale && c.kg > 0 {
				d.Terms = append(d.Terms, Term{c.flow, c.kg})
			}
		}
		if len(d.Terms) > 0 {
			b.p.Directions = append(b.p.Directions, d)
			b.origins = append(b.origins, origin{kind: ScaleOff, scale: schemas.ScaleID(scale)})
		}
	}
}
