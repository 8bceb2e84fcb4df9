package reconcile

import (
	"math"
	"slices"
	"sort"

	"hopperbook/reconcile/plane"
	"hopperbook/reconcile/track"
	"hopperbook/schemas"
)

// groundSeen is what the ground says of the area that one period logged.
type groundSeen struct {
	loggedM float64   // driven with spreading logged
	nowhere float64   // of it outside every field
	againM  float64   // of it on the line of an earlier pass
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
	i := sort.Search(len(r.grounds), func(i int) bool { return r.grounds[i].ID >= id })
	if i == len(r.grounds) || r.grounds[i].ID != id {
		return nil
	}
	return &r.grounds[i].Boundary.Plane
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
	var near []*mark
	for i := range marks {
		k := &marks[i]
		near = near[:0]
		c := cellOf(k)
		for x := c.x - 1; x <= c.x+1; x++ {
			for y := c.y - 1; y <= c.y+1; y++ {
				for _, j := range grid[cell{x, y}] {
					near = append(near, &marks[j])
				}
			}
		}
		out[k.period].add(k, near)
	}
}

// add takes one mark, with the spreading ones around it.
func (g *groundSeen) add(k *mark, near []*mark) {
	bare, again := true, false
	left, right := math.Inf(1), math.Inf(1)
	for _, o := range near {
		ox, oy := o.x-k.x, o.y-k.y
		distance := math.Hypot(ox, oy) / k.boutM
		bare = bare && distance > underSwath
		if d := k.milli - o.milli; d < apartMilli && d > -apartMilli {
			continue
		}
		again = again || distance < sameLine && o.milli < k.milli
		along, across := (ox*k.dx+oy*k.dy)/k.boutM, (oy*k.dx-ox*k.dy)/k.boutM
		if math.Abs(k.dx*o.dx+k.dy*o.dy) < parallel || math.Abs(along) > 0.5 || math.Abs(across) < nextFrom || math.Abs(across) > nextTo {
			continue
		}
		if across > 0 {
			left = min(left, across)
		} else {
			right = min(right, -across)
		}
	}
	switch {
	case !k.on && bare:
		g.bareM += k.lengthM
	case k.on && again:
		g.againM += k.lengthM
	}
	for _, w := range []float64{left, right} {
		if k.on && w < nextTo {
			g.widths = append(g.widths, w)
		}
	}
}
