package applied

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"hopperbook/reconcile/plane"
)

// wander is a drive that turns, changes its step and now and then leaves a gap.
func wander(rng *rand.Rand, n int) []Piece {
	x, y, heading, line := 60+30*rng.Float64(), 60+30*rng.Float64(), 6*rng.Float64(), 0
	bend := 0.0
	var pieces []Piece
	for i := range n {
		if i%7 == 0 {
			bend = 0.25 * rng.NormFloat64()
		}
		if rng.IntN(12) == 0 {
			line++
			x += 3
		}
		heading += bend
		step := 1 + 4*rng.Float64()
		if math.Hypot(x+20*math.Cos(heading)-75, y+20*math.Sin(heading)-75) > 60 {
			heading = math.Atan2(75-y, 75-x)
			line++
		}
		p := Piece{Line: line, FromXM: x, FromYM: y, MassKg: step * (0.5 + rng.Float64())}
		x, y = x+step*math.Cos(heading), y+step*math.Sin(heading)
		p.ToXM, p.ToYM = x, y
		pieces = append(pieces, p)
	}
	return pieces
}

var (
	lopsided = []float64{2, 10, 22, 30, 26, 14, 8, 1}
	crooked  = plane.Polygon{Parts: []plane.Part{{
		Outer: plane.Ring{{XM: 5, YM: 10}, {XM: 140, YM: 0}, {XM: 150, YM: 120}, {XM: 70, YM: 150}, {XM: 10, YM: 130}},
		Holes: []plane.Ring{{{XM: 60, YM: 60}, {XM: 80, YM: 62}, {XM: 75, YM: 90}}},
	}}}
)

// slowHeading looks along the polyline step by step.
func slowHeading(nodes []point, k int) point {
	walk := func(step int) point {
		at, left := nodes[k], headingBaseM
		for i := k; i+step >= 0 && i+step < len(nodes); i += step {
			next := nodes[i+step]
			d := math.Hypot(next.x-at.x, next.y-at.y)
			if d >= left {
				return point{at.x + left/d*(next.x-at.x), at.y + left/d*(next.y-at.y)}
			}
			at, left = next, left-d
		}
		return at
	}
	a, b := walk(-1), walk(1)
	d := math.Hypot(b.x-a.x, b.y-a.y)
	return point{(b.x - a.x) / d, (b.y - a.y) / d}
}

// slowLay drops grains: for many moments of every piece and many places on
// the bar, a grain with its share of the mass, into the cell it falls on.
func slowLay(in Input, density func(rightM float64) float64, reachM float64) (cells map[[2]int]float64) {
	const moments, places = 60, 240
	cells = map[[2]int]float64{}
	var shares [places]float64
	total := 0.0
	for j := range shares {
		shares[j] = density((2*(float64(j)+0.5)/places - 1) * reachM)
		total += shares[j]
	}
	for from := 0; from < len(in.Pieces); {
		nodes := []point{{in.Pieces[from].FromXM, in.Pieces[from].FromYM}}
		to := from
		for ; to < len(in.Pieces) && (to == from || goesOn(in.Pieces[to-1], in.Pieces[to])); to++ {
			nodes = append(nodes, point{in.Pieces[to].ToXM, in.Pieces[to].ToYM})
		}
		for i := from; i < to; i++ {
			a, b := nodes[i-from], nodes[i-from+1]
			ha, hb := slowHeading(nodes, i-from), slowHeading(nodes, i-from+1)
			for m := range moments {
				t := (float64(m) + 0.5) / moments
				for j, share := range shares {
					s := (2*(float64(j)+0.5)/places - 1) * reachM
					x := (1-t)*(a.x+s*ha.y) + t*(b.x+s*hb.y)
					y := (1-t)*(a.y-s*ha.x) + t*(b.y-s*hb.x)
					cells[[2]int{int(math.Floor(x / in.CellM)), int(math.Floor(y / in.CellM))}] += in.Pieces[i].MassKg / moments * share / total
				}
			}
		}
		from = to
	}
	return cells
}

// The map agrees with grains dropped one by one: cell by cell in sum (grains
// have an edge, so a few cells differ), and in the mass on the field.
func TestGrainsDroppedOneByOne(t *testing.T) {
	pattern := trays(t, 2, lopsided...)
	density := func(rightM float64) float64 { // written anew: a hat of one spacing about every tray
		sum := 0.0
		for i, g := range lopsided {
			sum += g * max(0, 1-math.Abs(rightM-(float64(i)-3.5)*2)/2)
		}
		return sum
	}
	for seed := range uint64(6) {
		in := Input{Pieces: wander(rand.New(rand.NewPCG(seed, 1)), 40), Patterns: []Pattern{pattern}, Field: crooked, CellM: 2}
		m := lay(t, in)
		want := slowLay(in, density, 9)
		var off, all, field, outside float64
		for at, kg := range want {
			all += kg
			x, y := (float64(at[0])+0.5)*in.CellM, (float64(at[1])+0.5)*in.CellM
			if !crooked.Contains(x, y) {
				outside += kg
				continue
			}
			field += kg
			off += math.Abs(kg - m.at(x, y)*in.CellM*in.CellM/10000)
		}
		if off > 0.03*all {
			t.Errorf("seed %d: cells differ by %.2f %% of the mass in sum", seed, 100*off/all)
		}
		if !near(field, m.InFieldKg, 0.002*all) || !near(outside, m.OutsideKg, 0.002*all) {
			t.Errorf("seed %d: field %v, outside %v kg; want %v, %v", seed, m.InFieldKg, m.OutsideKg, field, outside)
		}
	}
}

// The mask is the polygon's own rule, cell by cell.
func TestInsideIsContains(t *testing.T) {
	for _, cell := range []float64{0.7, 1, 5} {
		e := cellsOf(crooked.Bounds(), cell)
		for i, in := range inside(crooked, e) {
			x, y := (float64(e.col0+i%e.cols)+0.5)*cell, (float64(e.row0+i/e.cols)+0.5)*cell
			if in != crooked.Contains(x, y) {
				t.Fatalf("cell %v m: (%v, %v) is %v", cell, x, y, in)
			}
		}
	}
}

// moved maps every position; a quarter turn and a shift by whole cells change the grid into itself.
func moved(in Input, move func(x, y float64) (float64, float64)) Input {
	out := in
	out.Pieces = slices.Clone(in.Pieces)
	for i := range out.Pieces {
		p := &out.Pieces[i]
		p.FromXM, p.FromYM = move(p.FromXM, p.FromYM)
		p.ToXM, p.ToYM = move(p.ToXM, p.ToYM)
	}
	ring := func(r plane.Ring) plane.Ring {
		r = slices.Clone(r)
		for i := range r {
			r[i].XM, r[i].YM = move(r[i].XM, r[i].YM)
		}
		return r
	}
	out.Field = plane.Polygon{}
	for _, part := range in.Field.Parts {
		p := plane.Part{Outer: ring(part.Outer)}
		for _, h := range part.Holes {
			p.Holes = append(p.Holes, ring(h))
		}
		out.Field.Parts = append(out.Field.Parts, p)
	}
	return out
}

// sameCells wants b to be a with every cell moved.
func sameCells(t *testing.T, law string, a, b Map, move func(x, y float64) (float64, float64)) {
	t.Helper()
	for row := range a.Rows {
		for col := range a.Cols {
			i := row*a.Cols + col
			if !a.Inside[i] {
				continue
			}
			x, y := move(a.OriginXM+(float64(col)+0.5)*a.CellM, a.OriginYM+(float64(row)+0.5)*a.CellM)
			if got := b.at(x, y); !near(got, a.KgHa[i], 1e-6*(1+a.KgHa[i])) {
				t.Fatalf("%s: %v kg/ha became %v at (%v, %v)", law, a.KgHa[i], got, x, y)
			}
		}
	}
	if !near(a.OutsideKg, b.OutsideKg, 1e-9*a.SpreadKg) {
		t.Errorf("%s: %v kg outside became %v", law, a.OutsideKg, b.OutsideKg)
	}
}

func TestLaws(t *testing.T) {
	stay := func(x, y float64) (float64, float64) { return x, y }
	for seed := range uint64(5) {
		in := Input{Pieces: wander(rand.New(rand.NewPCG(seed, 2)), 60), Patterns: []Pattern{trays(t, 2, lopsided...), even(t, 18)}, Field: crooked, CellM: 1}
		for i := range in.Pieces {
			in.Pieces[i].Pattern = i / 20 % 2
		}
		m := lay(t, in)
		for law, move := range map[string]func(x, y float64) (float64, float64){
			"shift":        func(x, y float64) (float64, float64) { return x + 512, y - 2048 },
			"quarter turn": func(x, y float64) (float64, float64) { return -y, x },
		} {
			sameCells(t, law, m, lay(t, moved(in, move)), move)
		}

		// In a mirror the pattern must be mirrored too, or another map comes.
		mirror := func(x, y float64) (float64, float64) { return -x, y }
		mirrored := moved(in, mirror)
		back := slices.Clone(lopsided)
		slices.Reverse(back)
		mirrored.Patterns = []Pattern{trays(t, 2, back...), even(t, 18)}
		sameCells(t, "mirror", m, lay(t, mirrored), mirror)

		// Driven the other way with the pattern mirrored, the same lands.
		reversed := in
		reversed.Pieces = slices.Clone(in.Pieces)
		slices.Reverse(reversed.Pieces)
		for i := range reversed.Pieces {
			p := &reversed.Pieces[i]
			p.FromXM, p.FromYM, p.ToXM, p.ToYM = p.ToXM, p.ToYM, p.FromXM, p.FromYM
			p.Line = -p.Line
		}
		reversed.Patterns = mirrored.Patterns
		sameCells(t, "other way", m, lay(t, reversed), stay)

		// Twice the mass, twice the rate.
		twice := in
		twice.Pieces = slices.Concat(in.Pieces, in.Pieces)
		double := lay(t, twice)
		for i, v := range m.KgHa {
			if !near(double.KgHa[i], 2*v, 1e-6*(1+v)) {
				t.Fatalf("driven twice: %v kg/ha became %v", v, double.KgHa[i])
			}
		}
	}
}

// Pieces of straight driving cut anywhere give the same map.
func TestSplitPieces(t *testing.T) {
	rng := rand.New(rand.NewPCG(5, 5))
	whole := Input{Patterns: []Pattern{trays(t, 2, lopsided...)}, Field: crooked}
	cut := whole
	for k := range 8 {
		p := Piece{Line: k, FromXM: 10 + 15*float64(k), FromYM: 20, ToXM: 20 + 14*float64(k), ToYM: 120, MassKg: 30}
		whole.Pieces = append(whole.Pieces, p)
		from := 0.0
		for from < 1 {
			to := min(1, from+0.2*rng.Float64())
			part := func(f float64) (float64, float64) {
				return p.FromXM + f*(p.ToXM-p.FromXM), p.FromYM + f*(p.ToYM-p.FromYM)
			}
			c := p
			c.FromXM, c.FromYM = part(from)
			c.ToXM, c.ToYM = part(to)
			c.MassKg = (to - from) * p.MassKg
			cut.Pieces = append(cut.Pieces, c)
			from = to
		}
	}
	sameCells(t, "split", lay(t, whole), lay(t, cut), func(x, y float64) (float64, float64) { return x, y })
}

// Whatever is driven: mass is conserved, counted here over the cells anew, and no
// cell is below zero.
func TestMassIsConserved(t *testing.T) {
	for seed := range uint64(24) {
		rng := rand.New(rand.NewPCG(seed, 3))
		in := Input{Pieces: wander(rng, 120), Patterns: []Pattern{trays(t, 0.5+3*rng.Float64(), lopsided...)}, Field: crooked, Exclusion: rect(90, 20, 130, 50), CellM: 0.3 + 4*rng.Float64()}
		for i := range in.Pieces { // noise that folds the bar over, and stops
			p := &in.Pieces[i]
			if rng.IntN(3) == 0 {
				p.ToXM, p.ToYM = p.FromXM+0.3*rng.NormFloat64(), p.FromYM+0.3*rng.NormFloat64()
			}
			if i > 0 && rng.IntN(4) > 0 {
				p.FromXM, p.FromYM, p.Line = in.Pieces[i-1].ToXM, in.Pieces[i-1].ToYM, in.Pieces[i-1].Line
			}
			if rng.IntN(10) == 0 {
				p.ToXM, p.ToYM = p.FromXM, p.FromYM
			}
		}
		m := lay(t, in)
		field, spread := 0.0, 0.0
		for i, v := range m.KgHa {
			if v < -1e-6 || (v != 0 && !m.Inside[i]) {
				t.Fatalf("seed %d: cell %d has %v kg/ha, inside %v", seed, i, v, m.Inside[i])
			}
			field += v * m.CellM * m.CellM / 10000
		}
		for _, p := range in.Pieces {
			spread += p.MassKg
		}
		if !near(field+m.ExcludedKg+m.OutsideKg, spread, 1e-9*spread) || field < 0.1*spread || m.OutsideKg < 0 {
			t.Errorf("seed %d: %v kg on the field, %v outside, %v spread", seed, field, m.OutsideKg, spread)
		}
	}
}
