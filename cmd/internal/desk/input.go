package desk

import (
	"cmp"
	"context"
	"fmt"
	"slices"

	"hopperbook/ingest/book"
	"hopperbook/reconcile"
	"hopperbook/schemas"
)

// inputTypes are the events a reconciliation reads one by one; pass logs are
// read packed.
var inputTypes = [...]schemas.EventType{
	schemas.TypeRegisterField, schemas.TypeRegisterMachine, schemas.TypeRegisterProduct, schemas.TypeRegisterJob,
	schemas.TypeSettingChanged, schemas.TypeLoadWeighed, schemas.TypeHopperRefilled, schemas.TypeTestCatch, schemas.TypeTestTray,
	schemas.TypeDocketReceived, schemas.TypeStockSurveyed, schemas.TypeJobStarted, schemas.TypeJobFinished, schemas.TypeWeatherNoted, schemas.TypeCheckMachine,
	schemas.TypeTestDensity, schemas.TypeTestOverlap,
}

// input reads one state of the book and its head.
func (d *Desk) input(ctx context.Context) (in reconcile.Input, head int64, err error) {
	err = d.book.Read(ctx, func(v *book.View) (err error) {
		if head, err = v.Head(ctx); err == nil {
			in, err = inputOf(ctx, v, nil)
		}
		return err
	})
	return in, head, err
}

// inputOf reads the amendments first, then what they may amend.
func inputOf(ctx context.Context, v *book.View, only asOf) (reconcile.Input, error) {
	r := reading{only: only}
	err := r.events(ctx, v, inputTypes[:])
	if err == nil {
		err = v.Passes(ctx, r.pass)
	}
	if err == nil && len(r.amended.Unused()) > 0 {
		err = v.Events(ctx, otherTypes(), r.other)
	}
	r.idle()
	return r.in, err
}

// otherTypes are those that a reconciliation does not read.
func otherTypes() (types []schemas.EventType) {
	for _, t := range schemas.Types() {
		if t.Type != schemas.TypePassLogged && !slices.Contains(inputTypes[:], t.Type) {
			types = append(types, t.Type)
		}
	}
	return types
}

// events reads events of some types as they count.
func (r *reading) events(ctx context.Context, v *book.View, types []schemas.EventType) error {
	err := v.Events(ctx, []schemas.EventType{schemas.TypeEventAmended}, r.amendment)
	if err != nil {
		return err
	}
	return v.Events(ctx, types, r.event)
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
		default:
			_ = r.other(e)
		}
	}
	r.idle()
	return r.in, nil
}

// reading fills an Input from events as they come, amended as later events
// say.
type reading struct {
	only    asOf
	in      reconcile.Input
	amended schemas.Amendments
	others  map[schemas.EventID]schemas.EventType // amended, and not read by a reconciliation
}

func (r *reading) amendment(e *schemas.Event) error {
	if !r.only.holds(e.Identity) {
		return nil
	}
	return r.amended.Add(e)
}

// other takes an event that a reconciliation does not read. Those of the office
// count where bills are made: a replacement of one that cannot be used is said
// here. An amendment of any other is in vain, and is noted as such.
func (r *reading) other(e *schemas.Event) error {
	if !r.amended.Amends(e.ID) || !r.only.holds(e.Identity) {
		return nil
	}
	if slices.Contains(registryTypes(), e.Type) && e.Type != schemas.TypeEventAmended {
		r.apply(*e)
		return nil
	}
	if r.others == nil {
		r.others = map[schemas.EventID]schemas.EventType{}
	}
	r.others[e.ID] = e.Type
	return nil
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

// idle says which amendments change nothing, wherever they are read.
func (r *reading) idle() {
	for _, a := range r.amended.Unused() {
		what := "which is not in the book (yet)"
		switch t := r.others[a.Amends]; t {
		case "":
		case schemas.TypeEventAmended:
			what = "which is an amendment itself: amend the event that one amends"
		case schemas.TypeInvoiceIssued, schemas.TypeInvoiceCredited:
			what = "an issued document, which never changes: hopperbook credit takes it back"
		case schemas.TypeNoticeRaised, schemas.TypeNoticeAcknowledged:
			what = "a notice, which stays as it was raised"
		default:
			what = "which is read nowhere"
		}
		r.in.Findings = append(r.in.Findings, reconcile.Finding{Kind: "amendment_without_event", At: a.Time, Count: 1,
			Text: fmt.Sprintf("%s amends event %s, %s: nothing changes", a.Identity, a.Amends, what)})
	}
}

func (r *reading) event(raw *schemas.Event) error {
	if !r.only.holds(raw.Identity) {
		return nil
	}
	e, keep := r.apply(*raw)
	if !keep {
		return r.voided(raw)
	}
	in := &r.in
	switch e.Type {
	case schemas.TypeRegisterField:
		return take(&in.Fields, &e, raw)
	case schemas.TypeRegisterMachine:
		return take(&in.Machines, &e, raw)
	case schemas.TypeRegisterProduct:
		return take(&in.Products, &e, raw)
	case schemas.TypeRegisterJob:
		return take(&in.Jobs, &e, raw)
	case schemas.TypeSettingChanged:
		return take(&in.Settings, &e, raw)
	case schemas.TypeLoadWeighed:
		return take(&in.Loads, &e, raw)
	case schemas.TypeHopperRefilled:
		return take(&in.Refills, &e, raw)
	case schemas.TypeTestTray:
		return take(&in.Trays, &e, raw)
	case schemas.TypeDocketReceived:
		return take(&in.Dockets, &e, raw)
	case schemas.TypeStockSurveyed:
		return take(&in.Surveys, &e, raw)
	case schemas.TypeTestDensity:
		return take(&in.Densities, &e, raw)
	case schemas.TypeTestOverlap:
		return take(&in.Overlaps, &e, raw)
	case schemas.TypeJobStarted:
		return take(&in.Starts, &e, raw)
	case schemas.TypeJobFinished:
		return take(&in.Finishes, &e, raw)
	case schemas.TypeWeatherNoted:
		return take(&in.Weather, &e, raw)
	case schemas.TypeCheckMachine:
		return take(&in.Checks, &e, raw)
	}
	return take(&in.Catches, &e, raw)
}

// voided keeps who and when of an event that does not count.
func (r *reading) voided(e *schemas.Event) error {
	v := reconcile.Voided{ID: e.ID, Machine: e.Machine(), Time: e.Time}
	if e.Type == schemas.TypeLoadWeighed {
		load, err := schemas.DecodeData[schemas.LoadWeighed](e)
		if err != nil {
			return err
		}
		v.Load = load.Load
	}
	r.in.Voided = append(r.in.Voided, v)
	return nil
}

// take reads an event as it counts. It stays its machine's: a replacement that
// names none does not take it away from the one the event named.
func take[T any](list *[]reconcile.At[T], e, original *schemas.Event) error {
	data, err := schemas.DecodeData[T](e)
	if err != nil {
		return err
	}
	*list = append(*list, reconcile.At[T]{Identity: e.Identity, ID: e.ID, Machine: cmp.Or(e.Machine(), original.Machine()), Time: e.Time, Data: data})
	return nil
}

// pass takes a pass log. Its data is read as an event's only where an
// amendment replaced it. The row's fixes are the book's and are copied.
func (r *reading) pass(row book.PassRow) error {
	if !r.only.holds(row.Identity) {
		return nil
	}
	p := reconcile.Pass{Identity: row.Identity, ID: row.ID, Machine: row.Machine, Job: row.Job, Field: row.Field, Fixes: slices.Clone(row.Fixes)}
	if r.amended.Amends(row.ID) {
		e, keep := r.apply(schemas.Event{Identity: row.Identity, ID: row.ID, Type: schemas.TypePassLogged})
		if !keep {
			r.in.Voided = append(r.in.Voided, reconcile.Voided{ID: row.ID, Machine: row.Machine, Time: row.Time})
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
