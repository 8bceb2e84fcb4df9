package reconcile

import (
	"math"

	"github.com/peterstace/simplefeatures/geom"

	"hopperbook/reconcile/plane"
)

// shapeFault says in words what is wrong with the shape of a boundary by the
// rules of OGC Simple Features (rings that cross themselves or each other,
// holes outside their ring, parts that overlap); "" when nothing is. Such a
// boundary is used all the same, by the even-odd rule.
func shapeFault(p plane.Polygon) string {
	var parts []geom.Polygon
	for _, part := range p.Parts {
		rings := []geom.LineString{lineString(part.Outer)}
		for _, hole := range part.Holes {
			rings = append(rings, lineString(hole))
		}
		parts = append(parts, geom.NewPolygon(rings))
	}
	if err := geom.NewMultiPolygon(parts).Validate(); err != nil {
		return err.Error()
	}
	return ""
}

func lineString(r plane.Ring) geom.LineString {
	xy := make([]float64, 0, 2*len(r)+2)
	for _, p := range append(r[:len(r):len(r)], r[0]) {
		xy = append(xy, p.XM, p.YM)
	}
	return geom.NewLineString(geom.NewSequence(xy, geom.DimXY))
}

// boundaryM2 is a boundary's area on the ellipsoid; where its rings cross, what
// the even-odd rule gives on the plane, as coverage counted it.
func boundaryM2(b plane.Boundary, evenOddM2 float64) float64 {
	if math.Abs(b.Polygon.AreaM2()-evenOddM2) > 1e-5*evenOddM2+0.01 {
		return evenOddM2
	}
	return b.AreaM2()
}
