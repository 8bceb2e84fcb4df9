package calibration

import "math"

const (
	// singleSDPct stands for the standard deviation of filling and weighing a
	// container when it was done once (common practice, no source).
	singleSDPct = 2
	// Bulk products are within these; outside, kg, litres or the tare are
	// mixed up (common practice, no source).
	lightestKgM3, heaviestKgM3 = 200.0, 3000.0
	litresPerM3                = 1000.0
	normal95                   = 1.959963984540054
)

// DensitySample is one filled container.
type DensitySample struct {
	MassKg  float64 // gross
	VolumeL float64
	TareKg  float64 // of the empty container
}

// DensityReference is what a test is compared with.
type DensityReference struct {
	KgM3   float64 // 0: there is none
	SEKgM3 float64 // its standard error; 0 where it is taken as exact
}

// DensityTest is a container filled and weighed one or more times.
type DensityTest struct {
	Samples  []DensitySample
	Register DensityReference
	Last     DensityReference
}

// Density is the result of a density test.
type Density struct {
	DensityKgM3 float64         `json:"density_kg_m3"`
	DensityKgL  float64         `json:"density_kg_l"`
	Repeats     int             `json:"repeats"`
	SDKgM3      *float64        `json:"sd_kg_m3,omitempty"`
	SEKgM3      *float64        `json:"se_kg_m3,omitempty"`
	U95KgM3     float64         `json:"u95_kg_m3"`   // 95 % half-width
	U95Assumed  bool            `json:"u95_assumed"` // from one sample: 2 % standard deviation assumed
	Against     []DensityChange `json:"against"`
	Findings    []Finding       `json:"findings"`
}

// DensityChange compares a test with the register or the last test.
type DensityChange struct {
	With              string  `json:"with"` // register, last_test
	DensityKgM3       float64 `json:"density_kg_m3"`
	DifferenceKgM3    float64 `json:"difference_kg_m3"`
	U95KgM3           float64 `json:"u95_kg_m3"` // of the difference
	RateChangePct     float64 `json:"rate_change_pct"`
	BeyondUncertainty bool    `json:"beyond_uncertainty"`
}

// MeasureDensity gives the bulk density of a test: the mean of net mass /
// volume of its samples. A floor belt or metering roller delivers a volume, so
// at the same opening and speed the rate changes by as many percent as the
// density; RateChangePct is that change against the reference, and a finding
// says so when the difference is beyond its own 95 % half-width
// sqrt(u95^2 + (1.96 se of the reference)^2). Refused: no sample, a volume
// that is not above zero, a gross mass not above the tare. O(n).
func MeasureDensity(t DensityTest) (Density, error) {
	const op = "density test"
	if len(t.Samples) == 0 {
		return Density{}, inputError(op, "weigh a container of known volume", "no sample")
	}
	values := make([]float64, len(t.Samples))
	for i, s := range t.Samples {
		switch {
		case !positive(s.VolumeL):
			return Density{}, inputError(op, "give the container's volume in litres", "sample %d: a volume of %v l", i+1, s.VolumeL)
		case !positive(s.MassKg):
			return Density{}, inputError(op, "weigh again", "sample %d: a mass of %v kg", i+1, s.MassKg)
		case !notNegative(s.TareKg):
			return Density{}, inputError(op, "weigh the empty container", "sample %d: a tare of %v kg", i+1, s.TareKg)
		case s.MassKg <= s.TareKg:
			return Density{}, inputError(op, "the mass is gross: product and container", "sample %d: %v kg is not above the tare of %v kg", i+1, s.MassKg, s.TareKg)
		}
		values[i] = (s.MassKg - s.TareKg) / (s.VolumeL / litresPerM3)
	}
	return densityOf(newRepeats(values), t)
}

func densityOf(r repeats, t DensityTest) (Density, error) {
	d := Density{DensityKgM3: r.mean, DensityKgL: r.mean / litresPerM3, Repeats: r.n, SDKgM3: known(r.sd), SEKgM3: known(r.se), U95KgM3: r.u95, Against: []DensityChange{}}
	if r.n == 1 {
		d.U95KgM3, d.U95Assumed = normal95*singleSDPct/100*r.mean, true
	}
	var f findings
	r.judge(&f, "sample")
	if r.mean < lightestKgM3 || r.mean > heaviestKgM3 {
		f.add(DensityOdd, "%.0f kg/m3 is no bulk product: are mass in kg, volume in litres and the tare right?", r.mean)
	}
	for _, ref := range []struct {
		with, words string
		DensityReference
	}{{"register", "the product's register", t.Register}, {"last_test", "the last test", t.Last}} {
		if ref.KgM3 == 0 && ref.SEKgM3 == 0 {
			continue
		}
		if !positive(ref.KgM3) || !notNegative(ref.SEKgM3) {
			return Density{}, inputError("density test", "give kg/m3 above zero", "%s says %v kg/m3, standard error %v", ref.words, ref.KgM3, ref.SEKgM3)
		}
		c := DensityChange{With: ref.with, DensityKgM3: ref.KgM3, DifferenceKgM3: r.mean - ref.KgM3,
			U95KgM3: math.Hypot(d.U95KgM3, normal95*ref.SEKgM3), RateChangePct: 100 * (r.mean/ref.KgM3 - 1)}
		c.BeyondUncertainty = math.Abs(c.DifferenceKgM3) > c.U95KgM3
		d.Against = append(d.Against, c)
		if c.BeyondUncertainty {
			f.add(DensityChanged, "%.0f kg/m3 differs by %+.0f from what %s says (%.0f), more than the uncertainty of %.0f: at the same opening the rate changes by %+.1f %%; make a catch test before you spread",
				r.mean, c.DifferenceKgM3, ref.words, ref.KgM3, c.U95KgM3, c.RateChangePct)
		}
	}
	d.Findings = f.list()
	return d, nil
}

// AsReference is the result as a later test is compared with it: the standard
// error that gives its 95 % half-width.
func (d Density) AsReference() DensityReference {
	return DensityReference{KgM3: d.DensityKgM3, SEKgM3: d.U95KgM3 / normal95}
}
