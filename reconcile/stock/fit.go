package stock

import (
	"math"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/stat/distuv"
)

// Estimate is what a fit says of one flow.
type Estimate struct {
	Known        bool    // measured, or observable through the constraints
	Value, Sd    float64 // reconciled, and its standard uncertainty; 0 unless Known
	Adjustment   float64 // reconciled minus measured; 0 for an unmeasured flow
	AdjustmentSd float64 // standard deviation of Adjustment where nothing is wrong
	Tested       bool    // a gross error of this flow alone would show
	Z            float64 // measurement test of maximum power, at least 0; 0 unless Tested
}

// Fit is one weighted least-squares reconciliation.
type Fit struct {
	Estimates []Estimate // by flow
	ChiSquare float64    // weighted sum of squares, chi-square distributed with Dof
	Dof       int        // redundancy: independent constraints among measured flows
	Critical  float64    // of the chi-square at 1 - Level; 0 without redundancy
	P         float64    // chance of a larger ChiSquare where nothing is wrong; 1 without redundancy
}

// Passes reports whether the global test finds nothing.
func (f Fit) Passes() bool { return f.Dof == 0 || f.ChiSquare <= f.Critical }

// How far from zero rounding leaves what is zero, as a share of what went into
// it.
const rounding = 1e-9

// solved is a fit with what the tests need.
type solved struct {
	fit           Fit
	k             *mat.SymDense // weights: imbalances to the chi-square
	w             *mat.VecDense // k r
	contradiction float64       // imbalance of flows that are all exact
	sizes, sds    []float64     // of the gross errors taken out, fitted together
}

// solve fits with the gross errors of the directions taken out.
//
// Free unknowns x_f enter the constraints as g x_f; they are projected out by
// an orthonormal basis p of what g does not reach (p g = 0). Then with
// k = p' (p v p')^+ p: errors e = s a' k r, chi-square r' k r, and the free
// unknowns are the least squares of g x_f = -a (y - e).
func (net *network) solve(out []Direction, level float64) solved {
	f, q := net.frees(out)
	var g mat.Dense
	if q > 0 {
		g.Mul(net.a, f)
	}
	p, pinv := split(&g, len(net.p.Constraints), q)
	var res solved
	res.k, res.fit.Dof, res.contradiction = net.weights(p)
	res.w = &mat.VecDense{}
	res.w.MulVec(res.k, net.r)
	res.fit.ChiSquare = math.Max(0, mat.Dot(net.r, res.w))
	res.fit.P = 1
	if d := float64(res.fit.Dof); d > 0 {
		chi := distuv.ChiSquared{K: d}
		res.fit.Critical, res.fit.P = chi.Quantile(1-level), chi.Survival(res.fit.ChiSquare)
	}
	net.estimate(&res, f, q, &g, pinv, out)
	return res
}

// frees is how each free unknown moves the flows, one a column: a flow not
// measured itself, a gross error taken out its flows, scaled to at most 1 so
// that ranks are judged fairly. Without unknowns there is no matrix.
func (net *network) frees(out []Direction) (f *mat.Dense, q int) {
	var list []Direction
	for i, flow := range net.p.Flows {
		if flow.Unmeasured {
			list = append(list, Direction{Terms: []Term{{i, 1}}})
		}
	}
	list = append(list, out...)
	if len(list) == 0 {
		return nil, 0
	}
	f = mat.NewDense(len(net.p.Flows), len(list), nil)
	for q, d := range list {
		for _, t := range d.Terms {
			f.Set(t.Flow, q, f.At(t.Flow, q)+t.Coefficient/d.largest())
		}
	}
	return f, len(list)
}

func (d Direction) largest() (coefficient float64) {
	for _, t := range d.Terms {
		coefficient = max(coefficient, math.Abs(t.Coefficient))
	}
	return coefficient
}

// split gives an orthonormal basis, in rows, of what the columns of g do not
// reach, and the pseudo-inverse of g. Without columns the basis is everything.
func split(g *mat.Dense, m, q int) (p, pinv *mat.Dense) {
	p = mat.NewDense(m, m, nil)
	if q == 0 {
		for i := range m {
			p.Set(i, i, 1)
		}
		return p, nil
	}
	var svd mat.SVD
	svd.Factorize(g, mat.SVDFull)
	var u, v mat.Dense
	svd.UTo(&u)
	svd.VTo(&v)
	values := svd.Values(nil)
	rank := 0
	for rank < len(values) && values[rank] > rounding*values[0] {
		rank++
	}
	pinv = mat.NewDense(q, m, nil)
	for k := range rank {
		for i := range q {
			for j := range m {
				pinv.Set(i, j, pinv.At(i, j)+v.At(i, k)*u.At(j, k)/values[k])
			}
		}
	}
	if rank == m {
		return nil, pinv
	}
	p = mat.DenseCopyOf(u.Slice(0, m, rank, m).T())
	return p, pinv
}

// weights is k = p' (p v p')^+ p, its rank, and the largest imbalance that no
// measurement error can explain.
func (net *network) weights(p *mat.Dense) (k *mat.SymDense, rank int, contradiction float64) {
	m := len(net.p.Constraints)
	k = mat.NewSymDense(m, nil)
	if p == nil {
		return k, 0, 0
	}
	rows, _ := p.Dims()
	var pv, vp mat.Dense
	pv.Mul(p, net.v)
	vp.Mul(&pv, p.T())
	root := inverseRoots(&vp)
	sym := mat.NewSymDense(rows, nil)
	for i := range rows {
		for j := i; j < rows; j++ {
			sym.SetSym(i, j, root[i]*root[j]*(vp.At(i, j)+vp.At(j, i))/2)
		}
	}
	var eig mat.EigenSym
	eig.Factorize(sym, true)
	var vectors mat.Dense
	eig.VectorsTo(&vectors)
	values := eig.Values(nil)
	var pr mat.VecDense
	pr.MulVec(p, net.r)
	largest := values[rows-1]
	for c := range rows {
		x := mat.NewVecDense(rows, nil)
		for i := range rows {
			x.SetVec(i, vectors.At(i, c)*root[i])
		}
		if values[c] <= rounding*largest || values[c] <= 0 {
			contradiction = max(contradiction, math.Abs(mat.Dot(x, &pr)))
			continue
		}
		rank++
		var px mat.VecDense
		px.MulVec(p.T(), x)
		k.SymRankOne(k, 1/values[c], &px)
	}
	return k, rank, contradiction
}

// inverseRoots is 1/sd of each row of a covariance, so that rows of any size
// weigh the same when ranks are judged; 1 where the sd is 0.
func inverseRoots(v *mat.Dense) []float64 {
	n, _ := v.Dims()
	out := make([]float64, n)
	most := 0.0
	for i := range n {
		most = max(most, v.At(i, i))
	}
	for i := range n {
		out[i] = 1
		if d := v.At(i, i); d > rounding*rounding*most {
			out[i] = 1 / math.Sqrt(d)
		}
	}
	return out
}

// estimate fills in the reconciled flows and the gross errors taken out.
func (net *network) estimate(res *solved, f *mat.Dense, q int, g, pinv *mat.Dense, out []Direction) {
	n := len(net.p.Flows)
	var e mat.VecDense // of each measurement: s a' w
	e.MulVec(net.as.T(), res.w)
	var kas mat.Dense
	kas.Mul(res.k, net.as)
	theta, cov, cross, hidden := net.freeValues(&e, &kas, g, pinv, q)
	for k, d := range out { // a gross error is what was measured, less what is true
		i := q - len(out) + k
		res.sizes = append(res.sizes, -theta.AtVec(i)/d.largest())
		res.sds = append(res.sds, math.Sqrt(max(0, cov.At(i, i)))/d.largest())
	}
	res.fit.Estimates = make([]Estimate, n)
	for i, flow := range net.p.Flows {
		est := &res.fit.Estimates[i]
		adjusted := 0.0 // variance of e
		for j := range net.p.Constraints {
			adjusted += net.as.At(j, i) * kas.At(j, i)
		}
		value, variance, blind := net.y.AtVec(i)-e.AtVec(i), net.s.At(i, i)-adjusted, 0.0
		for k := range q {
			c := f.At(i, k)
			if c == 0 {
				continue
			}
			value += c * theta.AtVec(k)
			variance += 2 * c * cross.At(i, k)
			for l := range q {
				variance += c * f.At(i, l) * cov.At(k, l)
				blind = max(blind, math.Abs(c*hidden.At(k, l)))
			}
		}
		if est.Known = blind < math.Sqrt(rounding); !est.Known {
			continue
		}
		est.Value, est.Sd = value, math.Sqrt(max(0, variance))
		if !flow.Unmeasured {
			est.Adjustment, est.AdjustmentSd = value-flow.Value, math.Sqrt(max(0, adjusted))
		}
	}
}

// freeValues gives the free unknowns, their covariance, their covariance with
// the adjusted measurements (flow, unknown), and which are hidden: I - g^+ g.
func (net *network) freeValues(e *mat.VecDense, kas, g, pinv *mat.Dense, q int) (theta *mat.VecDense, cov, cross, hidden *mat.Dense) {
	theta, cov, cross, hidden = &mat.VecDense{}, &mat.Dense{}, &mat.Dense{}, &mat.Dense{}
	if q == 0 {
		return
	}
	var x, unmet mat.VecDense
	x.SubVec(net.y, e)
	unmet.MulVec(net.a, &x)
	theta.MulVec(pinv, &unmet)
	theta.ScaleVec(-1, theta)

	// Covariance of the adjusted measurements times a': s a' - (k a s)' v.
	var ca, aca, half mat.Dense
	ca.Mul(kas.T(), net.v)
	ca.Sub(net.as.T(), &ca)
	cross.Mul(&ca, pinv.T())
	cross.Scale(-1, cross)
	aca.Mul(net.a, &ca)
	half.Mul(pinv, &aca)
	cov.Mul(&half, pinv.T())

	hidden.Mul(pinv, g)
	hidden.Scale(-1, hidden)
	for i := range q {
		hidden.Set(i, i, hidden.At(i, i)+1)
	}
	return
}
