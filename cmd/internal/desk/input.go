package desk

import (
	"cmp"
	"context"
	"slices"

	"hopperbook/ingest/book"
	"hopperbook/reconcile"
	"hopperbook/schemas"
)

// inputTypes are the events a reconciliation reads one by one; pass logs are
// read packed.
var inputTypes = [...]schemas.EventType{
	schemas.TypeRegisterField, schemas.TypeRegisterMachine, schemas.TypeRegisterProduct, schemas.TypeRegisterJob,
	schemas.TypeSettingChanged, schemas.TypeLoadWeighed, schemas.TypeHopperRefilled, schemas.TypeTestCatch,
	schemas.TypeDocketReceived, schemas.TypeStockSurveyed,
}

// input reads the book: amendments first, then what they may amend.
func (d *Desk) input(ctx context.Context) (reconcile.Input, error) {
	var r reading
	err := d.book.Events(ctx, []schemas.EventType{schemas.TypeEventAmended}, func(e *schemas.Event) error { return r.amended.Add(e) })
	if err == nil {
		err = d.book.Events(ctx, inputTypes[:], r.event)
	}
	if err == nil {
		err = d.book.Passes(ctx, r.pass)
	}
	return r.in, err
}

// InputOf makes the input of a reconciliation from events without a book.
func InputOf(events []schemas.Event) (reconcile.Input, error) {
	var r reading
	for i := range events {
		if events[i].Type == schemas.TypeEventAmended {
			if err := r.amended.Add(&events[i]); err != nil {
				return r.in, err
			}
		}
	}
	for i := range events {
		e := &events[i]
		switch {
		case e.Type == schemas.TypePassLogged:
			fixes, h, err := schemas.PassFixes(e.Data, nil)
			if err != nil {
				return r.in, err
			}
			if err := r.pass(book.PassRow{Identity: e.Identity, ID: e.ID, Time: e.Time, Machine: e.Machine(), Job: h.Job, Field: h.Field, Fixes: fixes}); err != nil {
				return r.in, err
			}
		case slices.Contains(inputTypes[:], e.Type):
			if err := r.event(e); err != nil {
				return r.in, err
			}
		}
	}
	return r.in, nil
}

// reading fills an Input from events as they come, amended as later events
// say.
type reading struct {
	in      reconcile.Input
	amended schemas.Amendments
}

// apply amends an event; a replacement that cannot be used is said and the
// event counts as it was.
func (r *reading) apply(e schemas.Event) (schemas.Event, bool) {
	out, keep, err := r.amended.Apply(e)
	if err != nil {
		r.in.Findings = append(r.in.Findings, reconcile.Finding{Kind: "bad_amendment", Machine: e.Machine(), Event: e.ID, At: e.Time, Count: 1,
			Text: err.Error() + "; the event counts as it was"})
	}
	return out, keep
}

func (r *reading) event(raw *schemas.Event) error {
	e, keep := r.apply(*raw)
	if !keep {
		return nil
	}
	in := &r.in
	switch e.Type {
	case schemas.TypeRegisterField:
		return take(&in.Fields, &e)
	case schemas.TypeRegisterMachine:
		return take(&in.Machines, &e)
	case schemas.TypeRegisterProduct:
		return take(&in.Products, &e)
	case schemas.TypeRegisterJob:
		return take(&in.Jobs, &e)
	case schemas.TypeSettingChanged:
		return take(&in.Settings, &e)
	case schemas.TypeLoadWeighed:
		return take(&in.Loads, &e)
	case schemas.TypeHopperRefilled:
		return take(&in.Refills, &e)
	case schemas.TypeDocketReceived:
		return take(&in.Dockets, &e)
	case schemas.TypeStockSurveyed:
		return take(&in.Surveys, &e)
	}
	return take(&in.Catches, &e)
}

func take[T any](list *[]reconcile.At[T], e *schemas.Event) error {
	data, err := schemas.DecodeData[T](e)
	if err != nil {
		return err
	}
	*list = append(*list, reconcile.At[T]{Identity: e.Identity, ID: e.ID, Machine: e.Machine(), Time: e.Time, Data: data})
	return nil
}

// pass takes a pass log. Its data is read as an event's only where an
// amendment replaced it. The row's fixes are the book's and are copied.
func (r *reading) pass(row book.PassRow) error {
	p := reconcile.Pass{Identity: row.Identity, ID: row.ID, Machine: row.Machine, Job: row.Job, Field: row.Field, Fixes: slices.Clone(row.Fixes)}
	if r.amended.Amends(row.ID) {
		e, keep := r.apply(schemas.Event{Identity: row.Identity, ID: row.ID, Type: schemas.TypePassLogged})
		if !keep {
			return nil
		}
		if e.Data != "" {
			fixes, header, err := schemas.PassFixes(e.Data, nil)
			if err != nil {
				return err
			}
			p.Fixes, p.Job, p.Field = fixes, header.Job, header.Field
			p.Machine = cmp.Or(header.Machine, p.Machine)
		}
	}
	r.in.Passes = append(r.in.Passes, p)
	return nil
}
