package track

import (
	"cmp"
	"slices"

	"github.com/peterstace/simplefeatures/rtree"

	"hopperbook/reconcile/plane"
	"hopperbook/schemas"
)

// Field is a piece of ground a segment can lie in.
type Field struct {
	ID       schemas.FieldID
	Boundary plane.Boundary
}

// Ground finds the fields near a place: an R-tree over the boxes of their
// boundaries. Nil and the zero value hold no field. It is not changed after NewGround and
// safe for concurrent use.
type Ground struct {
	fields []Field // by ID
	tree   *rtree.RTree
}

// boxSlackDeg widens the boxes of the tree by more than its sums round (a
// micrometre on the ground), so that the tree never passes over a field that MayMeet would take.
const boxSlackDeg = 1e-11

// NewGround makes the index. O(fields log fields), about 150 bytes a field
// besides its boundary; fields is not changed.
func NewGround(fields []Field) *Ground {
	g := &Ground{fields: slices.Clone(fields)}
	slices.SortStableFunc(g.fields, func(a, b Field) int { return cmp.Compare(a.ID, b.ID) })
	items := make([]rtree.BulkItem, len(g.fields))
	for i, f := range g.fields {
		lat, lon, halfLat, halfLon := f.Boundary.BoxDeg()
		halfLat, halfLon = halfLat+boxSlackDeg, halfLon+boxSlackDeg
		items[i] = rtree.BulkItem{RecordID: i, Box: rtree.Box{MinX: lon - halfLon, MaxX: lon + halfLon, MinY: lat - halfLat, MaxY: lat + halfLat}}
	}
	g.tree = rtree.BulkLoad(items)
	return g
}

// Neighbouring segments share one look for fields nearby: at most blockSize of
// them, so that the look costs little, within blockDeg (1 km), so that few fields remain
// where a machine was driven on without its log.
const (
	blockSize = 64
	blockDeg  = 0.01
)

// Split says for every segment in which field it lies, by the field's boundary;
// segments across a boundary are cut there, so distance, swath and nominal mass are
// shared exactly. Where fields overlap the one with the smallest ID has the
// ground. What lies in no field has Field "". Order and Line are kept.
// O(n/64 log fields + n x (log sides of the fields nearby + those near the segment or east of it at its height)).
func (g *Ground) Split(segments []Segment) []Segment {
	out := make([]Segment, 0, len(segments))
	s := splitter{ground: g}
	for len(segments) > 0 {
		n, box := block(segments)
		s.look(box)
		out = s.cut(out, segments[:n])
		segments = segments[n:]
	}
	return out
}

// splitter keeps what its blocks use again.
type splitter struct {
	ground *Ground
	ids    []int // fields near, by their place in ground
	near   []*Field
	cuts   []cut
	in     []bool // whether the place under way lies in each of near
}

// cut splits segments by the fields near.
func (s *splitter) cut(out []Segment, block []Segment) []Segment {
	for _, segment := range block {
		s.cuts = s.cuts[:0]
		for k, f := range s.near {
			if f.meets(segment) {
				s.cuts = f.appendCuts(s.cuts, k, segment)
			}
		}
		out = s.appendPieces(out, segment)
	}
	return out
}

// look finds the fields whose boxes touch a box, by ID.
func (s *splitter) look(box rtree.Box) {
	s.ids, s.near = s.ids[:0], s.near[:0]
	if s.ground == nil || s.ground.tree == nil {
		return
	}
	// The box begins in [-180, 180] and may run on over it; a field may have its box a
	// turn further east or west. No box is so wide that two turns find it.
	for _, turnDeg := range [...]float64{0, -360, 360} {
		turned := rtree.Box{MinX: box.MinX + turnDeg, MaxX: box.MaxX + turnDeg, MinY: box.MinY, MaxY: box.MaxY}
		_ = s.ground.tree.RangeSearch(turned, func(id int) error { // it only fails as its callback does
			s.ids = append(s.ids, id)
			return nil
		})
	}
	slices.Sort(s.ids)
	for _, id := range s.ids {
		s.near = append(s.near, &s.ground.fields[id])
	}
}

// block is how many segments share a look, and the box around them in degrees: X
// is the longitude, running on over ±180 from that of the first position.
func block(segments []Segment) (n int, box rtree.Box) {
	first := segments[0]
	box = rtree.Box{MinX: first.FromLonDeg, MaxX: first.FromLonDeg, MinY: first.FromLatDeg, MaxY: first.FromLatDeg}
	box = around(box, first.FromLonDeg, first)
	for n = 1; n < len(segments) && n < blockSize; n++ {
		grown := around(box, first.FromLonDeg, segments[n])
		if grown.MaxX-grown.MinX > blockDeg || grown.MaxY-grown.MinY > blockDeg {
			break
		}
		box = grown
	}
	return n, box
}

func around(b rtree.Box, lon0 float64, s Segment) rtree.Box {
	from := lon0 + plane.WrapDeg(s.FromLonDeg-lon0)
	to := from + plane.WrapDeg(s.ToLonDeg-s.FromLonDeg)
	return rtree.Box{
		MinX: min(b.MinX, from, to), MaxX: max(b.MaxX, from, to),
		MinY: min(b.MinY, s.FromLatDeg, s.ToLatDeg), MaxY: max(b.MaxY, s.FromLatDeg, s.ToLatDeg),
	}
}
