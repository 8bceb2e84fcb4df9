package balance

import (
	"math"

	"gonum.org/v1/gonum/stat/distuv"
)

// estimateOpen gives open intervals their mass, and the hopper its content now.
func (c *chain) estimateOpen() {
	for i := range c.intervals {
		iv := &c.intervals[i]
		if !iv.Open {
			continue
		}
		low, high, content := 0.0, math.Inf(1), mass{}
		if iv.From != "" {
			content = c.content
			high = content.kg
			low = max(0, high-c.hopperKg)
		}
		flow, ownSd := c.expected(i)
		if flow.kg > high+3*math.Hypot(flow.form.Sd(), ownSd) {
			c.find(OverContent, iv.From, "expected %.0f kg, but the hopper held %.0f kg", flow.kg, high)
		}
		key := "flow:" + string(c.machine.ID) + "/" + string(iv.From)
		m := within(flow, ownSd, content, low, high, key)
		iv.MassKg, iv.Form, iv.SdKg = m.kg, m.form, m.form.Sd()
		if iv.From != "" {
			c.final = content.plus(m, -1)
		}
	}
}

// expected is what interval i should have spread by the flow ratio as the
// filter has it: at the end, or for the passes before the first refill at the
// start. ownSd [kg] is what does not come from readings and loads.
func (c *chain) expected(i int) (flow mass, ownSd float64) {
	f, place, scale, own := c.live.final, atSpread, 1.0, 0.0
	if n := c.intervals[i].NominalKg; c.intervals[i].From == "" {
		v := c.o.noise()
		place, scale, own = atFirst, n, v.white*n+v.walk*n*n*n/3
	}
	flow = mass{scale * f.x[place], Form(nil).plus(c.live.formOf(place), scale)}
	variance := scale*scale*f.sd(place)*f.sd(place) + own
	return flow, math.Sqrt(max(0, variance-flow.form.Var()))
}

// within is the flow estimate given that the mass lies in [low, high]: a
// normal truncated there, as a form that is linear at the estimate. high moves
// with the content of the hopper, and low with it when low is above zero. The
// share g = truncated / untruncated variance of the form comes from the flow,
// the rest from the content; what the flow's own error leaves stands under key.
func within(flow mass, ownSd float64, content mass, low, high float64, key string) mass {
	variance := flow.form.Var() + ownSd*ownSd
	if variance == 0 {
		if kg := min(max(flow.kg, low), high); kg != flow.kg {
			return mass{kg, content.form}
		}
		return flow
	}
	sd := math.Sqrt(variance)
	kg, share := truncated(flow.kg, sd, low, high)
	rest := max(0, share*variance-share*share*flow.form.Var())
	form := content.form.plus(nil, 1)
	for i := range form {
		form[i].Coefficient *= 1 - share
	}
	form = form.plus(flow.form, share).plus(Form{{key, 1, math.Sqrt(rest)}}, 1)
	return mass{kg, form}
}

// truncated is the mean of a normal truncated to [low, high] and its variance
// as a share of the untruncated one. Bounds with
// less than 1e-9 of the probability between them give the nearer bound, and a
// variance no larger than that of the rectangle between them. high may be +Inf.
func truncated(mean, sd, low, high float64) (kg, share float64) {
	if high <= low {
		return high, 0
	}
	unit := distuv.UnitNormal
	a, b := (low-mean)/sd, (high-mean)/sd
	p := unit.CDF(b) - unit.CDF(a)
	if a > 0 {
		p = unit.CDF(-a) - unit.CDF(-b)
	}
	if p < 1e-9 {
		rectangle := (high - low) * (high - low) / 12 / sd / sd
		return min(max(mean, low), high), min(1/min(a*a, b*b), rectangle)
	}
	density := (unit.Prob(a) - unit.Prob(b)) / p
	moment := a * unit.Prob(a) / p
	if !math.IsInf(b, 1) {
		moment -= b * unit.Prob(b) / p
	}
	share = min(1, max(0, 1+moment-density*density))
	return min(max(mean+sd*density, low), high), share
}
