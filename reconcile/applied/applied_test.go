package applied

import (
	"math"
	"testing"

	"hopperbook/reconcile/plane"
	"hopperbook/schemas"
	"hopperbook/schemas/fault"
)

func rect(x0, y0, x1, y1 float64) plane.Polygon {
	return plane.Polygon{Parts: []plane.Part{{Outer: plane.Ring{{XM: x0, YM: y0}, {XM: x1, YM: y0}, {XM: x1, YM: y1}, {XM: x0, YM: y1}}}}}
}

func even(t testing.TB, widthM float64) Pattern {
	t.Helper()
	p, err := Even(widthM)
	if err != nil {
		t.Fatal(err)
	}
	return p
}

func trays(t testing.TB, spacingM float64, massesG ...float64) Pattern {
	t.Helper()
	p, err := FromTrays(schemas.TestTray{TrayTest: "T1", TraySpacingM: spacingM, TrayWidthM: 0.5, TrayLengthM: 0.5, MassesG: massesG})
	if err != nil {
		t.Fatal(err)
	}
	return p
}

func lay(t testing.TB, in Input) Map {
	t.Helper()
	m, err := Lay(in)
	if err != nil {
		t.Fatal(err)
	}
	return m
}

// at is the rate of the cell that holds the position.
func (m Map) at(xM, yM float64) float64 {
	return m.KgHa[int((yM-m.OriginYM)/m.CellM)*m.Cols+int((xM-m.OriginXM)/m.CellM)]
}

func near(a, b, tol float64) bool { return math.Abs(a-b) <= tol }

// One pass north at x = 20 of 200 kg over 100 m, 2 kg/m: a cell gets its share
// of the pattern per metre x 2 kg/m x 10 000 m2/ha.
func TestOnePassHasTheKnownProfile(t *testing.T) {
	field := rect(0, 0, 40, 100)
	up, down := Piece{FromXM: 20, FromYM: 0, ToXM: 20, ToYM: 100, MassKg: 200}, Piece{FromXM: 20, FromYM: 100, ToXM: 20, ToYM: 0, MassKg: 200}
	// A trapezoid: trays every 4 m, the outermost middles 4 m from the middle;
	// flat 1/12 per metre between -4 and 4, falling to 0 at -8 and 8.
	trapezoid := trays(t, 4, 30, 30, 30)
	// Only the left tray caught: a triangle about 4 m to the left, from 8 m left to the middle.
	left := trays(t, 4, 30, 0, 0)
	const flat = 20000.0 / 12
	for _, r := range []struct {
		name    string
		piece   Piece
		pattern Pattern
		xM      float64 // middle of a cell
		want    float64
	}{
		{"even inside", up, even(t, 20), 10.5, 1000},
		{"even inside", up, even(t, 20), 29.5, 1000},
		{"even outside", up, even(t, 20), 9.5, 0},
		{"even outside", up, even(t, 20), 30.5, 0},
		{"even, half a cell", up, even(t, 19), 10.5, 0.5 * 20000 / 19},
		{"trapezoid, flat", up, trapezoid, 16.5, flat},
		{"trapezoid, flat", up, trapezoid, 23.5, flat},
		{"trapezoid, slope", up, trapezoid, 15.5, flat * 3.5 / 4},
		{"trapezoid, slope", up, trapezoid, 12.5, flat * 0.5 / 4},
		{"trapezoid, slope", up, trapezoid, 26.5, flat * 1.5 / 4},
		{"trapezoid, beyond", up, trapezoid, 28.5, 0},
		{"left driving up", up, left, 15.5, 20000.0 / 4 * 3.5 / 4},
		{"left driving up", up, left, 24.5, 0},
		{"left driving down", down, left, 15.5, 0},
		{"left driving down", down, left, 24.5, 20000.0 / 4 * 3.5 / 4},
	} {
		m := lay(t, Input{Pieces: []Piece{r.piece}, Patterns: []Pattern{r.pattern}, Field: field})
		for _, y := range []float64{0.5, 50.5, 99.5} {
			if got := m.at(r.xM, y); !near(got, r.want, 1e-6) {
				t.Errorf("%s: %v kg/ha at x = %v, y = %v, want %v", r.name, got, r.xM, y, r.want)
			}
		}
		if !near(m.InFieldKg, 200, 1e-6) || !near(m.OutsideKg, 0, 1e-6) {
			t.Errorf("%s: %v kg in the field, %v outside", r.name, m.InFieldKg, m.OutsideKg)
		}
	}
}

// Patterns whose sides slope over half the bout add up to the same rate
// everywhere at the bout width they are made for, to and fro, and to stripes at another.
func TestPassesAtBoutWidthAddUpToEven(t *testing.T) {
	trapezoid := trays(t, 4, 30, 30, 30) // half height 6 m to each side: bout width 12 m
	passes := func(boutM float64) (pieces []Piece) {
		for k := range 9 {
			x := boutM * float64(k)
			p := Piece{Line: k, FromXM: x, FromYM: -10, ToXM: x, ToYM: 60, MassKg: 70 * boutM * 250 / 10000}
			if k%2 == 1 {
				p.FromYM, p.ToYM = p.ToYM, p.FromYM
			}
			pieces = append(pieces, p)
		}
		return pieces
	}
	in := Input{Patterns: []Pattern{trapezoid}, Field: rect(12, 0, 84, 50), Pieces: passes(12)}
	m := lay(t, in)
	f := m.Figures(250)
	if !near(f.MeanKgHa, 250, 1e-6) || f.CVPct > 1e-6 || f.BelowShare()+f.AboveShare()+f.NotHitShare() != 0 || f.AreaM2 != 72*50 {
		t.Errorf("%+v, want 250 everywhere on 3600 m2", f)
	}
	if want := m.SpreadKg - 0.36*250; !near(m.OutsideKg, want, 1e-6) {
		t.Errorf("%v kg outside, want %v", m.OutsideKg, want)
	}
	// Driven 16 m apart, the pattern's whole width, the sides do not overlap:
	// of 16 cells across, 8 get 16/12 of the rate, and the 4 of each slope 7/8, 5/8,
	// 3/8 and 1/8 of that: 117, 83, 50 and 17 %.
	in.Pieces, in.Field = passes(16), rect(16, 0, 16+16*4, 50)
	f = lay(t, in).Figures(250)
	if !near(f.MeanKgHa, 250, 1e-6) || !near(f.AboveShare(), 0.5, 1e-9) || !near(f.BelowShare(), 0.25, 1e-9) || f.NotHitShare() != 0 {
		t.Errorf("16 m apart: %+v", f)
	}
}

// A full turn on a circle of radius r: at distance s from the middle of the
// bar the ground swept per metre driven is (1 + s/r): outer cells get less, inner more.
func TestInATurnTheOuterSideGetsLess(t *testing.T) {
	const r, n, rate = 30.0, 720, 1.0 // kg/m driven
	var pieces []Piece
	point := func(i int) (x, y float64) { // clockwise: the inside is on the right
		sin, cos := math.Sincos(-2 * math.Pi * float64(i%n) / n)
		return r * cos, r * sin
	}
	for i := range n {
		p := Piece{}
		p.FromXM, p.FromYM = point(i)
		p.ToXM, p.ToYM = point(i + 1)
		p.MassKg = rate * math.Hypot(p.ToXM-p.FromXM, p.ToYM-p.FromYM)
		pieces = append(pieces, p)
	}
	m := lay(t, Input{Pieces: pieces, Patterns: []Pattern{even(t, 20)}, Field: rect(-50, -50, 50, 50), CellM: 0.5})
	sum, count := map[int]float64{}, map[int]float64{}
	for row := range m.Rows {
		for col := range m.Cols {
			d := math.Hypot(m.OriginXM+(float64(col)+0.5)*m.CellM, m.OriginYM+(float64(row)+0.5)*m.CellM)
			sum[int(d)] += m.KgHa[row*m.Cols+col]
			count[int(d)]++
		}
	}
	for _, d := range []int{22, 25, 30, 35, 38} {
		want := rate / 20 * 10000 * r / (float64(d) + 0.5)
		if got := sum[d] / count[d]; !near(got, want, 0.01*want) {
			t.Errorf("%d m from the middle of the circle %v kg/ha, want %v", d, got, want)
		}
	}
	if sum[18] != 0 || sum[41] != 0 {
		t.Errorf("%v and %v beyond the ends of the bar", sum[18], sum[41])
	}
}

// Two centimetres of noise every 60 cm do not swing the ends of a bar of 20 m by
// more than 2 cm x 10 m / 2 m, and the middle keeps its rate.
func TestNoiseDoesNotSwingTheBar(t *testing.T) {
	in := Input{Patterns: []Pattern{even(t, 20)}, Field: rect(0, 0, 40, 60), CellM: 0.2}
	for i := range 100 {
		side := func(i int) float64 { return 20 + 0.02*math.Sin(float64(i*i)) }
		in.Pieces = append(in.Pieces, Piece{FromXM: side(i), FromYM: 0.6 * float64(i), ToXM: side(i + 1), ToYM: 0.6 * float64(i+1), MassKg: 1.2})
	}
	m := lay(t, in)
	for y := 5.1; y < 55; y += 0.2 {
		if m.at(9.7, y) != 0 || !near(m.at(20.1, y), 1000, 25) || !near(m.at(28.1, y), 1000, 170) {
			t.Fatalf("y = %v: %v beyond the bar, %v in its middle, %v near its end", y, m.at(9.7, y), m.at(20.1, y), m.at(28.1, y))
		}
	}
}

func TestFiguresOfKnownCells(t *testing.T) {
	m := Map{CellM: 2, Cols: 6, Rows: 1, KgHa: []float64{0, 79, 80, 120, 121, 500}, Inside: []bool{true, true, true, true, true, false}, InFieldKg: 400 * 4.0 / 10000}
	f := m.Figures(100)
	// Mean 80, squares 6400 + 1 + 0 + 1600 + 1681 = 9682, / 4.
	want := Figures{AreaM2: 20, MeanKgHa: 80, CVPct: 100 * math.Sqrt(9682.0/4) / 80,
		ClassShares: [Classes]float64{NotHit: 0.2, Low: 0.2, BitLow: 0.2, BitHigh: 0.2, High: 0.2}}
	if !near(f.CVPct, want.CVPct, 1e-9) || !near(f.MeanKgHa, 80, 1e-9) || !near(f.BelowShare(), 0.4, 1e-9) || !near(f.AboveShare(), 0.2, 1e-9) || !near(f.NotHitShare(), 0.2, 1e-9) {
		t.Errorf("%+v, want %+v", f, want)
	}
	f.CVPct, f.MeanKgHa = want.CVPct, want.MeanKgHa
	if f != want {
		t.Errorf("%+v, want %+v", f, want)
	}
	if m.Figures(0).ClassShares != [Classes]float64{} {
		t.Error("classes without a set rate")
	}
	if (Map{}).Figures(100) != (Figures{}) {
		t.Error("an empty map has figures")
	}
}

// The borders belong to the band and its middle, on both sides, whatever the set rate.
func TestClassBorders(t *testing.T) {
	for _, r := range []struct {
		share float64
		want  Class
	}{{-1, NotHit}, {0, NotHit}, {0.0099, NotHit}, {0.01, FarLow}, {0.59, FarLow}, {0.6, Low}, {0.79, Low}, {0.8, BitLow}, {0.89, BitLow}, {0.9, Right}, {1, Right},
		{1.1, Right}, {1.11, BitHigh}, {1.2, BitHigh}, {1.21, High}, {1.4, High}, {1.41, FarHigh}, {1e9, FarHigh}} {
		for _, set := range []float64{0.37, 100, 187.3, 2500} {
			if got := ClassOf(float32(r.share*set), set); got != r.want {
				t.Errorf("%v of %v: class %d, want %d", r.share, set, got, r.want)
			}
		}
	}
}

func TestRefusals(t *testing.T) {
	good := func() Input {
		return Input{Pieces: []Piece{{ToYM: 10, MassKg: 1}}, Patterns: []Pattern{even(t, 20)}, Field: rect(0, 0, 10, 10)}
	}
	for name, r := range map[string]struct {
		code  fault.Code
		spoil func(*Input)
	}{
		"no boundary":      {fault.Input, func(in *Input) { in.Field = plane.Polygon{} }},
		"NaN in boundary":  {fault.Input, func(in *Input) { in.Field.Parts[0].Outer[0].XM = math.NaN() }},
		"NaN in a piece":   {fault.Input, func(in *Input) { in.Pieces[0].ToXM = math.NaN() }},
		"NaN in exclusion": {fault.Input, func(in *Input) { in.Exclusion = rect(0, 0, math.NaN(), 1) }},
		"far away":         {fault.Input, func(in *Input) { in.Pieces[0].ToXM = 2e5 }},
		"infinite mass":    {fault.Input, func(in *Input) { in.Pieces[0].MassKg = math.Inf(1) }},
		"too large":        {fault.Input, func(in *Input) { in.Field = rect(-40000, -40000, 40000, 40000) }},
		"endless driving": {fault.Input, func(in *Input) {
			in.Field, in.CellM = rect(0, 0, 90000, 100), 1
			for i := range 1000 {
				in.Pieces = append(in.Pieces, Piece{ToXM: 90000, ToYM: float64(i % 2), MassKg: 1})
			}
		}},
		"no pattern": {fault.Internal, func(in *Input) { in.Pieces[0].Pattern = 1 }},
		"tiny cells": {fault.Usage, func(in *Input) { in.CellM = 0.01 }},
		"NaN cells":  {fault.Usage, func(in *Input) { in.CellM = math.NaN() }},
	} {
		in := good()
		r.spoil(&in)
		if _, err := Lay(in); err == nil || fault.CodeOf(err) != r.code {
			t.Errorf("%s: %v", name, err)
		}
	}
	if _, err := Lay(good()); err != nil {
		t.Error(err)
	}
	// The cell size that a refusal names does.
	in := good()
	in.Field = rect(-9000, -9000, 9000, 9000)
	if _, err := Lay(in); err == nil || fault.HintOf(err) != "choose a larger cell: --cell 5 would do" {
		t.Errorf("%v, hint %q", err, fault.HintOf(err))
	}
	in.CellM = 5
	if _, err := in.extent(); err != nil {
		t.Error(err)
	}
	for _, test := range []schemas.TestTray{
		{TraySpacingM: 1}, {TraySpacingM: 1, MassesG: []float64{0, 0}}, {TraySpacingM: 1, MassesG: []float64{1, -1}}, {TraySpacingM: 1, MassesG: []float64{1, math.NaN()}},
		{MassesG: []float64{1}}, {TraySpacingM: 20, MassesG: make([]float64, 30)},
	} {
		if _, err := FromTrays(test); fault.CodeOf(err) != fault.Input || err == nil {
			t.Errorf("%+v: %v", test, err)
		}
	}
	for _, w := range []float64{0, -1, math.NaN(), 101} {
		if _, err := Even(w); err == nil {
			t.Errorf("a bout width of %v", w)
		}
	}
}
