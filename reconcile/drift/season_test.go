package drift

import (
	"fmt"
	"math"
	"math/rand/v2"
	"sync/atomic"
	"testing"

	"hopperbook/schemas"
)

// crew draws one machine's loads: the calibration is off by 1 % (sd), the flow
// wanders 1.5 %, a load is weighed to 1.2 % and a residual to 1.13 % of a load,
// which makes 2 % measurement with a residual shared by neighbours; the loader's
// scale is off by 0.5 % (sd). From load `from` on the flow is changed by step.
func crew(rng *rand.Rand, n, from int, step float64) (series []Point, calibration float64) {
	const loadSd, residualSd = 0.012, 0.0113137
	calibration = 0.01 * rng.NormFloat64()
	scale := 0.005 * rng.NormFloat64()
	left := residualSd * rng.NormFloat64()
	for i := range n {
		ratio := 1 + calibration
		if i >= from {
			ratio *= 1 + step
		}
		next := residualSd * rng.NormFloat64()
		series = append(series, Point{
			Refill: schemas.RefillID(fmt.Sprintf("r%d", i)), Load: i + 1,
			Ratio: ratio*(1+scale) + 0.015*rng.NormFloat64() + loadSd*rng.NormFloat64() + left - next,
			Sd:    math.Sqrt(loadSd*loadSd + 2*residualSd*residualSd), CovNext: -residualSd * residualSd,
		})
		left = next
	}
	return series, calibration
}

func detect(t *testing.T, series []Point) Verdict {
	t.Helper()
	v, err := Detect(series, Options{})
	if err != nil {
		t.Fatal(err)
	}
	return v
}

// TestQuietSeasons: 200 seasons of 3 machines with 40 loads, judged after every
// load as the hub does: recalibrate is called in less than 0.5 % of them.
func TestQuietSeasons(t *testing.T) {
	t.Parallel()
	var called, watched atomic.Int32
	t.Run("seasons", func(t *testing.T) {
		for part := range uint64(4) {
			t.Run(fmt.Sprint(part), func(t *testing.T) {
				t.Parallel()
				rng := rand.New(rand.NewPCG(11, part))
				for range 50 {
					recalibrate, watch := quietSeason(t, rng)
					called.Add(int32(count(recalibrate)))
					watched.Add(int32(count(watch)))
				}
			})
		}
	})
	t.Logf("of 200 quiet seasons %d had a watch, %d a recalibrate", watched.Load(), called.Load())
	if called.Load() > 0 {
		t.Errorf("recalibrate in %d of 200 quiet seasons", called.Load())
	}
	// A run length of 400 loads and a calibration off by 1 % must show somewhere.
	if w := watched.Load(); w < 10 || w > 150 {
		t.Errorf("watch in %d of 200 quiet seasons", w)
	}
}

func quietSeason(t *testing.T, rng *rand.Rand) (recalibrate, watch bool) {
	for range 3 {
		series, _ := crew(rng, 40, 40, 0)
		for n := 1; n <= len(series); n++ {
			s := detect(t, series[:n]).State
			recalibrate = recalibrate || s == Recalibrate
			watch = watch || s == Watch
		}
	}
	return recalibrate, watch
}

// TestStepSeasons: -12 % from load 20 of 40.
func TestStepSeasons(t *testing.T) {
	t.Parallel()
	const runs, from, step = 1000, 20, -0.12
	rng := rand.New(rand.NewPCG(13, 14))
	var inTime, near, sized, stepped, covered int
	for range runs {
		series, calibration := crew(rng, 40, from, step)
		for n := from + 1; n <= from+6; n++ {
			if detect(t, series[:n]).State == Recalibrate {
				inTime++
				break
			}
		}
		v := detect(t, series)
		if v.State != Recalibrate {
			t.Fatalf("state %s at the end", v.State)
		}
		c := v.Change
		truth := (1+calibration)*(1+step) - 1
		near += count(abs(c.Index-from) <= 2)
		sized += count(math.Abs(c.Size-truth) <= 0.02)
		stepped += count(math.Abs(c.Step-(1+calibration)*step) <= 0.02)
		covered += count(c.Low <= truth && truth <= c.High)
	}
	t.Logf("of %d: recalibrate within 6 loads %d, change point within 2 loads %d, size within 2 points %d, step within 2 points %d, interval holds the truth %d", runs, inTime, near, sized, stepped, covered)
	for _, c := range []struct {
		what  string
		got   int
		share float64
	}{{"recalibrate within 6 loads", inTime, 0.99}, {"change point within 2 loads", near, 0.90}, {"size within 2 points", sized, 0.95}, {"step within 2 points", stepped, 0.95}, {"interval holds the truth", covered, 0.94}} {
		if float64(c.got) <= c.share*runs {
			t.Errorf("%s: %d of %d", c.what, c.got, runs)
		}
	}
}

func count(ok bool) int {
	if ok {
		return 1
	}
	return 0
}

func abs(i int) int { return max(i, -i) }
