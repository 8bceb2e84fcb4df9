package balance

import (
	"math"

	"gonum.org/v1/gonum/stat/distuv"
)

const (
	nearest      = 5    // closed intervals an open one learns its flow ratio from
	priorRatioSd = 0.10 // of the flow ratio when no interval is closed; common practice, no source
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
			low = max(0, high-c.hopperKg())
		}
		flow, ownSd := c.expected(i)
		if flow.kg > high+3*math.Hypot(flow.form.Sd(), ownSd) {
			c.find(OverContent, iv.From, "expected %.0f kg, but the hopper held %.0f kg", flow.kg, high)
		}
		key := "flow:" + string(c.machine.ID) + "/" + string(iv.From)
		m := within(flow, ownSd, content, low, high, key)
		iv.MassKg, iv.Form = m.kg, m.form
		if iv.From != "" {
			c.final = content.plus(m, -1)
		}
	}
}

// expected is what interval i should have spread by the flow ratio of the
// nearest closed intervals of its product: weighted mean, weights 1 / (noise
// variance + natural variance), so that they do not depend on the readings.
// ownSd [kg] is what the interval may differ from that mean: the spread between
// those intervals beyond their measurement, at least the natural one.
func (c *chain) expected(i int) (flow mass, ownSd float64) {
	n := c.intervals[i].NominalKg
	from := c.closed(i)
	if len(from) == 0 {
		return mass{kg: n}, n * priorRatioSd
	}
	natural := c.o.NaturalSdShare * c.o.NaturalSdShare
	weights := make([]float64, len(from))
	var sum, squares float64
	for k, iv := range from {
		weights[k] = 1 / (iv.noiseVar() + natural)
		sum += weights[k]
	}
	var ratio mass
	for k, iv := range from {
		w := weights[k] / sum
		squares += w * w
		ratio = ratio.plus(mass{iv.MassKg, iv.Form}, w/iv.NominalKg)
	}
	between := max(natural, excess(from, ratio.kg))
	return mass{}.plus(ratio, n), n * math.Sqrt(between*(1+squares))
}

// excess is the variance of flow ratios about their mean beyond what their
// measurement explains (moments; may be below zero); 0 for a single interval.
func excess(from []Interval, mean float64) (v float64) {
	k := float64(len(from))
	for _, iv := range from {
		d := iv.MassKg/iv.NominalKg - mean
		v += d*d/max(1, k-1) - iv.noiseVar()/k
	}
	if k < 2 {
		return 0
	}
	return v
}

// noiseVar is the variance of the interval's flow ratio without scale bias.
func (iv Interval) noiseVar() float64 {
	return iv.Form.withoutScales().Var() / iv.NominalKg / iv.NominalKg
}

// closed lists the closed intervals of interval i's product with nominal mass,
// nearest in order, at most `nearest` of them.
func (c *chain) closed(i int) []Interval {
	var all []Interval
	for _, iv := range c.intervals {
		if !iv.Open && iv.NominalKg > 0 && iv.Product == c.intervals[i].Product {
			all = append(all, iv)
		}
	}
	if i == 0 {
		return all[:min(len(all), nearest)]
	}
	return all[max(0, len(all)-nearest):]
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
