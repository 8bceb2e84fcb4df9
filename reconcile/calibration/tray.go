package calibration

import (
	"math"

	"hopperbook/schemas/unit"
)

const (
	// NitrogenousLimitPct and LowAnalysisLimitPct are the largest CV of a bout
	// width: 15 % for nitrogenous, 25 % for low-analysis fertilisers (LandWISE,
	// "Testing on-farm fertiliser spreading", citing Lawrence 2007).
	NitrogenousLimitPct = 15.0
	LowAnalysisLimitPct = 25.0
	// DefaultWindLimitMS is 5 mph, the strictest wind an extension text asks
	// for ("wind less than 5 mph"; another allows 10 mph).
	DefaultWindLimitMS = 5 * unit.MPerMile / 3600
	// Trays must collect 90 to 110 % of what the flow test lets expect
	// (EN 13739-2:2011, transverse test).
	catchLowPct, catchHighPct = 90.0, 110.0
	// edgePct of the fullest tray in an outermost one: the throw goes on
	// beyond the row (common practice, no source).
	edgePct = 5
	// firstRowM is where the scan over bout widths begins, so that the widest
	// one is the last before the first failure from there on; a row of trays
	// under twice as wide is scanned from two spacings.
	firstRowM = 4.0
	maxRows   = 5000
	maxTrays  = 1000
)

// TrayTest is a row of trays across the driving line. Either every tray is
// SpacingM from the next and the row is laid symmetrically about the driving
// line, or PositionsM says where each stands.
type TrayTest struct {
	MassesG       []float64 // left to right, seen in the driving direction; NaN: missing
	PositionsM    []float64 // optional: tray centres, metres right of the driving line
	SpacingM      float64
	TrayWidthM    float64 // across the driving line
	TrayLengthM   float64
	Passes        int      // over the row; 0: one
	BoutWidthM    float64  // the set one; 0: none
	WindMS        *float64 // nil: nobody wrote it down
	CatchRateKgHa float64  // rate by the catch test with this batch at BoutWidthM; 0: none
}

// TrayOptions are the choices of an evaluation; the zero value is the default.
type TrayOptions struct {
	CVLimitPct  float64   // 0: NitrogenousLimitPct
	Divisor     Divisor   // "": Sample
	WindLimitMS float64   // 0: DefaultWindLimitMS
	FromM       float64   // first bout width of the scan; 0: see firstRowM
	StepM       float64   // 0: one spacing
	WidthsM     []float64 // further bout widths to work out, outside the scan
}

// WidthRow is one bout width.
type WidthRow struct {
	BoutWidthM         float64 `json:"bout_width_m"`
	MeanKgHa           float64 `json:"mean_kg_ha"`
	ToAndFroCVPct      float64 `json:"to_and_fro_cv_pct"`
	RoundAndRoundCVPct float64 `json:"round_and_round_cv_pct"`
}

// CVPct is the row's CV of one way of driving.
func (r WidthRow) CVPct(d Driving) float64 {
	if d == ToAndFro {
		return r.ToAndFroCVPct
	}
	return r.RoundAndRoundCVPct
}

// Widest is the widest bout width within the CV limit for one way of driving.
type Widest struct {
	Driving Driving `json:"driving"`
	// BoutWidthM is the last one before the first that fails, from the first
	// row on; null where the first row fails.
	BoutWidthM *float64 `json:"bout_width_m"`
	// AnyM is the widest row that passes at all, even after ones that fail; it
	// is no advice.
	AnyM *float64 `json:"any_m"`
}

// Tray is the result of a tray test.
type Tray struct {
	Valid            bool       `json:"valid"` // false: void, no bout width follows from it
	Divisor          Divisor    `json:"divisor"`
	CVLimitPct       float64    `json:"cv_limit_pct"`
	MeanKgHa         *float64   `json:"mean_kg_ha"`          // at mean_bout_width_m
	MeanBoutWidthM   *float64   `json:"mean_bout_width_m"`   // the set one, else the widest
	WidestBoutWidthM *float64   `json:"widest_bout_width_m"` // within the limit both ways of driving
	Widest           []Widest   `json:"widest"`              // each way of driving
	AtSet            *WidthRow  `json:"at_set_bout_width"`   // null: not given, or not to be worked out
	Rows             []WidthRow `json:"rows"`                // the scan, by bout width
	Further          []WidthRow `json:"further,omitempty"`   // the bout widths asked for besides
	PositionsM       []float64  `json:"tray_position_m"`     // right of the driving line
	RatesKgHa        []float64  `json:"tray_kg_ha"`          // one pass
	LeftPct          float64    `json:"left_pct"`            // share of the mass left of the driving line
	RightPct         float64    `json:"right_pct"`           //
	CentreRightM     float64    `json:"centre_right_m"`      // centre of the mass, right of the driving line
	HalfRateM        *float64   `json:"half_rate_swath_m"`   // effective swath by the half-rate rule, for comparison
	CatchPct         *float64   `json:"catch_pct,omitempty"` // tray mean of the catch test's rate
	Shapes           []Shape    `json:"shapes"`
	Findings         []Finding  `json:"findings"`
}

// MeasureTrays evaluates a tray test. kg/ha of a tray is 10 x g / m2 / passes.
// Refused: fewer than three trays or more than 1000, masses that are negative
// or not finite, a missing outermost tray or two missing side by side, trays
// missing or unequally spaced by their positions, trays wider than their
// spacing, no mass at all. A single missing tray (a wheel track) is taken as
// the mean of its neighbours, with a finding. Wind over its limit voids the
// test: everything is worked out, but no bout width follows. O(rows x n log n).
func MeasureTrays(t TrayTest, o TrayOptions) (Tray, error) {
	var f findings
	p, err := t.pattern(&f)
	if err != nil {
		return Tray{}, err
	}
	if o, err = o.withDefaults(p); err != nil {
		return Tray{}, err
	}
	r := Tray{Valid: true, Divisor: o.Divisor, CVLimitPct: o.CVLimitPct, Shapes: p.Shapes()}
	t.wind(&r, &f, o.WindLimitMS)
	if err := r.scan(t, p, o); err != nil {
		return Tray{}, err
	}
	r.describe(t, p, &f)
	if err := r.atSet(t, p, o, &f); err != nil {
		return Tray{}, err
	}
	r.widest(&f)
	r.mean(t, p)
	r.Findings = f.list()
	return r, nil
}

func (o TrayOptions) withDefaults(p Pattern) (TrayOptions, error) {
	const op = "tray test"
	if o.CVLimitPct == 0 {
		o.CVLimitPct = NitrogenousLimitPct
	}
	if o.WindLimitMS == 0 {
		o.WindLimitMS = DefaultWindLimitMS
	}
	if o.Divisor == "" {
		o.Divisor = Sample
	}
	if o.StepM == 0 {
		o.StepM = p.SpacingM
	}
	if o.FromM == 0 {
		o.FromM = 2 * p.SpacingM
		if p.WidthM() >= 2*firstRowM {
			o.FromM = math.Max(o.FromM, math.Ceil(firstRowM/p.SpacingM-1e-9)*p.SpacingM)
		}
	}
	switch {
	case !positive(o.CVLimitPct) || !positive(o.WindLimitMS) || !positive(o.StepM) || !positive(o.FromM):
		return o, inputError(op, "they must be above zero", "CV limit %v %%, wind limit %v m/s, step %v m, first bout width %v m", o.CVLimitPct, o.WindLimitMS, o.StepM, o.FromM)
	case o.Divisor != Sample && o.Divisor != Population:
		return o, inputError(op, "take sample or population", "a divisor %q", o.Divisor)
	case (p.WidthM()-o.FromM)/o.StepM > maxRows:
		return o, inputError(op, "take a larger step", "more than %d bout widths", maxRows)
	}
	return o, nil
}

func (t TrayTest) rate(massG float64) (kgHa float64) {
	return massG / (t.TrayWidthM * t.TrayLengthM) * 10 / float64(max(t.Passes, 1))
}

func (t TrayTest) row(p Pattern, boutWidthM float64, d Divisor) (row WidthRow, err error) {
	row = WidthRow{BoutWidthM: roundedM(boutWidthM), MeanKgHa: t.rate(p.MeanG(boutWidthM))}
	if row.ToAndFroCVPct, err = p.CV(boutWidthM, ToAndFro, d); err != nil {
		return row, err
	}
	row.RoundAndRoundCVPct, err = p.CV(boutWidthM, RoundAndRound, d)
	return row, err
}

func (r *Tray) scan(t TrayTest, p Pattern, o TrayOptions) error {
	r.Rows = []WidthRow{}
	for k := 0; ; k++ {
		width := o.FromM + float64(k)*o.StepM
		if width > p.WidthM()+1e-9*p.SpacingM {
			break
		}
		row, err := t.row(p, width, o.Divisor)
		if err != nil {
			return err
		}
		r.Rows = append(r.Rows, row)
	}
	for _, width := range o.WidthsM {
		row, err := t.row(p, width, o.Divisor)
		if err != nil {
			return err
		}
		r.Further = append(r.Further, row)
	}
	return nil
}

func (t TrayTest) wind(r *Tray, f *findings, limitMS float64) {
	switch {
	case t.WindMS == nil:
		f.add(WindUnknown, "the wind was not written down: a test over %.1f m/s is void, and nobody can tell", limitMS)
	case *t.WindMS > limitMS:
		r.Valid = false
		f.add(WindOverLimit, "VOID: the wind of %.1f m/s is over the limit of %.1f m/s; repeat the test in still air", *t.WindMS, limitMS)
	}
}

func (r *Tray) describe(t TrayTest, p Pattern, f *findings) {
	total, moment, fullest := p.totalG(), 0.0, 0.0
	for j, m := range p.MassesG {
		x := p.centreM(j)
		r.PositionsM = append(r.PositionsM, roundedM(x))
		r.RatesKgHa = append(r.RatesKgHa, t.rate(m))
		moment += m * x
		fullest = math.Max(fullest, m)
	}
	left := p.leftG()
	r.LeftPct, r.RightPct, r.CentreRightM = 100*left/total, 100*(1-left/total), moment/total
	if swath, ok := p.HalfRateM(); ok {
		r.HalfRateM = &swath
	}
	for _, end := range []struct {
		side string
		mass float64
	}{{"left", p.MassesG[0]}, {"right", p.MassesG[len(p.MassesG)-1]}} {
		if end.mass > edgePct/100.0*fullest {
			f.add(ThrowBeyondTrays, "the outermost tray on the %s still holds %.0f %% of the fullest one: the throw goes on beyond the row; lay more trays", end.side, 100*end.mass/fullest)
		}
	}
}

func (r *Tray) atSet(t TrayTest, p Pattern, o TrayOptions, f *findings) error {
	if t.BoutWidthM == 0 {
		return nil
	}
	if t.BoutWidthM > p.WidthM()+1e-9*p.SpacingM {
		f.add(BoutBeyondTrays, "the set bout width of %s m is beyond the row of trays, %s m wide: what lands between is not known; lay more trays", metres(t.BoutWidthM), metres(p.WidthM()))
		return nil
	}
	row, err := t.row(p, t.BoutWidthM, o.Divisor)
	if err != nil {
		return err
	}
	r.AtSet = &row
	for _, d := range []Driving{ToAndFro, RoundAndRound} {
		if cv := row.CVPct(d); cv > o.CVLimitPct {
			f.add(BoutTooWide, "at the set bout width of %s m the CV %s is %.1f %%, over the limit of %g %%", metres(t.BoutWidthM), d.words(), cv, o.CVLimitPct)
		}
	}
	if t.CatchRateKgHa > 0 {
		pct := 100 * row.MeanKgHa / t.CatchRateKgHa
		r.CatchPct = &pct
		if pct < catchLowPct || pct > catchHighPct {
			f.add(CatchDisagrees, "the trays hold %.0f %% of what the catch test lets expect (90 to 110 %% is sound): weigh and measure again; the rate is the catch test's, not the trays'", pct)
		}
	}
	return nil
}

func (d Driving) words() string {
	if d == ToAndFro {
		return "to-and-fro"
	}
	return "round-and-round"
}

func (r *Tray) widest(f *findings) {
	both := math.Inf(1)
	for _, d := range []Driving{ToAndFro, RoundAndRound} {
		w := Widest{Driving: d}
		failed := false
		for _, row := range r.Rows {
			pass := row.CVPct(d) <= r.CVLimitPct
			failed = failed || !pass
			width := row.BoutWidthM
			if pass {
				w.AnyM = &width
			}
			if !failed {
				w.BoutWidthM = &width
			}
		}
		switch {
		case w.BoutWidthM == nil:
			both = math.NaN()
			f.add(NoBoutWidth, "%s: no bout width from the first row on keeps the limit of %g %%: correct the pattern first", d.words(), r.CVLimitPct)
		case *w.AnyM > *w.BoutWidthM:
			if r.AtSet != nil && r.AtSet.CVPct(d) <= r.CVLimitPct && r.AtSet.BoutWidthM > *w.BoutWidthM {
				f.add(BoutTooWide, "%s: the set bout width of %s m keeps the limit, but narrower ones fail: it is not safe to use", d.words(), metres(r.AtSet.BoutWidthM))
			}
			f.add(PassesLater, "%s: %s m would pass again, after narrower bout widths that fail: do not use it, a small shift of a driving line or of the pattern loses it", d.words(), metres(*w.AnyM))
		}
		if w.BoutWidthM != nil {
			both = math.Min(both, *w.BoutWidthM) // NaN stays NaN
		}
		r.Widest = append(r.Widest, w)
	}
	if r.Valid {
		r.WidestBoutWidthM = known(both)
	}
}

func (r *Tray) mean(t TrayTest, p Pattern) {
	width := r.WidestBoutWidthM
	if t.BoutWidthM > 0 {
		width = &t.BoutWidthM
	}
	if width != nil {
		r.MeanBoutWidthM, r.MeanKgHa = width, known(t.rate(p.MeanG(*width)))
	}
}

// OnTheGround is what lies at each tray of the row [kg/ha] after all passes at
// a bout width [m], for drawing; nil for a width that is not above zero. O(n).
func (r Tray) OnTheGround(boutWidthM float64, driving Driving) []float64 {
	if !positive(boutWidthM) || len(r.PositionsM) < 2 {
		return nil
	}
	p := Pattern{MassesG: r.RatesKgHa, FirstM: r.PositionsM[0], SpacingM: (r.PositionsM[len(r.PositionsM)-1] - r.PositionsM[0]) / float64(len(r.PositionsM)-1)}
	out := make([]float64, len(r.PositionsM))
	for i, x := range r.PositionsM {
		out[i] = p.allPasses(x, boutWidthM, driving)
	}
	return out
}
