package reconcile

import (
	"math"
	"slices"

	"hopperbook/reconcile/plane"
	"hopperbook/reconcile/track"
	"hopperbook/schemas"
)

// groundSeen is what the ground says of the area that one period logged.
type groundSeen struct {
	loggedM float64   // driven with spreading logged
	nowhere float64   // of it outside every field
	againM  float64   // of it on ground that another pass spread
	bareM   float64   // driven inside a field without spreading logged where no swath lies
	widths  []float64 // distance of neighbouring driving lines / bout width
}

const (
	apartMilli    = 60_000 // passes further apart in time are two passes
	sameLine      = 0.45   // of the bout width: nearer than that a line is driven again
	nextFrom      = 0.4    // of the bout width: the neighbouring line lies between these
	nextTo        = 1.7
	underSwath    = 0.6  // of the bout width: further from every line the ground is bare
	parallel      = 0.97 // cosine of the angle between neighbouring lines
	leastWidths   = 10   // places that must agree on a distance of lines
	mostlyNowhere = 0.5  // of a machine's driving: beyond it the boundaries are missing, not the switch wrong
)

// mark is a piece of driving, thinned to half a bout width, on a field's plane.
type mark struct {
	x, y, dx, dy float64 // m; direction of driving, a unit vector
	milli        int64
	lengthM      float64
	boutM        float64
	on           bool
	line         bool // lies beside another line, as the driving pattern has it
	period       int
}

// sumGround joins the periods of a balance interval: how far driving lines lie
// apart beside the bout width, and the distance truly spread beside the logged.
func sumGround(seen []groundSeen, periods []int) (width float64, known bool, onOff float64) {
	var sum groundSeen
	for _, p := range periods {
		g := &seen[p]
		sum.loggedM += g.loggedM
		sum.nowhere += g.nowhere
		sum.againM += g.againM
		sum.bareM += g.bareM
		sum.widths = append(sum.widths, g.widths...)
	}
	if known = len(sum.widths) >= leastWidths; known {
		slices.Sort(sum.widths)
		width = sum.widths[len(sum.widths)/2] - 1
	}
	if sum.loggedM > 0 {
		onOff = (sum.bareM - sum.againM - sum.nowhere) / sum.loggedM
	}
	return width, known, max(-1, min(1, onOff))
}

// readGround looks at all that a machine drove, field by field. O(n) for n
// segments.
func (m *machine) readGround(reg *registers) []groundSeen {
	out := make([]groundSeen, len(m.periods))
	byField := map[schemas.FieldID][]mark{}
	var logged, nowhere float64
	for p, period := range m.periods {
		for _, s := range period.segments {
			logged += s.LengthM
			out[p].loggedM += s.LengthM
			if s.Field == "" {
				nowhere += s.LengthM
				out[p].nowhere += s.LengthM
			}
		}
		m.thin(reg, period.segments, byField)
	}
	m.thin(reg, m.idle, byField)
	if nowhere > mostlyNowhere*logged {
		for p := range out {
			out[p].nowhere = 0
		}
	}
	for _, f := range sortedKeys(byField) {
		readField(byField[f], out)
	}
	return out
}

// thin adds a mark every half bout width.
func (m *machine) thin(reg *registers, segments []track.Segment, byField map[schemas.FieldID][]mark) {
	var field schemas.FieldID
	var on *plane.Plane
	var since float64
	for i := range segments {
		s := &segments[i]
		if s.Field != field || i > 0 && s.Line != segments[i-1].Line {
			field, on, since = s.Field, reg.planeOf(s.Field), 0
		}
		boutM := s.BoutWidthM
		if since += s.LengthM; on == nil || !(boutM > 0) || since < boutM/2 {
			continue
		}
		fx, fy := on.Forward(s.FromLatDeg, s.FromLonDeg)
		x, y := on.Forward(s.ToLatDeg, s.ToLonDeg)
		length := math.Hypot(x-fx, y-fy)
		if length == 0 {
			continue
		}
		byField[field] = append(byField[field], mark{x: x, y: y, dx: (x - fx) / length, dy: (y - fy) / length, milli: s.ToMilli,
			lengthM: since, boutM: boutM, on: s.Spreading, period: m.periodAt(s.ToMilli)})
		since = 0
	}
}

// planeOf is the plane of a field; nil outside fields.
func (r *registers) planeOf(id schemas.FieldID) *plane.Plane {
	if id == "" {
		return nil
	}
	ground := r.ground(id)
	return &ground.Boundary.Plane
}

// readField compares every mark with those near it.
func readField(marks []mark, out []groundSeen) {
	var cellM float64
	for _, k := range marks {
		cellM = max(cellM, nextTo*k.boutM)
	}
	type cell struct{ x, y int }
	grid := map[cell][]int{}
	cellOf := func(k *mark) cell { return cell{int(math.Floor(k.x / cellM)), int(math.Floor(k.y / cellM))} }
	for i := range marks {
		if marks[i].on {
			c := cellOf(&marks[i])
			grid[c] = append(grid[c], i)
		}
	}
	near := func(k *mark, each func(*mark)) {
		c := cellOf(k)
		for x := c.x - 1; x <= c.x+1; x++ {
			for y := c.y - 1; y <= c.y+1; y++ {
				for _, j := range grid[cell{x, y}] {
					each(&marks[j])
				}
			}
		}
	}
	for i := range marks {
		k := &marks[i]
		if k.on {
			k.besideLines(near, &out[k.period])
		}
	}
	for i := range marks { // now that every mark knows whether it is on a line
		k := &marks[i]
		out[k.period].count(k, near)
	}
}

// nearby gives the spreading marks near one.
type nearby func(k *mark, each func(*mark))

// besideLines finds how far the lines on both sides lie, and so whether this
// is a line of the pattern.
func (k *mark) besideLines(near nearby, g *groundSeen) {
	left, right := math.Inf(1), math.Inf(1)
	near(k, func(o *mark) {
		if k.samePass(o) || math.Abs(k.dx*o.dx+k.dy*o.dy) < parallel {
			return
		}
		ox, oy := (o.x-k.x)/k.boutM, (o.y-k.y)/k.boutM
		along, across := ox*k.dx+oy*k.dy, oy*k.dx-ox*k.dy
		switch off := math.Abs(across); {
		case math.Abs(along) > 0.5 || off < nextFrom || off > nextTo:
		case across > 0:
			left = min(left, off)
		default:
			right = min(right, off)
		}
	})
	for _, w := range []float64{left, right} {
		if w <= nextTo {
			g.widths = append(g.widths, w)
			k.line = true
		}
	}
}

// count tells whether the ground under a mark is bare, or was spread by another
// pass. Of two passes over it the one that is no line of the pattern was not
// spreading, of equals the later one.
func (g *groundSeen) count(k *mark, near nearby) {
	bare, again := true, false
	near(k, func(o *mark) {
		distance := math.Hypot(o.x-k.x, o.y-k.y) / k.boutM
		bare = bare && distance > underSwath
		if distance < sameLine && !k.samePass(o) {
			again = again || o.line && !k.line || o.line == k.line && o.milli < k.milli
		}
	})
	switch {
	case !k.on && bare:
		g.bareM += k.lengthM
	case k.on && again:
		g.againM += k.lengthM
	}
}

func (k *mark) samePass(o *mark) bool {
	d := k.milli - o.milli
	return d < apartMilli && d > -apartMilli
}
