package applied

import "math"

// raster gathers mass on cells. Between additions a cell holds by how much it
// differs from the one to its left; finish adds them up.
type raster struct {
	cols, rows int       // of cells; a row holds one number more, for what ends beyond it
	change     []float64 // kg
}

func newRaster(cols, rows int) *raster {
	return &raster{cols: cols, rows: rows, change: make([]float64, (cols+1)*rows)}
}

// point is a position in cells from the corner of the raster.
type point struct{ x, y float64 }

func cross(a, b, c point) float64 { return (b.x-a.x)*(c.y-a.y) - (b.y-a.y)*(c.x-a.x) }

// noArea is the area, in cells, below which a shape counts as having none: its density would be a matter of rounding.
const noArea = 1e-3

// quad lays mass evenly over a quadrilateral, corners in order around it. One
// that folds over itself is laid as its four triangles, a quarter of the mass each: the
// same whichever corner it begins at and in a mirror.
func (r *raster) quad(a, b, c, d point, massKg float64) {
	abc, acd, abd, bcd := cross(a, b, c)/2, cross(a, c, d)/2, cross(a, b, d)/2, cross(b, c, d)/2
	if area := abc + acd; abc*acd > 0 && abd*bcd > 0 && math.Abs(area) > noArea {
		w := massKg / area
		r.edge(a, b, w)
		r.edge(b, c, w)
		r.edge(c, d, w)
		r.edge(d, a, w)
		return
	}
	r.triangle(a, b, c, abc, massKg/4)
	r.triangle(a, c, d, acd, massKg/4)
	r.triangle(a, b, d, abd, massKg/4)
	r.triangle(b, c, d, bcd, massKg/4)
}

func (r *raster) triangle(a, b, c point, area, massKg float64) {
	if math.Abs(area) <= noArea {
		r.drop(point{(a.x + b.x + c.x) / 3, (a.y + b.y + c.y) / 3}, massKg)
		return
	}
	w := massKg / area
	r.edge(a, b, w)
	r.edge(b, c, w)
	r.edge(c, a, w)
}

// drop puts mass into one cell.
func (r *raster) drop(p point, massKg float64) {
	col := min(r.cols-1, max(0, int(p.x)))
	row := min(r.rows-1, max(0, int(p.y)))
	i := row*(r.cols+1) + col
	r.change[i] += massKg
	r.change[i+1] -= massKg
}

// edge adds w per cell of area to all that lies right of the side from a to
// b when it goes down, and takes it away when it goes up: the sides of a shape, counter-clockwise,
// leave w inside and nothing outside.
func (r *raster) edge(a, b point, w float64) {
	if a.y == b.y {
		return
	}
	w = -w
	if a.y > b.y {
		a, b, w = b, a, -w
	}
	slope := (b.x - a.x) / (b.y - a.y)
	x := a.x
	for row := int(a.y); row < r.rows && float64(row) < b.y; row++ {
		y0, y1 := max(a.y, float64(row)), min(b.y, float64(row+1))
		next := b.x
		if y1 < b.y {
			next = a.x + (y1-a.y)*slope
		}
		r.step(r.change[row*(r.cols+1):(row+1)*(r.cols+1)], x, next, w*(y1-y0))
		x = next
	}
}

// step adds a piece of a side within one row: from x0 to x1, d in all.
func (r *raster) step(row []float64, x0, x1, d float64) {
	if x0 > x1 {
		x0, x1 = x1, x0
	}
	first, last := r.col(x0), r.col(x1)
	if first == last {
		part := (x0+x1)/2 - float64(first)
		row[first] += d * (1 - part)
		row[first+1] += d * part
		return
	}
	perCell := d / (x1 - x0)
	for col := first; col <= last; col++ {
		from, to := max(x0, float64(col)), min(x1, float64(col+1))
		piece := perCell * (to - from)
		part := (from+to)/2 - float64(col)
		row[col] += piece * (1 - part)
		row[col+1] += piece * part
	}
}

func (r *raster) col(x float64) int { return min(r.cols-1, max(0, int(x))) }

// finish turns changes into the mass of each cell. What is left of a sum by rounding alone counts as nothing.
func (r *raster) finish() {
	largest := 0.0
	for row := range r.rows {
		sum := 0.0
		cells := r.change[row*(r.cols+1) : (row+1)*(r.cols+1)]
		for i, v := range cells {
			sum += v
			cells[i] = sum
			largest = max(largest, math.Abs(sum))
		}
	}
	for i, v := range r.change {
		if math.Abs(v) < 1e-12*largest {
			r.change[i] = 0
		}
	}
}

func (r *raster) massKg(col, row int) float64 { return r.change[row*(r.cols+1)+col] }
