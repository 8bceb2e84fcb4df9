package coverage

import (
	"math"
	"slices"

	"hopperbook/reconcile/plane"
)

// Options are choices that cost time or accuracy; the zero value chooses by the
// boundary and the first segments added.
type Options struct {
	StripM float64 // an 81st of the height of a tile; 0: see the package comment
}

// Cover is coverage that grows: adding a batch costs what the batch costs,
// wherever in the drive it belongs. It has one owner at a time.
type Cover struct {
	frame              frame
	stripM             float64
	straightM          float64 // how far points may lie off a straight step, at most
	tolM2              float64 // what a section of a tile may be off
	perTileU, perTileV float64 // tiles a metre
	options            Options
	bounded            bool
	fence              fence
	groundM2, offM2    float64 // inside the boundary; of it in exclusion areas

	known     map[int][]stretch // by line: what was driven, in order
	early     []Segment         // all segments, until there are enough to settle frame and strips by
	settled   int               // segments they were settled by
	settledM2 float64           // swath area of what frame and strips were settled by
	count     int
	bars      []bar
	pieces    []piece
	runs      []run
	tiles     []tile
	tileAt    map[tileKey]int32
	stale     []int32 // tiles to be worked out again
	swath     int64   // in areaUnitM2
	arcs      int64   // square of their radii, in areaUnitM2
	sum       areas

	under     box  // tiles of the quadrilaterals that are not filed yet
	low, high rect // the first and the last of them
	underFrom int32
	sorted    []run
	worker    worker
}

// New is an empty cover of the ground inside boundary (nil: everywhere) less
// exclusion (nil: nothing), both read by the even-odd rule. It refuses what lies beyond plane.ReachM.
func New(boundary, exclusion *plane.Polygon, o Options) (*Cover, error) {
	c := &Cover{}
	return c, c.Reset(boundary, exclusion, o)
}

// Reset makes c an empty cover of other ground. It keeps its memory: one cover for one field
// after the other allocates only when a field is larger than all before.
func (c *Cover) Reset(boundary, exclusion *plane.Polygon, o Options) error {
	if err := checkGround("boundary", boundary); err != nil {
		return err
	}
	if err := checkGround("exclusion area", exclusion); err != nil {
		return err
	}
	if c.tileAt == nil {
		c.tileAt = map[tileKey]int32{}
	}
	if c.known == nil {
		c.known = map[int][]stretch{}
	}
	clear(c.tileAt)
	clear(c.known)
	*c = Cover{
		bounded: boundary != nil, options: o, tileAt: c.tileAt, known: c.known, early: c.early[:0], fence: c.fence, worker: c.worker, sorted: c.sorted,
		bars: c.bars[:0], pieces: c.pieces[:0], runs: c.runs[:0], tiles: c.tiles[:0], stale: c.stale[:0],
	}
	c.fence.onPlane = c.fence.onPlane[:0]
	c.fence.add(boundary, false)
	c.fence.add(exclusion, true)
	c.groundM2, c.offM2 = c.fence.groundM2()
	return nil
}

// How strips and tolerances are chosen: see the package comment.
const (
	leastStripM    = 0.02
	mostStripM     = 1
	stripsPerSide  = 400 // of a square as large as what is covered
	mostStrips     = 4e5 // along everything driven: narrow swaths need no finer ones
	boutsInTile    = 3.5
	leastTileM     = 20
	roughPerM      = 0.25 // sections that bend a metre of such a square's side, about
	mostSampled    = 4096 // segments until frame and strips are settled
	mostLookedAt   = 512  // of them to choose
	straightOfSide = 4e-5 // of such a square's side: how far points may lie off a straight step, at most
	tolShare       = 8e-5 // of the area, were all sections as far off as they may be, by chance
)

// settle chooses the frame and the strips from the first segments.
func (c *Cover) settle(segments []Segment) {
	c.settled = len(segments)
	c.frame = mainDirection(segments)
	var swathM2, widthM, lengthM float64
	stride := 1 + len(segments)/mostLookedAt
	n := 0.0
	for i := 0; i < len(segments); i += stride {
		l := segments[i].lengthM() * float64(stride)
		lengthM += l
		swathM2 += l * segments[i].WidthM
		widthM += segments[i].WidthM
		n++
	}
	c.fence.turn(c.frame)
	c.settledM2 = swathM2
	areaM2 := swathM2
	if c.groundM2 > 0 {
		areaM2 = min(areaM2, c.groundM2)
	}
	c.stripM = c.options.StripM
	if !(c.stripM > 0) {
		c.stripM = max(leastStripM, min(mostStripM, max(math.Sqrt(areaM2)/stripsPerSide, lengthM/mostStrips)))
	}
	c.perTileV = 1 / (stripsInTile * c.stripM)
	c.perTileU = 1 / max(leastTileM, boutsInTile*widthM/n)
	areaM2 = max(1, areaM2)
	c.straightM = straightOfSide * math.Sqrt(areaM2)
	c.tolM2 = tolShare * areaM2 / math.Sqrt(roughPerM*math.Sqrt(areaM2))
	c.fileSides()
}

// Add takes up segments in any order; what is there already changes nothing. segments is not
// changed. On an error nothing was taken up. O(n log n) for n segments out of order, O(n) in order,
// and what their tiles hold is worked out again by the next Result.
//
// Until mostSampled segments are there, frame and strips are chosen anew, and everything is laid
// anew, whenever their number has doubled or their area is four times as large.
func (c *Cover) Add(segments []Segment) error {
	ordered, err := check(segments)
	if err != nil {
		return err
	}
	if !ordered {
		segments = inOrder(slices.Clone(segments))
	}
	if c.count > 0 {
		segments = c.unknown(segments)
	}
	if len(segments) == 0 {
		return nil
	}
	c.count += len(segments)
	switch {
	case c.settled == 0 && len(segments) > mostSampled:
		c.settle(segments)
	case c.settled <= mostSampled:
		c.early = append(c.early, segments...)
		if c.count > 2*c.settled || float64(c.swath)*areaUnitM2+swathOf(segments) > 4*c.settledM2 {
			segments = c.again()
		}
	}
	c.lay(segments)
	return nil
}

func swathOf(segments []Segment) (m2 float64) {
	for i := range segments {
		m2 += segments[i].lengthM() * segments[i].WidthM
	}
	return m2
}

// again forgets what was laid, settles by all segments so far and gives them in order.
func (c *Cover) again() []Segment {
	if c.settled > 0 { // the first batch is in order
		c.early = inOrder(c.early)
	}
	clear(c.known)
	clear(c.tileAt)
	c.bars, c.pieces, c.runs, c.tiles, c.stale = c.bars[:0], c.pieces[:0], c.runs[:0], c.tiles[:0], c.stale[:0]
	c.sum, c.swath, c.arcs = areas{}, 0, 0
	c.settle(c.early)
	return c.early
}

func (c *Cover) lay(segments []Segment) {
	b := builder{c: c}
	for i := 0; i < len(segments); {
		b.add(&segments[i])
		i = b.grow(segments, i+1)
	}
	b.finish()
	c.swath += int64(math.Round(b.swathM2 / areaUnitM2))
}

// inOrder sorts segments into the order of the drive, each once.
func inOrder(segments []Segment) []Segment {
	slices.SortFunc(segments, compareSegments)
	return slices.Compact(segments)
}

// Result is the areas of everything added. It works out the tiles that changed since the last one.
func (c *Cover) Result() Result {
	for _, i := range c.stale {
		t := &c.tiles[i]
		c.sum.add(t.area, -1)
		t.area, t.stale = c.work(t), false
		c.sum.add(t.area, 1)
	}
	c.stale = c.stale[:0]
	m2 := func(v int64) float64 { return float64(v) * areaUnitM2 }
	r := Result{SwathM2: m2(c.swath), Overlap2M2: m2(c.sum.twice), Overlap3M2: m2(c.sum.more), ExcludedM2: m2(c.sum.excluded),
		CoveredM2:       m2(c.sum.once + c.sum.twice + c.sum.more),
		TargetTimesM2:   m2(c.sum.once + 2*c.sum.twice + 3*c.sum.more),
		ExcludedTimesM2: m2(c.sum.excludedTimes)}
	r.ErrorM2 = 3*math.Sqrt(m2(c.sum.variance)) + leastError*r.SwathM2 + arcError*m2(c.arcs)
	if c.bounded {
		r.BoundaryM2, r.ExclusionM2, r.OutsideM2 = c.groundM2, c.offM2, m2(c.sum.outside)
		r.OutsideTimesM2 = m2(c.sum.outsideTimes)
		r.CoveredM2 = min(r.CoveredM2, r.BoundaryM2-r.ExclusionM2)
		r.MissedM2 = r.BoundaryM2 - r.ExclusionM2 - r.CoveredM2
	}
	return r
}

// leastError is the share of the swath area that no line happens to see.
const leastError = 5e-6

// arcError is the share of the square of a sector's radius that chords may leave out (43 m2 of what is covered twice on 135 turns of 9 m).
const arcError = 0.005
