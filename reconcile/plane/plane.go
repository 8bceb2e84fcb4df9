package plane

import "math"

// WGS84 (NGA.STND.0036): equatorial radius and flattening.
const (
	equatorM   = 6378137.0
	flattening = 1 / 298.257223563

	e2  = flattening * (2 - flattening) // first eccentricity squared
	ep2 = e2 / (1 - e2)                 // second eccentricity squared
	n1  = flattening / (2 - flattening) // third flattening
	n2  = n1 * n1

	arcM = equatorM / (1 + n1)
	arc0 = 1 + n2/4 + n2*n2/64
	arc2 = -3.0 / 2 * (n1 - n1*n2/8)
	arc4 = 15.0 / 16 * (n2 - n2*n2/4)
	arc6 = -35.0 / 48 * n1 * n2
	arc8 = 315.0 / 512 * n2 * n2

	rad = math.Pi / 180
)

// ReachM is how far from its origin a plane's stated errors hold; boundaries
// that reach further are refused.
const ReachM = 100e3

// Plane is a transverse Mercator plane with its own origin: x east, y north.
// The zero value is the plane at latitude 0, longitude 0.
type Plane struct {
	latDeg, lonDeg float64
	originArcM     float64
}

// At is the plane with its origin at the given position. A position that is no
// position (NaN) gives a plane that answers NaN.
func At(latDeg, lonDeg float64) Plane {
	sin, cos := math.Sincos(latDeg * rad)
	return Plane{latDeg: latDeg, lonDeg: lonDeg, originArcM: meridianArcM(latDeg*rad, sin, cos)}
}

// Origin is the position of (0, 0).
func (p Plane) Origin() (latDeg, lonDeg float64) { return p.latDeg, p.lonDeg }

// Forward gives the plane coordinates of a position. Error under 1 mm within
// ReachM and latitude 70; see the package comment for what that does to areas.
func (p Plane) Forward(latDeg, lonDeg float64) (xM, yM float64) {
	phi := latDeg * rad
	sin, cos := math.Sincos(phi)
	a := WrapDeg(lonDeg-p.lonDeg) * rad * cos
	a2 := a * a
	tan := sin / cos
	t := tan * tan
	c := ep2 * cos * cos
	nu := equatorM / math.Sqrt(1-e2*sin*sin)
	xM = nu * a * (1 + a2/6*((1-t+c)+a2/20*(5-18*t+t*t+72*c-58*ep2)))
	yM = meridianArcM(phi, sin, cos) - p.originArcM +
		nu*tan*a2/2*(1+a2/12*((5-t+9*c+4*c*c)+a2/30*(61-58*t+t*t+600*c-330*ep2)))
	return xM, yM
}

// Inverse gives the position of plane coordinates: Newton steps on Forward until
// they are below a nanometre, so it undoes Forward to rounding. The longitude
// lies in [-180, 180]. Meant for the same reach as Forward.
func (p Plane) Inverse(xM, yM float64) (latDeg, lonDeg float64) {
	latDeg, lonDeg = p.latDeg, p.lonDeg
	for range 20 {
		x, y := p.Forward(latDeg, lonDeg)
		dx, dy := xM-x, yM-y
		mPerLat, mPerLon := metresPerDegree(latDeg)
		latDeg += dy / mPerLat
		lonDeg += dx / mPerLon
		if math.Abs(dx)+math.Abs(dy) < 1e-9 {
			break
		}
	}
	return latDeg, WrapDeg(lonDeg)
}

// DistanceM is the distance of two neighbouring positions (Gauss mid-latitude
// formula). Relative error under 1e-7 up to 2 km and latitude 70, under 1e-9 up to 100 m.
func DistanceM(lat1Deg, lon1Deg, lat2Deg, lon2Deg float64) float64 {
	mPerLat, mPerLon := metresPerDegree((lat1Deg + lat2Deg) / 2)
	north := (lat2Deg - lat1Deg) * mPerLat
	east := WrapDeg(lon2Deg-lon1Deg) * mPerLon
	return math.Sqrt(north*north + east*east)
}

// WrapDeg brings a longitude or a difference of longitudes into [-180, 180].
func WrapDeg(deg float64) float64 {
	if deg >= -180 && deg <= 180 {
		return deg
	}
	return math.Remainder(deg, 360)
}

// metresPerDegree gives the radii of curvature M and N cos(lat) as metres a degree.
func metresPerDegree(latDeg float64) (lat, lon float64) {
	sin, cos := math.Sincos(latDeg * rad)
	w2 := 1 - e2*sin*sin
	nu := equatorM / math.Sqrt(w2)
	return nu * (1 - e2) / w2 * rad, nu * cos * rad
}

// meridianArcM is the distance from the equator along a meridian; sin and cos
// are those of phi. Multiple angles come from recurrences: cheaper than four sines.
func meridianArcM(phi, sin, cos float64) float64 {
	s2, c2 := 2*sin*cos, cos*cos-sin*sin
	s4 := 2 * s2 * c2
	s6 := 2*c2*s4 - s2
	s8 := 2*c2*s6 - s4
	return arcM * (arc0*phi + arc2*s2 + arc4*s4 + arc6*s6 + arc8*s8)
}
