package rating

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"github.com/shopspring/decimal"

	"hopperbook/schemas"
	"hopperbook/schemas/fault"
)

// Measure is a measured quantity and what it comes from ("3 dockets"). The
// zero value is "not measured", which is not the same as a measured 0.
type Measure struct {
	Value float64 `json:"value"`
	From  string  `json:"from"`
}

// Mass is what was docketed, loaded and spread of one product.
type Mass struct {
	Product  schemas.ProductID `json:"product"`
	DocketKg Measure           `json:"docket_kg"`
	LoadedKg Measure           `json:"loaded_kg"`
	SpreadKg Measure           `json:"spread_kg"`
}

// Area is one field under one product; a field spread with two products is
// two of them, as it was worked twice.
type Area struct {
	Field      schemas.FieldID   `json:"field"`
	Product    schemas.ProductID `json:"product"`
	BoundaryM2 Measure           `json:"boundary_m2"`
	CoveredM2  Measure           `json:"covered_m2"`
}

// Kinds of what may be unsure about a bill.
const (
	UnsureGap      = "gap"                 // events known to be missing
	UnsureRejected = "rejected"            // events that were rejected
	UnsureOverlap  = "overlap"             // ground spread more than once
	UnsureRate     = "rate_off"            // field rate outside the tolerance
	UnsureScale    = "scale_not_certified" // weighed on a scale not certified for trade
	UnsureDocket   = "docket"              // not used up by its loads, or overdrawn
)

// Unsure is something a person should know before a bill is issued, and a
// reader of the document after it.
type Unsure struct {
	Kind string `json:"kind"`
	Text string `json:"text"`
}

// Quantities is what is billed.
type Quantities struct {
	Masses     []Mass   `json:"masses"`
	Areas      []Area   `json:"areas"`
	DistanceKm Measure  `json:"distance_km"`
	TimeH      Measure  `json:"time_h"`
	Unsure     []Unsure `json:"unsure"`
}

// measured is a line's quantity before it is rounded.
type measured struct {
	exact decimal.Decimal // t, ha, km, h
	text  string          // as it was measured, with its unit
	from  string
	none  bool // the line counts a product that the job has not
}

// of sums what a line counts.
func (q *Quantities) of(t *term) (measured, error) {
	var parts []Measure
	switch t.line.Kind {
	case schemas.LinePerTonne, schemas.LineProduct:
		parts = q.masses(t)
	case schemas.LinePerHectare:
		parts = q.areas(t)
	case schemas.LinePerKm:
		parts = []Measure{q.DistanceKm}
	case schemas.LinePerHour:
		parts = []Measure{q.TimeH}
	}
	if len(parts) == 0 && t.line.Product != "" {
		return measured{none: true}, nil
	}
	return t.sum(parts)
}

func (q *Quantities) masses(t *term) (parts []Measure) {
	for _, m := range q.Masses {
		if t.line.Product != "" && t.line.Product != m.Product {
			continue
		}
		switch t.line.Basis {
		case schemas.BasisDocket:
			parts = append(parts, m.DocketKg)
		case schemas.BasisLoaded:
			parts = append(parts, m.LoadedKg)
		default:
			parts = append(parts, m.SpreadKg)
		}
	}
	return parts
}

func (q *Quantities) areas(t *term) (parts []Measure) {
	for _, a := range q.Areas {
		switch {
		case t.line.Product != "" && t.line.Product != a.Product:
		case t.line.Basis == schemas.BasisBoundary:
			parts = append(parts, a.BoundaryM2)
		default:
			parts = append(parts, a.CoveredM2)
		}
	}
	return parts
}

// largest bounds a measured value: 10^12 kg, m2, km or h.
const largest = 1e12

// sum adds the parts exactly and brings them to the line's unit.
func (t *term) sum(parts []Measure) (measured, error) {
	u := t.unit()
	var from []string
	total := decimal.Zero
	for _, p := range parts {
		if p.From == "" {
			return measured{}, t.missing()
		}
		if math.IsNaN(p.Value) || p.Value < 0 || p.Value > largest {
			return measured{}, fault.Newf("rate "+t.name(), fault.Input, fmt.Sprintf("%v %s (%s) is no quantity", p.Value, u.measured, p.From), "void or replace the event it comes from")
		}
		total = total.Add(decimal.NewFromFloat(p.Value))
		from = append(from, p.From)
	}
	if len(parts) == 0 {
		return measured{}, t.missing()
	}
	return measured{exact: total.Shift(-u.shift), text: total.Round(6).String() + " " + u.measured, from: together(from)}, nil
}

func (t *term) missing() error {
	what := t.line.Basis
	if what == "" {
		what = t.unit().measured
	}
	return fault.Newf("rate "+t.name(), fault.Input, fmt.Sprintf("no %s quantity is known", what), "measure it, or bill by an agreement that does not need it")
}

// mostSources are how many of a line's sources are written out.
const mostSources = 4

// together names each source once, in order; of many the first few.
func together(from []string) string {
	slices.Sort(from)
	from = slices.Compact(from)
	if n := len(from); n > mostSources {
		from = append(from[:mostSources-1], fmt.Sprintf("and %d more", n-mostSources+1))
	}
	return strings.Join(from, "; ")
}
