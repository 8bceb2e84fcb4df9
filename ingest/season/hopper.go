package season

import (
	"math"
	"math/rand/v2"
)

// hopper is what is in a machine and how truly it leaves.
type hopper struct {
	kg        float64
	stuckKg   float64 // what sticks and cannot leave
	catch     float64 // true flow / flow found by the last catch test
	walk      float64 // what became of it since
	fault     float64 // what the faults make of it
	spreadKg  float64 // since the last refill event
	nominalKg float64
	totalKg   float64 // spread ever
}

func (h *hopper) ratio() float64         { return h.catch * h.walk * h.fault }
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
