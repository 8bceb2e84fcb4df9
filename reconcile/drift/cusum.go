package drift

// CUSUM is the two-sided tabular CUSUM with its design. The zero value alarms
// at once; make one with K and H. Source: NIST/SEMATECH e-Handbook 6.3.2.3;
// head start: Lucas and Crosier, Technometrics 24 (1982) 199-205.
type CUSUM struct {
	K         float64 // reference value, in units of the values
	H         float64 // decision value: a sum above it is an alarm
	HeadStart float64 // both sums start here; usually 0 or H/2
}

// Sums are the two sides of a CUSUM after a value.
type Sums struct {
	High, Low float64 // both >= 0; Low grows when values fall
}

// Start is the state before the first value.
func (c CUSUM) Start() Sums { return Sums{c.HeadStart, c.HeadStart} }

// Step is the state after value x, the deviation from target.
func (c CUSUM) Step(s Sums, x float64) Sums {
	return Sums{max(0, s.High+x-c.K), max(0, s.Low-x-c.K)}
}

// Alarm reports whether a side is above H.
func (c CUSUM) Alarm(s Sums) bool { return max(s.High, s.Low) > c.H }

// Run is the state after each value, and the index of the first alarm or -1.
func (c CUSUM) Run(xs []float64) (path []Sums, first int) {
	path, first = make([]Sums, len(xs)), -1
	s := c.Start()
	for i, x := range xs {
		s = c.Step(s, x)
		path[i] = s
		if first < 0 && c.Alarm(s) {
			first = i
		}
	}
	return path, first
}

// EWMA is the exponentially weighted moving average after each value:
// lambda x + (1 - lambda) before, from start. lambda is in (0, 1]. It smooths
// a line for display; no decision rests on it. Source: NIST/SEMATECH
// e-Handbook 6.3.2.4.
func EWMA(xs []float64, lambda, start float64) []float64 {
	out := make([]float64, len(xs))
	for i, x := range xs {
		start = lambda*x + (1-lambda)*start
		out[i] = start
	}
	return out
}
