package coverage

import (
	"math/rand/v2"
	"slices"
	"testing"

	"hopperbook/reconcile/plane"
)

// batches cuts a drive into batches of 1 to most segments, some of them twice, in any order.
func batches(segments []Segment, most int, rng *rand.Rand) (out [][]Segment) {
	for len(segments) > 0 {
		n := min(len(segments), 1+rng.IntN(most))
		out = append(out, segments[:n])
		if rng.IntN(4) == 0 {
			out = append(out, segments[n/3:n])
		}
		segments = segments[n:]
	}
	rng.Shuffle(len(out), func(i, j int) { out[i], out[j] = out[j], out[i] })
	return out
}

func grown(t testing.TB, batches [][]Segment, field, exclusion *plane.Polygon) Result {
	t.Helper()
	c, err := New(field, exclusion, Options{})
	if err != nil {
		t.Fatal(err)
	}
	for i, b := range batches {
		if err := c.Add(b); err != nil {
			t.Fatal(err)
		}
		if i%12 == 0 {
			c.Result() // tiles are worked out, and again when more comes
		}
	}
	return c.Result()
}

// TestBatches: split anywhere, in any order, with repeats, a drive covers the same.
func TestBatches(t *testing.T) {
	for seed := range uint64(12) {
		rng := rand.New(rand.NewPCG(seed, 12))
		var segments []Segment
		var field *plane.Polygon
		switch seed % 3 {
		case 0:
			segments, field = randomWork(seed)
		case 1:
			segments, field = wander(seed, 300, 0.1), randomField(seed)
		default:
			segments, field = fieldWork(1, 18, 2./3, rtk)
		}
		want := measure(t, segments, field)
		parts := batches(segments, 1+rng.IntN(80), rng)
		got := grown(t, parts, field, nil)
		if !same(got, want) {
			t.Errorf("seed %d in %d batches: %+v, at once %+v", seed, len(parts), got, want)
		}
		if again := grown(t, append(slices.Clone(parts), parts[len(parts)/2], segments), field, nil); again != got {
			t.Errorf("seed %d: repeating batches changes %+v to %+v", seed, got, again)
		}
	}
}

// TestLateBatchIsLocal: the tiles worked out again for a batch that comes late are those near the
// batch, whatever the field holds.
func TestLateBatchIsLocal(t *testing.T) {
	var stale []int
	for _, ha := range []float64{40, 150} {
		segments, field := fieldWork(ha, 18, 2./3, rtk)
		late := len(segments) / 2
		c, err := New(field, nil, Options{})
		if err != nil {
			t.Fatal(err)
		}
		for _, part := range [][]Segment{segments[:late], segments[late+60:]} {
			if err := c.Add(part); err != nil {
				t.Fatal(err)
			}
		}
		c.Result()
		if err := c.Add(segments[late : late+60]); err != nil {
			t.Fatal(err)
		}
		stale = append(stale, len(c.stale))
		if got, want := c.Result(), measure(t, segments, field); !same(got, want) {
			t.Errorf("%v ha: %+v, at once %+v", ha, got, want)
		}
	}
	// 45 m around both joints, where visits may have become one: 5 rows of 27 m and 3 columns of 63 m each.
	for _, n := range stale {
		if n == 0 || n > 30 {
			t.Errorf("tiles worked out again: %v", stale)
		}
	}
}

// BenchmarkLateBatch is a pass log of 60 fixes that comes late, and the result after it.
func BenchmarkLateBatch(b *testing.B) {
	for _, ha := range []float64{5, 40, 150} {
		segments, field := fieldWork(ha, 18, 2./3, rtk)
		b.Run(map[float64]string{5: "5ha", 40: "40ha", 150: "150ha"}[ha], func(b *testing.B) {
			var c Cover
			var late, rest []Segment
			next := len(segments)
			for b.Loop() {
				if next+60 > len(segments) {
					b.StopTimer()
					rest, late, next = rest[:0], late[:0], 0
					for i, s := range segments { // every tenth pass log is late
						if i/60%10 == 5 {
							late = append(late, s)
						} else {
							rest = append(rest, s)
						}
					}
					if err := c.Reset(field, nil, Options{}); err != nil {
						b.Fatal(err)
					}
					if err := c.Add(rest); err != nil {
						b.Fatal(err)
					}
					c.Result()
					b.StartTimer()
				}
				if err := c.Add(late[next%len(late) : min(len(late), next%len(late)+60)]); err != nil {
					b.Fatal(err)
				}
				c.Result()
				if next += 60; next+60 > len(late) {
					next = len(segments)
				}
			}
		})
	}
}
