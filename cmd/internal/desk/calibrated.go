package desk

import (
	"cmp"
	"slices"
	"time"

	"hopperbook/reconcile"
	"hopperbook/reports"
	"hopperbook/schemas"
	"hopperbook/schemas/fault"
)

// neverTested is why there is no certificate, in words for a customer.
func neverTested(err error) string {
	if fault.CodeOf(err) == fault.NotFound {
		return "no test of it with this product is in the book"
	}
	return err.Error()
}

// calibrations is how each machine stood with each product at the end of its
// work; a machine that was never tested says so.
func calibrations(in reconcile.Input, done []reconcile.Application) (out []reports.Calibration) {
	type with struct {
		machine schemas.MachineID
		product schemas.ProductID
	}
	ends := map[with]time.Time{}
	for _, a := range done {
		for _, m := range a.Machines {
			if key := (with{m, a.Product}); a.To.After(ends[key]) {
				ends[key] = a.To
			}
		}
	}
	for key, end := range ends {
		row := reports.Calibration{Machine: key.machine, Product: key.product, Reasons: []string{}}
		c, err := reconcile.Certify(in, reconcile.CertificateAsk{Machine: key.machine, Product: key.product, AsOf: end})
		if err != nil {
			row.Reasons = append(row.Reasons, neverTested(err))
			out = append(out, row)
			continue
		}
		row.At, row.Valid, row.Reasons = c.TestedAt, c.Validity.Valid, orEmpty(c.Validity.Reasons)
		if n := len(c.Catches); n > 0 {
			row.CatchTest = c.Catches[n-1].Test.CatchTest
		}
		out = append(out, row)
	}
	slices.SortFunc(out, func(a, b reports.Calibration) int {
		return cmp.Or(cmp.Compare(a.Machine, b.Machine), cmp.Compare(a.Product, b.Product))
	})
	return out
}
