package tablet

import (
	"math"

	"hopperbook/schemas"
)

// WGS84 (NIMA TR8350.2).
const (
	wgsSemiMajorM = 6378137.0
	wgsFlattening = 1 / 298.257223563
)

// metresPerDegree is how long a degree of latitude and of longitude is at a
// latitude of the ellipsoid.
func metresPerDegree(latDeg float64) (latM, lonM float64) {
	const e2 = wgsFlattening * (2 - wgsFlattening)
	sin, cos := math.Sincos(latDeg * math.Pi / 180)
	w2 := 1 - e2*sin*sin
	across := wgsSemiMajorM / math.Sqrt(w2)
	return across * (1 - e2) / w2 * math.Pi / 180, across * cos * math.Pi / 180
}

// place is a position in degrees and its flat surroundings: x east, y north in
// metres. A distance from it is right within 1e-6 up to 2 km and within 1 % up
// to 100 km and latitude 60 (the tests say so): enough to know what is near.
type place struct {
	latDeg, lonDeg float64
	latM, lonM     float64 // a degree
}

func placeAt(latDeg, lonDeg float64) place {
	latM, lonM := metresPerDegree(latDeg)
	return place{latDeg, lonDeg, latM, lonM}
}

func (p place) xy(lonDeg, latDeg float64) (x, y float64) {
	return wrapDeg(lonDeg-p.lonDeg) * p.lonM, (latDeg - p.latDeg) * p.latM
}

// wrapDeg brings a difference of longitudes into [-180, 180].
func wrapDeg(deg float64) float64 { return math.Remainder(deg, 360) }

// distanceM is the distance of two neighbouring positions, by the middle
// latitude.
func distanceM(lat1, lon1, lat2, lon2 float64) float64 {
	latM, lonM := metresPerDegree((lat1 + lat2) / 2)
	return math.Hypot(wrapDeg(lon2-lon1)*lonM, (lat2-lat1)*latM)
}

// awayM is how far a place is from a boundary: 0 inside, and outside or in a
// hole the distance to the nearest side. An empty boundary is infinitely far.
// O(sides).
func (p place) awayM(b schemas.Boundary) float64 {
	best, inside := math.Inf(1), false
	for _, rings := range b {
		for _, ring := range rings {
			for i := 1; i < len(ring); i++ {
				x1, y1 := p.xy(ring[i-1][0], ring[i-1][1])
				x2, y2 := p.xy(ring[i][0], ring[i][1])
				best = min(best, fromOrigin(x1, y1, x2, y2))
				if (y1 > 0) != (y2 > 0) && x1+(0-y1)/(y2-y1)*(x2-x1) > 0 {
					inside = !inside
				}
			}
		}
	}
	if inside {
		return 0
	}
	return best
}

// fromOrigin is the distance of (0, 0) from a side.
func fromOrigin(x1, y1, x2, y2 float64) float64 {
	dx, dy := x2-x1, y2-y1
	t := 0.0
	if d := dx*dx + dy*dy; d > 0 {
		t = min(1, max(0, -(x1*dx+y1*dy)/d))
	}
	return math.Hypot(x1+t*dx, y1+t*dy)
}

// areaM2 is a boundary's area without its holes, on the plane of its first
// position: within 1e-4 for fields (the documents have the exact one).
func areaM2(b schemas.Boundary) float64 {
	sum := 0.0
	for _, rings := range b {
		for r, ring := range rings {
			a := math.Abs(ringM2(ring))
			if r > 0 {
				a = -a
			}
			sum += a
		}
	}
	return sum
}

func ringM2(ring []schemas.Position) float64 {
	if len(ring) == 0 {
		return 0
	}
	low, high := ring[0][1], ring[0][1]
	for _, c := range ring {
		low, high = min(low, c[1]), max(high, c[1])
	}
	middle := placeAt((low+high)/2, ring[0][0])
	sum := 0.0
	for i := 1; i < len(ring); i++ {
		x1, y1 := middle.xy(ring[i-1][0], ring[i-1][1])
		x2, y2 := middle.xy(ring[i][0], ring[i][1])
		sum += x1*y2 - x2*y1
	}
	return sum / 2
}

// box is the smallest box around a boundary, longitudes as they stand.
type box struct{ west, east, south, north float64 }

func boxOf(b schemas.Boundary) box {
	out := box{math.Inf(1), math.Inf(-1), math.Inf(1), math.Inf(-1)}
	for _, rings := range b {
		for _, ring := range rings {
			for _, c := range ring {
				out.west, out.east = min(out.west, c[0]), max(out.east, c[0])
				out.south, out.north = min(out.south, c[1]), max(out.north, c[1])
			}
		}
	}
	return out
}

// mayHold is false only where the boundary cannot hold the position. A box
// wider than half the globe crosses the antimeridian and holds any longitude.
func (b box) mayHold(latDeg, lonDeg float64) bool {
	return latDeg >= b.south && latDeg <= b.north && (b.east-b.west > 180 || lonDeg >= b.west && lonDeg <= b.east)
}
