package calibration

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"hopperbook/schemas"
	"hopperbook/schemas/fault"
)

// TestDay is how far apart the tests of one calibration are made: repeats of a
// density test and the catch tests of a gate curve within half a day belong
// together (common practice, no source).
const TestDay = 12 * time.Hour

const (
	// DefaultValidDays and DefaultValidKg are how long a calibration is relied
	// on without a new test, by the calendar and by the product that has worn
	// belt, vanes and discs (common practice, no source).
	DefaultValidDays = 365
	DefaultValidKg   = 500_000
)

// Dated is the data of an event and when it happened.
type Dated[T any] struct {
	At   time.Time
	Data T
}

// ProductChange is when a product went into a machine, or was set.
type ProductChange struct {
	At      time.Time
	Product schemas.ProductID
}

// Spread is product that a machine has spread by a time.
type Spread struct {
	At time.Time
	Kg float64
}

// CertificateInput is what a calibration certificate is made of: the tests and
// checks of one machine, in any order, of any product.
type CertificateInput struct {
	Machine      schemas.MachineID
	Product      schemas.ProductID
	DiscSet      string    // "": that of the newest catch or tray test
	AsOf         time.Time // nothing later is looked at
	RegisterKgM3 float64   // bulk density by the product's register; 0: not known
	Densities    []Dated[schemas.TestDensity]
	Catches      []Dated[schemas.TestCatch]
	Trays        []Dated[schemas.TestTray]
	Overlaps     []Dated[schemas.TestOverlap]
	Checks       []Check
	Changes      []ProductChange
	Spread       []Spread     // of the product
	Against      []string     // what else stands against relying on the machine, one sentence each
	CheckLimits  []CheckLimit // nil: DefaultCheckLimits
	TrayOptions  TrayOptions
	ValidDays    int     // 0: DefaultValidDays
	ValidKg      float64 // 0: DefaultValidKg
}

// CertifiedCatch is a catch test of a certificate.
type CertifiedCatch struct {
	At   time.Time         `json:"at"`
	Test schemas.TestCatch `json:"test"`
	Flow Flow              `json:"flow"`
}

// CertifiedTray is the tray test of a certificate.
type CertifiedTray struct {
	At     time.Time        `json:"at"`
	Test   schemas.TestTray `json:"test"`
	Result Tray             `json:"result"`
}

// CertifiedOverlap is the overlap test of a certificate.
type CertifiedOverlap struct {
	At     time.Time           `json:"at"`
	Test   schemas.TestOverlap `json:"test"`
	Result Overlap             `json:"result"`
}

// Certificate says how a machine with one product and one set-up was tested,
// and how long that may be relied on.
type Certificate struct {
	Machine   schemas.MachineID `json:"machine"`
	Product   schemas.ProductID `json:"product"`
	DiscSet   string            `json:"disc_set,omitempty"`
	AsOf      time.Time         `json:"as_of"`
	TestedAt  time.Time         `json:"tested_at"` // the test its validity counts from: the last catch test, else the tray test
	DensityAt time.Time         `json:"density_at,omitzero"`
	Density   *Density          `json:"density"`
	Catches   []CertifiedCatch  `json:"catches"`
	Curves    []Curve           `json:"curves"` // one for each gear, PTO speed and drive
	Tray      *CertifiedTray    `json:"tray"`
	Overlap   *CertifiedOverlap `json:"overlap"`
	Checks    []CheckState      `json:"checks"`
	Validity  Validity          `json:"validity"`
	Findings  []Finding         `json:"findings"`
}

// Validity is until when a certificate holds: what comes first of a date, an
// amount spread and a change of product.
type Validity struct {
	Valid    bool      `json:"valid"`
	Until    time.Time `json:"until"`     // not included
	UntilKg  float64   `json:"until_kg"`  // of the product, spread since the test
	SpreadKg float64   `json:"spread_kg"` // so far
	// Reasons is why it does not hold, one sentence each; empty when it does.
	Reasons []string `json:"reasons"`
}

// Certify makes a certificate of the newest tests of a machine with a product
// up to AsOf. Its validity counts from the last catch test (from the tray test
// where there is none). What was not tested is a finding; what stands against
// relying on the machine is a reason in Validity. Refused: neither a catch nor
// a tray test (fault.NotFound), a test that cannot be worked out. O(n log n).
func Certify(in CertificateInput) (Certificate, error) {
	in = in.upTo()
	catches, trays := in.catches(), of(in.Trays, func(t schemas.TestTray) bool { return t.Product == in.Product })
	if in.DiscSet == "" {
		in.DiscSet = newestSet(catches, trays)
	}
	catches = newestDay(of(catches, func(t schemas.TestCatch) bool { return sameSet(t.DiscSet, in.DiscSet) }))
	trays = of(trays, func(t schemas.TestTray) bool { return sameSet(t.DiscSet, in.DiscSet) })
	c := Certificate{Machine: in.Machine, Product: in.Product, DiscSet: in.DiscSet, AsOf: in.AsOf, Catches: []CertifiedCatch{}, Curves: []Curve{}}
	if len(catches)+len(trays) == 0 {
		return c, fault.Newf("certify "+string(in.Machine)+" with "+string(in.Product), fault.NotFound, "no catch test and no tray test up to "+in.AsOf.UTC().Format(time.DateOnly),
			"make the tests and publish them as test.catch and test.tray")
	}
	var f findings
	for _, part := range []func() error{
		func() error { return c.density(in, &f) },
		func() error { return c.flow(catches, &f) },
		func() error { return c.trays(in, trays, &f) },
		func() error { return c.overlap(in, &f) },
	} {
		if err := part(); err != nil {
			return c, fault.Wrap("certify "+string(in.Machine)+" with "+string(in.Product), err)
		}
	}
	limits := in.CheckLimits
	if limits == nil {
		limits = DefaultCheckLimits()
	}
	c.Checks = CheckStates(in.Checks, in.Machine, in.AsOf, limits)
	if len(c.Checks) == 0 {
		f.add(NotTested, "no machine check is in the book")
	}
	c.validity(in)
	c.Findings = f.list()
	return c, nil
}

// upTo leaves out what happened later.
func (in CertificateInput) upTo() CertificateInput {
	in.Densities = until(in.Densities, in.AsOf)
	in.Catches = until(in.Catches, in.AsOf)
	in.Trays = until(in.Trays, in.AsOf)
	in.Overlaps = until(in.Overlaps, in.AsOf)
	return in
}

func until[T any](tests []Dated[T], at time.Time) []Dated[T] {
	out := slices.DeleteFunc(slices.Clone(tests), func(t Dated[T]) bool { return t.At.After(at) })
	slices.SortStableFunc(out, func(a, b Dated[T]) int { return a.At.Compare(b.At) })
	return out
}

func of[T any](tests []Dated[T], wanted func(T) bool) []Dated[T] {
	return slices.DeleteFunc(slices.Clone(tests), func(t Dated[T]) bool { return !wanted(t.Data) })
}

// newestDay keeps the tests within half a day of the last one; tests are in
// order of time.
func newestDay[T any](tests []Dated[T]) []Dated[T] {
	for len(tests) > 0 && tests[len(tests)-1].At.Sub(tests[0].At) > TestDay {
		tests = tests[1:]
	}
	return tests
}

func (in CertificateInput) catches() []Dated[schemas.TestCatch] {
	return of(in.Catches, func(t schemas.TestCatch) bool { return t.Product == in.Product })
}

// sameSet: a test that names no disc set belongs to any.
func sameSet(tested, wanted string) bool { return tested == "" || tested == wanted }

// newestSet is the disc set of the newest test that names one.
func newestSet(catches []Dated[schemas.TestCatch], trays []Dated[schemas.TestTray]) (set string) {
	var at time.Time
	for _, t := range catches {
		if t.Data.DiscSet != "" && !t.At.Before(at) {
			set, at = t.Data.DiscSet, t.At
		}
	}
	for _, t := range trays {
		if t.Data.DiscSet != "" && !t.At.Before(at) {
			set, at = t.Data.DiscSet, t.At
		}
	}
	return set
}

func (c *Certificate) density(in CertificateInput, f *findings) error {
	tests := of(in.Densities, func(t schemas.TestDensity) bool { return t.Product == in.Product })
	if len(tests) == 0 {
		f.add(NotTested, "no density test of this product: a change of density changes the rate at the same opening by as many percent")
		return nil
	}
	newest := newestDay(tests)
	test := DensityTest{Samples: samplesOf(newest), Register: DensityReference{KgM3: in.RegisterKgM3}}
	if before := newestDay(tests[:len(tests)-len(newest)]); len(before) > 0 {
		last, err := MeasureDensity(DensityTest{Samples: samplesOf(before)})
		if err != nil {
			return fault.Wrap("the density test before", err)
		}
		test.Last = last.AsReference()
	}
	d, err := MeasureDensity(test)
	if err != nil {
		return err
	}
	c.Density, c.DensityAt = &d, newest[len(newest)-1].At
	f.join("density test", d.Findings)
	return nil
}

func samplesOf(tests []Dated[schemas.TestDensity]) (out []DensitySample) {
	for _, t := range tests {
		out = append(out, Samples(t.Data)...)
	}
	return out
}

func (c *Certificate) flow(catches []Dated[schemas.TestCatch], f *findings) error {
	if len(catches) == 0 {
		f.add(NotTested, "no catch test of this product: the rate is not calibrated")
		return nil
	}
	var tests []GateTest
	for _, t := range catches {
		flow, err := MeasureFlow(CatchOf(t.Data))
		if err != nil {
			return fault.Wrap(string(t.Data.CatchTest), err)
		}
		c.Catches = append(c.Catches, CertifiedCatch{At: t.At, Test: t.Data, Flow: flow})
		f.join("catch test "+string(t.Data.CatchTest), slices.Concat(flow.Findings, StatedMean(t.Data.CollectedKg, t.Data.Repeats)))
		if t.Data.GateMm > 0 { // a shut gate, or a machine without one, has no curve
			one := GateTestOf(t.Data)
			one.DiscSet = c.DiscSet
			tests = append(tests, one)
		}
	}
	c.TestedAt = catches[len(catches)-1].At
	if len(tests) == 0 {
		return nil
	}
	curves, err := Curves(tests)
	c.Curves = curves
	for _, curve := range curves {
		f.join("gate scale", curve.Findings)
	}
	return err
}

func (c *Certificate) trays(in CertificateInput, trays []Dated[schemas.TestTray], f *findings) error {
	if len(trays) == 0 {
		f.add(NotTested, "no tray test of this product and set-up: how evenly it lands is not known")
		return nil
	}
	last := trays[len(trays)-1]
	r, err := MeasureTrays(TraysOf(last.Data), in.TrayOptions)
	if err != nil {
		return fault.Wrap(string(last.Data.TrayTest), err)
	}
	c.Tray = &CertifiedTray{last.At, last.Data, r}
	f.join("tray test", r.Findings)
	if c.TestedAt.IsZero() {
		c.TestedAt = last.At
	}
	return nil
}

// overlap is the last test that is of the product, or names none.
func (c *Certificate) overlap(in CertificateInput, f *findings) error {
	tests := of(in.Overlaps, func(t schemas.TestOverlap) bool { return t.Product == "" || t.Product == in.Product })
	if len(tests) == 0 {
		f.add(NotTested, "no overlap test: whether the passes meet in the field was not looked at")
		return nil
	}
	last := tests[len(tests)-1]
	r, err := MeasureOverlap(OverlapOf(last.Data))
	if err != nil {
		return fault.Wrap(string(last.Data.OverlapTest), err)
	}
	c.Overlap = &CertifiedOverlap{last.At, last.Data, r}
	f.join("overlap test", r.Findings)
	return nil
}

func (f *findings) join(test string, found []Finding) {
	for _, x := range found {
		*f = append(*f, Finding{x.Kind, test + ": " + x.Text})
	}
}

// validity works out until when the certificate holds, and what already stands
// against it.
func (c *Certificate) validity(in CertificateInput) {
	days, limitKg := in.ValidDays, in.ValidKg
	if days == 0 {
		days = DefaultValidDays
	}
	if limitKg == 0 {
		limitKg = DefaultValidKg
	}
	v := Validity{Until: c.TestedAt.AddDate(0, 0, days), UntilKg: limitKg, Reasons: []string{}}
	say := func(format string, args ...any) { v.Reasons = append(v.Reasons, fmt.Sprintf(format, args...)) }
	for _, s := range c.Checks {
		if s.Failed && s.Safety {
			say("a safety check has failed: %s", s.Text)
		}
	}
	if len(c.Catches) == 0 {
		say("the rate was not calibrated: no catch test")
	}
	c.pattern(say)
	if c.Tray != nil && !in.AsOf.Before(c.Tray.At.AddDate(0, 0, days)) {
		say("the tray test of %s is older than %d days", c.Tray.At.UTC().Format(time.DateOnly), days)
	}
	for _, s := range in.Spread {
		if s.At.After(c.TestedAt) && !s.At.After(in.AsOf) {
			v.SpreadKg += s.Kg
		}
	}
	if v.SpreadKg >= limitKg {
		say("%.1f t have been spread since the test; it holds for %.1f t", v.SpreadKg/1000, limitKg/1000)
	}
	if !in.AsOf.Before(v.Until) {
		say("it held until %s", v.Until.UTC().Format(time.DateOnly))
	}
	if change, ok := c.changed(in); ok {
		say("the product was changed to %s on %s", change.Product, change.At.UTC().Format(time.DateOnly))
	}
	v.Reasons = append(v.Reasons, in.Against...)
	v.Valid = len(v.Reasons) == 0
	c.Validity = v
}

// pattern says what the tray test has against the machine.
func (c *Certificate) pattern(say func(string, ...any)) {
	if c.Tray == nil {
		say("the pattern was not tested: no tray test")
		return
	}
	r := c.Tray.Result
	if !r.Valid {
		say("the tray test is void: too much wind")
	}
	if c.Tray.Test.WindMS == nil {
		say("nobody wrote down the wind of the tray test")
	}
	for _, x := range r.Findings {
		if x.Kind == BoutTooWide || x.Kind == BoutBeyondTrays || x.Kind == NoBoutWidth {
			say("the pattern: %s", x.Text)
		}
	}
	if o := c.Overlap; o != nil && o.Result.Verdict != Even {
		text, _, _ := strings.Cut(o.Result.Text, ";")
		say("the overlap test: %s", text)
	}
}

// changed is the first change to another product after the test.
func (c *Certificate) changed(in CertificateInput) (first ProductChange, found bool) {
	for _, x := range in.Changes {
		if x.Product != c.Product && x.At.After(c.TestedAt) && !x.At.After(in.AsOf) && (!found || x.At.Before(first.At)) {
			first, found = x, true
		}
	}
	return first, found
}

// CVLimitFor is the CV limit that goes with a product: that of low-analysis
// fertilisers where its analysis has no nitrogen and a neutralising value
// (lime), else the stricter one.
func CVLimitFor(a *schemas.Analysis) float64 {
	if a != nil && value(a.NPct) == 0 && value(a.NeutralisingValuePct) > 0 {
		return LowAnalysisLimitPct
	}
	return NitrogenousLimitPct
}
