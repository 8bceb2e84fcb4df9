package balance

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"hopperbook/schemas"
	"hopperbook/schemas/fault"
)

// Machine is all that one machine's balance looks at.
type Machine struct {
	ID       schemas.MachineID
	HopperKg float64  // most the hopper holds; never taken for less than the largest known residual + loads of one refill; 0: that
	Refills  []Refill // in any order; they are sorted by time, then ID
	Before   []Piece  // what was spread before the first refill; usually none
}

// Refill is the moment loads enter the hopper; without loads it is a residual
// reading alone.
type Refill struct {
	ID       schemas.RefillID
	Time     time.Time
	Product  schemas.ProductID
	Loads    []Load
	Residual Residual
	Spread   []Piece // what was spread after this refill and before the next one, in the order it was driven
	Released bool    // since the refill before, a catch test or a change of what the flow depends on: the old flow ratio says nothing
}

// Load is product weighed into the hopper.
type Load struct {
	ID     schemas.LoadID
	NetKg  float64
	SdKg   float64         // standard uncertainty of NetKg without the bias of the scale; 0: DefaultLoadSdKg
	Method string          // schemas.MethodBucket, ...
	Scale  schemas.ScaleID // ""; loads of one method without a scale share one bias
}

// Residual is what was left in the hopper just before the refill.
type Residual struct {
	Kg     float64
	SdKg   float64 // 0: DefaultResidualSdKg
	Method string  // schemas.ResidualEmpty, ...; "" is unknown
}

func (r Residual) known() bool {
	return r.Method != "" && r.Method != schemas.ResidualUnknown
}

// Piece is nominal mass and swath area in one field; Field "" is outside all.
// Part tells apart what is done in one field (jobs, days) where that is asked for.
type Piece struct {
	Field     schemas.FieldID
	NominalKg float64
	SwathM2   float64
	Part      string
}

// Options are the choices of the contractor; the zero value means the defaults.
type Options struct {
	ScaleBiasShare float64 // standard uncertainty of a scale's relative bias; 0: 0.005
	NaturalSdShare float64 // spread of the flow ratio from one load of 5 000 kg to the next; 0: it and the walk are learned from the readings
	WalkSdShare    float64 // random walk of the flow ratio over the first tonne, growing by its root; 0 beside a stated NaturalSdShare: none
}

const defaultScaleBias = 0.005 // common practice, no source

func (o Options) withDefaults() Options {
	if o.ScaleBiasShare == 0 {
		o.ScaleBiasShare = defaultScaleBias
	}
	return o
}

// DefaultLoadSdKg is the standard uncertainty [kg] of one load's net mass when
// none is stated.
//
// Weighbridge: class III, e = 20 kg, in service, by difference of 24 000 and
// 11 000 kg: sqrt(2 (40/sqrt 3)^2 + 2 (20/sqrt 12)^2) = 33.7 kg = 0.26 % of the
// net (limits: UK S.I. 1995/1907 Sch. 2 Table 3, doubled in service), at least
// 20 kg. Bucket 1 %, hopper cells 0.5 %, volume x density 5 %, a method we do
// not know 5 %: common practice, no source.
func DefaultLoadSdKg(method string, netKg float64) float64 {
	switch method {
	case schemas.MethodBucket:
		return 0.01 * netKg
	case schemas.MethodWeighbridge:
		return max(20, 0.0026*netKg)
	case schemas.MethodCells:
		return 0.005 * netKg
	}
	return 0.05 * netKg
}

// DefaultResidualSdKg is the standard uncertainty [kg] of a residual reading
// when none is stated: ran empty 20 kg (what sticks in corners), cells the
// larger of 20 kg and 0.5 %, level by eye the larger of 100 kg and 10 %:
// common practice, no source.
func DefaultResidualSdKg(method string, kg float64) float64 {
	switch method {
	case schemas.ResidualEmpty:
		return 20
	case schemas.ResidualCells:
		return max(20, 0.005*kg)
	}
	return max(100, 0.1*kg)
}

// FindingCode says what a Finding is about.
type FindingCode string

// The findings.
const (
	AssumedEmpty    FindingCode = "assumed_empty"     // unknown residual taken as empty
	MergedIntervals FindingCode = "merged_intervals"  // unknown residual inside a product
	MixedProduct    FindingCode = "mixed_product"     // a known residual of another product was topped up
	DuplicateLoad   FindingCode = "duplicate_load"    // a load in two refills; the first one counts
	NegativeMass    FindingCode = "negative_mass"     // more left than was in the hopper, beyond chance
	NothingSpread   FindingCode = "nothing_spread"    // passes were logged, but next to nothing left the hopper
	MassWithoutPass FindingCode = "mass_without_pass" // mass went out without nominal mass: no pass, set rate or bout width
	PassWithoutMass FindingCode = "pass_without_mass" // passes logged before anything was loaded
	SplitByArea     FindingCode = "split_by_area"     // no nominal mass: split by swath area
	OverContent     FindingCode = "over_content"      // an open interval asks for more than the hopper held
	OverCapacity    FindingCode = "over_capacity"     // more was read in the hopper than it holds
)

// Known reports whether c is a finding of this package.
func (c FindingCode) Known() bool {
	switch c {
	case AssumedEmpty, MergedIntervals, MixedProduct, DuplicateLoad, NegativeMass, NothingSpread, MassWithoutPass, PassWithoutMass, SplitByArea, OverContent, OverCapacity:
		return true
	}
	return false
}

// Finding is something a person should look at; it never stops a balance.
type Finding struct {
	Code   FindingCode
	Refill schemas.RefillID // where; "" before the first refill
	Text   string
}

// prepare checks the machine's numbers and gives its refills in order, loads
// sorted by ID and counted once.
func prepare(m Machine) ([]Refill, []Finding, error) {
	if bad(m.HopperKg) {
		return nil, nil, invalid("machine %s: hopper %v kg", m.ID, m.HopperKg)
	}
	if err := checkPieces("before the first refill", m.Before); err != nil {
		return nil, nil, err
	}
	refills := slices.Clone(m.Refills)
	slices.SortFunc(refills, func(a, b Refill) int {
		if c := a.Time.Compare(b.Time); c != 0 {
			return c
		}
		return strings.Compare(string(a.ID), string(b.ID))
	})
	var findings []Finding
	seen := map[schemas.LoadID]bool{}
	ids := map[schemas.RefillID]bool{}
	for i := range refills {
		r := &refills[i]
		if ids[r.ID] {
			return nil, nil, invalid("refill %s is there twice", r.ID)
		}
		ids[r.ID] = true
		if err := r.check(); err != nil {
			return nil, nil, err
		}
		loads := slices.Clone(r.Loads)
		slices.SortStableFunc(loads, func(a, b Load) int { return strings.Compare(string(a.ID), string(b.ID)) })
		r.Loads = loads[:0]
		for _, l := range loads {
			if seen[l.ID] {
				findings = append(findings, Finding{DuplicateLoad, r.ID, fmt.Sprintf("load %s was already in the hopper", l.ID)})
				continue
			}
			seen[l.ID] = true
			r.Loads = append(r.Loads, l)
		}
	}
	return refills, findings, nil
}

func (r Refill) check() error {
	if bad(r.Residual.Kg) || bad(r.Residual.SdKg) {
		return invalid("refill %s: residual %v kg, standard uncertainty %v kg", r.ID, r.Residual.Kg, r.Residual.SdKg)
	}
	for _, l := range r.Loads {
		if bad(l.NetKg) || bad(l.SdKg) {
			return invalid("load %s: net %v kg, standard uncertainty %v kg", l.ID, l.NetKg, l.SdKg)
		}
	}
	return checkPieces("after refill "+string(r.ID), r.Spread)
}

func checkPieces(where string, pieces []Piece) error {
	for _, p := range pieces {
		if bad(p.NominalKg) || bad(p.SwathM2) {
			return invalid("%s, field %q: nominal %v kg, swath %v m2", where, p.Field, p.NominalKg, p.SwathM2)
		}
	}
	return nil
}

// bad reports whether v can't be a mass, an area or an uncertainty.
func bad(v float64) bool { return !(v >= 0) || math.IsInf(v, 1) }

func invalid(format string, args ...any) error {
	return fault.Newf("balance", fault.Input, fmt.Sprintf(format, args...), "masses, areas and uncertainties must be finite and not negative, IDs unique")
}
