package book

import (
	"context"
	"database/sql"
	"time"

	"github.com/tidwall/gjson"
	"hopperbook/schemas"
	"hopperbook/schemas/fault"
)

// snapshot runs fn on one state of the book; commits made meanwhile are not
// seen. Readers do not wait for the writer nor it for them.
func (b *Book) snapshot(ctx context.Context, op string, fn func(*sql.Tx) error) error {
	b.reopen.RLock()
	defer b.reopen.RUnlock()
	if b.db == nil {
		return errClosed()
	}
	tx, err := b.db.BeginTx(ctx, nil)
	if err != nil {
		return b.explain(op, err)
	}
	defer tx.Rollback() // it only read
	return b.explain(op, fn(tx))
}

// View is one state of the book, to be read from more than once.
type View struct {
	tx *sql.Tx
}

// Read runs fn on one state of the book. fn must not call the book itself.
func (b *Book) Read(ctx context.Context, fn func(*View) error) error {
	return b.snapshot(ctx, "read the book", func(tx *sql.Tx) error { return fn(&View{tx}) })
}

// Head is a number that grows with every commit that changed something: a
// result computed at this head is stale once Head is larger.
func (b *Book) Head(ctx context.Context) (head int64, err error) {
	err = b.Read(ctx, func(v *View) error {
		head, err = v.Head(ctx)
		return err
	})
	return head, err
}

// Head is the state's head; see Book.Head.
func (v *View) Head(ctx context.Context) (head int64, err error) {
	err = v.tx.QueryRowContext(ctx, selectHead).Scan(&head)
	return head, err
}

const selectPublicMarks = `
SELECT source, coalesce(up_to, 0), low, high
FROM source LEFT JOIN mark USING (source_no) LEFT JOIN mark_range USING (source_no)
ORDER BY source, low`

// Marks says what the book holds of each source, ordered by source.
func (b *Book) Marks(ctx context.Context) (marks []schemas.Mark, err error) {
	err = b.snapshot(ctx, "read the marks", func(tx *sql.Tx) error {
		marks, err = (&View{tx}).Marks(ctx)
		return err
	})
	return marks, err
}

// Marks is Book.Marks of this state.
func (v *View) Marks(ctx context.Context) (marks []schemas.Mark, err error) {
	err = eachRow(ctx, v.tx, func(scan scanner) error {
		var m schemas.Mark
		var low, high sql.NullInt64
		if err := scan(&m.Source, &m.UpTo, &low, &high); err != nil {
			return err
		}
		if n := len(marks); n == 0 || marks[n-1].Source != m.Source {
			marks = append(marks, m)
		}
		if low.Valid {
			last := &marks[len(marks)-1]
			last.Above = append(last.Above, [2]int64{low.Int64, high.Int64})
		}
		return nil
	}, selectPublicMarks)
	return marks, err
}

// Gaps lists what is known to be missing: every run of sequences below the
// highest known one of its source, ordered by source and sequence.
func (b *Book) Gaps(ctx context.Context) ([]Gap, error) {
	marks, err := b.Marks(ctx)
	return GapsOf(marks), err
}

// Gaps is Book.Gaps of this state.
func (v *View) Gaps(ctx context.Context) ([]Gap, error) {
	marks, err := v.Marks(ctx)
	return GapsOf(marks), err
}

const selectCounts = `SELECT type, count(*) FROM event GROUP BY type ORDER BY type`

// Count is the number of stored events of each type; types without events are
// not in it.
func (b *Book) Count(ctx context.Context) (map[schemas.EventType]int64, error) {
	counts := map[schemas.EventType]int64{}
	err := b.snapshot(ctx, "count the events", func(tx *sql.Tx) error {
		return eachRow(ctx, tx, func(scan scanner) error {
			var t schemas.EventType
			var n int64
			err := scan(&t, &n)
			counts[t] = n
			return err
		}, selectCounts)
	})
	return counts, err
}

const selectEventSlices = `
SELECT time_bucket(INTERVAL 1 HOUR, time::TIMESTAMP) AS slice, count(*) FROM event
WHERE head > ? AND (len(?::VARCHAR[]) = 0 OR type IN (SELECT unnest(?::VARCHAR[])))
GROUP BY slice ORDER BY slice`

const selectEvents = `
SELECT source, sequence, id, type, version, time, raw FROM event JOIN source USING (source_no)
WHERE time >= ? AND time < ? AND head > ? AND (len(?::VARCHAR[]) = 0 OR type IN (SELECT unnest(?::VARCHAR[])))
ORDER BY time, source, sequence`

// Events hands every stored event of the types (of all, when types is empty)
// to fn, ordered by time, source and sequence: the same set of events comes in
// the same order however it arrived. The event is fn's to keep; fn must
// not call the book. An error of fn ends the walk and comes back. Memory is bounded by the events of about an
// hour.
func (b *Book) Events(ctx context.Context, types []schemas.EventType, fn func(*schemas.Event) error) error {
	return b.Read(ctx, func(v *View) error { return v.Events(ctx, types, fn) })
}

// Events is Book.Events of this state.
func (v *View) Events(ctx context.Context, types []schemas.EventType, fn func(*schemas.Event) error) error {
	return v.EventsAfter(ctx, 0, types, fn)
}

// EventsAfter is Events of those alone that were stored after that head.
func (v *View) EventsAfter(ctx context.Context, head int64, types []schemas.EventType, fn func(*schemas.Event) error) error {
	wanted := make([]string, len(types))
	for i, t := range types {
		wanted[i] = string(t)
	}
	stretches, err := spans(ctx, v.tx, selectEventSlices, head, wanted, wanted)
	if err != nil {
		return err
	}
	for _, s := range stretches {
		err := eachRow(ctx, v.tx, func(scan scanner) error {
			var e schemas.Event
			var raw string
			if err := scan(&e.Source, &e.Sequence, &e.ID, &e.Type, &e.Version, &e.Time, &raw); err != nil {
				return err
			}
			e.Time, e.Raw, e.Data = e.Time.UTC(), []byte(raw), gjson.Get(raw, "data").Raw
			return fault.Wrap("take the event", fn(&e))
		}, selectEvents, s.from, s.to, head, wanted, wanted)
		if err != nil {
			return err
		}
	}
	return nil
}

const selectRaw = `
SELECT raw FROM event JOIN source USING (source_no)
WHERE time >= ? AND time < ?
ORDER BY time, source, sequence`

// Export hands the bytes of every stored event to fn, as they came, in the
// order of Events. raw is valid until fn returns.
func (b *Book) Export(ctx context.Context, fn func(raw []byte) error) error {
	return b.snapshot(ctx, "export the events", func(tx *sql.Tx) error {
		stretches, err := spans(ctx, tx, selectEventSlices, 0, []string{}, []string{})
		if err != nil {
			return err
		}
		var raw sql.RawBytes
		for _, s := range stretches {
			err := eachRow(ctx, tx, func(scan scanner) error {
				if err := scan(&raw); err != nil {
					return err
				}
				return fault.Wrap("take the event", fn(raw))
			}, selectRaw, s.from, s.to)
			if err != nil {
				return err
			}
		}
		return nil
	})
}

// PassRow is one pass log with its fixes. Fixes is valid until the function
// it was handed to returns.
type PassRow struct {
	schemas.Identity
	ID      schemas.EventID
	Time    time.Time // of the event
	Machine schemas.MachineID
	Job     schemas.JobID   // "" when the log names none
	Field   schemas.FieldID // "" when the log names none
	Fixes   []schemas.Fix
}

const selectPassSlices = `
SELECT time_bucket(INTERVAL 1 HOUR, time::TIMESTAMP) AS slice, count(*) FROM pass_log
GROUP BY slice ORDER BY slice`

const selectPasses = `
SELECT source, sequence, id, time, machine, coalesce(job, ''), coalesce(field, ''), packed
FROM pass_log JOIN source USING (source_no)
WHERE time >= ? AND time < ?
ORDER BY time, source, sequence`

// Passes hands every pass log to fn in the order of Events; see there for
// errors and memory.
func (b *Book) Passes(ctx context.Context, fn func(PassRow) error) error {
	return b.Read(ctx, func(v *View) error { return v.Passes(ctx, fn) })
}

// Passes is Book.Passes of this state.
func (v *View) Passes(ctx context.Context, fn func(PassRow) error) error {
	stretches, err := spans(ctx, v.tx, selectPassSlices)
	if err != nil {
		return err
	}
	var fixes []schemas.Fix
	var packed sql.RawBytes
	for _, s := range stretches {
		err := eachRow(ctx, v.tx, func(scan scanner) error {
			var p PassRow
			err := scan(&p.Source, &p.Sequence, &p.ID, &p.Time, &p.Machine, &p.Job, &p.Field, &packed)
			if err != nil {
				return err
			}
			if fixes, err = unpackFixes(packed, fixes[:0]); err != nil {
				return damaged(p.Identity, err)
			}
			p.Time, p.Fixes = p.Time.UTC(), fixes
			return fault.Wrap("take the pass log", fn(p))
		}, selectPasses, s.from, s.to)
		if err != nil {
			return err
		}
	}
	return nil
}

// span is a half-open stretch of time.
type span struct{ from, to time.Time }

// spanRows is how many rows a query of a walk should bring: DuckDB hands a
// result over whole, so a walk over everything is cut into stretches.
const spanRows = 20_000

// spans joins the hours that a slice query counts into stretches of about
// spanRows rows, in order of time.
func spans(ctx context.Context, tx queryer, query string, args ...any) ([]span, error) {
	var all []span
	room := 0
	err := eachRow(ctx, tx, func(scan scanner) error {
		var from time.Time
		var n int
		if err := scan(&from, &n); err != nil {
			return err
		}
		to := from.Add(time.Hour)
		if room -= n; len(all) > 0 && room >= 0 {
			all[len(all)-1].to = to
			return nil
		}
		room = spanRows - n
		all = append(all, span{from, to})
		return nil
	}, query, args...)
	return all, err
}
