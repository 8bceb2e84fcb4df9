package season

import (
	"math"
	"math/rand/v2"
	"slices"
	"strings"

	"hopperbook/schemas"
)

// weigh plays one loader: its scale reads the loads in the order of time. It
// fills in what the loads' truth says of the reading.
func weigh(p *plan, number int, faults []Fault, loads []*LoadTruth, truth *Truth) *recorder {
	cfg, me := p.cfg, loaderID(number)
	rng := rand.New(rand.NewPCG(cfg.Seed, 0x10ade<<32|uint64(number)))
	rec := newRecorder(cfg.Seed, schemas.DeviceSource(schemas.DeviceID(me), "tablet"))
	scale := ScaleTruth{schemas.ScaleID("scale-" + string(me)), me, cfg.Noise.ScaleBiasShare * rng.NormFloat64()}
	truth.Scales = append(truth.Scales, scale)
	n := 0
	for _, l := range loads {
		if l.Loader != me {
			continue
		}
		n++
		factor := 1 + scale.Bias
		for i, f := range faults {
			if f.Kind != ScaleOff || f.Machine != me || n < f.From {
				continue
			}
			factor *= 1 + f.Size
			if n == f.From {
				truth.Faults[i] = FaultTruth{Fault: f, At: l.Time, Load: n, Refill: l.Refill}
			}
		}
		l.ScaleRead = l.MassKg * factor
		l.StatedSd = round(cfg.Noise.ScaleSdShare*l.MassKg, 10)
		lifts := weighLifts(rng, l)
		rec.add(schemas.TypeLoadWeighed, l.Time, schemas.LoadWeighed{
			Load: l.Load, Product: l.Product, NetKg: l.StatedKg, Method: schemas.MethodBucket, LiftsKg: lifts,
			SdKg: &l.StatedSd, Scale: scale.Scale, Stockpile: schemas.StockpileID("pile-" + string(l.Product)),
		})
	}
	return rec
}

// weighLifts splits a load into lifts and reads each; their errors add up to
// the stated one. Readings are whole kilograms.
func weighLifts(rng *rand.Rand, l *LoadTruth) []float64 {
	n := max(2, min(6, int(math.Ceil(l.MassKg/bucketKg))))
	lifts, sum := make([]float64, n), 0.0
	for i := range lifts {
		lifts[i] = 1 + 0.05*rng.NormFloat64()
		sum += lifts[i]
	}
	for i := range lifts {
		read := l.ScaleRead*lifts[i]/sum + l.StatedSd/math.Sqrt(float64(n))*rng.NormFloat64()
		lifts[i] = math.Round(max(0, read))
		l.StatedKg += lifts[i]
	}
	return lifts
}

// inTime gives the loads in the order they were weighed.
func inTime(loads []LoadTruth) []*LoadTruth {
	slices.SortFunc(loads, func(a, b LoadTruth) int {
		if c := a.Time.Compare(b.Time); c != 0 {
			return c
		}
		return strings.Compare(string(a.Load), string(b.Load))
	})
	out := make([]*LoadTruth, len(loads))
	for i := range loads {
		out[i] = &loads[i]
	}
	return out
}
