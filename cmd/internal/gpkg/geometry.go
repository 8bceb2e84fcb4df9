package gpkg

import (
	"encoding/binary"
	"math"

	"hopperbook/schemas"
)

const (
	srs             = 4326
	wkbLittleEndian = 1
	wkbPolygon      = 3
	wkbMultiPolygon = 6
)

// extent is what geometries span, in degrees. Its zero value holds nothing.
type extent struct {
	any                    bool
	minX, minY, maxX, maxY float64
}

func (e *extent) add(p schemas.Position) {
	if !e.any {
		*e = extent{true, p[0], p[1], p[0], p[1]}
		return
	}
	e.minX, e.maxX = math.Min(e.minX, p[0]), math.Max(e.maxX, p[0])
	e.minY, e.maxY = math.Min(e.minY, p[1]), math.Max(e.maxY, p[1])
}

func extentOf(b schemas.Boundary) (e extent) {
	for _, polygon := range b {
		for _, ring := range polygon {
			for _, p := range ring {
				e.add(p)
			}
		}
	}
	return e
}

// blob is a geometry as GeoPackage stores it: header of clause 2.1.3 with an
// envelope of two dimensions, then ISO well-known binary.
func blob(b schemas.Boundary) []byte {
	const flags = 1<<1 | 1 // envelope minx, maxx, miny, maxy; little endian
	e := extentOf(b)
	out := []byte{'G', 'P', 0, flags}
	out = binary.LittleEndian.AppendUint32(out, srs)
	for _, v := range []float64{e.minX, e.maxX, e.minY, e.maxY} {
		out = binary.LittleEndian.AppendUint64(out, math.Float64bits(v))
	}
	out = shape(out, wkbMultiPolygon, len(b))
	for _, polygon := range b {
		out = shape(out, wkbPolygon, len(polygon))
		for _, ring := range polygon {
			out = binary.LittleEndian.AppendUint32(out, uint32(len(ring)))
			for _, p := range ring {
				out = binary.LittleEndian.AppendUint64(out, math.Float64bits(p[0]))
				out = binary.LittleEndian.AppendUint64(out, math.Float64bits(p[1]))
			}
		}
	}
	return out
}

func shape(out []byte, kind uint32, parts int) []byte {
	out = append(out, wkbLittleEndian)
	out = binary.LittleEndian.AppendUint32(out, kind)
	return binary.LittleEndian.AppendUint32(out, uint32(parts))
}
