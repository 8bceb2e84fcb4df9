package plane

import (
	"fmt"
	"math"

	"hopperbook/schemas/fault"
)

// Boundary is a piece of ground given in degrees, laid on a plane of its own
// whose origin is the middle of its box. The zero value is empty.
type Boundary struct {
	Plane   Plane
	Polygon Polygon
	// Half the box in degrees about the plane's origin, widened so that sides
	// bulging north of their ends stay inside.
	halfLatDeg, halfLonDeg float64
	sides                  sides // of Polygon
}

// bulgeDeg is more than a straight side on the plane can stand out of the box of its
// ends: the second-order term w² sin(lat) cos(lat) / 8 rad, and a metre.
func (b box) bulgeDeg() float64 {
	w, h := (b.maxDLon-b.minDLon)*rad, (b.maxLat-b.minLat)*rad
	return (w*w+h*h)/4/rad + 1e-5
}

// NewBoundary lays rings in degrees on a plane: parts, rings (the first the outer
// one), positions as GeoJSON writes them (longitude, latitude), closed or
// not, in either direction, over the antimeridian too. It refuses no rings, a
// ring of fewer than three different positions, positions that are none, latitudes
// beyond 85 degrees and what reaches further than ReachM. O(n log n).
func NewBoundary(parts [][][][2]float64) (Boundary, error) {
	const op = "lay a boundary on a plane"
	box, err := degreeBox(parts)
	if err != nil {
		return Boundary{}, fault.New(op, fault.Input, err, "Check the rings of the field's boundary: longitude, latitude in degrees.")
	}
	b := Boundary{
		Plane:      At((box.minLat+box.maxLat)/2, WrapDeg(box.lon0+(box.minDLon+box.maxDLon)/2)),
		halfLatDeg: (box.maxLat-box.minLat)/2 + box.bulgeDeg(),
		halfLonDeg: (box.maxDLon-box.minDLon)/2 + box.bulgeDeg(),
	}
	var within bool
	if b.Polygon, within = b.Plane.lay(parts); !within {
		return Boundary{}, fault.Newf(op, fault.Input, fmt.Sprintf("it reaches further than %.0f km from its middle", ReachM/1000),
			"Split it into fields, or look for a position that is far off.")
	}
	b.sides = newSides(b.Polygon)
	return b, nil
}

// Lay lays rings in degrees on a plane that is there already: parts, rings and
// what it refuses as in NewBoundary, the reach counted from the plane's origin. O(n).
func (p Plane) Lay(parts [][][][2]float64) (Polygon, error) {
	const op = "lay an area on the field's plane"
	if _, err := degreeBox(parts); err != nil {
		return Polygon{}, fault.New(op, fault.Input, err, "Check the rings of the area: longitude, latitude in degrees.")
	}
	polygon, within := p.lay(parts)
	if !within {
		return Polygon{}, fault.Newf(op, fault.Input, fmt.Sprintf("it reaches further than %.0f km from the field's middle", ReachM/1000),
			"Look for a position that is far off; longitude stands first in GeoJSON.")
	}
	return polygon, nil
}

func (p Plane) lay(parts [][][][2]float64) (polygon Polygon, within bool) {
	for _, rings := range parts {
		var part Part
		for i, ring := range rings {
			if i == 0 {
				part.Outer = p.project(ring)
			} else {
				part.Holes = append(part.Holes, p.project(ring))
			}
		}
		polygon.Parts = append(polygon.Parts, part)
	}
	b := polygon.Bounds()
	return polygon, b.MaxXM <= ReachM && b.MinXM >= -ReachM && b.MaxYM <= ReachM && b.MinYM >= -ReachM
}

// BoxDeg is the box MayMeet tests, as its middle and half its height and width,
// for an index over many boundaries. The middle's longitude lies in [-180, 180]; the box may
// reach over the antimeridian.
func (b Boundary) BoxDeg() (latDeg, lonDeg, halfLatDeg, halfLonDeg float64) {
	return b.Plane.latDeg, b.Plane.lonDeg, b.halfLatDeg, b.halfLonDeg
}

// MayMeet reports whether a short line between two positions can touch the
// boundary's box: a cheap first test, never false for a line that does.
func (b Boundary) MayMeet(lat1Deg, lon1Deg, lat2Deg, lon2Deg float64) bool {
	lat1, lat2 := lat1Deg-b.Plane.latDeg, lat2Deg-b.Plane.latDeg
	if min(lat1, lat2) > b.halfLatDeg || max(lat1, lat2) < -b.halfLatDeg {
		return false
	}
	lon1 := WrapDeg(lon1Deg - b.Plane.lonDeg)
	lon2 := lon1 + WrapDeg(lon2Deg-lon1Deg)
	return min(lon1, lon2) <= b.halfLonDeg && max(lon1, lon2) >= -b.halfLonDeg
}

func (p Plane) project(ring [][2]float64) Ring {
	r := make(Ring, 0, len(ring))
	for i, at := range ring {
		if i == len(ring)-1 && at == ring[0] {
			break
		}
		x, y := p.Forward(at[1], at[0])
		r = append(r, Point{x, y})
	}
	return r
}

// box is an extent in degrees; longitudes are differences from lon0.
type box struct{ lon0, minLat, maxLat, minDLon, maxDLon float64 }

func degreeBox(parts [][][][2]float64) (box, error) {
	var b box
	first := true
	for _, rings := range parts {
		if len(rings) == 0 {
			return b, fmt.Errorf("a part has no ring")
		}
		for _, ring := range rings {
			if err := checkRing(ring); err != nil {
				return b, err
			}
			for _, p := range ring {
				if first {
					b, first = box{lon0: p[0], minLat: p[1], maxLat: p[1]}, false
				}
				d := WrapDeg(p[0] - b.lon0)
				b.minLat, b.maxLat = min(b.minLat, p[1]), max(b.maxLat, p[1])
				b.minDLon, b.maxDLon = min(b.minDLon, d), max(b.maxDLon, d)
			}
		}
	}
	if first {
		return b, fmt.Errorf("there is no ring")
	}
	return b, nil
}

func checkRing(ring [][2]float64) error {
	different := 0
	for i, p := range ring {
		if !(math.Abs(p[1]) <= 85 && math.Abs(p[0]) <= 360) {
			return fmt.Errorf("position %d (longitude %v, latitude %v) is outside ±360 and ±85 degrees", i, p[0], p[1])
		}
		if i == 0 || (p != ring[i-1] && p != ring[0]) {
			different++
		}
	}
	if different < 3 {
		return fmt.Errorf("a ring has %d different positions, it needs three", different)
	}
	return nil
}
