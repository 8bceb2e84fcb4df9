package applied

import (
	"fmt"
	"math"

	"hopperbook/reconcile/plane"
	"hopperbook/schemas/fault"
	"hopperbook/schemas/unit"
)

// MaxCells is how many cells the box around field and passes may have: 285 MB at work.
const MaxCells = 1 << 24

// The limits of a cell's side, and what 0 means.
const (
	MinCellM     = 0.1
	MaxCellM     = 100
	DefaultCellM = 1
)

// Piece is a straight piece of driving while spreading, on the plane of the
// field. Pieces of one Line that follow each other and meet are one drive.
type Piece struct {
	Line                       int
	FromXM, FromYM, ToXM, ToYM float64
	MassKg                     float64
	Pattern                    int // index into Input.Patterns
}

// Input is one field's work, each machine's pieces in the order they were driven.
type Input struct {
	Pieces    []Piece
	Patterns  []Pattern
	Field     plane.Polygon
	Exclusion plane.Polygon // not to be spread; may reach outside Field; empty: nothing
	CellM     float64       // side of a cell; 0: DefaultCellM
}

// Map is what landed where. Its grid is the box around the field, its corners on whole
// multiples of CellM from the plane's origin.
type Map struct {
	OriginXM, OriginYM float64 // south-west corner of the first cell
	CellM              float64
	Cols, Rows         int
	KgHa               []float64 // row by row from the south, each from the west; 0 outside the target
	Inside             []bool    // the cell's centre lies in the target: the field less its exclusion areas
	ExcludedM2         float64   // cells of the field in exclusion areas
	SpreadKg           float64   // by all pieces
	InFieldKg          float64   // in cells of the target
	ExcludedKg         float64   // in cells of the field in exclusion areas
	OutsideKg          float64   // in all others, counted there
}

// maxSteps bounds the work: a season on one field takes a hundredth of it.
const maxSteps = 2e9

// conservedShare is how exactly mass must be conserved.
const conservedShare = 1e-9

// Lay lays the pieces. It refuses (fault.Input) a field without a boundary,
// numbers that are none, and an extent of more than MaxCells, naming a cell
// size that would do; mass not conserved is fault.Internal. Method, cost and error: see the package comment.
func Lay(in Input) (Map, error) {
	if in.CellM == 0 {
		in.CellM = DefaultCellM
	}
	if err := in.check(); err != nil {
		return Map{}, err
	}
	box, err := in.extent()
	if err != nil {
		return Map{}, err
	}
	r := newRaster(box.cols, box.rows)
	l := newLayer(in, box, r)
	if steps := l.steps(in.Pieces); steps > maxSteps {
		return Map{}, fault.Newf("lay the map", fault.Input, fmt.Sprintf("%d pieces of driving cross about %s cells", len(in.Pieces), unit.Plain(steps, 1)), "choose a larger cell with --cell")
	}
	for from := 0; from < len(in.Pieces); {
		to := from + 1
		for to < len(in.Pieces) && goesOn(in.Pieces[to-1], in.Pieces[to]) {
			to++
		}
		l.run(in.Pieces[from:to])
		from = to
	}
	r.finish()
	m := crop(r, box, in)
	for _, p := range in.Pieces {
		m.SpreadKg += p.MassKg
	}
	return m, m.conserved(in.Pieces)
}

func (m Map) conserved(pieces []Piece) error {
	scale := 0.0
	for _, p := range pieces {
		scale += math.Abs(p.MassKg)
	}
	if off := m.InFieldKg + m.ExcludedKg + m.OutsideKg - m.SpreadKg; !(math.Abs(off) <= conservedShare*scale) {
		return fault.Newf("lay the map", fault.Internal, fmt.Sprintf("mass not conserved: %v kg spread, %v kg on the field, %v kg in exclusion areas, %v kg outside", m.SpreadKg, m.InFieldKg, m.ExcludedKg, m.OutsideKg),
			"this is a fault of the program, please report it with the events of this field")
	}
	return nil
}

func (in Input) check() error {
	const op = "lay the map"
	if !(in.CellM >= MinCellM && in.CellM <= MaxCellM) {
		return fault.Newf(op, fault.Usage, fmt.Sprintf("cells of %v m", in.CellM), fmt.Sprintf("choose a cell between %v and %v m", MinCellM, MaxCellM))
	}
	off := func(v float64) bool { return !(math.Abs(v) <= plane.ReachM) }
	b := in.Field.Bounds()
	if off(b.MinXM) || off(b.MinYM) || off(b.MaxXM) || off(b.MaxYM) {
		return fault.Newf(op, fault.Input, "the field has no boundary, or one that reaches too far", "Check the field's boundary.")
	}
	if e := in.Exclusion.Bounds(); len(in.Exclusion.Parts) > 0 && (off(e.MinXM) || off(e.MinYM) || off(e.MaxXM) || off(e.MaxYM)) {
		return fault.Newf(op, fault.Input, "an exclusion area reaches too far", "Check the field's exclusion areas.")
	}
	for i, p := range in.Pieces {
		switch {
		case off(p.FromXM) || off(p.FromYM) || off(p.ToXM) || off(p.ToYM):
			return fault.Newf(op, fault.Input, fmt.Sprintf("piece %d lies further than %.0f km from the field", i, plane.ReachM/1000), "Map fields far apart one by one.")
		case !(math.Abs(p.MassKg) <= maxPieceKg):
			return fault.Newf(op, fault.Input, fmt.Sprintf("piece %d has a mass of %v kg", i, p.MassKg), "Check the loads and residuals of the field's machines.")
		case p.Pattern < 0 || p.Pattern >= len(in.Patterns) || len(in.Patterns[p.Pattern].atM) == 0:
			return fault.Newf(op, fault.Internal, fmt.Sprintf("piece %d has no pattern", i), "")
		}
	}
	return nil
}

// maxPieceKg is far above what any piece of driving can take, and far below what upsets sums.
const maxPieceKg = 1e9

// extent is a box of cells on the plane.
type extent struct {
	cellM      float64
	col0, row0 int // of the plane: its cell (0, 0) has its corner in the origin
	cols, rows int
}

// extent is the box around field and all bars.
func (in Input) extent() (extent, error) {
	b := in.Field.Bounds()
	for _, p := range in.Pieces {
		reach := in.Patterns[p.Pattern].ReachM()
		b.MinXM, b.MaxXM = min(b.MinXM, p.FromXM-reach, p.ToXM-reach), max(b.MaxXM, p.FromXM+reach, p.ToXM+reach)
		b.MinYM, b.MaxYM = min(b.MinYM, p.FromYM-reach, p.ToYM-reach), max(b.MaxYM, p.FromYM+reach, p.ToYM+reach)
	}
	e := cellsOf(b, in.CellM)
	if cells := float64(e.cols) * float64(e.rows); cells > MaxCells {
		return e, fault.Newf("lay the map", fault.Input, fmt.Sprintf("%d by %d cells of %v m are too many", e.cols, e.rows, in.CellM),
			fmt.Sprintf("choose a larger cell: --cell %.0f would do", math.Ceil(in.CellM*math.Sqrt(cells/MaxCells)*1.02)))
	}
	return e, nil
}

func cellsOf(b plane.Bounds, cellM float64) extent {
	col, row := int(math.Floor(b.MinXM/cellM)), int(math.Floor(b.MinYM/cellM))
	return extent{cellM: cellM, col0: col, row0: row, cols: int(math.Floor(b.MaxXM/cellM)) - col + 1, rows: int(math.Floor(b.MaxYM/cellM)) - row + 1}
}

// crop keeps the field's box and adds up what lies outside the target.
func crop(r *raster, whole extent, in Input) Map {
	e := cellsOf(in.Field.Bounds(), in.CellM)
	m := Map{OriginXM: float64(e.col0) * in.CellM, OriginYM: float64(e.row0) * in.CellM, CellM: in.CellM, Cols: e.cols, Rows: e.rows,
		KgHa: make([]float64, e.cols*e.rows)}
	var excluded []bool
	m.Inside, excluded = in.target(e)
	perCell := in.CellM * in.CellM
	for row := range whole.rows {
		for col := range whole.cols {
			kg := r.massKg(col, row)
			x, y := col+whole.col0-e.col0, row+whole.row0-e.row0
			i := y*e.cols + x
			switch within := x >= 0 && x < e.cols && y >= 0 && y < e.rows; {
			case within && m.Inside[i]:
				m.KgHa[i] = unit.NominalRate(kg, perCell)
				m.InFieldKg += kg
			case within && excluded[i]:
				m.ExcludedKg += kg
				m.ExcludedM2 += perCell
			default:
				m.OutsideKg += kg
			}
		}
	}
	return m
}

// target marks the cells of the field that are to be spread, and those of it
// that are not.
func (in Input) target(e extent) (target, excluded []bool) {
	target, excluded = inside(in.Field, e), make([]bool, e.cols*e.rows)
	if len(in.Exclusion.Parts) == 0 {
		return target, excluded
	}
	for i, within := range inside(in.Exclusion, e) {
		if within && target[i] {
			target[i], excluded[i] = false, true
		}
	}
	return target, excluded
}
