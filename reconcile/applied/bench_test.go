package applied

import (
	"math/rand/v2"
	"testing"
)

// A field of 150 ha in 1 m cells, 50 000 pieces about 1.3 m long with the noise of a good
// receiver, 24 m bouts. The tray pattern has 18 trays every 2 m.
func benchmarkLay(b *testing.B, pattern Pattern) {
	rng := rand.New(rand.NewPCG(1, 1))
	in := Input{Patterns: []Pattern{pattern}, Field: rect(0, 0, 1224, 1224)}
	const perPass, passes = 980, 51
	for k := range passes {
		x, y := 24*(float64(k)+0.5), 0.0
		for i := range perPass {
			p := Piece{Line: k, FromXM: x, FromYM: y, MassKg: 0.6}
			x, y = 24*(float64(k)+0.5)+0.02*rng.NormFloat64(), 1224*float64(i+1)/perPass
			p.ToXM, p.ToYM = x, y
			in.Pieces = append(in.Pieces, p)
		}
	}
	b.ReportAllocs()
	for b.Loop() {
		m, err := Lay(in)
		if err != nil {
			b.Fatal(err)
		}
		m.Figures(200)
	}
	b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/float64(len(in.Pieces)), "ns/piece")
}

func BenchmarkLayEven150ha(b *testing.B) { benchmarkLay(b, even(b, 24)) }

func BenchmarkLayTrays150ha(b *testing.B) {
	benchmarkLay(b, trays(b, 2, 1, 3, 6, 9, 12, 14, 15, 15, 16, 16, 15, 15, 14, 12, 9, 6, 3, 1))
}
