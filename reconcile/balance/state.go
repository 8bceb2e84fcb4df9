package balance

import "math"

// Places in the state; the relative biases of the scales follow.
const (
	atHopper = iota // kg in the hopper
	atRatio         // flow ratio
	atFirst         // flow ratio when the first refill was made
	atSpread        // kg spread since the last reading, as the flow ratio says
	atScales
)

// priorRatioSd is the standard uncertainty of the flow ratio about 1 while
// nothing is known of it; common practice, no source.
const priorRatioSd = 0.10

type opKind int

const (
	opReset   opKind = iota // the hopper holds what was read, whatever the flow says went out before
	opRead                  // a reading of the hopper
	opRelease               // forget the flow ratio
	opFresh                 // count atSpread from zero
	opLoad                  // a load went in
	opSpread                // nominal mass went out
	opMark                  // the state here is wanted
)

// op is one thing that happens to the state.
type op struct {
	kind     opKind
	kg       float64 // read, net or nominal
	variance float64 // kg2, of what was read or weighed; for a load without the bias of its scale
	scale    int     // place of the bias; 0: none
}

// noise is what the flow does by itself. Over nominal mass s the mass spread
// is the integral of the flow ratio, a Wiener process, plus white noise: both
// are the same however the passes are cut.
type noise struct {
	white float64 // kg: variance [kg2] per nominal kg
	walk  float64 // 1/kg: variance of the ratio per nominal kg
}

// state is a normal distribution: mean x and covariance p, dim x dim by rows.
type state struct {
	dim int
	x   []float64
	p   []float64
}

func start(scales int, bias float64) state {
	s := state{dim: atScales + scales}
	s.x, s.p = make([]float64, s.dim), make([]float64, s.dim*s.dim)
	s.x[atRatio], s.x[atFirst] = 1, 1
	for _, i := range []int{atRatio, atFirst} {
		for _, j := range []int{atRatio, atFirst} {
			s.p[i*s.dim+j] = priorRatioSd * priorRatioSd
		}
	}
	for i := atScales; i < s.dim; i++ {
		s.p[i*s.dim+i] = bias * bias
	}
	return s
}

func (s state) clone() state {
	return state{s.dim, append([]float64(nil), s.x...), append([]float64(nil), s.p...)}
}

func (s state) sd(i int) float64 { return math.Sqrt(max(0, s.p[i*s.dim+i])) }

// set makes place i known as x with variance v, independent of the others.
func (s state) set(i int, x, v float64) {
	for j := range s.dim {
		s.p[i*s.dim+j], s.p[j*s.dim+i] = 0, 0
	}
	s.x[i], s.p[i*s.dim+i] = x, v
}

// add is x[i] += c x[j], as the covariance feels it.
func (s state) add(i int, c float64, j int) {
	for k := range s.dim {
		s.p[i*s.dim+k] += c * s.p[j*s.dim+k]
	}
	for k := range s.dim {
		s.p[k*s.dim+i] += c * s.p[k*s.dim+j]
	}
}

// spread moves nominal mass n out: see noise.
func (s state) spread(n float64, v noise) {
	s.x[atHopper] -= n * s.x[atRatio]
	s.x[atSpread] += n * s.x[atRatio]
	s.add(atHopper, -n, atRatio)
	s.add(atSpread, n, atRatio)
	d, mass, cross := s.dim, v.white*n+v.walk*n*n*n/3, v.walk*n*n/2
	s.p[atHopper*d+atHopper] += mass
	s.p[atSpread*d+atSpread] += mass
	s.p[atHopper*d+atSpread] -= mass
	s.p[atSpread*d+atHopper] -= mass
	s.p[atHopper*d+atRatio] -= cross
	s.p[atRatio*d+atHopper] -= cross
	s.p[atSpread*d+atRatio] += cross
	s.p[atRatio*d+atSpread] += cross
	s.p[atRatio*d+atRatio] += v.walk * n
}

// read takes a reading of the hopper in; gain (dim long) is written.
func (s state) read(kg, variance float64, gain []float64) (innovation, innovationVar float64) {
	innovation, innovationVar = kg-s.x[atHopper], s.p[0]+variance
	if !(innovationVar > 0) { // nothing is unsure: nothing to learn
		clear(gain)
		return 0, 0
	}
	for i := range gain {
		gain[i] = s.p[i*s.dim+atHopper] / innovationVar
	}
	for i := range gain {
		s.x[i] += gain[i] * innovation
		for j := range gain {
			s.p[i*s.dim+j] -= gain[i] * gain[j] * innovationVar
		}
	}
	return innovation, innovationVar
}

// step does one op. gain is used by readings alone.
func (s state) step(o *op, v noise, gain []float64) (innovation, innovationVar float64) {
	switch o.kind {
	case opReset:
		s.set(atHopper, o.kg, o.variance)
	case opRead:
		return s.read(o.kg, o.variance, gain)
	case opRelease:
		s.set(atRatio, 1, priorRatioSd*priorRatioSd)
	case opFresh:
		s.set(atSpread, 0, 0)
	case opLoad:
		s.x[atHopper] += o.kg
		if o.scale > 0 {
			s.x[atHopper] -= o.kg * s.x[o.scale]
			s.add(atHopper, -o.kg, o.scale)
		}
		s.p[0] += o.variance
	case opSpread:
		s.spread(o.kg, v)
	}
	return 0, 0
}

// filtered is a Kalman filter's way through the ops.
type filtered struct {
	ops         []op
	errors      []Form // one an op: of what was read or weighed
	final       state
	marks       []state     // one an opMark, in order
	gains       [][]float64 // one an op; nil but for readings
	innovations []float64   // one an op; 0 but for readings
	variances   []float64   // of innovations
}

// filter runs forward and keeps what smoothing and forms need.
// O(ops x dim^2).
func filter(ops []op, errors []Form, s state, v noise) filtered {
	f := filtered{ops: ops, errors: errors, final: s, gains: make([][]float64, len(ops)), innovations: make([]float64, len(ops)), variances: make([]float64, len(ops))}
	for i, o := range ops {
		if o.kind == opRead {
			f.gains[i] = make([]float64, s.dim)
		}
		f.innovations[i], f.variances[i] = s.step(&ops[i], v, f.gains[i])
		if o.kind == opMark {
			f.marks = append(f.marks, s.clone())
		}
	}
	return f
}

// likelihood is -2 log likelihood of the readings but for a constant, and how
// many there are. O(ops x dim^2).
func likelihood(ops []op, s state, v noise) (minus2Log float64, readings int) {
	gain := make([]float64, s.dim)
	for i := range ops {
		if d, variance := s.step(&ops[i], v, gain); variance > 0 {
			minus2Log += math.Log(variance) + d*d/variance
			readings++
		}
	}
	return minus2Log, readings
}

// smoothed gives the marked states as all readings say, those after the mark
// included: the fixed-interval smoother in the form that inverts no matrix
// (Bierman 1973, after Bryson and Frazier). O(ops x dim^2 + marks x dim^3).
func (f filtered) smoothed() []state {
	b := back{f.final.dim, make([]float64, f.final.dim), make([]float64, f.final.dim*f.final.dim)}
	out := make([]state, len(f.marks))
	n := len(f.marks)
	for i := len(f.ops) - 1; i >= 0; i-- {
		o := f.ops[i]
		if o.kind == opMark {
			n--
			out[n] = b.correct(f.marks[n])
			continue
		}
		b.through(o, f.gains[i])
		if f.variances[i] > 0 {
			b.l[atHopper] -= f.innovations[i] / f.variances[i]
			b.m[0] += 1 / f.variances[i]
		}
	}
	return out
}

// back goes through the ops backwards: l and m are what later readings say,
// adjoint to the state's mean and covariance. m may be nil: not wanted.
type back struct {
	dim int
	l   []float64
	m   []float64
}

// through applies the transposed op from both sides; gain for a reading.
func (b back) through(o op, gain []float64) {
	switch o.kind {
	case opReset:
		b.forget(atHopper)
	case opRelease:
		b.forget(atRatio)
	case opFresh:
		b.forget(atSpread)
	case opLoad:
		if o.scale > 0 {
			b.add(o.scale, -o.kg, atHopper)
		}
	case opSpread:
		b.add(atRatio, -o.kg, atHopper)
		b.add(atRatio, o.kg, atSpread)
	case opRead:
		b.scale(atHopper, 1-gain[atHopper])
		for i, g := range gain {
			if i != atHopper {
				b.add(atHopper, -g, i)
			}
		}
	}
}

func (b back) forget(i int) { b.scale(i, 0) }

func (b back) scale(i int, c float64) {
	b.l[i] *= c
	if b.m == nil {
		return
	}
	for j := range b.dim {
		b.m[i*b.dim+j] *= c
	}
	for j := range b.dim {
		b.m[j*b.dim+i] *= c
	}
}

func (b back) add(i int, c float64, j int) {
	b.l[i] += c * b.l[j]
	if b.m == nil {
		return
	}
	for k := range b.dim {
		b.m[i*b.dim+k] += c * b.m[j*b.dim+k]
	}
	for k := range b.dim {
		b.m[k*b.dim+i] += c * b.m[k*b.dim+j]
	}
}

// correct gives the smoothed state of a filtered one: x - P l, P - P M P.
func (b back) correct(s state) state {
	out, d := s.clone(), s.dim
	pm := make([]float64, d*d)
	for i := range d {
		for j := range d {
			out.x[i] -= s.p[i*d+j] * b.l[j]
			for k := range d {
				pm[i*d+j] += s.p[i*d+k] * b.m[k*d+j]
			}
		}
	}
	for i := range d {
		for j := range d {
			for k := range d {
				out.p[i*d+j] -= pm[i*d+k] * s.p[k*d+j]
			}
		}
	}
	return out
}

// formOf is how the error of a final estimate depends on the errors of
// everything read and weighed: its derivative by each of them. What the flow
// did by itself is no part of it. O(ops x dim + terms log terms).
func (f filtered) formOf(place int) Form {
	b := back{dim: f.final.dim, l: make([]float64, f.final.dim)}
	b.l[place] = 1
	var terms sum
	for i := len(f.ops) - 1; i >= 0; i-- {
		o := f.ops[i]
		var c float64
		switch o.kind {
		case opReset, opLoad:
			c = b.l[atHopper]
		case opRead:
			for k, g := range f.gains[i] {
				c += g * b.l[k]
			}
		}
		if c != 0 {
			terms.add(f.errors[i], c)
		}
		b.through(o, f.gains[i])
	}
	return terms.form()
}
