package balance

import (
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"
	"time"

	"hopperbook/schemas"
)

// spreader is a season as it truly went, played in steps of 50 kg nominal mass
// by nothing that the model knows of: how the flow wanders is not told to it.
type spreader struct {
	rng      *rand.Rand
	noise    float64 // 1: as the defaults say
	empty    float64 // share of refills made when the hopper has run empty
	missing  float64 // share of residuals not read
	bias     float64
	ratio    float64
	hopperKg float64
	stuckKg  float64
	m        Machine
	fields   map[schemas.FieldID]float64
	spreadKg []float64 // after each refill
	ratios   []float64 // at each refill
	step     float64   // share by which the flow changes for good somewhere in the season
}

const stepKg = 50.0

// refuel reads what is left, or does not, and puts a load in.
func (s *spreader) refuel(ranEmpty, load, always bool) {
	n := len(s.m.Refills)
	r := Refill{ID: schemas.RefillID(fmt.Sprintf("r%04d", n)), Time: at(0).Add(time.Duration(n) * time.Hour), Product: "p"}
	sd := (50 + 50*s.rng.Float64()) * s.noise
	switch {
	case !always && s.rng.Float64() < s.missing:
		r.Residual.Method = schemas.ResidualUnknown
	case ranEmpty:
		r.Residual = Residual{0, 20, schemas.ResidualEmpty}
	default:
		r.Residual = Residual{max(0, s.hopperKg+sd*s.rng.NormFloat64()), sd, schemas.ResidualLevel}
	}
	if load {
		kg := (5500 - s.hopperKg) * (0.85 + 0.15*s.rng.Float64())
		sd := 0.01 * s.noise * kg
		r.Loads = []Load{{ID: schemas.LoadID(r.ID), NetKg: kg*(1+s.bias) + sd*s.rng.NormFloat64(), SdKg: sd, Scale: "s"}}
		s.hopperKg += kg
		s.stuckKg = math.Abs(20 * s.rng.NormFloat64())
	}
	s.m.Refills = append(s.m.Refills, r)
	s.spreadKg = append(s.spreadKg, 0)
	s.ratios = append(s.ratios, s.ratio)
}

// drive spreads nominal kg on a field and refills on the way.
func (s *spreader) drive(field schemas.FieldID, nominalKg float64, reserveKg *float64) {
	for nominalKg > 0 {
		if s.hopperKg <= max(s.stuckKg, *reserveKg) {
			s.refuel(s.hopperKg <= s.stuckKg, true, false)
			if *reserveKg = 300 + 900*s.rng.Float64(); s.rng.Float64() < s.empty {
				*reserveKg = 0
			}
		}
		n := min(stepKg, nominalKg)
		flow := s.ratio + 0.015*s.noise*math.Sqrt(5000/n)*s.rng.NormFloat64()
		if kg := n * flow; kg > s.hopperKg-s.stuckKg {
			n *= (s.hopperKg - s.stuckKg) / kg
		}
		kg := min(n*flow, s.hopperKg-s.stuckKg)
		s.ratio += 0.001 * s.noise * math.Sqrt(n/1000) * s.rng.NormFloat64()
		s.hopperKg, nominalKg = s.hopperKg-kg, nominalKg-n
		if n < stepKg && nominalKg > 0 {
			s.hopperKg = s.stuckKg
		}
		s.fields[field] += kg
		s.spreadKg[len(s.spreadKg)-1] += kg
		last := &s.m.Refills[len(s.m.Refills)-1]
		if k := len(last.Spread) - 1; k >= 0 && last.Spread[k].Field == field {
			last.Spread[k].NominalKg += n
		} else {
			last.Spread = append(last.Spread, on(field, n, n))
		}
	}
}

func play(rng *rand.Rand, noise, empty, missing, step float64) *spreader {
	s := &spreader{rng: rng, noise: noise, empty: empty, missing: missing, step: step, bias: 0.005 * rng.NormFloat64(), ratio: 1 + 0.03*rng.NormFloat64(),
		m: Machine{ID: "m"}, fields: map[schemas.FieldID]float64{}}
	s.refuel(true, true, true)
	reserve := 0.0
	fields := 6 + rng.IntN(8)
	for i := range fields {
		if i == fields/2 {
			s.ratio *= 1 + s.step
		}
		s.drive(schemas.FieldID(fmt.Sprintf("f%02d", i)), 2000+18000*rng.Float64(), &reserve)
		if rng.IntN(3) == 0 { // back to one that was begun before
			s.drive(schemas.FieldID(fmt.Sprintf("f%02d", rng.IntN(i+1))), 500+4000*rng.Float64(), &reserve)
		}
	}
	if rng.IntN(3) > 0 { // else the last interval stays open
		s.refuel(s.hopperKg <= s.stuckKg, false, true)
	}
	return s
}

// tally counts how often a 95 % interval holds the truth.
type tally struct{ inside, all int }

func (t *tally) look(got, sd, truth float64) {
	t.all++
	if math.Abs(got-truth) <= z95*sd {
		t.inside++
	}
}

func (t tally) pct() float64 { return 100 * float64(t.inside) / float64(t.all) }

// what is looked at.
const (
	ofField = iota
	ofRatio // of a closed interval
	ofPart  // mass between two refills of a merged interval
	ofLevel // flow ratio at the end of an interval, smoothed
	ofNow   // flow ratio at the end of the season, filtered
	ofLeft  // hopper at the end of the season
	kinds
)

func (s *spreader) judge(t *testing.T, cell *[kinds]tally) {
	r := run(t, s.m, Options{})
	for _, f := range r.Fields {
		cell[ofField].look(f.MassKg, f.SdKg, s.fields[f.Field])
	}
	for _, iv := range r.Intervals {
		var truth float64
		for k, kg := range s.spreadKg[iv.first:iv.end] {
			truth += kg
			if iv.Merged > 0 {
				cell[ofPart].look(iv.Parts[k].MassKg, iv.Parts[k].SdKg, kg)
			}
		}
		if iv.RatioKnown {
			cell[ofRatio].look(iv.FlowRatio, iv.FlowRatioSd, truth/iv.NominalKg)
		}
		if iv.Open {
			cell[ofLevel].look(iv.Level, iv.LevelSd, s.ratio)
		} else {
			cell[ofLevel].look(iv.Level, iv.LevelSd, s.ratios[iv.end])
		}
	}
	cell[ofNow].look(r.Ratio, r.RatioSd, s.ratio)
	cell[ofLeft].look(r.FinalKg, r.FinalSdKg, s.hopperKg)
}

// TestAStepLeavesTheRecordRight: the flow changes by 12 % from one step to the
// next, which no walk foresees. What the loads say stays right, because the
// nominal mass does not pull it.
func TestAStepLeavesTheRecordRight(t *testing.T) {
	var cell [kinds]tally
	for i := range 150 {
		play(rand.New(rand.NewPCG(99, uint64(i))), 1, 0.5, 0.05, -0.12).judge(t, &cell)
	}
	for _, k := range []int{ofField, ofRatio} {
		if p := cell[k].pct(); p < 93 || p > 97.5 {
			t.Errorf("kind %d: the truth is in %.1f %% of %d", k, p, cell[k].all)
		}
	}
	t.Logf("field %.1f %%, ratio %.1f %%, part %.1f %%, level %.1f %%, now %.1f %%, left %.1f %%", cell[ofField].pct(), cell[ofRatio].pct(), cell[ofPart].pct(), cell[ofLevel].pct(), cell[ofNow].pct(), cell[ofLeft].pct())
}

// TestIntervalsHoldTheTruth: 3 000 seasons over a grid of noise, share of
// empties and missing residuals.
func TestIntervalsHoldTheTruth(t *testing.T) {
	if raceEnabled {
		t.Skip("played without the race detector, by ./test too: a pure computation has no goroutines to race")
	}
	const seasons = 3000
	levels, empties, missings := []float64{0.4, 1, 2}, []float64{0.1, 0.5, 0.9}, []float64{0, 0.15, 0.5}
	cells := len(levels) * len(empties) * len(missings)
	var all [kinds]tally
	var table strings.Builder
	fmt.Fprintf(&table, "noise  empty  missing | field  ratio   part  level    now   left\n")
	for c := range cells {
		noise, empty, missing := levels[c/9], empties[c/3%3], missings[c%3]
		var cell [kinds]tally
		for i := range (seasons + cells - 1) / cells {
			play(rand.New(rand.NewPCG(uint64(c), uint64(i))), noise, empty, missing, 0).judge(t, &cell)
		}
		fmt.Fprintf(&table, "%5.1f %6.2f %8.2f |", noise, empty, missing)
		for k, tally := range cell {
			fmt.Fprintf(&table, "%6.1f ", tally.pct())
			all[k].inside += tally.inside
			all[k].all += tally.all
		}
		for _, k := range []int{ofField, ofRatio} {
			if p := cell[k].pct(); p < 90 || p > 99 {
				t.Errorf("noise %v, empty %v, missing %v: %.1f %% of %d", noise, empty, missing, p, cell[k].all)
			}
		}
		table.WriteString("\n")
	}
	fmt.Fprintf(&table, "all                    |")
	for k, tally := range all {
		fmt.Fprintf(&table, "%6.1f ", tally.pct())
		if p := tally.pct(); p < 93 || p > 97 {
			t.Errorf("kind %d: the truth is in %.1f %% of %d intervals", k, p, tally.all)
		}
	}
	fmt.Fprintf(&table, "\n%v intervals", all)
	t.Log("share of 95 % intervals that hold the truth\n" + table.String())
}
