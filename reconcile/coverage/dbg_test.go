package coverage

import (
	"fmt"
	"math/bits"
	"testing"
	"time"
)

var t0 = time.Now()

func cpu() time.Duration { return time.Since(t0) }
func TestDbg(t *testing.T) {
	for _, x := range []struct {
		ha, st float64
		by     receiver
	}{{5, 10. / 3, rtk}, {5, 2. / 3, rtk}, {40, 10. / 3, rtk}, {40, 2. / 3, rtk}, {150, 10. / 3, rtk}, {150, 2. / 3, rtk}, {40, 2, rough}} {
		segs, field := fieldWork(x.ha, 18, x.st, x.by)
		best := time.Hour
		add := time.Hour
		c := &Cover{}
		for n := 0; n < 60; n++ {
			a := cpu()
			c, _ = New(field, nil, Options{})
			c.Add(segs)
			b := cpu()
			c.Result()
			d := cpu()
			best = min(best, d-a)
			add = min(add, b-a)
		}
		lines := 0
		rough := 0
		hits := 0
		ref := 0
		for i := range c.tiles {
			tl := &c.tiles[i]
			w := &c.worker
			c.work(tl)
			rough += bits.OnesCount32(w.rough)
			lines += 27
			for k := range w.hits {
				if w.laid>>k&1 != 0 {
					hits += len(w.hits[k])
				}
			}
			ref += 0
			lines -= 27 - bits.OnesCount32(w.laid)
		}
		n := time.Duration(len(segs))
		fmt.Printf("%v ha %.1f m: segs %d bars %d tiles %d h %.2f lines %d rough %d hits %d refined %d: %v/fix, add %v/fix = %.2f M/s\n", x.ha, x.st, len(segs), len(c.bars), len(c.tiles), c.stripM, lines, rough, hits, ref, best/n, add/n, 1e3/float64(best/n))
	}
}
