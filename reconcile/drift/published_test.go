package drift

import (
	"math"
	"slices"
	"testing"

	"hopperbook/schemas/fault"
)

func near(t *testing.T, what string, got, want, tol float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tol) {
		t.Errorf("%s = %.10g, want %.10g", what, got, want)
	}
}

// TestNISTCusum: data and target of NIST/SEMATECH e-Handbook 6.3.2.3, 20 group
// means about 325; k 0.3175 and h 4.1959; sums recomputed exactly (the printed
// page has slips in minor columns).
func TestNISTCusum(t *testing.T) {
	data := []float64{324.925, 324.675, 324.725, 324.350, 325.350, 325.225, 324.125, 324.525, 325.225, 324.600, 324.625, 325.150, 328.325, 327.250, 327.825, 328.500, 326.675, 327.775, 326.875, 328.350}
	high := []float64{0, 0, 0, 0, 0.0325, 0, 0, 0, 0, 0, 0, 0, 3.0075, 4.9400, 7.4475, 10.6300, 11.9875, 14.4450, 16.0025, 19.0350}
	low := []float64{0, 0.0075, 0, 0.3325, 0, 0, 0.5575, 0.7150, 0.1725, 0.2550, 0.3125, 0, 0, 0, 0, 0, 0, 0, 0, 0}
	for i := range data {
		data[i] -= 325
	}
	path, first := CUSUM{K: 0.3175, H: 4.1959}.Run(data)
	for i, s := range path {
		near(t, "high", s.High, high[i], 1e-9)
		near(t, "low", s.Low, low[i], 1e-9)
	}
	if first+1 != 14 {
		t.Errorf("first alarm at group %d, want 14", first+1)
	}
}

// TestNISTEWMA: data and the 21 printed values of NIST/SEMATECH e-Handbook
// 6.3.2.4, target 50, lambda 0.3.
func TestNISTEWMA(t *testing.T) {
	data := []float64{52.0, 47.0, 53.0, 49.3, 50.1, 47.0, 51.0, 50.1, 51.2, 50.5, 49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1}
	printed := []float64{50.60, 49.52, 50.56, 50.18, 50.16, 49.21, 49.75, 49.85, 50.26, 50.33, 50.11, 49.36, 49.52, 50.05, 49.38, 49.92, 50.73, 51.23, 51.94, 51.99}
	for i, v := range EWMA(data, 0.3, 50) {
		near(t, "EWMA", math.Round(v*100)/100, printed[i], 1e-9)
	}
}

// TestLucasCrosierIllustration: the standardized data of Lucas and Crosier,
// Technometrics 24 (1982), k 0.5, h 5, without and with head start h/2; sums
// recomputed exactly.
func TestLucasCrosierIllustration(t *testing.T) {
	shifted := []float64{1.0, -0.5, 0.0, -0.8, -0.8, -1.2, 1.5, -0.6, 1.0, -0.9, 1.2, 0.5, 2.6, 0.7, 1.1, 2.0, 1.4, 1.9, 0.8}
	initially := []float64{0.8, 1.9, 1.4, 2.0, 1.1, 0.7, 2.6}
	for _, c := range []struct {
		name      string
		xs        []float64
		headStart float64
		high, low []float64
		first     int
	}{
		{"shift later", shifted, 0, []float64{0.5, 0, 0, 0, 0, 0, 1.0, 0, 0.5, 0, 0.7, 0.7, 2.8, 3.0, 3.6, 5.1, 6.0, 7.4, 7.7}, nil, 16},
		{"shift later, head start", shifted, 2.5, []float64{3.0, 2.0, 1.5, 0.2, 0, 0, 1.0, 0, 0.5, 0, 0.7, 0.7, 2.8, 3.0, 3.6, 5.1, 6.0, 7.4, 7.7}, []float64{1.0, 1.0, 0.5, 0.8, 1.1, 1.8, 0, 0.1, 0, 0.4, 0, 0, 0, 0, 0, 0, 0, 0, 0}, 16},
		{"shift at once", initially, 0, []float64{0.3, 1.7, 2.6, 4.1, 4.7, 4.9, 7.0}, nil, 7},
		{"shift at once, head start", initially, 2.5, []float64{2.8, 4.2, 5.1, 6.6, 7.2, 7.4, 9.5}, nil, 3},
	} {
		path, first := CUSUM{K: 0.5, H: 5, HeadStart: c.headStart}.Run(c.xs)
		for i, s := range path {
			near(t, c.name+" high", s.High, c.high[i], 1e-9)
			if c.low != nil {
				near(t, c.name+" low", s.Low, c.low[i], 1e-9)
			}
		}
		if first+1 != c.first {
			t.Errorf("%s: first alarm at %d, want %d", c.name, first+1, c.first)
		}
	}
}

// printedAs reports whether got rounds to the printed number with its digits.
func printedAs(got, printed float64, digits int) bool {
	p := math.Pow(10, float64(digits))
	return math.Abs(math.Round(got*p)/p-printed) < 1e-9
}

func arl(t *testing.T, c CUSUM, shift float64) float64 {
	t.Helper()
	l, err := c.ARL(shift)
	if err != nil {
		t.Fatal(err)
	}
	return l
}

func oneSided(t *testing.T, c CUSUM, shift float64) float64 {
	t.Helper()
	l, err := c.ARLOneSided(shift)
	if err != nil {
		t.Fatal(err)
	}
	return l
}

// TestLucasCrosierTable1: two-sided run lengths, k 0.5, h 4, without and with
// head start h/2 (Lucas and Crosier 1982, Table 1). At shift 3 with head start
// the paper prints 1.32 where 1.3254 is exact.
func TestLucasCrosierTable1(t *testing.T) {
	for _, c := range []struct {
		shift, plain float64
		digits       int
		fir          float64
		firDigits    int
	}{
		{0, 168, 0, 149, 0}, {0.25, 74.2, 1, 62.7, 1}, {0.5, 26.6, 1, 20.1, 1}, {0.75, 13.3, 1, 8.97, 2}, {1, 8.38, 2, 5.29, 2}, {1.5, 4.75, 2, 2.86, 2},
		{2, 3.34, 2, 2.01, 2}, {2.5, 2.62, 2, 1.59, 2}, {3, 2.19, 2, 1.33, 2}, {4, 1.71, 2, 1.07, 2}, {5, 1.31, 2, 1.01, 2},
	} {
		if got := arl(t, CUSUM{K: 0.5, H: 4}, c.shift); !printedAs(got, c.plain, c.digits) {
			t.Errorf("shift %v: %v, printed %v", c.shift, got, c.plain)
		}
		if got := arl(t, CUSUM{K: 0.5, H: 4, HeadStart: 2}, c.shift); !printedAs(got, c.fir, c.firDigits) {
			t.Errorf("shift %v with head start: %v, printed %v", c.shift, got, c.fir)
		}
	}
}

func TestPublishedSpotRunLengths(t *testing.T) {
	for _, c := range []struct {
		name         string
		cusum        CUSUM
		shift, want  float64
		relTolerance float64
	}{
		// Brook and Evans, Biometrika 59 (1972): Markov chain, good to three digits.
		{"Brook and Evans", CUSUM{K: 0.5, H: 3}, 0, 117.59, 1e-4},
		{"Brook and Evans", CUSUM{K: 0.5, H: 3}, 1.5, 3.75, 1e-3},
		// Vance, J. Quality Technology 18 (1986), k 0, h 10.
		{"Vance", CUSUM{H: 10}, -0.25, 2071.51, 1e-4},
		{"Vance", CUSUM{H: 10}, -0.125, 400.28, 3e-5},
		{"Vance", CUSUM{H: 10}, 0, 124.66, 1e-4},
		{"Vance", CUSUM{H: 10}, 0.125, 59.30, 1e-4},
		{"Vance", CUSUM{H: 10}, 0.25, 36.71, 2e-4},
		{"Vance", CUSUM{H: 10}, 0.5, 20.37, 3e-4},
		{"Vance", CUSUM{H: 10}, 0.75, 14.06, 4e-4},
		{"Vance", CUSUM{H: 10}, 1, 10.75, 5e-4},
		{"documentation of a statistics package", CUSUM{K: 0.25, H: 8}, 2.5, 4.1500836225, 5e-8},
		{"the same with head start", CUSUM{K: 0.25, H: 8, HeadStart: 0.1}, 2.5, 4.1061588131, 5e-8},
	} {
		near(t, c.name, oneSided(t, c.cusum, c.shift), c.want, c.relTolerance*c.want)
	}
}

// TestReferenceRunLengths: made with an independent code (R spc 0.6.7).
func TestReferenceRunLengths(t *testing.T) {
	for _, c := range []struct{ k, h, shift, want float64 }{
		{0.25, 3, 0, 19.7358}, {0.25, 8, 0, 368.3939}, {0.25, 8, 1, 11.3932}, {0.5, 5, 0, 465.4435}, {0.5, 5, 1.5, 5.7472}, {0.5, 8, 0, 9482.8638},
		{0.75, 4, 0, 1002.1194}, {0.75, 5, 1, 17.0485}, {1, 4, 0, 7255.7293}, {1, 4, 1, 26.6792}, {1, 8, 0, 21635788.5903},
	} {
		near(t, "run length", arl(t, CUSUM{K: c.k, H: c.h}, c.shift), c.want, 1e-6*c.want+5e-5)
	}
}

// TestNodes integrates x^2 exactly with every number of nodes that occurs.
func TestNodes(t *testing.T) {
	for h := 0.25; h <= 60; h += 0.25 {
		x, w := nodes(h)
		var got float64
		for i := range x {
			got += w[i] * x[i] * x[i]
		}
		near(t, "integral", got, h*h*h/3, 1e-9*h*h*h)
	}
	// Without a decision interval the run length is geometric.
	near(t, "h = 0", arl(t, CUSUM{K: 1}, 0), 1/(2*normalCDF(-1)), 1e-9)
}

func TestDesignH(t *testing.T) {
	for _, c := range []struct{ arl0, h float64 }{{100, 3.50204}, {200, 4.17132}, {370.4, 4.77490}, {500, 5.07070}, {1000, 5.75735}} { // R spc 0.6.7, k 0.5
		h, err := DesignH(0.5, c.arl0)
		if err != nil {
			t.Fatal(err)
		}
		near(t, "h", h, c.h, 1e-4)
	}
	for _, k := range []float64{0.1, 0.25, 0.8, 1.5, 3} {
		for _, want := range []float64{400, 5000, 1e5} {
			h, err := DesignH(k, want)
			if err != nil {
				t.Errorf("k %v: %v", k, err)
				continue
			}
			near(t, "run length of the design", arl(t, CUSUM{K: k, H: h}, 0), want, 2e-4*want)
		}
	}
	for _, c := range [][2]float64{{0.05, 400}, {math.NaN(), 400}, {3.1, 400}, {1, 3}, {1, math.Inf(1)}, {1, 2e5}} {
		if _, err := DesignH(c[0], c[1]); fault.CodeOf(err) != fault.Input {
			t.Errorf("k %v, run length %v: %v", c[0], c[1], err)
		}
	}
	for _, c := range []CUSUM{{K: -1, H: 4}, {K: 1, H: -1}, {K: 1, H: 4, HeadStart: 5}, {K: math.NaN(), H: 4}, {K: 1, H: 61}} {
		if _, err := c.ARL(0); fault.CodeOf(err) != fault.Input {
			t.Errorf("%+v: %v", c, err)
		}
	}
}

// TestRunIsSteps: cutting a series in two and going on from the state between
// changes nothing; mirrored values swap the sides.
func TestRunIsSteps(t *testing.T) {
	xs := []float64{0.4, -1, 2, 0.3, 0.1, -3, -2, 1, 1}
	c := CUSUM{K: 0.5, H: 3, HeadStart: 1}
	path, first := c.Run(xs)
	s := c.Start()
	mirrored := slices.Clone(xs)
	for i, x := range xs {
		s = c.Step(s, x)
		if s != path[i] {
			t.Fatalf("step %d: %v, run %v", i, s, path[i])
		}
		mirrored[i] = -x
	}
	other, otherFirst := c.Run(mirrored)
	for i, s := range other {
		if s.High != path[i].Low || s.Low != path[i].High {
			t.Fatalf("mirrored step %d: %v, %v", i, s, path[i])
		}
	}
	if first < 0 || first != otherFirst {
		t.Errorf("first alarms %d and %d", first, otherFirst)
	}
}
