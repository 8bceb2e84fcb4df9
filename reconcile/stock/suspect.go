package stock

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/stat/distuv"

	"hopperbook/schemas/fault"
	"hopperbook/schemas/unit"
)

// Solution is a network reconciled, with what is suspect taken out.
type Solution struct {
	First    Fit     // with every measurement believed
	Last     Fit     // with the suspects taken out; First where there is none
	Nodes    []Node  // by constraint
	Gross    []Gross // in the order they were taken out
	Findings []Finding
}

// Node is the test of one constraint on the measurements alone.
type Node struct {
	Tested        bool // it has no unmeasured flow and some uncertainty
	Imbalance, Sd float64
	Z             float64 // |Imbalance| / Sd
}

// Gross is a gross error that the tests name.
type Gross struct {
	Suspect  int     // its index in Suspects: flows first, then directions
	Z        float64 // its measurement test
	Critical float64 // what the largest test was held against
	Size     float64 // measured minus true, in the flow's unit or per unit of the direction; fitted with all others taken out
	SizeSd   float64
	Rivals   []Rival // whatever explains the figures about as well, itself included; by Suspect
}

// Rival is a suspect that can't be ruled out: with it taken out, the
// chi-square is larger by 3.84 at most (95 %, 1 degree of freedom) than with
// the one of the largest test taken out.
type Rival struct {
	Suspect int
	Z       float64
	Size    float64 // as Gross.Size, were it the only one left
	SizeSd  float64
}

// Kind says what a Finding is about.
type Kind string

// Findings of a network.
const (
	BadCovariance Kind = "bad_covariance" // can't be one; left out
	NoRedundancy  Kind = "no_redundancy"  // nothing can be checked
	Contradiction Kind = "contradiction"  // exact measurements contradict each other
)

// Finding is something a person should know; it never stops a reconciliation.
type Finding struct {
	Kind Kind   `json:"kind"`
	Text string `json:"text"`
}

// Reconcile fits the flows to the constraints by weighted least squares and
// names gross errors by serial elimination: when the largest measurement test
// is beyond the critical value, its suspect (or the rival that
// Options.Choose prefers) is taken out, and everything is tested again. It fails (fault.Input) on what is no number.
//
// With m constraints, n flows and q unmeasured ones or suspects: time
// O(m^2 n + (m+q)^3) a suspect taken out, memory O(n (n+m)). Results are
// exact up to rounding, about 1e-9 of the largest flow.
//
// Sources: VDI 2048 Part 1 (2000); Narasimhan and Jordache, Data
// Reconciliation and Gross Error Detection (2000); the critical value is that
// of Sidak for the number of different tests.
func Reconcile(p Problem, o Options) (Solution, error) {
	if o.Level == 0 {
		o.Level = defaultLevel
	}
	if !(o.Level > 0 && o.Level < 1) {
		return Solution{}, fault.Newf("reconcile stock", fault.Usage, fmt.Sprintf("level %v", o.Level), "the level lies between 0 and 1")
	}
	if len(p.Constraints) == 0 || len(p.Flows) == 0 {
		return unconstrained(p)
	}
	net, err := newNetwork(p)
	if err != nil {
		return Solution{}, err
	}
	sol := Solution{Nodes: net.nodes()}
	var out []Direction
	for {
		s := net.solve(out, o.Level)
		tests := net.tests(&s)
		if len(out) == 0 {
			sol.First = s.fit
			net.say(&s)
		}
		sol.Last = s.fit
		for i := range out {
			sol.Gross[i].Size, sol.Gross[i].SizeSd = s.sizes[i], s.sds[i]
		}
		worst, critical, ok := pick(tests, o.Level)
		if !ok || o.NameNone {
			break
		}
		gross := Gross{Suspect: worst.suspect, Z: worst.z, Critical: critical, Rivals: rivals(tests, worst)}
		if o.Choose != nil {
			r := gross.Rivals[o.Choose(gross.Rivals)]
			gross.Suspect, gross.Z = r.Suspect, r.Z
		}
		sol.Gross = append(sol.Gross, gross)
		out = append(out, net.direction(gross.Suspect))
	}
	sol.Findings = net.findings
	return sol, nil
}

// unconstrained leaves every measurement as it is.
func unconstrained(p Problem) (Solution, error) {
	if err := p.check(); err != nil {
		return Solution{}, err
	}
	fit := Fit{P: 1, Estimates: make([]Estimate, len(p.Flows))}
	for i, f := range p.Flows {
		if !f.Unmeasured {
			fit.Estimates[i] = Estimate{Known: true, Value: f.Value, Sd: f.Sd}
		}
	}
	return Solution{First: fit, Last: fit, Nodes: make([]Node, len(p.Constraints)),
		Findings: []Finding{{NoRedundancy, "there is no balance to check the measurements by"}}}, nil
}

func (net *network) say(s *solved) {
	if s.fit.Dof == 0 {
		net.findings = append(net.findings, Finding{NoRedundancy, "every balance has something that was not measured: nothing can be checked"})
	}
	if largest := mat.Norm(net.y, math.Inf(1)); s.contradiction > math.Sqrt(rounding)*max(largest, math.SmallestNonzeroFloat64) {
		net.findings = append(net.findings, Finding{Contradiction, fmt.Sprintf("measurements stated as exact contradict each other by %s", unit.Plain(s.contradiction, 4))})
	}
}

func (net *network) nodes() []Node {
	out := make([]Node, len(net.p.Constraints))
	for j, c := range net.p.Constraints {
		open := slices.ContainsFunc(c.Terms, func(t Term) bool { return t.Coefficient != 0 && net.p.Flows[t.Flow].Unmeasured })
		if v := net.v.At(j, j); !open && v > 0 {
			out[j] = Node{Tested: true, Imbalance: net.r.AtVec(j), Sd: math.Sqrt(v)}
			out[j].Z = math.Abs(out[j].Imbalance) / out[j].Sd
		}
	}
	return out
}

// test is the measurement test of one suspect.
type test struct {
	suspect      int
	d            *mat.VecDense // how it moves the imbalances, per unit
	z            float64
	size, sizeSd float64
}

// direction is what a suspect moves.
func (net *network) direction(suspect int) Direction {
	if suspect < len(net.p.Flows) {
		return Direction{net.p.Flows[suspect].Name, []Term{{suspect, 1}}}
	}
	return net.p.Directions[suspect-len(net.p.Flows)]
}

// tests holds every suspect against the fit. The statistic of a direction d
// of the imbalances is (d' k r)^2 / d' k d, which has the largest power
// against that one gross error (Tamhane 1982); for uncorrelated measurements
// it equals the adjustment over its standard deviation.
func (net *network) tests(s *solved) []test {
	var out []test
	for i := range len(net.p.Flows) + len(net.p.Directions) {
		if i < len(net.p.Flows) && (net.p.Flows[i].Unmeasured || net.p.Flows[i].Trusted) {
			continue
		}
		t, ok := net.test(s, i)
		if !ok {
			continue
		}
		out = append(out, t)
		if i < len(net.p.Flows) {
			s.fit.Estimates[i].Tested, s.fit.Estimates[i].Z = true, t.z
		}
	}
	return out
}

func (net *network) test(s *solved, suspect int) (test, bool) {
	m := len(net.p.Constraints)
	t := test{suspect: suspect, d: mat.NewVecDense(m, nil)}
	for _, term := range net.direction(suspect).Terms {
		if net.p.Flows[term.Flow].Unmeasured {
			continue
		}
		for j := range m {
			t.d.SetVec(j, t.d.AtVec(j)+term.Coefficient*net.a.At(j, term.Flow))
		}
	}
	var power, scale float64
	for i := range m {
		if t.d.AtVec(i) == 0 {
			continue
		}
		scale += t.d.AtVec(i) * t.d.AtVec(i) * s.k.At(i, i)
		for j := range m {
			power += t.d.AtVec(i) * s.k.At(i, j) * t.d.AtVec(j)
		}
	}
	if !(power > rounding*scale) {
		return t, false
	}
	along := mat.Dot(t.d, s.w)
	t.size, t.sizeSd = along/power, 1/math.Sqrt(power)
	t.z = math.Abs(along) / math.Sqrt(power)
	return t, true
}

// tie is how near two tests are the same one.
const tie = 1e-7

// pick gives the suspect with the largest test, the first of equals, when it
// is beyond the critical value.
func pick(tests []test, level float64) (worst test, critical float64, ok bool) {
	if len(tests) == 0 {
		return test{}, 0, false
	}
	zs := make([]float64, len(tests))
	for i, t := range tests {
		zs[i] = t.z
		if i == 0 || t.z > worst.z*(1+rounding) {
			worst = t
		}
	}
	critical = Sidak(level, different(zs))
	return worst, critical, worst.z > critical
}

// different counts tests; those that came to the same statistic are one test
// said twice.
func different(zs []float64) (n int) {
	slices.Sort(zs)
	for i, z := range zs {
		if i == 0 || z > zs[i-1]+tie*max(1, z) {
			n++
		}
	}
	return n
}

func rivals(tests []test, worst test) (out []Rival) {
	for _, t := range tests {
		if worst.z*worst.z-t.z*t.z <= normal95*normal95 {
			out = append(out, Rival{t.suspect, t.z, t.size, t.sizeSd})
		}
	}
	return out
}

// Sidak is the two-sided critical value of n standard normal tests that are
// together beyond it with chance level at most.
func Sidak(level float64, n int) float64 {
	one := -math.Expm1(math.Log1p(-level) / float64(cmp.Or(n, 1)))
	return distuv.UnitNormal.Quantile(1 - one/2)
}
