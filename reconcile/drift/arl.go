package drift

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/integrate/quad"
	"gonum.org/v1/gonum/mat"

	"hopperbook/schemas/fault"
)

// ARLOneSided is the average run length of the upper side of the CUSUM on
// independent normals with mean shift and standard deviation 1: Page's integral
// equation
//
//	L(u) = 1 + L(0) Phi(k-u-shift) + int_0^h L(x) phi(x+k-u-shift) dx
//
// at u = HeadStart, by Gauss-Legendre quadrature (Nystroem). Relative error
// below 1e-6 for H up to 10 and run lengths up to 1e7. It costs the solution of
// about 12 + 4 H linear equations. fault.Input when K or H is negative, H above 60,
// the head start outside [0, H] or a value is not finite.
func (c CUSUM) ARLOneSided(shift float64) (loads float64, err error) {
	if !(c.K >= 0) || !(c.H >= 0 && c.H <= 60) || !(c.HeadStart >= 0 && c.HeadStart <= c.H) || math.IsInf(c.K, 1) || math.IsNaN(shift) || math.IsInf(shift, 0) {
		return 0, fault.Newf("run length", fault.Input, fmt.Sprintf("k %v, h %v, head start %v, shift %v", c.K, c.H, c.HeadStart, shift), "k >= 0, 0 <= h <= 60, head start within [0, h]")
	}
	return c.side(shift, c.HeadStart)[1], nil
}

// ARL is the average run length of both sides together. Without a head start
// 1/ARL = 1/ARL+ + 1/ARL-; with one, (L+(u) L-(0) + L-(u) L+(0) - L+(0) L-(0)) /
// (L+(0) + L-(0)) (Lucas and Crosier 1982).
func (c CUSUM) ARL(shift float64) (loads float64, err error) {
	if _, err := c.ARLOneSided(shift); err != nil {
		return 0, err
	}
	high, low := c.side(shift, c.HeadStart), c.side(-shift, c.HeadStart)
	return (high[1]*low[0] + low[1]*high[0] - high[0]*low[0]) / (high[0] + low[0]), nil
}

// side solves Page's equation and gives L(0) and L(start).
func (c CUSUM) side(shift, start float64) [2]float64 {
	x, w := nodes(c.H)
	n := len(x)
	kernel := func(u float64, row []float64) {
		row[0] = normalCDF(c.K - u - shift)
		for j, v := range x {
			row[j+1] = w[j] * normalDensity(v+c.K-u-shift)
		}
	}
	a := mat.NewDense(n+1, n+1, nil)
	b := mat.NewVecDense(n+1, nil)
	row := make([]float64, n+1)
	for i := range n + 1 {
		u := 0.0
		if i > 0 {
			u = x[i-1]
		}
		kernel(u, row)
		for j, v := range row {
			a.Set(i, j, -v)
		}
		a.Set(i, i, 1+a.At(i, i))
		b.SetVec(i, 1)
	}
	var l mat.VecDense
	// A nearly singular system is a run length beyond any use; what comes out
	// of it is still a huge number or +Inf.
	if err := l.SolveVec(a, b); err != nil && math.IsNaN(l.AtVec(0)) {
		return [2]float64{math.Inf(1), math.Inf(1)}
	}
	kernel(start, row)
	at := 1.0
	for j, v := range row {
		at += v * l.AtVec(j)
	}
	return [2]float64{l.AtVec(0), at}
}

// nodes are Gauss-Legendre nodes and weights on [0, h], dense enough for a
// normal density; none for h = 0. Their number is odd because gonum 0.17 gives
// wrong weights for 26.
func nodes(h float64) (x, w []float64) {
	if h == 0 {
		return nil, nil
	}
	n := 11 + 2*int(math.Ceil(2*h))
	x, w = make([]float64, n), make([]float64, n)
	quad.Legendre{}.FixedLocations(x, w, 0, h)
	return x, w
}

// DesignH is the decision value h whose two-sided CUSUM with reference value k
// has the in-control average run length arl0 [loads], to 1e-4 relative in the
// run length. fault.Input unless 0.1 <= k <= 3 and arl0 is between 1 % more
// than what h = 0 gives and 1e5. A bracketed secant in log run length from
// Siegmund's approximation: three to six solutions of ARL.
func DesignH(k, arl0 float64) (h float64, err error) {
	least := 1 / (2 * normalCDF(-k))
	if !(k >= 0.1 && k <= 3) || !(arl0 > 1.01*least && arl0 <= 1e5) {
		return 0, fault.Newf("design of the drift test", fault.Input, fmt.Sprintf("k %v, average run length %v", k, arl0), fmt.Sprintf("k within [0.1, 3], run length between %.1f and 100 000 loads", 1.01*least))
	}
	h = siegmundH(k, arl0)
	low, high := 0.0, h+3
	last, lastMiss := 0.0, math.Log(least/arl0)
	for range 60 {
		miss := math.Log(CUSUM{K: k, H: h}.side(0, 0)[0] / 2 / arl0)
		if math.Abs(miss) < 1e-4 {
			break
		}
		if miss > 0 {
			high = h
		} else {
			low = h
		}
		next := h - miss*(h-last)/(miss-lastMiss)
		if !(next > low && next < high) {
			next = (low + high) / 2
		}
		last, lastMiss, h = h, miss, next
	}
	return h, nil
}

// siegmundH solves (exp(2 k b) - 2 k b - 1) / (2 k^2) = 2 arl0, b = h + 1.166,
// the approximation of D. Siegmund, Sequential Analysis (1985), for h.
func siegmundH(k, arl0 float64) float64 {
	b := 1.0
	for range 8 {
		b = math.Log(1+2*k*b+4*k*k*arl0) / (2 * k)
	}
	return max(0.1, b-1.166)
}

func normalCDF(x float64) float64 { return math.Erfc(-x/math.Sqrt2) / 2 }

func normalDensity(x float64) float64 {
	return math.Exp(-x*x/2) / math.Sqrt(2*math.Pi)
}
