package coverage

import (
	"fmt"
	"math/bits"
	"testing"
)

func TestDbg(t *testing.T) {
	segs, field := fieldWork(40, 18, 2./3, rtk)
	c, _ := New(field, nil, Options{})
	c.Add(segs)
	fmt.Println(len(segs), len(c.bars), len(c.tiles), len(c.runs), len(c.pieces), c.stripM, c.tolM2)
	lines := 0
	rough := 0
	hits := 0
	ref := 0
	for i := range c.tiles {
		tl := &c.tiles[i]
		w := &c.worker
		c.work(tl)
		rough += bits.OnesCount32(w.rough)
		lines += 16
		for k := range w.hits {
			hits += len(w.hits[k])
		}
		ref += w.refined
	}
	fmt.Println(lines, rough, hits, ref)
}
