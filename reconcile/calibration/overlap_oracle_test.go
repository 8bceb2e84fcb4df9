package calibration

import (
	"math"
	"math/rand/v2"
	"testing"
)

// bruteCV lays pass after pass on a long strip of ground: every tray of every
// pass adds its share to every place near it, a roof one spacing to both sides.
// It reads the catch far from the first pass, where all passes have come. No
// folding, no looking up.
func bruteCV(masses []float64, first, spacing, bout float64, driving Driving, divisor Divisor) float64 {
	places := int(math.Floor(bout/spacing + 0.5))
	apart := bout / float64(places)
	if driving == ToAndFro {
		places *= 2
	}
	width := float64(len(masses)+2)*spacing + 2*math.Abs(first)
	passes := 2 * (int(width/bout) + 2)
	start := float64(passes/2) * bout
	if passes/2%2 != 0 {
		start += bout
	}
	offset := math.Mod(first, spacing) / spacing
	if offset < 0 {
		offset++
	}
	ground := make([]float64, places)
	for pass := -passes; pass <= 2*passes; pass++ {
		for j, m := range masses {
			tray := first + float64(j)*spacing
			if driving == ToAndFro && pass%2 != 0 {
				tray = -tray
			}
			tray += float64(pass) * bout
			for i := range ground {
				place := start + (float64(i)+offset)*apart
				ground[i] += m * math.Max(0, 1-math.Abs(place-tray)/spacing)
			}
		}
	}
	mean, squares := 0.0, 0.0
	for _, y := range ground {
		mean += y / float64(places)
	}
	for _, y := range ground {
		squares += (y - mean) * (y - mean)
	}
	if divisor == Sample {
		return 100 * math.Sqrt(squares/float64(places-1)) / mean
	}
	return 100 * math.Sqrt(squares/float64(places)) / mean
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

// 1 000 random patterns, odd and even numbers of trays, asymmetric, some with
// the driving line anywhere, mostly at bout widths that are no multiple of the
// spacing: many passes laid out agree to 1e-9.
func TestOverlapAgreesWithManyPassesLaidOut(t *testing.T) {
	rng := rand.New(rand.NewPCG(5, 29))
	odd, multiples := 0, 0
	for k := range 1000 {
		n := 3 + rng.IntN(28)
		spacing := 0.25 + rng.Float64()
		p := Centred(randomMasses(rng, n), spacing)
		bout := spacing * (1.6 + rng.Float64()*(float64(n)-1.6))
		switch k % 5 {
		case 0:
			bout = spacing * float64(2+rng.IntN(n-1))
			multiples++
		case 1:
			p.FirstM -= 5 * rng.Float64()
		}
		odd += n % 2
		for _, driving := range []Driving{ToAndFro, RoundAndRound} {
			for _, divisor := range []Divisor{Sample, Population} {
				got, err := p.CV(bout, driving, divisor)
				if err != nil {
					t.Fatal(err)
				}
				want := bruteCV(p.MassesG, p.FirstM, spacing, bout, driving, divisor)
				if math.Abs(got-want) > 1e-9*math.Max(1, want) {
					t.Fatalf("%d trays, spacing %v, bout %v, %s, %s: %.15g, laid out %.15g\n%v", n, spacing, bout, driving, divisor, got, want, p)
				}
			}
		}
	}
	if odd < 400 || odd > 600 || multiples != 200 {
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
		shifted.FirstM += 3 * p.SpacingM
		bout := p.SpacingM * (1.51 + rng.Float64()*(float64(n)-1.51))
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
			if bout = p.SpacingM * math.Round(bout/p.SpacingM); driving == RoundAndRound { // to-and-fro knows where the driving line is
				near(t, "shifted by whole trays", cv(shifted), cv(p), 1e-8*want)
			}
		}
		near(t, "rate x bout width", p.MeanG(bout)*bout, p.totalG()*p.SpacingM, 1e-9*p.totalG())
	}
}
