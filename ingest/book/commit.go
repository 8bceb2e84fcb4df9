package book

import (
	"context"
	"database/sql"
	"database/sql/driver"
	"errors"
	"fmt"
	"runtime"
	"sync"
	"time"

	"hopperbook/ingest"
	"hopperbook/schemas"
)

// Commit puts a batch into the book in one transaction, whole or not at all.
// What is there already counts as Duplicate, so that Stored + Duplicate +
// Quarantined + Rejected is the size of the batch.
//
// After an error the batch is not in the book, but for one case: DuckDB had
// committed it and failed at the checkpoint that followed. Committing the same
// batch again is right either way. On fault Full, do that once there is room;
// the book opens itself anew where DuckDB gave up.
func (b *Book) Commit(ctx context.Context, batch ingest.Batch) (ingest.Receipt, error) {
	var receipt ingest.Receipt
	err := b.asWriter(ctx, "commit a batch", func() (err error) {
		receipt, err = b.commit(ctx, batch)
		return err
	})
	return receipt, err
}

// asWriter runs fn as the one writer of an open book, mended where DuckDB had
// given it up; after an error of fn it notes whether DuckDB gives up again.
func (b *Book) asWriter(ctx context.Context, op string, fn func() error) error {
	b.writer.Lock()
	defer b.writer.Unlock()
	if err := b.mend(ctx); err != nil {
		return b.explain(op, err)
	}
	if b.db == nil {
		return b.explain(op, errClosed())
	}
	err := fn()
	b.broken = b.broken || isFatal(err)
	return b.explain(op, err)
}

func (b *Book) commit(ctx context.Context, batch ingest.Batch) (ingest.Receipt, error) {
	var p *plan
	err := inTransaction(ctx, b.db, func(conn *sql.Conn) error {
		if err := b.learn(ctx, conn); err != nil {
			return err
		}
		var err error
		if p, err = makePlan(ctx, conn, b.known, batch); err != nil || !p.changes() {
			return err
		}
		return p.write(ctx, conn)
	})
	if err != nil {
		return ingest.Receipt{}, err
	}
	if p.changes() {
		b.known.head++
	}
	for source, mark := range p.marks {
		b.known.sources[source] = mark
	}
	return p.receipt, nil
}

// inTransaction commits what fn did, or nothing. Once fn is done the commit
// no longer listens to ctx: it is either made or not.
func inTransaction(ctx context.Context, db *sql.DB, fn func(*sql.Conn) error) error {
	conn, err := db.Conn(ctx)
	if err != nil {
		return err
	}
	defer conn.Close()
	if _, err := conn.ExecContext(ctx, "BEGIN TRANSACTION"); err != nil {
		return err
	}
	whole := context.WithoutCancel(ctx)
	if err = fn(conn); err == nil {
		if _, err = conn.ExecContext(whole, "COMMIT"); err == nil {
			return nil
		}
	}
	if _, undo := conn.ExecContext(whole, "ROLLBACK"); undo != nil {
		// A connection whose transaction cannot be ended must not be used again.
		conn.Raw(func(any) error { return driver.ErrBadConn })
	}
	return err
}

const (
	selectHead       = `SELECT head FROM state`
	selectMarks      = `SELECT source_no, source, coalesce(up_to, 0) FROM source LEFT JOIN mark USING (source_no) ORDER BY source_no`
	selectMarkRanges = `SELECT source, low, high FROM mark_range JOIN source USING (source_no) ORDER BY source_no, low`
	updateHead       = `UPDATE state SET head = ? WHERE head = ?`
	countNew         = `SELECT count(*) FROM event WHERE head = ?`
	insertMarks      = `INSERT INTO mark SELECT unnest(?::BIGINT[]), 0`
	updateMarks      = `
UPDATE mark SET up_to = touched.up_to
FROM (SELECT unnest(?::BIGINT[]) AS source_no, unnest(?::BIGINT[]) AS up_to) touched
WHERE mark.source_no = touched.source_no`
	deleteMarkRanges = `DELETE FROM mark_range WHERE source_no IN (SELECT unnest(?::BIGINT[]))`
	insertMarkRanges = `INSERT INTO mark_range SELECT unnest(?::BIGINT[]), unnest(?::BIGINT[]), unnest(?::BIGINT[])`
	repairRejects    = `
UPDATE reject SET repaired_at = make_timestamp_ns(stored.at)
FROM (SELECT unnest(?::VARCHAR[]) AS source, unnest(?::BIGINT[]) AS sequence, unnest(?::BIGINT[]) AS at) stored
WHERE reject.source = stored.source AND reject.sequence = stored.sequence AND repaired_at IS NULL`
)

// learn reads the ledger when it is not known or the head is not where this
// writer left it: another writer of this process has moved on, or a commit was
// made that was reported as failed. A failed commit itself leaves the ledger
// as it was, because a plan works on copies.
func (b *Book) learn(ctx context.Context, conn *sql.Conn) error {
	var head int64
	if err := conn.QueryRowContext(ctx, selectHead).Scan(&head); err != nil {
		return fmt.Errorf("read the head: %w", err)
	}
	if b.known != nil && b.known.head == head {
		return nil
	}
	known, err := readLedger(ctx, conn, head)
	if err != nil {
		return fmt.Errorf("read the marks: %w", err)
	}
	b.known = known
	return nil
}

func readLedger(ctx context.Context, db queryer, head int64) (*ledger, error) {
	l := &ledger{head: head, sources: map[schemas.Source]*sourceMark{}}
	err := eachRow(ctx, db, func(scan scanner) error {
		var m sourceMark
		var source schemas.Source
		err := scan(&m.no, &source, &m.upTo)
		l.sources[source] = &m
		return err
	}, selectMarks)
	if err != nil {
		return nil, err
	}
	return l, eachRow(ctx, db, func(scan scanner) error {
		var source schemas.Source
		var r [2]int64
		if err := scan(&source, &r[0], &r[1]); err != nil {
			return err
		}
		m := l.sources[source]
		m.above = append(m.above, r)
		return nil
	}, selectMarkRanges)
}

// write makes every change of the plan and then counts what is there, because
// a failed append can leave a transaction that commits nothing without saying
// so.
func (p *plan) write(ctx context.Context, conn *sql.Conn) error {
	rows, err := typedRows(typedTables(), p.store)
	if err != nil {
		return err
	}
	if err := appendTo(conn, func(a *appenders) error { return p.append(a, rows) }); err != nil {
		return err
	}
	if err := p.writeMarks(ctx, conn); err != nil {
		return fmt.Errorf("write the marks: %w", err)
	}
	if err := p.repair(ctx, conn); err != nil {
		return fmt.Errorf("mark repaired rejects: %w", err)
	}
	head := p.known.head
	moved, err := conn.ExecContext(ctx, updateHead, head+1, head)
	if err != nil {
		return fmt.Errorf("move the head: %w", err)
	}
	if n, err := moved.RowsAffected(); err != nil || n != 1 {
		return fmt.Errorf("move the head: %d rows changed (%w)", n, err)
	}
	var n int
	if err := conn.QueryRowContext(ctx, countNew, head+1).Scan(&n); err != nil {
		return fmt.Errorf("count the new events: %w", err)
	}
	if n != len(p.store) {
		return fmt.Errorf("the transaction holds %d new events instead of %d", n, len(p.store))
	}
	return nil
}

func (p *plan) append(a *appenders, typed []typedRow) error {
	head := p.known.head + 1
	for _, source := range p.newSources {
		if err := a.row("source", p.marks[source].no, string(source)); err != nil {
			return err
		}
	}
	for i := range p.store {
		s := &p.store[i]
		err := errors.Join(
			a.row("event", s.sourceNo, s.Sequence, string(s.ID), string(s.Type), int64(s.Version), s.Time, s.At.UTC(), head, s.digest, s.Raw),
			a.derived(s, typed[i]))
		if err != nil {
			return fmt.Errorf("%s: %w", s.Identity, err)
		}
	}
	for i := range p.quarantine {
		q := &p.quarantine[i]
		if err := a.row("quarantine", q.sourceNo, q.Sequence, string(q.ID), q.At.UTC(), q.digest, q.Raw); err != nil {
			return err
		}
	}
	for i := range p.reject {
		r := &p.reject[i]
		var repairedAt driver.Value
		if r.repaired {
			repairedAt = r.At.UTC()
		}
		if err := a.row("reject", string(r.Identity.Source), r.Identity.Sequence, r.Subject, r.At.UTC(), r.digest,
			r.Reason.Pointer, r.Reason.Rule, r.Reason.Detail, repairedAt, r.Raw); err != nil {
			return err
		}
	}
	return nil
}

// derived appends what follows from a stored event: its typed row, and a flag
// when its clock is off.
func (a *appenders) derived(s *stored, typed typedRow) error {
	err := a.row(typed.table, typed.values...)
	if detail := clockDetail(s.Time, s.At); detail != "" {
		err = errors.Join(err, a.row("clock_flag", s.sourceNo, s.Sequence, string(s.ID), s.Time, s.At.UTC(), detail))
	}
	return err
}

func (p *plan) writeMarks(ctx context.Context, conn *sql.Conn) error {
	var fresh, numbers, upTo []int64
	for _, source := range p.newSources {
		fresh = append(fresh, p.marks[source].no)
	}
	for _, m := range p.marks {
		numbers, upTo = append(numbers, m.no), append(upTo, m.upTo)
	}
	if len(fresh) > 0 {
		if _, err := conn.ExecContext(ctx, insertMarks, fresh); err != nil {
			return err
		}
	}
	if len(numbers) == 0 {
		return nil
	}
	if _, err := conn.ExecContext(ctx, updateMarks, numbers, upTo); err != nil {
		return err
	}
	return p.writeRanges(ctx, conn)
}

// writeRanges replaces the ranges of the touched sources; most have none.
func (p *plan) writeRanges(ctx context.Context, conn *sql.Conn) error {
	var had, owner, low, high []int64
	for source, m := range p.marks {
		if old := p.known.sources[source]; old != nil && len(old.above) > 0 {
			had = append(had, m.no)
		}
		for _, r := range m.above {
			owner, low, high = append(owner, m.no), append(low, r[0]), append(high, r[1])
		}
	}
	if len(had) > 0 {
		if _, err := conn.ExecContext(ctx, deleteMarkRanges, had); err != nil {
			return err
		}
	}
	if len(owner) == 0 {
		return nil
	}
	_, err := conn.ExecContext(ctx, insertMarkRanges, owner, low, high)
	return err
}

func (p *plan) repair(ctx context.Context, conn *sql.Conn) error {
	if len(p.repaired) == 0 {
		return nil
	}
	var sources []string
	var sequences, at []int64
	for i := range p.repaired {
		s := &p.repaired[i]
		sources, sequences, at = append(sources, string(s.Source)), append(sequences, s.Sequence), append(at, s.At.UnixNano())
	}
	_, err := conn.ExecContext(ctx, repairRejects, sources, sequences, at)
	return err
}

// How far an event's own time may be from its receipt before it is flagged: a
// tablet may come back after weeks, but not from the future.
const (
	clockAhead  = 24 * time.Hour
	clockBehind = 400 * 24 * time.Hour
)

// clockDetail says what is odd about an event's time; "" when nothing is.
func clockDetail(at, received time.Time) string {
	off := received.Sub(at)
	days := func(d time.Duration) int { return int(d / (24 * time.Hour)) }
	switch {
	case off < -clockAhead:
		return fmt.Sprintf("says it happened %d days after it was received", days(-off))
	case off > clockBehind:
		return fmt.Sprintf("says it happened %d days before it was received", days(off))
	}
	return ""
}

// typedRow is one row of an event type's table.
type typedRow struct {
	table  string
	values []driver.Value
}

// typedRows makes the rows of all events, on all cores.
func typedRows(tables map[schemas.EventType]*typedTable, events []stored) ([]typedRow, error) {
	rows := make([]typedRow, len(events))
	workers := min(runtime.GOMAXPROCS(0), 1+len(events)/64)
	errs := make([]error, workers)
	var wait sync.WaitGroup
	for w := range workers {
		wait.Go(func() {
			for i := w; i < len(events) && errs[w] == nil; i += workers {
				rows[i], errs[w] = makeTypedRow(tables, events[i].sourceNo, &events[i].Event)
			}
		})
	}
	wait.Wait()
	return rows, errors.Join(errs...)
}

func makeTypedRow(tables map[schemas.EventType]*typedTable, sourceNo int64, e *schemas.Event) (typedRow, error) {
	if e.Type == schemas.TypePassLogged {
		values, err := passRow(sourceNo, e)
		return typedRow{passTable, values}, err
	}
	table, known := tables[e.Type]
	if !known {
		return typedRow{}, fmt.Errorf("%s: no table for type %q", e.Identity, e.Type)
	}
	values, err := table.row(sourceNo, e)
	return typedRow{table.name, values}, err
}
