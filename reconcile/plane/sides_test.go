package plane

import (
	"math"
	"math/rand/v2"
	"testing"
)

// With few sides or many, the boundary answers as its polygon does, and finds
// every side that meets a box without looking at most of the others.
func TestSidesAgainstTheScan(t *testing.T) {
	rng := rand.New(rand.NewPCG(6, 6))
	for _, n := range []int{3, fewSides, fewSides + 1, 500, 5000} {
		ring := make([][2]float64, n)
		for i := range ring {
			sin, cos := math.Sincos(2 * math.Pi * float64(i) / float64(n))
			r := 300 * (1 + 0.02*rng.Float64())
			ring[i] = [2]float64{180 + r*cos/77e3, -46 + r*sin/111e3}
		}
		b, err := NewBoundary([][][][2]float64{{ring}})
		if err != nil {
			t.Fatal(err)
		}
		looked := 0
		for range 1000 {
			x, y := 700*(rng.Float64()-0.5), 700*(rng.Float64()-0.5)
			if got, want := b.Contains(x, y), b.Polygon.Contains(x, y); got != want {
				t.Fatalf("%d sides: (%v, %v) inside %v, by the scan %v", n, x, y, got, want)
			}
			near := Bounds{MinXM: x, MaxXM: x + 20, MinYM: y, MaxYM: y + 5}
			found := map[[2]Point]bool{}
			b.EachSideNear(near, func(p, q Point) { found[[2]Point{p, q}] = true })
			looked += len(found)
			b.Polygon.EachEdge(func(p, q Point) {
				meets := max(p.XM, q.XM) >= near.MinXM && min(p.XM, q.XM) <= near.MaxXM && max(p.YM, q.YM) >= near.MinYM && min(p.YM, q.YM) <= near.MaxYM
				if meets && !found[[2]Point{p, q}] {
					t.Fatalf("%d sides: one that meets the box is not found", n)
				}
			})
		}
		if n > fewSides && looked > 1000*n/20 {
			t.Errorf("%d sides: %d looked at for each box", n, looked/1000)
		}
	}
	if (&Boundary{}).Contains(0, 0) {
		t.Error("the empty boundary holds something")
	}
}
