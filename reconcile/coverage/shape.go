package coverage

import "math"

// shape is what a machine covers on a piece of its drive, in the frame of the
// scan: the rectangle about a segment or, at a turn, the sector of a circle
// that the outer half of the bout sweeps.
type shape struct {
	xM, yM     float64 // where the segment begins, or the turn
	ux, uy     float64 // rectangle: direction of driving; sector: where it begins
	vx, vy     float64 // sector: where it ends, counter-clockwise of u
	dirX, dirY float64 // direction of driving; that after the turn for a sector
	lengthM    float64 // 0 for a sector
	halfM      float64 // half the bout width, or the radius
	startM     float64
	run        int32 // unbroken spreading: every segment begins where the one before ended
	minYM      float64
	maxYM      float64
	againAfter float64 // m driven after which covering a place is covering it again
}

// againBouts is how many bout widths a machine must have driven since it last covered
// a place for it to count as covered again: see the package comment.
const againBouts = 1.5

// maxTurnRad is the sharpest turn whose outer side is filled. A larger change of
// heading between two fixes is backing up or noise, not a turn.
const maxTurnRad = 120 * math.Pi / 180

// makeShapes turns sorted segments into shapes in the order of the drive.
// cos and sin are those of the main direction, which becomes the y axis.
func makeShapes(segments []Segment, cos, sin float64) []shape {
	shapes := make([]shape, 0, 2*len(segments))
	last, run := -1, int32(0)
	for i, s := range segments {
		length := s.lengthM()
		if length == 0 {
			continue
		}
		dx, dy := (s.ToXM-s.FromXM)/length, (s.ToYM-s.FromYM)/length
		r := shape{
			xM: s.FromXM*sin - s.FromYM*cos, yM: s.FromXM*cos + s.FromYM*sin,
			ux: dx*sin - dy*cos, uy: dx*cos + dy*sin,
			lengthM: length, halfM: s.WidthM / 2, startM: s.StartM, againAfter: againBouts * s.WidthM,
		}
		r.dirX, r.dirY = r.ux, r.uy
		if last >= 0 && joined(segments[last], s) {
			r.run = run
			if sector, ok := turn(shapes[len(shapes)-1], r); ok {
				shapes = append(shapes, sector)
			}
		} else {
			run++
			r.run = run
		}
		across, along := math.Abs(r.ux)*r.halfM, r.uy*length
		r.minYM, r.maxYM = r.yM+min(0, along)-across, r.yM+max(0, along)+across
		shapes = append(shapes, r)
		last = i
	}
	return shapes
}

// joined reports whether b goes on where a ended.
func joined(a, b Segment) bool {
	const near = 0.001
	return a.Line == b.Line && math.Abs(b.StartM-a.StartM-a.lengthM()) < 1 &&
		math.Abs(a.ToXM-b.FromXM) < near && math.Abs(a.ToYM-b.FromYM) < near
}

// turn is the sector between two rectangles that follow each other; false
// without a turn. Where the bout width changes the smaller one sweeps.
func turn(a, b shape) (shape, bool) {
	cross, dot := a.ux*b.uy-a.uy*b.ux, a.ux*b.ux+a.uy*b.uy
	angle := math.Abs(math.Atan2(cross, dot))
	if angle < 1e-9 || angle > maxTurnRad {
		return shape{}, false
	}
	s := shape{xM: b.xM, yM: b.yM, dirX: b.ux, dirY: b.uy, halfM: min(a.halfM, b.halfM), startM: b.startM, run: b.run, againAfter: b.againAfter}
	if cross > 0 { // to the left: the right-hand normals sweep
		s.ux, s.uy, s.vx, s.vy = a.uy, -a.ux, b.uy, -b.ux
	} else {
		s.ux, s.uy, s.vx, s.vy = -b.uy, b.ux, -a.uy, a.ux
	}
	s.minYM, s.maxYM = s.yM+s.halfM*min(0, s.uy, s.vy), s.yM+s.halfM*max(0, s.uy, s.vy)
	if s.ux >= 0 && s.vx <= 0 { // passes straight up
		s.maxYM = s.yM + s.halfM
	}
	if s.ux <= 0 && s.vx >= 0 {
		s.minYM = s.yM - s.halfM
	}
	return s, true
}

// cut is the part of the line y that lies in the shape; empty when x0 >= x1.
func (s *shape) cut(y float64) (x0, x1 float64) {
	dy := y - s.yM
	if s.lengthM == 0 {
		d2 := s.halfM*s.halfM - dy*dy
		if d2 <= 0 {
			return 0, 0
		}
		x1 = math.Sqrt(d2)
		x0, x1 = clip(-x1, x1, s.ux*dy, -s.uy)
		x0, x1 = clip(x0, x1, -s.vx*dy, s.vy)
		return s.xM + x0, s.xM + x1
	}
	// Along the drive 0..length, across it -half..half.
	x0, x1 = math.Inf(-1), math.Inf(1)
	along, across := dy*s.uy, dy*s.ux
	x0, x1 = clip(x0, x1, along, s.ux)
	x0, x1 = clip(x0, x1, s.lengthM-along, -s.ux)
	x0, x1 = clip(x0, x1, s.halfM+across, -s.uy)
	x0, x1 = clip(x0, x1, s.halfM-across, s.uy)
	return s.xM + x0, s.xM + x1
}

// clip keeps of x0..x1 what satisfies c + k x >= 0.
func clip(x0, x1, c, k float64) (float64, float64) {
	switch {
	case k > 0:
		return max(x0, -c/k), x1
	case k < 0:
		return x0, min(x1, -c/k)
	case c < 0:
		return 0, 0
	}
	return x0, x1
}
