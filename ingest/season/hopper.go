package season

import (
	"math"
	"math/rand/v2"
)

// hopper is what is in a machine and how truly it leaves.
type hopper struct {
	kg         float64
	stuckKg    float64 // what sticks and cannot leave
	catch      float64 // true flow / flow found by the last catch test
	walk       float64 // what became of it since
	fault      float64 // what the faults make of it
	speedSlope float64 // and, for each share driven faster than usual
	faster     float64 // share driven faster than usual now
	wear       float64 // and, for each kg spread
	wornFromKg float64 // totalKg at which the wear began, or a catch test was made
	lowChange  float64 // and, while there is less than lowKg
	lowKg      float64
	spreadKg   float64 // since the last refill event
	nominalKg  float64
	totalKg    float64 // spread ever
}

func (h *hopper) ratio() float64 {
	r := h.catch * h.walk * h.fault * (1 + h.speedSlope*h.faster) * (1 + h.wear*(h.totalKg-h.wornFromKg))
	if h.kg < h.lowKg {
		r *= 1 + h.lowChange
	}
	return max(r, 0.05)
}

func (h *hopper) deliverableKg() float64 { return max(0, h.kg-h.stuckKg) }
func (h *hopper) empty() bool            { return h.deliverableKg() == 0 }

// deliver takes nominal mass times ratio out of the hopper, at most what can
// leave, and lets the ratio wander by the root of the tonnes.
func (h *hopper) deliver(rng *rand.Rand, nominalKg, walkSd float64) float64 {
	kg := min(nominalKg*h.ratio(), h.deliverableKg())
	h.kg -= kg
	if h.deliverableKg() < 0.01 {
		kg += h.deliverableKg()
		h.kg = h.stuckKg
	}
	h.spreadKg += kg
	h.totalKg += kg
	h.nominalKg += nominalKg
	h.walk *= 1 + walkSd*math.Sqrt(kg/1000)*rng.NormFloat64()
	return kg
}
