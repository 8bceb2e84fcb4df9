package coverage

import (
	"math/rand/v2"
	"testing"
)

// What a line says of those just above and below it is what they say themselves, and where circles
// bend between them the area is that of many lines.
func TestForesight(t *testing.T) {
	asked, wrong, apart, bent := 0, 0, 0, 0
	for seed := range uint64(6) {
		rng := rand.New(rand.NewPCG(seed, 3))
		segments, field := wander(seed, 120, 0.1), randomField(seed)
		if seed%2 == 1 {
			segments, field = fieldWork(1, 12, 2, rtk)
		}
		c, err := New(field, nil, Options{})
		if err != nil {
			t.Fatal(err)
		}
		if err := c.Add(segments); err != nil {
			t.Fatal(err)
		}
		c.Result()
		for i := range c.tiles {
			c.work(&c.tiles[i])
			w := &c.worker
			for range 20 {
				h := 1e-3 + 0.2*rng.Float64()*float64(rng.IntN(2))
				f := foresight{v: w.v0 + 0.5 + rng.Float64()*(w.v1-w.v0-1)}
				f.v0, f.v1 = f.v-h, f.v+h
				w.heights, w.met = append(w.heights[:0], f.v0, f.v, f.v1), w.met[:0]
				w.cross()
				w.foresee(&f, w.hits[1])
				if f.unsure || len(w.hits[1]) == 0 {
					continue
				}
				asked++
				if h*f.surprise(&w.met[0], &w.met[1], &w.met[2]) > 1e-4*h {
					wrong++ // a side begins or ends between the lines
					continue
				}
				got := f.area
				got.add(&w.met[1], 2*h)
				const n = 400
				w.heights, w.met = w.heights[:0], w.met[:0]
				for k := range n {
					w.heights = append(w.heights, f.v0+2*h*(float64(k)+0.5)/n)
				}
				w.cross()
				for k := range w.met {
					got.add(&w.met[k], -2*h/n)
				}
				if got.most() > 2e-4*h {
					apart++ // something begins and ends between the lines
				}
				if f.area.most() > 1e-3*h*h {
					bent++
				}
			}
		}
	}
	t.Logf("%d lines asked, %d with something new beside them, %d beside circles, %d areas apart", asked, wrong, bent, apart)
	if asked < 500 || wrong > asked/15 || bent < 20 || apart > asked/500 {
		t.Error("too few or too many")
	}
}
