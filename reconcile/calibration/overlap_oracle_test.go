package calibration

import (
	"math"
	"math/rand/v2"
	"testing"
)

// cell is how finely the oracle cuts the ground: spacings and bout widths are
// whole numbers of cells, so nothing in it is rounded but sums.
const cell = 0.05

// field lays pass after pass on a long strip of ground, one cell at a time,
// and reads the catch in the middle: no folding, no edges.
func field(masses []float64, spacing, bout int, driving Driving) (cells []float64) {
	n := len(masses)
	half := n * spacing // twice the half width, in half cells
	passes := 2*(half/(2*bout)+3) + 1
	ground := map[int]float64{} // by half cells, odd: the middle of a cell
	for p := -passes; p <= passes; p++ {
		for j, m := range masses {
			for k := range spacing {
				x := 2*(j*spacing+k) + 1 - half
				if driving == ToAndFro && p%2 != 0 {
					x = -x
				}
				ground[x+2*p*bout] += m
			}
		}
	}
	period := bout
	if driving == ToAndFro {
		period *= 2
	}
	first := 1
	if half%2 != 0 {
		first = 0
	}
	for k := range period {
		cells = append(cells, ground[first+2*k])
	}
	return cells
}

func bruteCV(masses []float64, spacing, bout int, driving Driving, divisor Divisor) float64 {
	cells := field(masses, spacing, bout, driving)
	mean, squares := 0.0, 0.0
	for _, y := range cells {
		mean += y / float64(len(cells))
	}
	for _, y := range cells {
		squares += (y - mean) * (y - mean)
	}
	trays := float64(len(cells)) / float64(spacing)
	variance := squares / float64(len(cells))
	if divisor == Sample {
		variance *= trays / (trays - 1)
	}
	return 100 * math.Sqrt(variance) / mean
}

func randomMasses(rng *rand.Rand, n int) []float64 {
	masses := make([]float64, n)
	for j := range masses {
		if rng.IntN(5) > 0 {
			masses[j] = 20 * rng.Float64()
		}
	}
	masses[rng.IntN(n)] += 1
	return masses
}

// 1 000 random patterns, odd and even numbers of trays, asymmetric, mostly at
// bout widths that are no multiple of the spacing: many passes laid out agree
// to 1e-9.
func TestOverlapAgreesWithManyPassesLaidOut(t *testing.T) {
	rng := rand.New(rand.NewPCG(5, 29))
	odd, multiples := 0, 0
	for range 1000 {
		n, spacing := 3+rng.IntN(28), 1+rng.IntN(12)
		masses := randomMasses(rng, n)
		bout := spacing + 1 + rng.IntN(spacing*(n-1))
		if n*spacing < bout {
			bout = n * spacing
		}
		odd += n % 2
		if bout%spacing == 0 {
			multiples++
		}
		p := Centred(masses, cell*float64(spacing))
		for _, driving := range []Driving{ToAndFro, RoundAndRound} {
			for _, divisor := range []Divisor{Sample, Population} {
				got, err := p.CV(cell*float64(bout), driving, divisor)
				if err != nil {
					t.Fatal(err)
				}
				want := bruteCV(masses, spacing, bout, driving, divisor)
				if math.Abs(got-want) > 1e-9*math.Max(1, want) {
					t.Fatalf("%d trays, spacing %d, bout %d cells, %s, %s: %.15g, laid out %.15g\n%v", n, spacing, bout, driving, divisor, got, want, masses)
				}
			}
		}
	}
	if odd < 400 || odd > 600 || multiples > 500 {
		t.Errorf("%d odd rows, %d multiples of 1000: the patterns are not what they should be", odd, multiples)
	}
}

// At multiples of the spacing the definition is the discrete sum over trays.
func TestOverlapIsTheSumOverTraysAtMultiples(t *testing.T) {
	rng := rand.New(rand.NewPCG(7, 3))
	for range 300 {
		n := 3 + rng.IntN(30)
		masses := randomMasses(rng, n)
		bout := 2 + rng.IntN(n-1)
		for _, driving := range []Driving{ToAndFro, RoundAndRound} {
			period, total := bout, 0.0
			if driving == ToAndFro {
				period *= 2
			}
			y := make([]float64, period)
			for p := range period / bout {
				for j, m := range masses {
					if p == 1 {
						j = n - 1 - j // the row turned round
					}
					y[((p*bout+j)%period+period)%period] += m
					total += m
				}
			}
			mean, squares := total/float64(period), 0.0
			for _, v := range y {
				squares += (v - mean) * (v - mean)
			}
			want := 100 * math.Sqrt(squares/float64(period-1)) / mean
			got, err := Centred(masses, 0.5).CV(0.5*float64(bout), driving, Sample)
			if err != nil || math.Abs(got-want) > 1e-9*math.Max(1, want) {
				t.Fatalf("%v trays %s at %d: %v, want %v (%v)", n, driving, bout, got, want, err)
			}
		}
	}
}

// Laws of the overlap on random patterns and any bout width.
func TestOverlapLaws(t *testing.T) {
	rng := rand.New(rand.NewPCG(11, 1))
	for range 500 {
		n := 3 + rng.IntN(40)
		p := Pattern{randomMasses(rng, n), -float64(n) * rng.Float64(), 0.25 + rng.Float64()}
		mirrored, doubled := p, p
		mirrored.MassesG, doubled.MassesG = make([]float64, n), make([]float64, n)
		mirrored.FirstM = -p.centreM(n - 1)
		for j, m := range p.MassesG {
			mirrored.MassesG[n-1-j], doubled.MassesG[j] = m, 2*m
		}
		shifted := p
		shifted.FirstM += 3.7
		bout := p.SpacingM * (1.01 + rng.Float64()*(float64(n)-1.01))
		for _, driving := range []Driving{ToAndFro, RoundAndRound} {
			cv := func(p Pattern) float64 {
				v, err := p.CV(bout, driving, Sample)
				if err != nil {
					t.Fatal(err)
				}
				return v
			}
			want := cv(p)
			near(t, "doubled", cv(doubled), want, 1e-9*want)
			near(t, "mirrored", cv(mirrored), want, 1e-8*want)
			if driving == RoundAndRound { // only the side of the driving line tells to-and-fro
				near(t, "shifted", cv(shifted), want, 1e-8*want)
			}
		}
		near(t, "rate x bout width", p.MeanG(bout)*bout, p.totalG()*p.SpacingM, 1e-9*p.totalG())
	}
}
