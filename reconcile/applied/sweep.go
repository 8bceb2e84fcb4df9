package applied

import "math"

const (
	// headingBaseM is how far ahead and behind the heading looks.
	headingBaseM = 2.0
	// maxTurnRad is the sharpest turn that is one; see coverage.
	maxTurnRad = 120 * math.Pi / 180
	// straightSin is the sine of a turn that is none: 20 m out it moves the bar by less than a micrometre.
	straightSin = 1e-8
)

// layer lays runs on a raster.
type layer struct {
	raster   *raster
	box      extent
	straight [][]lane // of each pattern
	turning  [][]lane
}

func newLayer(in Input, box extent, r *raster) *layer {
	l := &layer{raster: r, box: box}
	for _, p := range in.Patterns {
		l.straight = append(l.straight, p.lanes(in.CellM/2, true))
		l.turning = append(l.turning, p.lanes(in.CellM/2, false))
	}
	return l
}

// steps is about how many cells the sides of all lanes cross if every piece turns.
func (l *layer) steps(pieces []Piece) (n float64) {
	for _, p := range pieces {
		crossed := 4 + (math.Abs(p.ToXM-p.FromXM)+math.Abs(p.ToYM-p.FromYM))/l.box.cellM
		n += 2 * crossed * float64(len(l.turning[p.Pattern]))
	}
	return n
}

// goesOn reports whether b is driven on from a without backing up.
func goesOn(a, b Piece) bool {
	const near = 0.001
	if a.Line != b.Line || math.Abs(a.ToXM-b.FromXM) > near || math.Abs(a.ToYM-b.FromYM) > near {
		return false
	}
	ax, ay, bx, by := a.ToXM-a.FromXM, a.ToYM-a.FromYM, b.ToXM-b.FromXM, b.ToYM-b.FromYM
	return math.Abs(math.Atan2(ax*by-ay*bx, ax*bx+ay*by)) <= maxTurnRad
}

// run lays pieces that go on from each other.
func (l *layer) run(pieces []Piece) {
	headings := headingsOf(pieces)
	for i, p := range pieces {
		h0, h1 := headings[i], headings[i+1]
		lanes := l.turning[p.Pattern]
		if math.Abs(h0.x*h1.y-h0.y*h1.x) < straightSin && h0.x*h1.x+h0.y*h1.y > 0 {
			lanes = l.straight[p.Pattern]
		}
		for _, n := range lanes {
			l.raster.quad(l.bar(p.FromXM, p.FromYM, h0, n.rightM), l.bar(p.ToXM, p.ToYM, h1, n.rightM),
				l.bar(p.ToXM, p.ToYM, h1, n.leftM), l.bar(p.FromXM, p.FromYM, h0, n.leftM), n.share*p.MassKg)
		}
	}
}

// bar is the point of the bar that far to the right of the driving line, in cells of the raster.
func (l *layer) bar(xM, yM float64, heading point, rightM float64) point {
	x := (xM+heading.y*rightM)/l.box.cellM - float64(l.box.col0)
	y := (yM-heading.x*rightM)/l.box.cellM - float64(l.box.row0)
	return point{min(float64(l.box.cols), max(0, x)), min(float64(l.box.rows), max(0, y))}
}

// headingsOf gives a run's heading at the start of every piece and at the end of
// the last, of length 1. A run that never moves heads north. O(n).
func headingsOf(pieces []Piece) []point {
	nodes, drivenM := nodesOf(pieces)
	out := make([]point, len(nodes))
	behind, ahead := 0, 0
	for k := range nodes {
		from, to := drivenM[k]-headingBaseM, drivenM[k]+headingBaseM
		for behind+1 < len(nodes)-1 && drivenM[behind+1] <= from {
			behind++
		}
		for ahead+1 < len(nodes)-1 && drivenM[ahead+1] < to {
			ahead++
		}
		a, b := along(nodes, drivenM, behind, from), along(nodes, drivenM, ahead, to)
		d := math.Hypot(b.x-a.x, b.y-a.y)
		switch {
		case d > 0:
			out[k] = point{(b.x - a.x) / d, (b.y - a.y) / d}
		case k > 0:
			out[k] = out[k-1]
		default:
			out[k] = point{0, 1}
		}
	}
	return out
}

// nodesOf is a run's nodes [m] and how far each is driven from the first.
func nodesOf(pieces []Piece) (nodes []point, drivenM []float64) {
	nodes, drivenM = make([]point, 0, len(pieces)+1), make([]float64, 0, len(pieces)+1)
	nodes, drivenM = append(nodes, point{pieces[0].FromXM, pieces[0].FromYM}), append(drivenM, 0)
	for i, p := range pieces {
		nodes = append(nodes, point{p.ToXM, p.ToYM})
		drivenM = append(drivenM, drivenM[i]+math.Hypot(p.ToXM-nodes[i].x, p.ToYM-nodes[i].y))
	}
	return nodes, drivenM
}

// along is the point driven s metres from the start, which lies on leg k or, before the
// first and after the last, at its end.
func along(nodes []point, drivenM []float64, k int, s float64) point {
	a, b, leg := nodes[k], nodes[k+1], drivenM[k+1]-drivenM[k]
	if !(leg > 0) {
		return a
	}
	t := min(1, max(0, (s-drivenM[k])/leg))
	return point{a.x + t*(b.x-a.x), a.y + t*(b.y-a.y)}
}
