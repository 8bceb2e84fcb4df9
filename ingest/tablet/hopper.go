package tablet

import (
	"time"

	"hopperbook/schemas"
)

// Limits of what says something of the flow (common practice, no source).
const (
	leastSwathM2  = 1000.0 // a run over less ground is no reading of the rate
	widestRatio   = 3.0    // a flow ratio beyond this or its inverse is a mistake in the book-keeping
	ratioOfRuns   = 3      // runs the tablet's own flow ratio is taken over
	seriesOfLoads = 12
	kgPerHaOfKgM2 = 1e4
)

// run is what went out from one reading of the residual to the next: mass in
// the hopper after the refill less the residual at the next reading.
// Refills whose residual was not read lie within it.
type run struct {
	refill    schemas.RefillID // that began it
	product   schemas.ProductID
	from, to  time.Time
	massKg    float64
	swathM2   float64
	nominalKg float64
}

func (r *run) kgHa() float64  { return r.massKg / r.swathM2 * kgPerHaOfKgM2 }
func (r *run) ratio() float64 { return r.massKg / r.nominalKg }

// says reports whether the run is a reading of rate and flow ratio.
func (r *run) says() bool {
	return r.swathM2 >= leastSwathM2 && r.nominalKg > 0 && plausible(r.ratio())
}

func plausible(ratio float64) bool { return ratio >= 1/widestRatio && ratio <= widestRatio }

// hopper is what the balance of refills and driving gives.
type hopper struct {
	runs     []run   // that say something, oldest first
	reading  string  // method of the reading the estimate counts from; "": none
	pieces   []piece // since that reading
	product  schemas.ProductID
	loadedKg *float64 // of the last refill
	swathM2  float64  // since the last refill
}

// piece is a refill since the last reading: what came in, what went out after it.
type piece struct {
	inKg      float64
	nominalKg float64
}

// level is a residual as it was read; kg nil: not read.
func (r *refillNote) level() (kg *float64, method string) {
	if r.ToldKg != nil && r.ToldResidualKg != nil {
		return r.ToldResidualKg, r.ToldMethod
	}
	if r.ResidualMethod == schemas.ResidualUnknown {
		return nil, ""
	}
	return r.ResidualKg, r.ResidualMethod
}

// loaded is what a refill brought: the tablet's own loads that were not taken
// back, and what was told of those that others weighed.
func (b *book) loaded(r *refillNote) (kg float64) {
	if r.ToldKg != nil {
		kg = *r.ToldKg
	}
	for _, id := range r.Loads {
		if l := b.loads[id]; l.sequence > 0 {
			kg += l.NetKg
		}
	}
	return kg
}

// balance follows the hopper over refills. O(refills + counts).
func (b *book) balance(counts []driven) hopper {
	var h hopper
	var open *run
	mixed := false
	out := shareOut(b.refills, counts)
	for i := range b.refills {
		r := &b.refills[i]
		in := b.loaded(r)
		kg, method := r.level()
		if kg != nil {
			if open != nil && !mixed {
				open.massKg, open.to = open.massKg-*kg, r.at
				if open.says() {
					h.runs = append(h.runs, *open)
				}
			}
			open, mixed = &run{refill: r.Refill, product: r.Product, from: r.at, massKg: *kg}, false
			h.reading, h.pieces = method, []piece{{inKg: *kg}}
		}
		h.product, h.loadedKg, h.swathM2 = r.Product, &in, out[i].SwathM2
		if open == nil {
			continue
		}
		mixed = mixed || r.Product != open.product
		open.massKg += in
		open.swathM2 += out[i].SwathM2
		open.nominalKg += out[i].NominalKg
		h.pieces = append(h.pieces, piece{in, out[i].NominalKg})
	}
	return h
}

// shareOut gives each refill what was driven until the next; what was counted
// behind a refill that was taken back belongs to the one before it.
func shareOut(refills []refillNote, counts []driven) []driven {
	out := make([]driven, len(refills))
	at := -1
	for _, d := range counts {
		if at+1 < len(refills) && refills[at+1].event == d.Event {
			at++
		}
		if at >= 0 {
			out[at].SwathM2 += d.SwathM2
			out[at].NominalKg += d.NominalKg
		}
	}
	return out
}

// leftKg is the estimate of what is in the hopper at a flow ratio; nil where
// no residual was ever read. It never falls below empty, so what ran out before
// a refill takes nothing from the load.
func (h *hopper) leftKg(ratio float64) *float64 {
	if h.reading == "" {
		return nil
	}
	kg := 0.0
	for _, p := range h.pieces {
		kg = max(0, kg+p.inKg-ratio*p.nominalKg)
	}
	return &kg
}

// flow is the flow ratio of a product and whether anything says so: the
// office's verdict unless the machine was calibrated anew since, else the
// tablet's own last runs, by mass, since then. It is 1 where nothing says.
func (b *book) flow(h *hopper, p schemas.ProductID) (ratio float64, known bool) {
	released := b.released[p]
	if d := b.drift(p); d != nil && plausible(d.FlowRatio) && !b.packet.At.Before(released) {
		return d.FlowRatio, true
	}
	var mass, nominal float64
	for i, n := len(h.runs)-1, 0; i >= 0 && n < ratioOfRuns; i-- {
		if r := &h.runs[i]; r.product == p && !r.from.Before(released) {
			mass, nominal, n = mass+r.massKg, nominal+r.nominalKg, n+1
		}
	}
	if nominal == 0 {
		return 1, false
	}
	return mass / nominal, true
}

// drift is the office's verdict on a product; nil: none.
func (b *book) drift(p schemas.ProductID) *schemas.CabDrift {
	for i := range b.packet.Drift {
		if b.packet.Drift[i].Product == p {
			return &b.packet.Drift[i]
		}
	}
	return nil
}

// fullKg is what a machine's hopper holds of a product, level full; ok is
// false where volume or bulk density is not known.
func (b *book) fullKg(m schemas.MachineID, p schemas.ProductID, rules Rules) (kg float64, ok bool) {
	density, known := b.bulkDensity(p, rules)
	machine := b.machines[m]
	if !known || machine == nil || machine.HopperM3 <= 0 {
		return 0, false
	}
	return machine.HopperM3 * density, true
}

// bulkDensity is by the last density test on this tablet, else the register's.
func (b *book) bulkDensity(p schemas.ProductID, rules Rules) (kgM3 float64, ok bool) {
	register := b.registerKgM3(p)
	if t, tested := b.density[p]; tested {
		if r, err := rules.Density(t, register); err == nil && r.DensityKgM3 > 0 {
			return r.DensityKgM3, true
		}
	}
	return register, register > 0
}

func (b *book) registerKgM3(p schemas.ProductID) float64 {
	if product := b.products[p]; product != nil && product.BulkDensityKgM3 != nil {
		return *product.BulkDensityKgM3
	}
	return 0
}
