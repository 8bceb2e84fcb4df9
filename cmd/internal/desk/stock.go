package desk

import (
	"context"
	"io"

	"hopperbook/reports"
)

// stock answers from the kept result; a book without a docket and a survey has
// no stockpiles.
func (d *Desk) stock(ctx context.Context, w io.Writer) error {
	res, err := d.result(ctx)
	if err != nil {
		return err
	}
	return write(w, reports.NewStockAnswer(res.Stock))
}
