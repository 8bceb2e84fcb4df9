package desk

import (
	"context"
	"io"

	"hopperbook/ingest/book"
	"hopperbook/reconcile"
	"hopperbook/reports"
	"hopperbook/schemas"
)

// MapParams says which map is asked for.
type MapParams struct {
	Field   schemas.FieldID   `json:"field"`             // or a name that only one field has
	Product schemas.ProductID `json:"product,omitempty"` // "": the only one
	CellM   float64           `json:"cell_m,omitempty"`  // 0: 1 m
	Cells   bool              `json:"cells,omitempty"`   // with the grid, not only its figures
	AsOf    []string          `json:"as_of,omitempty"`   // from no other events than these marks hold
}

// fieldMap answers from the events: a map is too large to keep, and asked for rarely.
func (d *Desk) fieldMap(ctx context.Context, params []byte, w io.Writer) error {
	p, err := paramsOf[MapParams]("map", params)
	if err != nil {
		return err
	}
	d.working.Lock()
	defer d.working.Unlock()
	only, err := asOfMarks(p.AsOf)
	if err != nil {
		return err
	}
	var in reconcile.Input
	if err := d.book.Read(ctx, func(v *book.View) (err error) {
		in, err = inputOf(ctx, v, only)
		return err
	}); err != nil {
		return err
	}
	m, err := reconcile.Applied(in, p.Field, p.Product, p.CellM)
	if err != nil {
		return err
	}
	return write(w, reports.NewMapAnswer(m, p.Cells))
}
