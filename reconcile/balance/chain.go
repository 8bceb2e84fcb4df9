package balance

import (
	"fmt"
	"math"
	"slices"

	"hopperbook/schemas"
)

// chain is the work in progress of one machine's balance.
type chain struct {
	machine   Machine
	refills   []Refill
	o         Options
	intervals []Interval
	findings  []Finding
	content   mass // of the hopper in the open last interval before anything was spread
	final     mass // of the hopper now
	live      filtered
	hopperKg  float64 // most the hopper holds
}

func (c *chain) find(code FindingCode, at schemas.RefillID, format string, args ...any) {
	c.findings = append(c.findings, Finding{code, at, fmt.Sprintf(format, args...)})
}

// build makes the intervals; open ones still without their mass.
func (c *chain) build() {
	if pieces := c.machine.Before; len(pieces) > 0 {
		iv := Interval{Open: true, pieces: pieces, NominalKg: nominal(pieces)}
		if len(c.refills) > 0 {
			iv.To, iv.End, iv.Product = c.refills[0].ID, c.refills[0].Time, c.refills[0].Product
		}
		c.intervals = append(c.intervals, iv)
		c.find(PassWithoutMass, "", "%.0f kg nominal spread before the first refill: estimated", iv.NominalKg)
	}
	for _, r := range c.refills {
		if most := c.machine.HopperKg; most > 0 && r.Residual.known() && r.Residual.Kg > most {
			c.find(OverCapacity, r.ID, "%.0f kg read in a hopper that holds %.0f kg: the reading or the hopper's size is wrong", r.Residual.Kg, most)
		}
	}
	for first := 0; first < len(c.refills); {
		first = c.interval(first)
	}
}

// interval adds the interval that starts at refill first and gives the refill
// where the next one starts.
func (c *chain) interval(first int) (next int) {
	r := c.refills[first]
	iv := Interval{From: r.ID, Start: r.Time, Product: c.product(first), first: first}
	left := c.residual(first)
	contentKg, errors := left.kg, sum{slices.Clone(left.form)}
	if first == 0 || c.changed(first) {
		iv.Mixed = c.startOf(first)
	}
	end := first
	for {
		for _, l := range c.refills[end].Loads {
			load := c.load(l)
			contentKg += load.kg
			errors.add(load.form, 1)
			iv.LoadedKg += l.NetKg
			iv.Loads++
		}
		iv.pieces = append(iv.pieces, c.refills[end].Spread...)
		if end++; end == len(c.refills) || c.closes(end) {
			break
		}
	}
	iv.Merged = end - first - 1
	if iv.Merged > 0 {
		c.find(MergedIntervals, r.ID, "balanced together with the next %d: their residual was not read", iv.Merged)
	}
	iv.end = end
	content := mass{contentKg, errors.form()}
	iv.NominalKg = nominal(iv.pieces)
	if end == len(c.refills) {
		iv.Open, c.content = true, content
	} else {
		closed := content.plus(c.residual(end), -1)
		iv.To, iv.End = c.refills[end].ID, c.refills[end].Time
		iv.MassKg, iv.Form = closed.kg, closed.form
		if iv.MassKg < -3*closed.form.Sd() {
			c.find(NegativeMass, iv.From, "%.0f kg more left in the hopper than was in it: a load is missing or the residual is wrong", -iv.MassKg)
		}
	}
	c.intervals = append(c.intervals, iv)
	return end
}

// closes reports whether the interval before refill i ends there.
func (c *chain) closes(i int) bool {
	return c.refills[i].Residual.known() || c.changed(i)
}

// startOf notes what a residual at the first refill or at a change of product means, and
// tells whether another product lay under the new one.
func (c *chain) startOf(i int) (mixed bool) {
	r := c.refills[i]
	switch res := c.residual(i); {
	case !r.Residual.known():
		c.find(AssumedEmpty, r.ID, "residual unknown: taken as empty, standard uncertainty %.0f kg", res.form.Sd())
	case i > 0 && res.kg > 3*res.form.Sd():
		c.find(MixedProduct, r.ID, "%.0f kg of %s left under %s", res.kg, c.product(i-1), r.Product)
		return true
	}
	return false
}

// product is what is spread after refill i: a residual reading alone changes nothing.
func (c *chain) product(i int) schemas.ProductID {
	for ; i > 0 && len(c.refills[i].Loads) == 0; i-- {
	}
	return c.refills[i].Product
}

func (c *chain) changed(i int) bool {
	return i > 0 && c.product(i) != c.product(i-1)
}

func (c *chain) load(l Load) mass {
	sd := l.SdKg
	if sd == 0 {
		sd = DefaultLoadSdKg(l.Method, l.NetKg)
	}
	return mass{l.NetKg, Form{
		{"load:" + string(c.machine.ID) + "/" + string(l.ID), 1, sd},
		{scalePrefix + l.scale(), l.NetKg, c.o.ScaleBiasShare},
	}}
}

// scale names whose bias the load has.
func (l Load) scale() string {
	if l.Scale == "" {
		return "/" + l.Method // '/' is in no ScaleID
	}
	return string(l.Scale)
}

// residual is the reading at refill i. An unknown one counts as empty with
// 10 % of the largest content of the hopper, at least 100 kg, as standard
// uncertainty (common practice, no source); it is used only where an interval
// must start or end without a reading.
func (c *chain) residual(i int) mass {
	r := c.refills[i]
	kg, sd := r.Residual.Kg, r.Residual.SdKg
	switch {
	case !r.Residual.known():
		kg, sd = 0, max(100, 0.1*c.hopperKg)
	case sd == 0:
		sd = DefaultResidualSdKg(r.Residual.Method, kg)
	}
	return mass{kg, Form{{"residual:" + string(c.machine.ID) + "/" + string(r.ID), 1, sd}}}
}

// mostHeld is the most the hopper holds: stated, or more if it held more after
// one refill (a spreader is filled to the brim at least once: common practice,
// no source).
func mostHeld(statedKg float64, refills []Refill) float64 {
	most := statedKg
	for _, r := range refills {
		var kg float64
		if r.Residual.known() {
			kg = r.Residual.Kg
		}
		for _, l := range r.Loads {
			kg += l.NetKg
		}
		most = math.Max(most, kg)
	}
	return most
}

func nominal(pieces []Piece) (kg float64) {
	for _, p := range pieces {
		kg += p.NominalKg
	}
	return kg
}
