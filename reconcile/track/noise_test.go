package track

import (
	"math"
	"math/rand/v2"
	"testing"

	"hopperbook/schemas"
)

// A rough receiver at 10 Hz: 0.06 m of independent noise lengthens steps of 0.4 m by
// (0.06/0.4)² = 2 %, and steps of 2 m by a twenty-fifth of it.
func TestNoiseOfARoughReceiver(t *testing.T) {
	const n, step, sd = 20000, 0.4, 0.06
	drive := func(quality schemas.Quality, sd float64) float64 {
		rng := rand.New(rand.NewPCG(4, 4))
		fixes := make([]schemas.Fix, n+1)
		for i := range fixes {
			fixes[i] = fixAt(0.1*float64(i), sd*rng.NormFloat64(), step*float64(i)+sd*rng.NormFloat64())
			fixes[i].Quality = quality
		}
		return Total(Clean(fixes, Options{}).Segments).LengthM/(n*step) - 1
	}
	if got := drive(schemas.QualityRTKFixed, sd); math.Abs(got-0.0225) > 0.003 {
		t.Errorf("joined from 0.3 m on it is too long by %.4f, want 0.0225", got)
	}
	for _, q := range []schemas.Quality{schemas.QualityGNSS, schemas.QualityDGNSS, schemas.QualityRTKFloat, schemas.QualityEstimated} {
		if got := drive(q, sd); math.Abs(got-0.0009) > 0.0004 {
			t.Errorf("quality %d: too long by %.5f, want 0.0009", q, got)
		}
		if got := drive(q, 0); math.Abs(got) > 1e-6 {
			t.Errorf("quality %d without noise: off by %v", q, got)
		}
	}
}

// The long steps of a rough receiver give away no metre where the swath begins,
// ends or changes its width, nor at the end of a line.
func TestSwathOfARoughReceiverIsExact(t *testing.T) {
	var fixes []schemas.Fix
	for i := range 1001 { // 0.5 m a fix, at 10 Hz; a gap behind 300.5 m
		f := fixAt(0.1*float64(i)+float64(btoi(i > 601))*9, 0, 0.5*float64(i))
		f.Quality, f.Spreading = schemas.QualityGNSS, schemas.SpreadingOff
		if i >= 101 && i < 901 {
			f.Spreading = schemas.SpreadingOn // from 50.5 to 450.5 m
		}
		if i >= 333 {
			f.BoutWidthM = 12 // from 166.5 m on
		}
		fixes = append(fixes, f)
	}
	got := Total(Clean(fixes, Options{}).Segments)
	if want := 20*116 + 12*283.5; math.Abs(got.SwathM2-want) > 1e-2 || math.Abs(got.LengthM-499.5) > 1e-4 {
		t.Errorf("swath %v m2 on %v m, want %v on 499.5", got.SwathM2, got.LengthM, want)
	}
	if len(Clean(fixes, Options{}).Segments) > 270 {
		t.Errorf("%d segments: steps of 2 m are not joined", len(Clean(fixes, Options{}).Segments))
	}
}
