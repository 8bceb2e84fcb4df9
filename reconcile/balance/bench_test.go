package balance

import (
	"fmt"
	"math/rand/v2"
	"testing"
	"time"

	"hopperbook/schemas"
)

// BenchmarkSeason is one machine's season, learning included: the time a load
// must not grow with the season.
func BenchmarkSeason(b *testing.B) {
	for _, loads := range []int{125, 500, 2000} {
		b.Run(fmt.Sprint(loads), func(b *testing.B) {
			rng := rand.New(rand.NewPCG(41, 42))
			m := Machine{ID: "m"}
			for i := range loads {
				field := schemas.FieldID(fmt.Sprintf("f%03d", i/10))
				r := Refill{ID: schemas.RefillID(fmt.Sprintf("r%04d", i)), Time: at(0).Add(time.Duration(i) * time.Hour), Product: "p",
					Residual: Residual{100 * rng.Float64(), 30, schemas.ResidualLevel}, Loads: []Load{load(fmt.Sprintf("l%04d", i), 5000+100*rng.NormFloat64(), 50)},
					Spread: []Piece{on(field, 3000, 1), on(field+"b", 2000, 1)}}
				if i%20 == 19 {
					r.Residual = Residual{}
				}
				m.Refills = append(m.Refills, r)
			}
			for b.Loop() {
				if _, err := Run(m, Options{}); err != nil {
					b.Fatal(err)
				}
			}
			b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/float64(loads), "ns/load")
		})
	}
}
