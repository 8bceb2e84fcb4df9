package desk

import (
	"context"
	"fmt"
	"io"
	"slices"
	"strings"

	"hopperbook/reconcile"
	"hopperbook/reports"
	"hopperbook/schemas"
	"hopperbook/schemas/fault"
)

// DriftParams says which verdicts are asked for.
type DriftParams struct {
	Machine schemas.MachineID `json:"machine,omitempty"` // "": every machine
	Product schemas.ProductID `json:"product,omitempty"` // "": every product
	Points  bool              `json:"points,omitempty"`  // with the loads of each series
}

func (d *Desk) drift(ctx context.Context, params []byte, w io.Writer) error {
	p, err := paramsOf[DriftParams]("drift", params)
	if err != nil {
		return err
	}
	res, err := d.result(ctx)
	if err != nil {
		return err
	}
	answer := reports.DriftAnswer{Schema: reports.SchemaDrift, Drifts: []reconcile.Drift{}}
	for _, one := range res.Drifts {
		if (p.Machine == "" || p.Machine == one.Machine) && (p.Product == "" || p.Product == one.Product) {
			if !p.Points {
				one.Points = nil
			}
			answer.Drifts = append(answer.Drifts, one)
		}
	}
	if asked := p.Machine != "" || p.Product != ""; asked && len(answer.Drifts) == 0 {
		return noSeries(p, res.Drifts)
	}
	return write(w, answer)
}

// noSeries names what could have been asked for.
func noSeries(p DriftParams, drifts []reconcile.Drift) error {
	var there []string
	for _, d := range drifts {
		if pair := fmt.Sprintf("%s with %s", d.Machine, d.Product); !slices.Contains(there, pair) {
			there = append(there, pair)
		}
	}
	hint := "the book has no closed balance interval yet"
	if len(there) > 0 {
		hint = "there are: " + strings.Join(there, ", ")
	}
	what := "no flow ratio"
	if p.Machine != "" {
		what += " of " + string(p.Machine)
	}
	if p.Product != "" {
		what += " with " + string(p.Product)
	}
	return fault.Newf("drift", fault.NotFound, what, hint)
}
