package drift

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"
)

// ewmaRunLength draws run lengths of the two-sided EWMA with fixed limits
// l sigma sqrt(lambda / (2 - lambda)), each side starting at a share of its limit.
func ewmaRunLength(rng *rand.Rand, lambda, l, start, shift float64, runs int) (mean, se float64) {
	limit := l * math.Sqrt(lambda/(2-lambda))
	var sum, squares float64
	x := make([]float64, 1)
	for range runs {
		high, low, n := start*limit, -start*limit, 0.0
		for high <= limit && low >= -limit && high >= -limit && low <= limit {
			x[0] = shift + rng.NormFloat64()
			high, low, n = EWMA(x, lambda, high)[0], EWMA(x, lambda, low)[0], n+1
		}
		sum += n
		squares += n * n
	}
	mean = sum / float64(runs)
	return mean, math.Sqrt((squares/float64(runs) - mean*mean) / float64(runs))
}

// TestPublishedEWMARunLengths draws what is printed in Lucas and Saccucci,
// Technometrics 32 (1990) 1-12, Table 3 and (with a head start of half the limit)
// Table 5, and Crowder, Technometrics 29 (1987) 401-407, Table 1 (whose 3.95 at
// shift 1.25 with lambda 0.5 is a misprint of 3.59, left out).
func TestPublishedEWMARunLengths(t *testing.T) {
	t.Parallel()
	rng := rand.New(rand.NewPCG(8, 8))
	for _, c := range []struct {
		source           string
		lambda, l, start float64
		shift, printed   []float64
	}{
		{"Lucas and Saccucci, Table 3", 0.5, 3.071, 0, []float64{0.5, 0.75, 1, 1.5, 2, 3, 4, 5}, []float64{88.8, 35.9, 17.5, 6.53, 3.63, 1.93, 1.34, 1.07}},
		{"Lucas and Saccucci, Table 3", 0.03, 2.437, 0, []float64{0.25, 0.5, 0.75, 1, 1.5, 2, 3, 4, 5}, []float64{76.7, 29.3, 17.6, 12.6, 8.07, 5.99, 4.03, 3.11, 2.55}},
		{"Lucas and Saccucci, Table 5", 0.5, 3.071, 0.5, []float64{0.5, 1, 2, 3, 5}, []float64{86.1, 15.9, 2.87, 1.45, 1.01}},
		{"Lucas and Saccucci, Table 5", 0.03, 2.437, 0.5, []float64{0.5, 1, 2, 3, 5}, []float64{18.4, 7.36, 3.43, 2.34, 1.57}},
		{"Crowder, Table 1", 0.5, 2, 0, []float64{0, 0.25, 0.5, 0.75, 1, 1.5, 2, 3, 4}, []float64{26.45, 20.12, 11.89, 7.29, 4.91, 2.80, 1.94, 1.26, 1.05}},
		{"Crowder, Table 1", 0.05, 2, 0, []float64{0, 0.25, 0.5, 0.75, 1, 2, 3, 4}, []float64{127.53, 43.94, 18.97, 11.64, 8.38, 4.04, 2.76, 2.15}},
	} {
		for i, shift := range c.shift {
			mean, se := ewmaRunLength(rng, c.lambda, c.l, c.start, shift, 3000)
			near(t, fmt.Sprintf("%s, lambda %v, shift %v", c.source, c.lambda, shift), mean, c.printed[i], 4*se+0.006*c.printed[i])
		}
	}
}
