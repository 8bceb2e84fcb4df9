package plane

import "github.com/peterstace/simplefeatures/rtree"

// fewSides are looked at one by one; a boundary with more has a tree of them.
const fewSides = 64

// sides finds the sides of a boundary near a place. The zero value is for a
// boundary with few of them.
type sides struct {
	ends [][2]Point
	tree *rtree.RTree
}

func newSides(p Polygon) sides {
	var s sides
	p.EachEdge(func(a, b Point) { s.ends = append(s.ends, [2]Point{a, b}) })
	if len(s.ends) <= fewSides {
		return sides{}
	}
	items := make([]rtree.BulkItem, len(s.ends))
	for i, e := range s.ends {
		a, b := e[0], e[1]
		items[i] = rtree.BulkItem{RecordID: i, Box: rtree.Box{MinX: min(a.XM, b.XM), MaxX: max(a.XM, b.XM), MinY: min(a.YM, b.YM), MaxY: max(a.YM, b.YM)}}
	}
	s.tree = rtree.BulkLoad(items)
	return s
}

// EachSideNear calls do for every side of the boundary that comes near the
// box, in no order, and maybe for others. O(sides), where there are many O(log sides + those near).
func (b *Boundary) EachSideNear(near Bounds, do func(a, b Point)) {
	if b.sides.tree == nil {
		b.Polygon.EachEdge(do)
		return
	}
	const slackM = 1e-6 // for the rounding of who asks
	box := rtree.Box{MinX: near.MinXM - slackM, MaxX: near.MaxXM + slackM, MinY: near.MinYM - slackM, MaxY: near.MaxYM + slackM}
	_ = b.sides.tree.RangeSearch(box, func(i int) error { // it only fails as its callback does
		do(b.sides.ends[i][0], b.sides.ends[i][1])
		return nil
	})
}

// Contains is Polygon.Contains: it looks at the sides east of the point alone where there are many.
func (b *Boundary) Contains(xM, yM float64) bool {
	inside := false
	b.EachSideNear(Bounds{MinXM: xM, MaxXM: 3 * ReachM, MinYM: yM, MaxYM: yM}, func(p, q Point) {
		if crosses(p, q, xM, yM) {
			inside = !inside
		}
	})
	return inside
}
