package season

import "math"

// earth lays the season's plane on the WGS84 ellipsoid: a point of the plane
// that touches it at the origin is dropped along the ellipsoid's normal.
// Lengths are right within d²/R² at d metres from the origin: 2.5 ppm at 10 km.
// WGS84: NGA.STND.0036.
type earth struct {
	origin, east, north [3]float64
}

const (
	equatorM   = 6378137.0
	flattening = 1 / 298.257223563
	ecc2       = flattening * (2 - flattening)
	rad        = math.Pi / 180
)

func earthAt(latDeg, lonDeg float64) earth {
	sinLat, cosLat := math.Sincos(latDeg * rad)
	sinLon, cosLon := math.Sincos(lonDeg * rad)
	nu := equatorM / math.Sqrt(1-ecc2*sinLat*sinLat)
	return earth{
		origin: [3]float64{nu * cosLat * cosLon, nu * cosLat * sinLon, nu * (1 - ecc2) * sinLat},
		east:   [3]float64{-sinLon, cosLon, 0},
		north:  [3]float64{-sinLat * cosLon, -sinLat * sinLon, cosLat},
	}
}

// position is the latitude and longitude of a point of the plane, rounded to
// 1e-8 degrees (a millimetre). Fixed-point steps on the geocentric latitude
// converge by ecc2 each; five leave less than that.
func (e earth) position(p pt) (latDeg, lonDeg float64) {
	var c [3]float64
	for i := range c {
		c[i] = e.origin[i] + p.x*e.east[i] + p.y*e.north[i]
	}
	r := math.Hypot(c[0], c[1])
	sin, cos := c[2]/(1-ecc2), r
	for range 5 {
		l := math.Hypot(sin, cos)
		s := sin / l
		nu := equatorM / math.Sqrt(1-ecc2*s*s)
		sin = c[2] + ecc2*nu*s
	}
	return round(math.Atan2(sin, cos)/rad, 1e8), round(math.Atan2(c[1], c[0])/rad, 1e8)
}

func round(v, parts float64) float64 { return math.Round(v*parts) / parts }
