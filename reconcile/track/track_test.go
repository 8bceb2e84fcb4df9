package track

import (
	"math"
	"math/rand/v2"
	"reflect"
	"slices"
	"testing"

	"hopperbook/reconcile/plane"
	"hopperbook/schemas"
)

var nan = math.NaN()

// fixAt is a good fix at plane coordinates about 46 S, seconds after the start.
func fixAt(s, xM, yM float64) schemas.Fix {
	lat, lon := plane.At(-46.1, 168.3).Inverse(xM, yM)
	return schemas.Fix{
		UnixMilli: int64(math.Round(s * 1000)), LatDeg: lat, LonDeg: lon, SpeedKmh: nan, HeadingDeg: nan,
		SetRateKgHa: 250, BoutWidthM: 20, Quality: schemas.QualityRTKFixed, Spreading: schemas.SpreadingOn,
	}
}

// straight drives north at 5 m/s, one fix a second.
func straight(n int) []schemas.Fix {
	fixes := make([]schemas.Fix, n)
	for i := range fixes {
		fixes[i] = fixAt(float64(i), 0, 5*float64(i))
	}
	return fixes
}

// wander is a seeded drive with changing state, noise, pauses and bad fixes.
func wander(seed uint64, n int) []schemas.Fix {
	rng := rand.New(rand.NewPCG(seed, 9))
	var fixes []schemas.Fix
	x, y, heading, at := 0.0, 0.0, 0.0, 0.0
	for range n {
		at += 0.2 + 0.01*float64(rng.IntN(3))
		if rng.IntN(60) == 0 {
			at += 20 * rng.Float64()
		}
		step := 0.9 * rng.Float64()
		heading += 0.2 * (rng.Float64() - 0.5)
		x, y = x+step*math.Sin(heading), y+step*math.Cos(heading)
		f := fixAt(at, x, y)
		f.Spreading = schemas.Spreading(1 + min(1, rng.IntN(5)))
		f.SetRateKgHa = 200 + float64(rng.IntN(3))
		switch rng.IntN(50) {
		case 0:
			f.LatDeg, f.LonDeg = 0, 0
		case 1:
			f.Quality = schemas.QualityNone
		case 2:
			f.LatDeg = nan
		case 3:
			f.LonDeg += 0.01
		}
		fixes = append(fixes, f)
		if rng.IntN(40) == 0 && f.LatDeg < 0 { // a contradicting fix of the same time
			f.LatDeg += 1e-5
			fixes = append(fixes, f)
		}
	}
	return fixes
}

func kinds(fs []Finding) map[Kind]int {
	m := map[Kind]int{}
	for _, f := range fs {
		m[f.Kind] += f.Count
	}
	return m
}

func TestStraightDrive(t *testing.T) {
	tr := Clean(straight(101), Options{})
	got := Total(tr.Segments)
	// 500 m x 20 m = 1 ha; at 250 kg/ha (rate arithmetic: kg = kg/ha x m x m / 10 000) 250 kg.
	want := Totals{LengthM: 500, SpreadM: 500, SwathM2: 10000, NominalKg: 250, SpreadS: 100}
	if math.Abs(got.LengthM-want.LengthM) > 1e-5 || math.Abs(got.SwathM2-want.SwathM2) > 2e-4 ||
		math.Abs(got.NominalKg-want.NominalKg) > 5e-6 || got.SpreadS != 100 || got.SpreadM != got.LengthM {
		t.Errorf("%+v, want %+v", got, want)
	}
	if len(tr.Findings) != 0 || tr.Used != 101 || len(tr.Segments) != 100 {
		t.Errorf("findings %v, used %d, segments %d", tr.Findings, tr.Used, len(tr.Segments))
	}
}

// set changes some fixes of a drive.
func set(from, to int, do func(*schemas.Fix)) func([]schemas.Fix) []schemas.Fix {
	return func(f []schemas.Fix) []schemas.Fix {
		for i := from; i < to; i++ {
			do(&f[i])
		}
		return f
	}
}

// TestFindings gives each kind its own damage on the straight drive.
func TestFindings(t *testing.T) {
	for name, c := range map[string]struct {
		do      func([]schemas.Fix) []schemas.Fix
		want    []Finding // FromMilli and ToMilli in ms
		lengthM float64
	}{
		"null":     {set(10, 12, func(f *schemas.Fix) { f.LatDeg, f.LonDeg = 0, 0 }), []Finding{{NullPosition, 10000, 11000, 2, 0, 0}}, 100},
		"no fix":   {set(10, 11, func(f *schemas.Fix) { f.Quality = schemas.QualityNone }), []Finding{{NoFix, 10000, 10000, 1, 0, 0}}, 100},
		"NaN":      {set(10, 11, func(f *schemas.Fix) { f.LonDeg = nan }), []Finding{{BadPosition, 10000, 10000, 1, 0, 0}}, 100},
		"infinite": {set(0, 1, func(f *schemas.Fix) { f.LatDeg = math.Inf(1) }), []Finding{{BadPosition, 0, 0, 1, 0, 0}}, 95},
		"gap":      {func(f []schemas.Fix) []schemas.Fix { return slices.Delete(f, 5, 11) }, []Finding{{Gap, 4000, 11000, 1, 35, 0}}, 65},
		"jump":     {set(20, 21, func(f *schemas.Fix) { *f = fixAt(20, 30, 100) }), []Finding{{Jump, 19000, 20000, 1, math.Hypot(30, 5) * 3.6, 0}}, 95},
		"outlier":  {set(8, 9, func(f *schemas.Fix) { *f = fixAt(8, 300, 40) }), []Finding{{Outlier, 8000, 8000, 1, math.Hypot(300, 5), 0}}, 100},
		// The position is corrected by 28 m: the first fix there is not the wrong one.
		"corrected":  {set(10, 21, func(f *schemas.Fix) { *f = fixAt(float64(f.UnixMilli)/1000, 28, float64(f.UnixMilli)/200) }), []Finding{{Jump, 9000, 10000, 1, math.Hypot(28, 5) * 3.6, 0}}, 95},
		"late":       {func(f []schemas.Fix) []schemas.Fix { f[3], f[9] = f[9], f[3]; return f }, []Finding{{OutOfOrder, 3000, 8000, 6, 6, 0}}, 100},
		"twice":      {func(f []schemas.Fix) []schemas.Fix { return append(f, f[4:7]...) }, []Finding{{Duplicate, 4000, 6000, 3, 0, 0}, {OutOfOrder, 4000, 6000, 3, 16, 0}}, 100},
		"no width":   {set(0, 2, func(f *schemas.Fix) { f.BoutWidthM = nan }), []Finding{{NoBoutWidth, 0, 2000, 2, 10, 0}}, 100},
		"wide":       {set(0, 2, func(f *schemas.Fix) { f.BoutWidthM = 1e9 }), []Finding{{NoBoutWidth, 0, 2000, 2, 10, 0}}, 100},
		"no rate":    {set(3, 4, func(f *schemas.Fix) { f.SetRateKgHa = math.Inf(1) }), []Finding{{NoSetRate, 3000, 4000, 1, 5, 0}}, 100},
		"rate 0":     {set(3, 4, func(f *schemas.Fix) { f.SetRateKgHa = 0 }), nil, 100},
		"not said":   {set(0, 4, func(f *schemas.Fix) { f.Spreading = schemas.SpreadingUnknown }), []Finding{{SpreadingInferred, 0, 3000, 4, 0, 0}}, 100},
		"clock mad":  {set(20, 21, func(f *schemas.Fix) { f.UnixMilli = math.MaxInt64 }), []Finding{{Gap, 19000, math.MaxInt64, 1, 0, 0}}, 95},
		"stationary": {stand, []Finding{{Stationary, 20000, 30000, 11, 10, 0}}, 100},
	} {
		tr := Clean(c.do(straight(21)), Options{})
		if name == "jump" || name == "clock mad" || name == "late" {
			tr.Findings = tr.Findings[:min(1, len(tr.Findings))]
		}
		if name == "clock mad" {
			tr.Findings[0].Detail = 0
		}
		if len(tr.Findings) != len(c.want) {
			t.Errorf("%s: %+v, want %+v", name, tr.Findings, c.want)
			continue
		}
		for i, f := range tr.Findings {
			w := c.want[i]
			if math.Abs(f.Detail-w.Detail) > 1e-3 {
				t.Errorf("%s: detail %v, want %v", name, f.Detail, w.Detail)
			}
			if f.Detail = w.Detail; f != w {
				t.Errorf("%s: %+v, want %+v", name, f, w)
			}
		}
		if got := Total(tr.Segments).LengthM; math.Abs(got-c.lengthM) > 1e-3 {
			t.Errorf("%s: %v m driven, want %v", name, got, c.lengthM)
		}
	}
}

// Only a fix that stands alone between two that agree is dropped.
func TestTwoFixesOffAreNotBridged(t *testing.T) {
	off := func(f *schemas.Fix) { f.LonDeg += 0.01 }
	for name, c := range map[string]struct {
		from, to int
		lengthM  float64
	}{"two": {8, 10, 90}, "the first": {0, 1, 95}, "the last": {20, 21, 95}} {
		tr := Clean(set(c.from, c.to, off)(straight(21)), Options{})
		if n := kinds(tr.Findings); n[Outlier] > 0 || n[Jump] == 0 || tr.Used != 21 {
			t.Errorf("%s: %v", name, n)
		}
		if got := Total(tr.Segments).LengthM; math.Abs(got-c.lengthM) > 1e-2 {
			t.Errorf("%s: %v m driven, want %v", name, got, c.lengthM)
		}
	}
}

// stand adds ten seconds of standing with 10 cm of noise at the end of the drive.
func stand(f []schemas.Fix) []schemas.Fix {
	for i := range 10 {
		f = append(f, fixAt(21+float64(i), 0.1*float64(i%2), 100))
	}
	return f
}

func TestStateIsThatOfTheFirstFix(t *testing.T) {
	fixes := straight(3)
	fixes[0].SetRateKgHa, fixes[1].Spreading, fixes[1].BoutWidthM = 300, schemas.SpreadingOff, 12
	tr := Clean(fixes, Options{})
	a, b := tr.Segments[0], tr.Segments[1]
	if !a.Spreading || a.SetRateKgHa != 300 || a.BoutWidthM != 20 || b.Spreading || b.BoutWidthM != 12 || b.SwathM2() != 0 || b.NominalKg() != 0 {
		t.Errorf("%+v %+v", a, b)
	}
}

func TestInferredFromSpeed(t *testing.T) {
	for _, c := range []struct {
		kmh  float64
		want bool
	}{{2.9, false}, {3, true}, {35, true}, {35.1, false}, {nan, true}} { // NaN: 18 km/h by the steps
		fixes := straight(2)
		fixes[0].Spreading, fixes[0].SpeedKmh = schemas.SpreadingUnknown, c.kmh
		if s := Clean(fixes, Options{}).Segments[0]; s.Spreading != c.want || !s.Inferred {
			t.Errorf("%v km/h: %+v", c.kmh, s)
		}
	}
}

// TestSlowMachineLosesNothing: steps below MinMoveM still add up.
func TestSlowMachineLosesNothing(t *testing.T) {
	var fixes []schemas.Fix
	for i := range 1001 {
		fixes = append(fixes, fixAt(0.1*float64(i), 0, 0.1*float64(i)))
	}
	if got := Total(Clean(fixes, Options{}).Segments).LengthM; got > 100 || got < 100-0.3 {
		t.Errorf("%v m", got)
	}
}

func TestOrderAndCopiesChangeNothing(t *testing.T) {
	for seed := range uint64(20) {
		fixes := wander(seed, 400)
		want := Clean(fixes, Options{})
		rng := rand.New(rand.NewPCG(seed, 3))
		mixed := append(slices.Clone(fixes), fixes[50:120]...)
		rng.Shuffle(len(mixed), func(i, j int) { mixed[i], mixed[j] = mixed[j], mixed[i] })
		got := Clean(mixed, Options{})
		if !reflect.DeepEqual(got.Segments, want.Segments) || got.Used != want.Used {
			t.Fatalf("seed %d: %d segments, want %d", seed, len(got.Segments), len(want.Segments))
		}
		a, b := kinds(got.Findings), kinds(want.Findings)
		for _, k := range []Kind{Gap, Jump, Stationary, NoBoutWidth, NoSetRate} {
			if a[k] != b[k] {
				t.Errorf("seed %d: %s %d, want %d", seed, k, a[k], b[k])
			}
		}
	}
	if tr := Clean(nil, Options{}); len(tr.Segments)+len(tr.Findings) != 0 {
		t.Errorf("empty input: %+v", tr)
	}
}

// TestLines is the slow oracle for the joining rule: every pair of kept
// neighbours, one by one, with MinMoveM out of the way.
func TestLines(t *testing.T) {
	lone := 0
	for seed := range uint64(10) {
		tr := Clean(wander(seed, 500), Options{MinMoveM: 1e-9})
		want, driven := 0, 0.0
		var kept []schemas.Fix
		for _, f := range wander(seed, 500) {
			switch n := len(kept); {
			case !(f.LatDeg < 0) || f.Quality == schemas.QualityNone:
			case n > 0 && kept[n-1].UnixMilli == f.UnixMilli:
				if f.LatDeg < kept[n-1].LatDeg {
					kept[n-1] = f
				}
			default:
				kept = append(kept, f)
			}
		}
		p := plane.At(-46.1, 168.3)
		step := func(a, b schemas.Fix) (m float64, tooLong, tooFast bool) {
			x0, y0 := p.Forward(a.LatDeg, a.LonDeg)
			x1, y1 := p.Forward(b.LatDeg, b.LonDeg)
			m, s := math.Hypot(x1-x0, y1-y0), float64(b.UnixMilli-a.UnixMilli)/1000
			return m, s > 5, m-1 > 60/3.6*s
		}
		for i := 1; i+1 < len(kept); i++ { // fixes that stand alone
			_, long1, fast1 := step(kept[i-1], kept[i])
			_, _, fast2 := step(kept[i], kept[i+1])
			_, long3, fast3 := step(kept[i-1], kept[i+1])
			if !long1 && fast1 && fast2 && !long3 && !fast3 {
				kept = slices.Delete(kept, i, i+1)
				lone++
				i--
			}
		}
		for i := 1; i < len(kept); i++ {
			if d, long, fast := step(kept[i-1], kept[i]); !long && !fast {
				want, driven = want+1, driven+d
			}
		}
		if len(kept) != tr.Used {
			t.Errorf("seed %d: %d fixes used, want %d", seed, tr.Used, len(kept))
		}
		if got := Total(tr.Segments).LengthM; len(tr.Segments) != want || math.Abs(got-driven) > 1e-4 {
			t.Errorf("seed %d: %d segments %v m, want %d %v m", seed, len(tr.Segments), got, want, driven)
		}
	}
	if lone < 10 {
		t.Errorf("only %d fixes stand alone", lone)
	}
}

func TestJumpLimit(t *testing.T) {
	for _, c := range []struct {
		m    float64
		want int
	}{{60/3.6 + 0.99, 0}, {60/3.6 + 1.01, 1}} { // 60 km/h for a second, and a metre
		tr := Clean([]schemas.Fix{fixAt(0, 0, 0), fixAt(1, c.m, 0)}, Options{})
		if got := kinds(tr.Findings)[Jump]; got != c.want || len(tr.Segments) != 1-c.want {
			t.Errorf("%v m in a second: %d jumps", c.m, got)
		}
	}
}

// TestMomentsAtAnEnd: a segment of no duration, as cutting by milliseconds can
// leave, belongs to the period that begins there.
func TestMomentsAtAnEnd(t *testing.T) {
	s := []Segment{{FromMilli: 5, ToMilli: 5, LengthM: 1}, {FromMilli: 0, ToMilli: 5, LengthM: 10}}
	if a, b := Total(Within(s, 0, 5)), Total(Within(s, 5, 9)); a.LengthM != 10 || b.LengthM != 1 {
		t.Errorf("before %v m, after %v m", a.LengthM, b.LengthM)
	}
}

func TestPeriodsShareEveryMetre(t *testing.T) {
	for seed := range uint64(10) {
		segments := Clean(wander(seed, 300), Options{}).Segments
		whole := Total(segments)
		rng := rand.New(rand.NewPCG(seed, 4))
		cuts := []int64{math.MinInt64 / 2}
		for range 5 {
			cuts = append(cuts, rng.Int64N(100000))
		}
		cuts = append(cuts, math.MaxInt64/2)
		slices.Sort(cuts)
		var parts []Segment
		for i := 1; i < len(cuts); i++ {
			parts = append(parts, Within(segments, cuts[i-1], cuts[i])...)
		}
		got := Total(parts)
		if math.Abs(got.LengthM-whole.LengthM) > 1e-9 || math.Abs(got.NominalKg-whole.NominalKg) > 1e-9 || math.Abs(got.SpreadS-whole.SpreadS) > 1e-9 {
			t.Errorf("seed %d: %+v, want %+v", seed, got, whole)
		}
	}
}

func BenchmarkClean(b *testing.B) {
	fixes := wander(1, 20000)
	b.ReportAllocs()
	for b.Loop() {
		Clean(fixes, Options{})
	}
	b.ReportMetric(float64(len(fixes))*float64(b.N)/b.Elapsed().Seconds(), "fixes/s")
}

func FuzzClean(f *testing.F) {
	f.Add(int64(0), int64(1000), 1.0, 1.0, 1.0001, 1.0, 10.0, 20.0)
	f.Add(int64(math.MinInt64), int64(math.MaxInt64), 90.0, 180.0, -90.0, -180.0, nan, math.Inf(1))
	f.Fuzz(func(t *testing.T, t1, t2 int64, lat1, lon1, lat2, lon2, rate, width float64) {
		fixes := []schemas.Fix{
			{UnixMilli: t1, LatDeg: lat1, LonDeg: lon1, SetRateKgHa: rate, BoutWidthM: width, Quality: 1, Spreading: 2},
			{UnixMilli: t2, LatDeg: lat2, LonDeg: lon2, SetRateKgHa: rate, BoutWidthM: width, Quality: 1},
			{UnixMilli: t2 + 1000, LatDeg: lat2, LonDeg: lon1, Quality: 1, SpeedKmh: width},
		}
		tr := Clean(fixes, Options{MaxGapS: 1e6, MaxSpeedKmh: 1e6})
		if got := Total(NewGround([]Field{{ID: "F"}}).Split(tr.Segments)); !(got.LengthM >= 0 && got.NominalKg >= 0 && got.SwathM2 >= 0) {
			t.Errorf("%+v", got)
		}
	})
}
