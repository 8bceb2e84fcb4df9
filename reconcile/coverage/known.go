package coverage

import (
	"math"
	"slices"
	"sort"
)

// stretch is unbroken driving on one line: how it begins and ends, for batches that
// go on from it.
type stretch struct {
	begin, end step  // its first and its last step
	piece      int32 // one of its pieces
}

// unknown is the segments of a batch that lie on no stretch yet, by the middle of what was driven.
func (c *Cover) unknown(segments []Segment) []Segment {
	var out []Segment
	for i := range segments {
		s := &segments[i]
		k := c.known[s.Line]
		at := s.StartM + s.lengthM()/2
		n := sort.Search(len(k), func(n int) bool { return k[n].begin.startM > at })
		if n > 0 && at < k[n-1].end.endM {
			continue
		}
		out = append(out, *s)
	}
	return out
}

// learn enters a stretch, joined with those it goes on from and that go on from it.
func (c *Cover) learn(line int, s stretch) {
	k := c.known[line]
	n := sort.Search(len(k), func(n int) bool { return k[n].begin.startM > s.begin.startM })
	if n > 0 && goesOn(&k[n-1].end, &s.begin) {
		n--
		c.link(&k[n].end, &s.begin, k[n].piece, s.piece)
		k[n].end = s.end
	} else {
		k = slices.Insert(k, n, s)
	}
	if n+1 < len(k) && goesOn(&k[n].end, &k[n+1].begin) {
		c.link(&k[n].end, &k[n+1].begin, k[n].piece, k[n+1].piece)
		k[n].end = k[n+1].end
		k = slices.Delete(k, n+1, n+2)
	}
	c.known[line] = k
}

// goesOn reports whether b begins where a ends.
func goesOn(a, b *step) bool {
	return math.Abs(b.startM-a.endM) < 1 && math.Abs(a.u-b.fu) < nearM && math.Abs(a.v-b.fv) < nearM
}

// link makes one run of two that were laid apart, and lays the outer side of the turn
// between them. What was laid already within reach of the joint is worked out again:
// visits there may have become one.
func (c *Cover) link(a, b *step, before, after int32) {
	from, to := c.runOf(before), c.runOf(after)
	c.pieces[max(from, to)].run = min(from, to)
	bl := builder{c: c, last: *a, run: min(from, to)}
	bl.sector(*b)
	far := againBouts*max(a.widthM, b.widthM) + max(a.widthM, b.widthM)
	for row := c.rowOf(a.v - far); row <= c.rowOf(a.v+far); row++ {
		for col := c.colOf(a.u - far); col <= c.colOf(a.u+far); col++ {
			if i, ok := c.tileAt[tileKey{row, col}]; ok {
				c.spoil(i)
			}
		}
	}
}
