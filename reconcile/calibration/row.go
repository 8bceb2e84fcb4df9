package calibration

import (
	"math"

	"hopperbook/schemas/unit"
)

// pattern checks a test's trays and gives the row they make.
func (t TrayTest) pattern(f *findings) (Pattern, error) {
	if err := t.check(); err != nil {
		return Pattern{}, err
	}
	masses, err := filled(t.MassesG, f)
	if err != nil {
		return Pattern{}, err
	}
	p := Centred(masses, t.SpacingM)
	if len(t.PositionsM) > 0 {
		if p.SpacingM, err = t.spacing(); err != nil {
			return Pattern{}, err
		}
		p.FirstM = t.PositionsM[0]
	}
	switch {
	case t.TrayWidthM > p.SpacingM*(1+1e-9):
		return p, inputError(trayOp, "give both in metres", "trays %v m wide cannot stand %v m apart", t.TrayWidthM, p.SpacingM)
	case p.totalG() == 0:
		return p, inputError(trayOp, "was the machine spreading?", "nothing in any tray")
	case t.BoutWidthM > 0 && t.BoutWidthM < p.SpacingM*(1-1e-9):
		return p, inputError(trayOp, "give it in metres", "a bout width of %v m is under the tray spacing of %v m", t.BoutWidthM, p.SpacingM)
	}
	return p, nil
}

const trayOp = "tray test"

func (t TrayTest) check() error {
	n := len(t.MassesG)
	switch {
	case n < 3 || n > maxTrays:
		return inputError(trayOp, "lay a row of trays across the whole throw", "%d trays: from 3 to %d can be worked out", n, maxTrays)
	case !positive(t.TrayWidthM) || !positive(t.TrayLengthM):
		return inputError(trayOp, "measure the inside of the upper edge, in metres", "trays of %v m by %v m", t.TrayWidthM, t.TrayLengthM)
	case len(t.PositionsM) == 0 && !positive(t.SpacingM):
		return inputError(trayOp, "give the distance from tray centre to tray centre, in metres", "a tray spacing of %v m", t.SpacingM)
	case len(t.PositionsM) > 0 && len(t.PositionsM) != n:
		return inputError(trayOp, "give one position a tray", "%d positions of %d trays", len(t.PositionsM), n)
	case !notNegative(t.BoutWidthM) || !notNegative(t.CatchRateKgHa):
		return inputError(trayOp, "they must be above zero", "a bout width of %v m, a catch test's rate of %v kg/ha", t.BoutWidthM, t.CatchRateKgHa)
	case t.Passes < 0:
		return inputError(trayOp, "count the passes over the row", "%d passes", t.Passes)
	case t.WindMS != nil && !notNegative(*t.WindMS):
		return inputError(trayOp, "give it in m/s", "a wind of %v m/s", *t.WindMS)
	}
	for i, m := range t.MassesG {
		if !math.IsNaN(m) && !notNegative(m) {
			return inputError(trayOp, "weigh the tray again", "tray %d: %v g", i+1, m)
		}
	}
	return nil
}

// filled gives a single missing tray the mean of its neighbours.
func filled(masses []float64, f *findings) ([]float64, error) {
	out := append([]float64{}, masses...)
	for i, m := range masses {
		if !math.IsNaN(m) {
			continue
		}
		if i == 0 || i == len(masses)-1 || math.IsNaN(masses[i-1]) || math.IsNaN(masses[i+1]) {
			return nil, inputError(trayOp, "leave an outermost tray out altogether; with two missing side by side repeat the test", "tray %d is missing and does not stand alone between two that were weighed", i+1)
		}
		out[i] = (masses[i-1] + masses[i+1]) / 2
		f.add(TrayFilled, "tray %d is missing: taken as the mean of its neighbours, %s g", i+1, unit.Plain(out[i], 3))
	}
	return out, nil
}

// spacing is the one spacing of the given positions; two per cent of it is
// how exactly trays are laid by hand (common practice, no source).
func (t TrayTest) spacing() (float64, error) {
	const laidPct = 2
	pos := t.PositionsM
	n := len(pos)
	smallest := math.Inf(1)
	for i := 1; i < n; i++ {
		gap := pos[i] - pos[i-1]
		if !positive(gap) {
			return 0, inputError(trayOp, "list the trays from left to right", "tray %d at %v m does not stand right of tray %d at %v m", i+1, pos[i], i, pos[i-1])
		}
		smallest = math.Min(smallest, gap)
	}
	for i := 1; i < n; i++ {
		gap := pos[i] - pos[i-1]
		missing := math.Round(gap/smallest) - 1
		switch {
		case math.Abs(gap-smallest) <= laidPct/100.0*smallest:
		case missing > 0 && math.Abs(gap-(missing+1)*smallest) <= laidPct/100.0*smallest:
			return 0, inputError(trayOp, "give their positions too, with the mass left empty", "%.0f missing between tray %d at %v m and tray %d at %v m", missing, i, pos[i-1], i+1, pos[i])
		default:
			return 0, inputError(trayOp, "lay every tray at one spacing", "unequal spacing: %v m between trays %d and %d, %v m elsewhere", metres(gap), i, i+1, metres(smallest))
		}
	}
	mean := (pos[n-1] - pos[0]) / float64(n-1)
	if t.SpacingM > 0 && math.Abs(t.SpacingM-mean) > laidPct/100.0*mean {
		return 0, inputError(trayOp, "give the one or the other", "a tray spacing of %v m, but the positions are %s m apart", t.SpacingM, metres(mean))
	}
	return mean, nil
}
