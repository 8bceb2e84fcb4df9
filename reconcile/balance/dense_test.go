package balance

import (
	"math"
	"math/rand/v2"
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
	before   []int        // readings before each of them: itself not counted
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
		fields, cov := leastSquares(m, r, o)
		for _, iv := range r.Intervals {
			merged += iv.Merged
		}
		for i, f := range r.Fields {
			near(t, "mass of "+string(f.Field), f.MassKg, fields[f.Field][0], 1e-9*math.Abs(f.MassKg))
			for j, g := range r.Fields {
				want := cov.At(int(fields[f.Field][1]), int(fields[g.Field][1]))
				near(t, "cov", Cov(f.Form, g.Form), want, 1e-9*max(1e3, f.SdKg*g.SdKg))
				worst = max(worst, math.Abs(Cov(f.Form, g.Form)-want)/(f.SdKg*g.SdKg))
				_, _ = i, j
			}
		}
	}
	t.Logf("%d merged refills, largest difference %.1e of the standard uncertainties", merged, worst)
}

// leastSquares solves for loads, biases, readings, a flow ratio an interval and
// the mass of each piece but the last of an interval, which is what is left.
func leastSquares(m Machine, r Result, o Options) (fields map[schemas.FieldID][2]float64, cov *mat.Dense) {
	var rows, sums [][]float64 // whitened equations; last column: right side
	width := 0
	unknown := func() int { width++; return width - 1 }
	equation := func(sd, right float64, of map[int]float64) {
		row := []float64{right / sd}
		for k, v := range of {
			for len(row) < k+2 {
				row = append(row, 0)
			}
			row[k+1] = v / sd
		}
		rows = append(rows, row)
	}
	biases := map[string]int{}
	index := map[schemas.FieldID]int{}
	for _, f := range r.Fields {
		index[f.Field] = len(index)
		sums = append(sums, nil)
	}
	add := func(f schemas.FieldID, k int, v float64) {
		s := sums[index[f]]
		for len(s) < k+1 {
			s = append(s, 0)
		}
		s[k] += v
		sums[index[f]] = s
	}
	refill := map[schemas.RefillID]int{}
	left := map[schemas.RefillID]int{}
	for i, x := range m.Refills {
		refill[x.ID] = i
		left[x.ID] = unknown()
		if x.Residual.known() {
			equation(x.Residual.SdKg, x.Residual.Kg, map[int]float64{left[x.ID]: 1})
		} else {
			equation(1, 0, map[int]float64{left[x.ID]: 1}) // in no interval; must be something
		}
	}
	v := o.noise()
	for _, iv := range r.Intervals {
		if iv.Open {
			continue
		}
		total := map[int]float64{left[iv.From]: 1, left[iv.To]: -1} // mass of the interval
		var pieces []Piece
		for i := refill[iv.From]; i < refill[iv.To]; i++ {
			for _, l := range m.Refills[i].Loads {
				truth, b := unknown(), 0
				var ok bool
				if b, ok = biases[l.scale()]; !ok {
					b = unknown()
					biases[l.scale()] = b
					equation(o.ScaleBiasShare, 0, map[int]float64{b: 1})
				}
				equation(l.SdKg, l.NetKg, map[int]float64{truth: 1, b: l.NetKg})
				total[truth] = 1
			}
			pieces = append(pieces, m.Refills[i].Spread...)
		}
		ratio, n := unknown(), len(pieces)
		flow := mat.NewSymDense(n, nil) // covariance of the pieces' masses about ratio x nominal
		from := 0.0
		for j := range n {
			a := pieces[j].NominalKg / iv.NominalKg * iv.MassKg
			to := from
			flow.SetSym(j, j, v.white*a+v.walk*(a*a*from+a*a*a/3))
			to += a
			for k := j + 1; k < n; k++ {
				b := pieces[k].NominalKg / iv.NominalKg * iv.MassKg
				flow.SetSym(j, k, v.walk*a*(from+a/2)*b)
			}
			from = to
		}
		masses := make([]map[int]float64, n)
		rest := total
		for j := range n - 1 {
			k := unknown()
			masses[j] = map[int]float64{k: 1}
			rest[k] = -1
		}
		masses[n-1] = rest
		for j, p := range pieces {
			for k, c := range masses[j] {
				add(p.Field, k, c)
			}
		}
		var chol mat.Cholesky
		if !chol.Factorize(flow) {
			panic("flow")
		}
		var low mat.TriDense
		chol.LTo(&low)
		var inverse mat.TriDense
		if err := inverse.InverseTri(&low); err != nil {
			panic(err)
		}
		for j := range n { // whitened: inverse(L) (mass - nominal x ratio) = unit noise
			row := map[int]float64{}
			for k := range j + 1 {
				for u, c := range masses[k] {
					row[u] += inverse.At(j, k) * c
				}
				row[ratio] -= inverse.At(j, k) * pieces[k].NominalKg
			}
			equation(1, 0, row)
		}
	}
	a, right := mat.NewDense(len(rows), width, nil), mat.NewVecDense(len(rows), nil)
	for i, row := range rows {
		right.SetVec(i, row[0])
		for k, c := range row[1:] {
			a.Set(i, k, c)
		}
	}
	var qr mat.QR
	qr.Factorize(a)
	var x mat.VecDense
	if err := qr.SolveVecTo(&x, false, right); err != nil {
		panic(err)
	}
	s := mat.NewDense(len(sums), width, nil)
	for i, row := range sums {
		for k, c := range row {
			s.Set(i, k, c)
		}
	}
	var upper mat.Dense
	qr.RTo(&upper)
	var half mat.Dense // inverse(R') S'
	if err := half.Solve(upper.Slice(0, width, 0, width).T(), s.T()); err != nil {
		panic(err)
	}
	cov = mat.NewDense(len(sums), len(sums), nil)
	cov.Mul(half.T(), &half)
	fields = map[schemas.FieldID][2]float64{}
	for f, i := range index {
		fields[f] = [2]float64{mat.Dot(s.RowView(i), &x), float64(i)}
	}
	return fields, cov
}
