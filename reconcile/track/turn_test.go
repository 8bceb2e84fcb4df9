package track

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"hopperbook/reconcile/plane"
	"hopperbook/schemas"
)

// bend drives 60 m straight, turns left by an angle on a radius, and 60 m
// straight again: spreading, bout width 20 m, positions every stepM, 3 m/s.
func bend(lat float64, radiusM, turnRad, stepM float64) []schemas.Fix {
	p := plane.At(lat, 168.3)
	arc := radiusM * turnRad
	var fixes []schemas.Fix
	for s := 0.0; s <= 120+arc; s += stepM {
		x, y := 0.0, s
		switch {
		case s > 60+arc:
			past := s - 60 - arc
			x, y = -radiusM*(1-math.Cos(turnRad))-past*math.Sin(turnRad), 60+radiusM*math.Sin(turnRad)+past*math.Cos(turnRad)
		case s > 60:
			a := (s - 60) / radiusM
			x, y = -radiusM*(1-math.Cos(a)), 60+radiusM*math.Sin(a)
		}
		f := fixAt(s/3, 0, 0)
		f.LatDeg, f.LonDeg = p.Inverse(x, y)
		fixes = append(fixes, f)
	}
	return fixes
}

func turned(fixes []schemas.Fix) (times int, m float64, first Finding) {
	for _, f := range Clean(fixes, Options{}).Findings {
		if f.Kind == TightTurn {
			if times == 0 {
				first = f
			}
			times++
			m += f.Detail
		}
	}
	return times, m, first
}

// Half the bout width is 10 m: a radius below it is found, one above is not.
func TestTightTurns(t *testing.T) {
	const halfTurn = math.Pi
	for _, c := range []struct {
		radiusM, turnRad float64
		want             int
	}{
		{4, halfTurn, 1}, {7, halfTurn, 1}, {9.5, halfTurn, 1}, {10.6, halfTurn, 0}, {15, halfTurn, 0}, {40, halfTurn, 0},
		{7, 1.6, 1}, {9, 2 * halfTurn, 1}, {11, 2 * halfTurn, 0}, {2, 0.9, 0}, {2, 1.4, 1},
	} {
		for _, lat := range []float64{-46, 0, 60} {
			for _, step := range []float64{0.5, 1.5, 4} {
				n, m, f := turned(bend(lat, c.radiusM, c.turnRad, step))
				name := fmt.Sprintf("radius %v m, turn %v, latitude %v, step %v m", c.radiusM, c.turnRad, lat, step)
				if n != c.want {
					t.Errorf("%s: found %d times, want %d", name, n, c.want)
				}
				if n == 1 && (math.Abs(float64(f.FromMilli+f.ToMilli)/2-1000*(60+c.radiusM*c.turnRad/2)/3) > 1000*step/3+400 || m < 0.9*step || m > c.radiusM*c.turnRad+20) {
					t.Errorf("%s: %+v", name, f)
				}
			}
		}
	}
}

// A turn is said only of what was really spread on it.
func TestTurnsThatAreNone(t *testing.T) {
	turn := func(change func(i int, f *schemas.Fix)) []schemas.Fix {
		fixes := bend(-46, 5, math.Pi, 1)
		for i := range fixes {
			change(i, &fixes[i])
		}
		return fixes
	}
	if n, _, _ := turned(turn(func(int, *schemas.Fix) {})); n != 1 {
		t.Fatalf("the turn itself is found %d times", n)
	}
	for name, change := range map[string]func(i int, f *schemas.Fix){
		"shut in the turn": func(i int, f *schemas.Fix) {
			f.Spreading = schemas.SpreadingOn - schemas.Spreading(btoi(i > 58 && i < 78))
		},
		"never on":          func(_ int, f *schemas.Fix) { f.Spreading = schemas.SpreadingOff },
		"the log is silent": func(_ int, f *schemas.Fix) { f.Spreading = schemas.SpreadingUnknown },
		"no bout width":     func(_ int, f *schemas.Fix) { f.BoutWidthM = nan },
		"narrower bout":     func(_ int, f *schemas.Fix) { f.BoutWidthM = 9 },
		"gap in the turn":   func(i int, f *schemas.Fix) { f.UnixMilli += int64(10000 * btoi(i > 67)) },
	} {
		if n, _, _ := turned(turn(change)); n != 0 {
			t.Errorf("%s: found %d times", name, n)
		}
	}
	// Backing up while spreading covers the same ground again.
	back := straight(30)
	for i := 15; i < 30; i++ {
		back[i] = fixAt(float64(i), 0, 5*float64(29-i))
	}
	if n, _, _ := turned(back); n != 1 {
		t.Errorf("backing up is found %d times", n)
	}
}

func btoi(b bool) int {
	if b {
		return 1
	}
	return 0
}

// TestTurnsAgainstCircles is the oracle: on smooth random drives of known
// curvature, places far from the limit are told right. And independent noise of 0.3 m
// on straight lines at 5 Hz and a bout of 12 m is no turn.
func TestTurnsAgainstCircles(t *testing.T) {
	rng := rand.New(rand.NewPCG(7, 7))
	for range 60 {
		radius := 3 + 30*rng.Float64()
		if math.Abs(radius-10) < 0.6 {
			continue
		}
		n, m, _ := turned(bend(-46, radius, 2*math.Pi, 0.4+2*rng.Float64()))
		if (n > 0) != (radius < 10) || radius < 10 && math.Abs(m-2*math.Pi*radius) > 20 {
			t.Errorf("a full circle of %.2f m: %d turns of %.1f m", radius, n, m)
		}
	}
	noisy := make([]schemas.Fix, 30000)
	for i := range noisy {
		noisy[i] = fixAt(0.2*float64(i), 0.3*rng.NormFloat64(), 0.8*float64(i)+0.3*rng.NormFloat64())
		noisy[i].BoutWidthM = 12
	}
	if n, m, _ := turned(noisy); n > 0 {
		t.Errorf("noise makes %d turns of %v m in 24 km", n, m)
	}
}
