package coverage

import "math"

const (
	maxStripM = 1.0     // strips are at most this high before they are refined
	minStrips = 64      // and at least this many
	cutShare  = 0.41421 // where a strip is cut in two: not at a simple fraction, see integrate
	gridShift = 0.31831 // of a strip, see layStrips
	// maxLines bounds the work for one strip, whatever it holds.
	maxLines = 300
)

// buckets is lists of indices by strip, packed into one array.
type buckets struct {
	from  []int32
	items []int32
}

func (b buckets) of(strip int) []int32 { return b.items[b.from[strip]:b.from[strip+1]] }

// layStrips chooses the height of the strips and sorts shapes and edges into them.
func (sc *scan) layStrips() {
	sc.minYM, sc.maxYM = math.Inf(1), math.Inf(-1)
	for i := range sc.shapes {
		sc.minYM, sc.maxYM = min(sc.minYM, sc.shapes[i].minYM), max(sc.maxYM, sc.shapes[i].maxYM)
	}
	for _, e := range sc.edges {
		sc.minYM, sc.maxYM = min(sc.minYM, e.yM), max(sc.maxYM, e.toYM)
	}
	height := sc.maxYM - sc.minYM
	if !(height > 0) {
		return
	}
	count := max(minStrips, int(math.Ceil(height/maxStripM)))
	// Shapes and sides much longer than the field is fine cost memory in every strip: lie coarser.
	for count > minStrips && sc.entries(height/float64(count)) > 64*(len(sc.shapes)+len(sc.edges))+1<<20 {
		count /= 2
	}
	// Surveyed lines and round steps would put strip borders exactly on the joints of
	// segments, where a line may meet neither of two neighbours: shift the strips.
	sc.stripM = height / (float64(count) - 1)
	sc.minYM -= gridShift * sc.stripM
	sc.shapeIn = sc.fill(count, len(sc.shapes), func(i int) (float64, float64) { return sc.shapes[i].minYM, sc.shapes[i].maxYM })
	sc.edgeIn = sc.fill(count, len(sc.edges), func(i int) (float64, float64) { return sc.edges[i].yM, sc.edges[i].toYM })
}

// entries is about how many entries the buckets would have.
func (sc *scan) entries(stripM float64) int {
	n := 0.0
	for i := range sc.shapes {
		n += 1 + (sc.shapes[i].maxYM-sc.shapes[i].minYM)/stripM
	}
	for _, e := range sc.edges {
		n += 1 + (e.toYM-e.yM)/stripM
	}
	return int(n)
}

// fill sorts n things by the strips they reach into.
func (sc *scan) fill(count, n int, reach func(int) (min, max float64)) buckets {
	strip := func(y float64) int { return min(count-1, max(0, int((y-sc.minYM)/sc.stripM))) }
	b := buckets{from: make([]int32, count+2)}
	for i := range n {
		lo, hi := reach(i)
		for k := strip(lo); k <= strip(hi); k++ {
			b.from[k+2]++
		}
	}
	for k := 2; k < len(b.from); k++ {
		b.from[k] += b.from[k-1]
	}
	b.items = make([]int32, b.from[count+1])
	for i := range n {
		lo, hi := reach(i)
		for k := strip(lo); k <= strip(hi); k++ {
			b.items[b.from[k+1]] = int32(i)
			b.from[k+1]++
		}
	}
	b.from = b.from[:count+1]
	return b
}

// integrate adds up the strips: areas, and the estimate of their error.
//
// Between the places where outlines begin, end or cross the lengths are linear in y, so
// the trapezoid rule is exact there. A strip is cut in two, again and again, while a line
// inside it does not lie on the straight line between its ends. The cut is at
// an odd share of the height: with halves, a field whose passes end one by one, each as wide as
// the next, would look linear.
//
// The estimate is three standard deviations of what the pieces were last corrected by, and
// twice the relative tolerance for what no line happened to see.
func (sc *scan) integrate(swathM2 float64) (lengths, float64) {
	var total lengths
	if sc.stripM == 0 {
		return total, 0
	}
	count := len(sc.shapeIn.from) - 1
	r := refiner{sc: sc, tolM2: sc.toleranceM2(swathM2, count)}
	lower := sc.at(0, sc.minYM)
	for k := range count {
		y0, y1 := sc.minYM+float64(k)*sc.stripM, sc.minYM+float64(k+1)*sc.stripM
		upper := sc.at(k, y1)
		r.strip, r.left, r.sum = k, maxLines, lengths{}
		r.refine(y0, y1, lower, upper)
		total = total.add(r.sum, 1)
		lower = upper
	}
	return total, 3*math.Sqrt(r.squares) + 2*relativeTolerance*swathM2
}

// toleranceM2 is what one strip may be off: errors of strips are independent, so
// the sum of count of them is off by about the root of count.
func (sc *scan) toleranceM2(swathM2 float64, count int) float64 {
	return max(1e-4, relativeTolerance*swathM2/math.Sqrt(float64(count)))
}

// relativeTolerance is the error aimed at, as a share of the swath area.
const relativeTolerance = 5e-6

type refiner struct {
	sc      *scan
	tolM2   float64
	strip   int
	left    int // lines still allowed in this strip
	sum     lengths
	squares float64 // of the errors of the pieces
}

func (r *refiner) refine(y0, y1 float64, l0, l1 lengths) {
	h := y1 - y0
	y := y0 + cutShare*h
	m := r.sc.at(r.strip, y)
	r.left--
	line := lengths{}.add(l0, 1-cutShare).add(l1, cutShare)
	off := h / 2 * m.add(line, -1).largest()
	if off <= r.tolM2 || r.left <= 0 {
		r.sum = r.sum.add(l0, h/2*cutShare).add(m, h/2).add(l1, h/2*(1-cutShare))
		r.squares += off * off
		return
	}
	r.refine(y0, y, l0, m)
	r.refine(y, y1, m, l1)
}
