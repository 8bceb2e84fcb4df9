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
	arc      bool    // two bars, and between them the sector of a circle instead of a quadrilateral
	from, to int32
}

// againBouts is how many bout widths a machine must have driven since it last covered
// a place for it to count as covered again: see the package comment.
const againBouts = 1.5

// maxTurnCos is the cosine of the sharpest turn whose outer side is filled. A larger change of
// heading between two fixes is backing up or noise, not a turn.
const maxTurnCos = -0.5

// straightShare is how much of the bout width points may lie off a straight line to be taken for points of
// it, at most; see also straightOfSide.
const straightShare = 1e-3

// cornerCos is the cosine of the turn from which on the ends on both sides of it stand out.
const cornerCos = 0.8

const (
	tipM     = 0.05 // most a tip may stand off the circle that the bout sweeps
	longestM = 32   // longer steps are cut, so that what lies along them is found by tiles
	shortM   = 1e-9 // shorter steps have no direction
)

// frame turns the plane so that v runs along the main direction of driving and
// u to the right of it.
type frame struct{ cos, sin float64 }

func (f frame) to(xM, yM float64) (u, v float64) { return xM*f.sin - yM*f.cos, xM*f.cos + yM*f.sin }

// step is a straight piece of driving in the frame: a segment, or several in a row
// that lie so nearly on one line that they are taken for one.
type step struct {
	fu, fv, u, v float64 // from, to
	du, dv       float64 // direction, length 1
	lengthM      float64
	startM, endM float64 // driven
	r            float64 // half the bout width
	widthM       float64
	line         int
}

// builder turns segments in the order of the drive into bars.
type builder struct {
	c      *Cover
	next   step // grows as long as segments go straight on; widthM 0: none
	grown  growth
	last   step    // the one before, whose end is not laid yet
	taken  float64 // of the left side of last by the joint it began with; negative: added
	inside bool    // a piece is under way, up to the end of last
	run    int32   // its unbroken spreading
	first  step    // which began with this
	apart  bool    // next does not go on from last

	swathM2 float64
}

// growth is what decides whether a step may grow. Along and across are measured from where the step begins, by
// the way of its first segment.
type growth struct {
	raw       *Segment // the last segment of the step
	rawM      float64  // its length
	sumM      float64  // lengths of all
	du, dv    float64  // way of the last segment
	straightM float64  // how far points may lie off the line
}

// add begins a step with a segment, or leaves a segment that goes nowhere.
func (b *builder) add(s *Segment) {
	fu, fv := b.c.frame.to(s.FromXM, s.FromYM)
	u, v := b.c.frame.to(s.ToXM, s.ToYM)
	du, dv := u-fu, v-fv
	l := math.Sqrt(du*du + dv*dv)
	b.swathM2 += l * s.WidthM
	if l < shortM {
		return
	}
	onwards := b.grown.raw != nil && joined(b.grown.raw, s, b.grown.rawM)
	b.emit()
	b.apart = !onwards
	b.next = step{fu: fu, fv: fv, u: u, v: v, startM: s.StartM, endM: s.StartM + l, widthM: s.WidthM, line: s.Line}
	b.grown = growth{raw: s, rawM: l, sumM: l, du: du, dv: dv, straightM: min(straightShare*s.WidthM, b.c.straightM)}
}

// grow takes up the segments from i on that go straight on from the one the step began with, and returns the
// first that does not. A step may grow as long as its end lies in a wedge from its begin that every point passed
// makes narrower: then all are within straightM of the line.
//
// The step is then taken as wide as gives it the area of its segments. That holds
// where none of them folds over the one before, which is tested as well.
func (b *builder) grow(segments []Segment, i int) int {
	if b.grown.raw == nil {
		return i
	}
	g, n, to := b.grown, &b.next, b.c.frame
	k := 1 / g.rawM
	au, av := g.du*k, g.dv*k // along
	alongM, lo, hi := g.rawM, -g.straightM*k, g.straightM*k
	r := n.widthM / 2
	fu, fv, u, v := n.fu, n.fv, n.u, n.v
	for ; i < len(segments); i++ {
		s := &segments[i]
		if s.FromXM != g.raw.ToXM || s.FromYM != g.raw.ToYM || s.Line != g.raw.Line || s.WidthM != n.widthM || !(math.Abs(s.StartM-g.raw.StartM-g.rawM) < 1) {
			break
		}
		tu, tv := to.to(s.ToXM, s.ToYM)
		du, dv := tu-u, tv-v
		l := math.Sqrt(du*du + dv*dv)
		cross, dot := g.du*dv-g.dv*du, g.du*du+g.dv*dv
		fold, both := r*math.Abs(cross), l*g.rawM
		if l < shortM || dot <= 0 || fold > l*both || fold > g.rawM*both {
			break
		}
		along, across := (tu-fu)*au+(tv-fv)*av, (tv-fv)*au-(tu-fu)*av
		if along <= alongM || along > longestM || across < lo*along || across > hi*along {
			break
		}
		k := 1 / along
		lo, hi = max(lo, (across-g.straightM)*k), min(hi, (across+g.straightM)*k) // as often as not: no branches
		u, v, alongM = tu, tv, along
		g.raw, g.rawM, g.du, g.dv = s, l, du, dv
		g.sumM += l
	}
	b.swathM2 += (g.sumM - b.grown.sumM) * n.widthM
	n.u, n.v, n.endM = u, v, g.raw.StartM+g.rawM
	b.grown = g
	return i
}

// emit lays the start of the step that is grown, and with it the end of the one before.
func (b *builder) emit() {
	n := b.next
	if n.widthM == 0 {
		return
	}
	n.du, n.dv = n.u-n.fu, n.v-n.fv
	n.lengthM = math.Sqrt(n.du*n.du + n.dv*n.dv)
	n.du, n.dv = n.du/n.lengthM, n.dv/n.lengthM
	n.r = n.widthM / 2 * (b.grown.sumM / n.lengthM)
	switch {
	case b.apart || !b.inside:
		b.leave()
		b.run = int32(len(b.c.pieces))
		b.first = n
		b.begin(n)
	case b.last.widthM != n.widthM:
		b.corner(n)
	default:
		b.joint(n)
	}
	b.last = n
}

// finish lays what is under way to its end.
func (b *builder) finish() {
	b.emit()
	b.leave()
	b.next.widthM = 0
}

// leave ends the stretch under way.
func (b *builder) leave() {
	if b.inside {
		b.end()
		b.c.learn(b.first.line, stretch{b.first, b.last, b.run})
	}
}

// begin opens a piece with a bar square to the step.
func (b *builder) begin(n step) {
	b.c.open(n.line, b.run, againBouts*n.widthM)
	b.square(n, n.fu, n.fv, n.startM)
	b.inside, b.taken = true, 0
}

// end closes the piece under way with a bar square to its last step.
func (b *builder) end() {
	if b.inside {
		b.square(b.last, b.last.u, b.last.v, b.last.endM)
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
// that of the rectangles and the sector of a circle. Where the turn is too sharp for that, or
// folds a rectangle over the next one's far end, both end square and a sector is put between.
func (b *builder) joint(n step) {
	sin, cos := b.last.du*n.dv-b.last.dv*n.du, b.last.du*n.du+b.last.dv*n.dv
	if cos < cornerCos {
		b.corner(n)
		return
	}
	t := n.r * sin / (1 + cos) // taken from the inner side: the left one where positive
	if n.r*(1-cos) > 4*tipM || n.r*math.Abs(sin) > min(b.last.lengthM, n.lengthM) || math.Abs(b.taken+t) >= b.last.lengthM {
		b.square(b.last, n.fu, n.fv, n.startM)
		b.fan(n, min(b.last.r, n.r))
		b.square(n, n.fu, n.fv, n.startM)
		b.taken = 0
		return
	}
	r := (b.last.r + n.r) / 2
	inner := r / math.Sqrt((1+cos)/2)
	// tan(x) - x = x³/3 + 2x⁵/15 for half the turn is by how much the sides' crossing takes more than the sector.
	turn := math.Abs(sin) / (1 + cos)
	more := r * turn * turn * turn * (1 - turn*turn*3/5) / 3
	outer := inner * (1 - more/((b.last.lengthM+n.lengthM)/2+2*r*turn))
	k := 1 / math.Sqrt(2+2*cos)
	nu, nv := -(b.last.dv+n.dv)*k, (b.last.du+n.du)*k // to the left
	left, right := inner, outer
	if sin < 0 {
		left, right = outer, inner
	}
	b.c.push(bar{n.fu + nu*left, n.fv + nv*left, n.fu - nu*right, n.fv - nv*right, n.startM})
	b.taken = t
}

// corner ends the piece under way and begins another; the outer side of the
// turn between them is a piece of its own.
func (b *builder) corner(n step) {
	b.end()
	b.sector(n)
	b.begin(n)
}

// sector lays the outer side of a turn as a piece of its own.
func (b *builder) sector(n step) {
	sin, cos := b.last.du*n.dv-b.last.dv*n.du, b.last.du*n.du+b.last.dv*n.dv
	if cos <= maxTurnCos || 1-cos <= 1e-12 {
		return
	}
	r := math.Copysign(min(b.last.r, n.r), sin)
	tip := func(s step) bar {
		if sin > 0 { // to the left: the right-hand half sweeps
			return bar{n.fu, n.fv, n.fu + s.dv*r, n.fv - s.du*r, n.startM}
		}
		return bar{n.fu + s.dv*r, n.fv - s.du*r, n.fu, n.fv, n.startM}
	}
	b.c.layArc(n.line, b.run, againBouts*n.widthM, tip(b.last), tip(n))
}

// fan pushes bars from the point of a turn to the circle that the outer half of
// the bout sweeps. Chords stand in for the arc, further out so that the area is right.
func (b *builder) fan(n step, r float64) {
	a := b.last
	sin, cos := a.du*n.dv-a.dv*n.du, a.du*n.du+a.dv*n.dv
	angle := math.Atan2(sin, cos)
	chords := max(1, math.Ceil(math.Abs(angle)/min(0.25, math.Sqrt(8*tipM/r))))
	phi := angle / chords
	if phi != 0 {
		r *= math.Sqrt(phi / math.Sin(phi))
	}
	for k := 0.0; k <= chords; k++ {
		ks, kc := math.Sincos(phi * k)
		du, dv := (a.du*kc-a.dv*ks)*r, (a.du*ks+a.dv*kc)*r
		if angle > 0 { // to the left: the right-hand half sweeps
			b.c.push(bar{n.fu, n.fv, n.fu + dv, n.fv - du, n.startM})
		} else {
			b.c.push(bar{n.fu - dv, n.fv + du, n.fu, n.fv, n.startM})
		}
	}
}

// nearM is how far the end of a segment may lie from the begin of the next.
const nearM = 0.001

// joined reports whether b goes on where a, lengthM long, ended.
func joined(a, b *Segment, lengthM float64) bool {
	return a.Line == b.Line && math.Abs(b.StartM-a.StartM-lengthM) < 1 &&
		math.Abs(a.ToXM-b.FromXM) < nearM && math.Abs(a.ToYM-b.FromYM) < nearM
}

// mainDirection is the direction most of the driving has; to and fro are
// the same direction, hence the doubled angle.
func mainDirection(segments []Segment) frame {
	c2, s2 := 0.0, 0.0
	for i := 0; i < len(segments); i += 1 + len(segments)/mostLookedAt {
		s := &segments[i]
		dx, dy := s.ToXM-s.FromXM, s.ToYM-s.FromYM
		if l := math.Sqrt(dx*dx + dy*dy); l > 0 {
			c2, s2 = c2+(dx*dx-dy*dy)/l, s2+2*dx*dy/l
		}
	}
	sin, cos := math.Sincos(math.Atan2(s2, c2) / 2)
	return frame{cos, sin}
}
