package track

import (
	"math"

	"hopperbook/reconcile/plane"
	"hopperbook/schemas"
)

// Options are the limits of Clean. A limit that is not above zero means the
// default named beside it. The defaults are common practice, no source.
type Options struct {
	MaxGapS      float64 // 5: fixes further apart in time are not joined
	MaxSpeedKmh  float64 // 60: a faster step is a jump
	MinMoveM     float64 // 0.3: a smaller move is standing still
	RoughMoveM   float64 // 2, at least MinMoveM: the same for fixes other than RTK fixed; see the package comment
	StationaryS  float64 // 5: standing longer than this while spreading is a finding
	InferFromKmh float64 // 3: slowest driving that counts as spreading where the log does not say
	InferToKmh   float64 // 35: and the fastest
	BoutWidthM   float64 // for fixes that have none; 0: none
	SetRateKgHa  float64 // for fixes that have none; 0: none
}

func (o Options) withDefaults() Options {
	def := func(v *float64, d float64) {
		if !(*v > 0) {
			*v = d
		}
	}
	def(&o.MaxGapS, 5)
	def(&o.MaxSpeedKmh, 60)
	def(&o.MinMoveM, 0.3)
	def(&o.RoughMoveM, 2)
	o.RoughMoveM = max(o.RoughMoveM, o.MinMoveM)
	def(&o.StationaryS, 5)
	def(&o.InferFromKmh, 3)
	def(&o.InferToKmh, 35)
	return o
}

// MaxBoutWidthM is the widest bout width taken for real; a wider one counts as
// not known. Common practice, no source: spreaders throw less than 60 m.
const MaxBoutWidthM = 100

// Segment is a straight piece of a track between two moments.
type Segment struct {
	Field              schemas.FieldID // "" before Ground.Split, and outside every field
	Line               int             // unbroken stretch of driving the segment belongs to, from 0
	FromMilli, ToMilli int64           // Unix ms, half-open
	FromLatDeg         float64
	FromLonDeg         float64
	ToLatDeg           float64
	ToLonDeg           float64
	StartM             float64 // driven since the line began
	LengthM            float64
	BoutWidthM         float64 // 0: not known, which is a finding
	SetRateKgHa        float64 // 0: nothing asked for, or not known, which is a finding
	Spreading          bool
	Inferred           bool // spreading is a guess from the speed
}

// SwathM2 is distance times bout width; 0 when not spreading.
func (s Segment) SwathM2() float64 {
	if !s.Spreading {
		return 0
	}
	return s.LengthM * s.BoutWidthM
}

// NominalKg is what the set rate asks for on the segment; 0 when not spreading.
func (s Segment) NominalKg() float64 { return s.SetRateKgHa * s.SwathM2() / 10000 }

// Part is the piece between two fractions of the segment, 0 <= from <= to <= 1.
// Parts that share a fraction share position, distance and time exactly, so
// they add up to the segment (lengths to rounding, times to the millisecond).
func (s Segment) Part(from, to float64) Segment {
	p := s
	dLat, dLon := s.ToLatDeg-s.FromLatDeg, plane.WrapDeg(s.ToLonDeg-s.FromLonDeg)
	if from > 0 {
		p.FromLatDeg, p.FromLonDeg = s.FromLatDeg+from*dLat, plane.WrapDeg(s.FromLonDeg+from*dLon)
		p.FromMilli = s.milliAt(from)
		p.StartM = s.StartM + from*s.LengthM
	}
	if to < 1 {
		p.ToLatDeg, p.ToLonDeg = s.FromLatDeg+to*dLat, plane.WrapDeg(s.FromLonDeg+to*dLon)
		p.ToMilli = s.milliAt(to)
	}
	p.LengthM = (to - from) * s.LengthM
	return p
}

func (s Segment) milliAt(fraction float64) int64 {
	return s.FromMilli + int64(math.Round(fraction*float64(s.ToMilli-s.FromMilli)))
}

// Within gives what of the segments lies in the half-open period; those across
// an end are cut by time. Adjoining periods share every metre exactly once. O(n).
func Within(segments []Segment, fromMilli, toMilli int64) []Segment {
	var in []Segment
	for _, s := range segments {
		if s.FromMilli >= toMilli || s.ToMilli < fromMilli || (s.ToMilli == fromMilli && s.FromMilli < fromMilli) {
			continue
		}
		from, to, span := 0.0, 1.0, float64(s.ToMilli-s.FromMilli)
		if s.FromMilli < fromMilli {
			from = float64(fromMilli-s.FromMilli) / span
		}
		if s.ToMilli > toMilli {
			to = float64(toMilli-s.FromMilli) / span
		}
		in = append(in, s.Part(from, to))
	}
	return in
}

// Totals are sums over segments. Only LengthM counts driving without spreading.
type Totals struct {
	LengthM, SpreadM, SwathM2, NominalKg, SpreadS float64
}

// Total adds up the segments in their order. O(n).
func Total(segments []Segment) Totals {
	var t Totals
	for _, s := range segments {
		t.LengthM += s.LengthM
		t.SwathM2 += s.SwathM2()
		t.NominalKg += s.NominalKg()
		if s.Spreading {
			t.SpreadM += s.LengthM
			t.SpreadS += float64(s.ToMilli-s.FromMilli) / 1000
		}
	}
	return t
}
