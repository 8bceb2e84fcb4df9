package balance

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"gonum.org/v1/gonum/mat"

	"hopperbook/schemas"
)

// affine is a quantity as mean + coefficients x independent unit normals.
type affine struct {
	mean float64
	of   map[int]float64
}

func (a affine) plus(b affine, c float64) affine {
	out := affine{a.mean + c*b.mean, map[int]float64{}}
	for k, v := range a.of {
		out.of[k] += v
	}
	for k, v := range b.of {
		out.of[k] += c * v
	}
	return out
}

func dot(a, b affine) (v float64) {
	for k, x := range a.of {
		v += x * b.of[k]
	}
	return v
}

// dense writes the whole season out as one normal distribution, the flow as
// what it is by definition, and conditions it with dense matrices.
type dense struct {
	units    int
	measured map[int]bool // units that are errors of readings, loads and scales
	readings []affine     // as they will come, with their error
	values   []float64    // as they came
	marks    [][2]affine  // hopper, ratio
	first    affine
	spread   affine
	ratio    affine
}

func (d *dense) unit(sd float64, measured bool) affine {
	d.units++
	d.measured[d.units] = measured
	return affine{0, map[int]float64{d.units: sd}}
}

func denseOf(ops []op, scales int, bias float64, v noise) *dense {
	d := &dense{measured: map[int]bool{}}
	ratio := affine{1, nil}.plus(d.unit(priorRatioSd, false), 1)
	d.first = ratio
	var hopper, spread affine
	biases := make([]affine, scales)
	for i := range biases {
		biases[i] = d.unit(bias, true)
	}
	for _, o := range ops {
		switch o.kind {
		case opReset:
			hopper = affine{o.kg, nil}.plus(d.unit(math.Sqrt(o.variance), true), -1)
		case opRead:
			d.readings = append(d.readings, hopper.plus(d.unit(math.Sqrt(o.variance), true), 1))
			d.values = append(d.values, o.kg)
		case opRelease:
			ratio = affine{1, nil}.plus(d.unit(priorRatioSd, false), 1)
		case opFresh:
			spread = affine{}
		case opMark:
			d.marks = append(d.marks, [2]affine{hopper, ratio})
		case opLoad:
			hopper = hopper.plus(affine{o.kg, nil}, 1).plus(d.unit(math.Sqrt(o.variance), true), -1)
			if o.scale > 0 {
				hopper = hopper.plus(biases[o.scale-atScales], -o.kg)
			}
		case opSpread:
			// The integral of a Wiener process over n is n/2 of its increment and
			// n/sqrt 12 of an independent normal of the same variance.
			step := d.unit(math.Sqrt(v.walk*o.kg), false)
			mass := affine{}.plus(ratio, o.kg).plus(step, o.kg/2).plus(d.unit(math.Sqrt(v.walk*o.kg)*o.kg/math.Sqrt(12), false), 1)
			mass = mass.plus(d.unit(math.Sqrt(v.white*o.kg), false), 1)
			ratio = ratio.plus(step, 1)
			hopper, spread = hopper.plus(mass, -1), spread.plus(mass, 1)
		}
	}
	d.spread, d.ratio = spread, ratio
	return d
}

// given is the mean and variance of q after the first n readings, and the part
// of that variance that comes from errors of measurement.
func (d *dense) given(q affine, n int) (mean, variance, measured float64) {
	if n == 0 {
		return q.mean, dot(q, q), 0
	}
	cov, right, off := mat.NewDense(n, n, nil), mat.NewVecDense(n, nil), mat.NewVecDense(n, nil)
	for i := range n {
		right.SetVec(i, dot(q, d.readings[i]))
		off.SetVec(i, d.values[i]-d.readings[i].mean)
		for j := range n {
			cov.Set(i, j, dot(d.readings[i], d.readings[j]))
		}
	}
	var gain mat.VecDense
	if err := gain.SolveVec(cov, right); err != nil {
		panic(err)
	}
	left := q
	for i := range n {
		left = left.plus(d.readings[i], -gain.AtVec(i))
	}
	for k, v := range left.of {
		if d.measured[k] {
			measured += v * v
		}
	}
	return q.mean + mat.Dot(&gain, off), dot(left, left), measured
}

// TestFilterAndSmootherAgainstDense: on small seasons of every kind the filter,
// its innovations, the smoother and the forms agree with conditioning one
// dense normal distribution (generalized least squares) to 1e-9.
func TestFilterAndSmootherAgainstDense(t *testing.T) {
	rng := rand.New(rand.NewPCG(21, 22))
	var worst float64
	agree := func(what string, got, want, scale float64) {
		worst = max(worst, math.Abs(got-want)/scale)
		near(t, what, got, want, 1e-9*scale)
	}
	readings := 0
	for range 60 {
		m := season(rng, "m", 3+rng.IntN(9))
		for i := range m.Refills {
			m.Refills[i].Released = rng.IntN(6) == 0
		}
		refills, _, err := prepare(m)
		if err != nil {
			t.Fatal(err)
		}
		o := Options{ScaleBiasShare: 0.005, NaturalSdShare: 0.015, WalkSdShare: 0.004}
		c := chain{machine: m, refills: refills, o: o, hopperKg: mostHeld(0, refills)}
		c.build()
		c.rate()
		ops, errors, scales := c.ops()
		f := filter(ops, errors, start(scales, o.ScaleBiasShare), o.noise())
		d := denseOf(ops, scales, o.ScaleBiasShare, o.noise())
		n := 0
		for i, op := range ops {
			if op.kind != opRead {
				continue
			}
			mean, variance, _ := d.given(d.readings[n], n)
			agree("innovation", f.innovations[i], op.kg-mean, 1000)
			agree("its variance", f.variances[i]/variance, 1, 1)
			n++
		}
		readings += n
		for k, s := range f.smoothed() {
			for place, q := range d.marks[k] {
				mean, variance, _ := d.given(q, n)
				scale := []float64{1000, 1}[place]
				agree("smoothed", s.x[place], mean, scale)
				agree("smoothed variance", s.p[place*s.dim+place], variance, scale*scale)
			}
		}
		for place, q := range map[int]affine{atRatio: d.ratio, atFirst: d.first, atSpread: d.spread} {
			mean, variance, measured := d.given(q, n)
			scale := max(1, math.Abs(mean))
			agree("filtered", f.final.x[place], mean, scale)
			agree("filtered variance", f.final.p[place*f.final.dim+place], variance, scale*scale)
			agree("variance of the form", f.formOf(place).Var(), measured, scale*scale)
		}
	}
	if readings < 100 {
		t.Errorf("only %d readings said something of a flow", readings)
	}
	t.Logf("%d readings, largest relative difference %.1e", readings, worst)
}

// TestRecordAgainstDense: with the flow ratio free in every interval, masses
// and covariances of fields by dense generalized least squares over loads,
// scale biases, readings and the flow of every piece are those of the record.
func TestRecordAgainstDense(t *testing.T) {
	rng := rand.New(rand.NewPCG(23, 24))
	var worst float64
	merged := 0
	for range 40 {
		m := stated(season(rng, "m", 3+rng.IntN(5)))
		last := &m.Refills[len(m.Refills)-1]
		last.Spread, last.Residual.Method = nil, schemas.ResidualLevel
		o := Options{ScaleBiasShare: 0.005, NaturalSdShare: 0.015, WalkSdShare: 0.004}
		r := run(t, m, o)
		fields, cov := leastSquares(t, m, r, o)
		for _, iv := range r.Intervals {
			merged += iv.Merged
		}
		for i, f := range r.Fields {
			near(t, "mass of "+string(f.Field), f.MassKg, fields[i], 1e-9*math.Abs(f.MassKg))
			for j, g := range r.Fields {
				want := cov.At(i, j)
				near(t, "cov", Cov(f.Form, g.Form), want, 1e-9*f.SdKg*g.SdKg)
				worst = max(worst, math.Abs(Cov(f.Form, g.Form)-want)/(f.SdKg*g.SdKg))
			}
		}
	}
	t.Logf("%d merged refills, largest difference %.1e of the standard uncertainties", merged, worst)
}

// quantity is a sum of unknowns, each with its factor.
type quantity map[int]float64

// equations are whitened: each has unit variance.
type equations struct {
	rows  []quantity
	right []float64
	width int
}

func (e *equations) unknown() int { e.width++; return e.width - 1 }

func (e *equations) add(sd, right float64, of quantity) {
	row := quantity{}
	for k, v := range of {
		row[k] = v / sd
	}
	e.rows, e.right = append(e.rows, row), append(e.right, right/sd)
}

// solve gives each sum of unknowns and their covariance, by QR.
func (e *equations) solve(t *testing.T, sums []quantity) ([]float64, *mat.Dense) {
	t.Helper()
	a, s := mat.NewDense(len(e.rows), e.width, nil), mat.NewDense(len(sums), e.width, nil)
	for m, rows := range map[*mat.Dense][]quantity{a: e.rows, s: sums} {
		for i, row := range rows {
			for k, v := range row {
				m.Set(i, k, v)
			}
		}
	}
	var qr mat.QR
	qr.Factorize(a)
	var x, out mat.VecDense
	var upper, half, cov mat.Dense // half is inverse(R') S'
	if err := qr.SolveVecTo(&x, false, mat.NewVecDense(len(e.right), e.right)); err != nil {
		t.Fatal(err)
	}
	qr.RTo(&upper)
	if err := half.Solve(upper.Slice(0, e.width, 0, e.width).T(), s.T()); err != nil {
		t.Fatal(err)
	}
	out.MulVec(s, &x)
	cov.Mul(half.T(), &half)
	return out.RawVector().Data, &cov
}

// leastSquares solves for loads, biases, readings, a flow ratio an interval and
// the mass of each piece but the last of an interval, which is what is left. It
// gives the masses of the result's fields.
func leastSquares(t *testing.T, m Machine, r Result, o Options) ([]float64, *mat.Dense) {
	t.Helper()
	var e equations
	biases, at, left := map[string]int{}, map[schemas.RefillID]int{}, map[schemas.RefillID]int{}
	for i, x := range m.Refills {
		at[x.ID], left[x.ID] = i, e.unknown()
		sd := 1.0 // of an unread one, which is in no interval and must be something
		if x.Residual.known() {
			sd = x.Residual.SdKg
		}
		e.add(sd, x.Residual.Kg, quantity{left[x.ID]: 1})
	}
	sums := make([]quantity, len(r.Fields))
	for _, iv := range r.Intervals {
		if iv.Open {
			continue
		}
		mass := quantity{left[iv.From]: 1, left[iv.To]: -1}
		var pieces []Piece
		for _, x := range m.Refills[at[iv.From]:at[iv.To]] {
			for _, l := range x.Loads {
				if _, ok := biases[l.scale()]; !ok {
					biases[l.scale()] = e.unknown()
					e.add(o.ScaleBiasShare, 0, quantity{biases[l.scale()]: 1})
				}
				truth := e.unknown()
				e.add(l.SdKg, l.NetKg, quantity{truth: 1, biases[l.scale()]: l.NetKg})
				mass[truth] = 1
			}
			pieces = append(pieces, x.Spread...)
		}
		for j, q := range e.flow(t, iv, pieces, mass, o.noise()) {
			f := slices.IndexFunc(r.Fields, func(f FieldMass) bool { return f.Field == pieces[j].Field })
			if sums[f] == nil {
				sums[f] = quantity{}
			}
			for k, v := range q {
				sums[f][k] += v
			}
		}
	}
	return e.solve(t, sums)
}

// flow adds one interval's equations mass = nominal x ratio + wander, whitened
// by the inverse Cholesky factor, and gives the pieces' masses.
func (e *equations) flow(t *testing.T, iv Interval, pieces []Piece, total quantity, v noise) []quantity {
	t.Helper()
	n, from := len(pieces), 0.0
	wander := mat.NewSymDense(n, nil) // cov(integral over [a, b], over later [c, d]) = walk (d - c) (b^2 - a^2) / 2
	for j := range n {
		kg := func(k int) float64 { return pieces[k].NominalKg / iv.NominalKg * iv.MassKg }
		to := from + kg(j)
		wander.SetSym(j, j, v.white*kg(j)+v.walk*(kg(j)*kg(j)*from+math.Pow(kg(j), 3)/3))
		for k := j + 1; k < n; k++ {
			wander.SetSym(j, k, v.walk*(to*to-from*from)/2*kg(k))
		}
		from = to
	}
	var factor mat.Cholesky
	var lower, inverse mat.TriDense
	if !factor.Factorize(wander) {
		t.Fatal("the wander of the flow has no factor")
	}
	factor.LTo(&lower)
	if err := inverse.InverseTri(&lower); err != nil {
		t.Fatal(err)
	}
	masses, ratio := make([]quantity, n), e.unknown()
	for j := range n - 1 {
		k := e.unknown()
		masses[j] = quantity{k: 1}
		total[k] = -1
	}
	masses[n-1] = total
	for j := range n {
		row := quantity{}
		for k := range j + 1 {
			for u, c := range masses[k] {
				row[u] += inverse.At(j, k) * c
			}
			row[ratio] -= inverse.At(j, k) * pieces[k].NominalKg
		}
		e.add(1, 0, row)
	}
	return masses
}
