package coverage

import "math"

// bar is the bout across the drive at one moment: its left and right tip in the
// frame of the lines, and what the machine had driven by then. Two bars in a row of
// one piece are the sides of a quadrilateral that was covered between them.
type bar struct{ lu, lv, ru, rv, s float64 }

// piece is unbroken spreading of one bout width: bars[from:to].
type piece struct {
	line     int
	run      int32   // a piece of the same unbroken spreading, itself where it is the first: see Cover.runOf
	againM   float64 // driven after which covering a place is covering it again
	from, to int32
}

// againBouts is how many bout widths a machine must have driven since it last covered
// a place for it to count as covered again: see the package comment.
const againBouts = 1.5

// maxTurnCos is the cosine of the sharpest turn whose outer side is filled. A larger change of
// heading between two fixes is backing up or noise, not a turn.
const maxTurnCos = -0.5

const (
	tipM     = 0.05 // most a tip may stand off the circle that the bout sweeps
	longestM = 32   // longer steps are cut, so that what lies along them is found by tiles
	shortM   = 1e-9 // shorter steps have no direction
)

// frame turns the plane so that v runs along the main direction of driving and
// u to the right of it.
type frame struct{ cos, sin float64 }

func (f frame) to(xM, yM float64) (u, v float64) { return xM*f.sin - yM*f.cos, xM*f.cos + yM*f.sin }

// step is a segment in the frame.
type step struct {
	seg        *Segment
	u, v       float64 // where it ends
	du, dv     float64 // direction, length 1
	lengthM, r float64
}

// builder turns segments in the order of the drive into bars.
type builder struct {
	c      *Cover
	last   step
	taken  float64 // of the left side of the step under way by the joint it began with; negative: added
	inside bool    // a piece is under way
	run    int32   // its unbroken spreading
}

func (b *builder) add(s *Segment) {
	fu, fv := b.c.frame.to(s.FromXM, s.FromYM)
	n := step{seg: s, r: s.WidthM / 2}
	n.u, n.v = b.c.frame.to(s.ToXM, s.ToYM)
	n.du, n.dv = n.u-fu, n.v-fv
	n.lengthM = math.Sqrt(n.du*n.du + n.dv*n.dv)
	if n.lengthM < shortM {
		return
	}
	n.du /= n.lengthM
	n.dv /= n.lengthM
	switch {
	case !b.inside || !joined(b.last.seg, s, b.last.lengthM):
		b.end()
		b.run = int32(len(b.c.pieces))
		b.begin(n, fu, fv)
	case b.last.r != n.r:
		b.end()
		b.sector(b.last, n, fu, fv)
		b.begin(n, fu, fv)
	default:
		b.joint(n, fu, fv)
	}
	b.last = n
}

// begin opens a piece with a bar square to the step.
func (b *builder) begin(n step, fu, fv float64) {
	b.c.open(n.seg.Line, b.run, againBouts*n.seg.WidthM)
	b.square(n, fu, fv, n.seg.StartM)
	b.inside, b.taken = true, 0
}

// end closes the piece under way with a bar square to its last step.
func (b *builder) end() {
	if b.inside {
		b.square(b.last, b.last.u, b.last.v, b.last.seg.StartM+b.last.lengthM)
		b.c.close()
	}
	b.inside = false
}

func (b *builder) square(n step, u, v, s float64) {
	ou, ov := -n.dv*n.r, n.du*n.r
	b.c.push(bar{u + ou, v + ov, u - ou, v - ov, s})
}

// joint goes on from the last step to n. In a slight turn both share the bar on
// the bisector: its inner tip is where the sides cross, its outer tip a little inside of that, as makes the area
// that of the rectangles and the sector of a circle. Where the turn is too sharp for that, or the
// inner tips would go backwards, both end square and a sector is put between.
func (b *builder) joint(n step, fu, fv float64) {
	sin, cos := b.last.du*n.dv-b.last.dv*n.du, b.last.du*n.du+b.last.dv*n.dv
	t := n.r * sin / (1 + cos) // taken from the inner side: the left one where positive
	if n.r*(1-cos) <= 4*tipM && n.r*math.Abs(sin) <= min(b.last.lengthM, n.lengthM) && math.Abs(b.taken+t) < b.last.lengthM {
		inner := n.r / math.Sqrt((1+cos)/2)
		// tan(x) - x = x³/3 + 2x⁵/15 for half the turn is by how much the sides' crossing takes more than the sector.
		turn := math.Abs(sin) / (1 + cos)
		more := n.r * turn * turn * turn * (1 - turn*turn*3/5) / 3
		outer := inner * (1 - more/((b.last.lengthM+n.lengthM)/2+2*n.r*turn))
		k := 1 / math.Sqrt(2+2*cos)
		nu, nv := -(b.last.dv+n.dv)*k, (b.last.du+n.du)*k // to the left
		l, r := inner, outer
		if sin < 0 {
			l, r = outer, inner
		}
		b.c.push(bar{fu + nu*l, fv + nv*l, fu - nu*r, fv - nv*r, n.seg.StartM})
		b.taken = t
		return
	}
	if cos <= maxTurnCos {
		b.end()
		b.begin(n, fu, fv)
		return
	}
	b.square(b.last, fu, fv, n.seg.StartM)
	b.fan(b.last, n, fu, fv, n.r)
	b.square(n, fu, fv, n.seg.StartM)
	b.taken = 0
}

// sector is the outer side of a turn as a piece of its own.
func (b *builder) sector(a, n step, fu, fv float64) {
	cos := a.du*n.du + a.dv*n.dv
	if cos <= maxTurnCos || 1-cos < 1e-12 {
		return
	}
	b.c.open(n.seg.Line, b.run, againBouts*n.seg.WidthM)
	b.fan(a, n, fu, fv, min(a.r, n.r))
	b.c.close()
}

// fan pushes bars from the point of a turn to the circle that the outer half of
// the bout sweeps. Chords stand in for the arc, further out so that the area is right.
func (b *builder) fan(a, n step, fu, fv, r float64) {
	sin, cos := a.du*n.dv-a.dv*n.du, a.du*n.du+a.dv*n.dv
	angle := math.Atan2(sin, cos)
	chords := math.Ceil(math.Abs(angle) / math.Min(0.25, math.Sqrt(8*tipM/5/r)))
	if chords < 1 {
		return
	}
	phi := angle / chords
	r *= math.Sqrt(phi / math.Sin(phi))
	for k := 0.0; k <= chords; k++ {
		ks, kc := math.Sincos(phi * k)
		du, dv := (a.du*kc-a.dv*ks)*r, (a.du*ks+a.dv*kc)*r
		if angle > 0 { // to the left: the right-hand half sweeps
			b.c.push(bar{fu, fv, fu + dv, fv - du, n.seg.StartM})
		} else {
			b.c.push(bar{fu - dv, fv + du, fu, fv, n.seg.StartM})
		}
	}
}

// joined reports whether b goes on where a, lengthM long, ended.
func joined(a, b *Segment, lengthM float64) bool {
	const near = 0.001
	return a.Line == b.Line && math.Abs(b.StartM-a.StartM-lengthM) < 1 &&
		math.Abs(a.ToXM-b.FromXM) < near && math.Abs(a.ToYM-b.FromYM) < near
}

// mainDirection is the direction most of the driving has; to and fro are
// the same direction, hence the doubled angle.
func mainDirection(segments []Segment) frame {
	c2, s2 := 0.0, 0.0
	for i := range segments {
		s := &segments[i]
		dx, dy := s.ToXM-s.FromXM, s.ToYM-s.FromYM
		if l := math.Sqrt(dx*dx + dy*dy); l > 0 {
			c2, s2 = c2+(dx*dx-dy*dy)/l, s2+2*dx*dy/l
		}
	}
	sin, cos := math.Sincos(math.Atan2(s2, c2) / 2)
	return frame{cos, sin}
}
