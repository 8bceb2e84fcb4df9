package render

// lattice is cells with a label each, row by row; label 0 belongs to no
// region.
type lattice struct {
	cols, rows int
	label      []uint8
}

// corner is a corner of cells.
type corner struct{ col, row int32 }

// region is cells of one label that hang together by their sides: the ring
// around it counter-clockwise, those around its holes clockwise. No ring meets
// itself; rings of a region may touch in corners. Corners on a straight line are left out.
type region struct {
	label uint8
	cells int
	outer []corner
	holes [][]corner
}

// The sides of a cell, in the order they are walked counter-clockwise, and the
// direction in which each is walked.
var sideGoes = [4][2]int{{1, 0}, {0, 1}, {-1, 0}, {0, -1}} // bottom, right, top, left

func (l lattice) at(col, row int) uint8 {
	if col < 0 || row < 0 || col >= l.cols || row >= l.rows {
		return 0
	}
	return l.label[row*l.cols+col]
}

// beyond is the cell across a side.
func beyond(col, row int, side int) (int, int) {
	d := sideGoes[(side+3)%4]
	return col + d[0], row + d[1]
}

// border reports whether a side of a cell is one of its region's.
func (l lattice) border(col, row, side int) bool {
	c, r := beyond(col, row, side)
	return l.at(c, r) != l.at(col, row)
}

// regions gives all regions, in the order of their first cell. O(cells).
func (l lattice) regions() []region {
	member, all := l.gather()
	walked := make([]uint8, len(l.label)) // a bit a side
	for row := range l.rows {
		for col := range l.cols {
			i := row*l.cols + col
			if l.label[i] == 0 {
				continue
			}
			for side := range 4 {
				if walked[i]&(1<<side) != 0 || !l.border(col, row, side) {
					continue
				}
				r := &all[member[i]]
				for _, ring := range loops(l.walk(col, row, side, walked)) {
					if doubleArea(ring) > 0 {
						r.outer = ring
					} else {
						r.holes = append(r.holes, ring)
					}
				}
			}
		}
	}
	return all
}

// gather numbers the regions and says for every cell to which it belongs.
func (l lattice) gather() (member []int32, all []region) {
	member = make([]int32, len(l.label))
	for i := range member {
		member[i] = -1
	}
	var open []int32
	for first, label := range l.label {
		if label == 0 || member[first] >= 0 {
			continue
		}
		r := region{label: label}
		member[first] = int32(len(all))
		open = append(open[:0], int32(first))
		for len(open) > 0 {
			i := int(open[len(open)-1])
			open = open[:len(open)-1]
			r.cells++
			for side := range 4 {
				c, w := beyond(i%l.cols, i/l.cols, side)
				if l.at(c, w) == label && member[w*l.cols+c] < 0 {
					member[w*l.cols+c] = int32(len(all))
					open = append(open, int32(w*l.cols+c))
				}
			}
		}
		all = append(all, r)
	}
	return member, all
}

// walk goes once around, the region on the left, and gives the corners where
// it turned. Where two cells meet in a corner only it stays with its own.
func (l lattice) walk(col, row, side int, walked []uint8) (turns []corner) {
	for walked[row*l.cols+col]&(1<<side) == 0 {
		walked[row*l.cols+col] |= 1 << side
		end := corner{int32(col), int32(row)}
		if side == 0 || side == 1 {
			end.col++
		}
		if side == 1 || side == 2 {
			end.row++
		}
		before := side
		if next := (side + 1) % 4; l.border(col, row, next) {
			side = next
		} else {
			col, row = col+sideGoes[side][0], row+sideGoes[side][1]
			if !l.border(col, row, side) {
				col, row = beyond(col, row, side)
				side = (side + 3) % 4
			}
		}
		if side != before {
			turns = append(turns, end)
		}
	}
	return turns
}

// loops cuts a walk into rings where it comes to a corner a second time.
func loops(turns []corner) (rings [][]corner) {
	at := make(map[corner]int, len(turns))
	var path []corner
	for _, c := range turns {
		if from, ok := at[c]; ok {
			ring := append([]corner(nil), path[from:]...)
			rings = append(rings, ring)
			for _, gone := range ring[1:] {
				delete(at, gone)
			}
			path = path[:from+1]
			continue
		}
		at[c] = len(path)
		path = append(path, c)
	}
	return append(rings, path)
}

// doubleArea is twice the signed area, counter-clockwise positive.
func doubleArea(ring []corner) int64 {
	sum := int64(0)
	for i, a := range ring {
		b := ring[(i+1)%len(ring)]
		sum += int64(a.col)*int64(b.row) - int64(b.col)*int64(a.row)
	}
	return sum
}
